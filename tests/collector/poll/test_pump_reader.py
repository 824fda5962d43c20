"""One pump on a real pseudo-terminal: what one scan makes of answers, refusals and silence."""

from __future__ import annotations

import struct
import time
from collections.abc import Callable

import pytest

from collector.bus import ReadOnlyBus
from collector.clock import Clock
from collector.poll import pump_reader
from collector.poll.pump_reader import PumpReader
from collector.quantities import QUANTITIES
from collector.reading import FailureKind, PollFailure, Quality, Reading, unpack_quality
from collector.registers import Point, RegisterMap
from tests.collector.bus.serial_devices import Device, framed, honest, on_pseudo_terminal, serial_bus

ADDRESSES = {"speed_rpm": 10, "power_w": 11, "flow_m3h": 12, "head_m": 13, "current_a": 40}
TWO_BLOCKS = RegisterMap(
    name="m",
    points=tuple(
        Point(quantity=one, table="input", address=ADDRESSES[one.name], type="u16")
        for one in QUANTITIES
        if one.name in ADDRESSES
    ),
    faults={},
)
Scans = list[Reading | PollFailure]


def scan(
    behave: Callable[[bytes], bytes], scans: int, pump_map: RegisterMap = TWO_BLOCKS
) -> tuple[Scans, Device]:
    reader = PumpReader("P01", 1, pump_map)
    clock = Clock(simulated_start_ms=1_000_000)
    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.1, late_reply_s=0.01)) as bus:
            return [reader.read(bus, clock) for _ in range(scans)], drive


def asked(request: bytes) -> tuple[int, int]:
    address, count = struct.unpack(">HH", request[2:6])
    return address, count


def refusing(address: int, code: int = 2) -> Callable[[bytes], bytes]:
    """A drive that has every register but one."""

    def behave(request: bytes) -> bytes:
        start, count = asked(request)
        return framed(bytes((1, 0x84, code))) if start <= address < start + count else honest(request)

    return behave


def qualities(result: Reading | PollFailure) -> dict[str, Quality]:
    assert isinstance(result, Reading)
    return {name: why for name, why in unpack_quality(result.quality).items() if why is not Quality.GOOD}


def test_a_scan_joins_the_blocks_into_one_reading() -> None:
    (result,), drive = scan(honest, 1)
    assert isinstance(result, Reading)
    assert {name: getattr(result, name) for name in ADDRESSES} == ADDRESSES
    assert (result.pump, result.quality) == ("P01", 0)
    assert [asked(request) for request in drive.requests] == [(10, 4), (40, 1)]


def test_the_reading_is_stamped_by_the_clock_it_was_given() -> None:
    (result,), _ = scan(honest, 1)
    assert result.time_utc_ms > 1_000_000


def test_one_register_that_the_drive_lacks_takes_no_other_along() -> None:
    results, _ = scan(refusing(12), 3)
    for result in results:
        assert qualities(result) == {"flow_m3h": Quality.REFUSED}
        assert isinstance(result, Reading)
        assert (result.speed_rpm, result.power_w, result.head_m, result.current_a) == (10, 11, 13, 40)


def test_a_refused_register_is_found_once_and_then_asked_ever_more_seldom() -> None:
    _, drive = scan(refusing(12), 40)
    alone = [request for request in drive.requests if asked(request) == (12, 1)]
    together = [request for request in drive.requests if asked(request) == (10, 4)]
    assert len(together) == 1
    assert len(alone) == 6  # in scans 0, 2, 5, 10, 19 and 36: after 1, 2, 4, 8, 16 left out


def test_a_divided_block_is_asked_whole_again_after_the_stated_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """The drive lacks a register until it has refused it three times, say until it was updated."""
    monkeypatch.setattr(pump_reader, "REJOIN_AFTER_S", 0.3)
    lacks = refusing(12)
    refused: list[bytes] = []

    def behave(request: bytes) -> bytes:
        answer = lacks(request) if len(refused) < 3 else honest(request)
        refused.extend([answer] if answer[1] & 0x80 else [])
        return answer

    reader, clock = PumpReader("P01", 1, TWO_BLOCKS), Clock(simulated_start_ms=1_000_000)
    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.1, late_reply_s=0.01)) as bus:
            first, second = reader.read(bus, clock), reader.read(bus, clock)
            assert qualities(first) == qualities(second) == {"flow_m3h": Quality.REFUSED}
            time.sleep(0.35)
            before = len(drive.requests)
            assert qualities(reader.read(bus, clock)) == {}
    assert [asked(request) for request in drive.requests[before:]] == [(10, 4), (40, 1)]


@pytest.mark.parametrize("code", [2, 3])
def test_one_lost_reply_neither_refuses_nor_divides_a_block_of_32_bit_values(code: int) -> None:
    """A drive that answers no half of a 32-bit value: the odd one at 10 has 16 bits, the rest 32."""
    points = tuple(
        Point(quantity=one, table="input", address=address, type=kind, factor=1e-9)
        for one, address, kind in zip(QUANTITIES[:3], (10, 11, 13), ("u16", "u32", "u32"), strict=True)
    )
    answers = iter([b""])

    def behave(request: bytes) -> bytes:
        start, count = asked(request)
        if {start, start + count} <= {10, 11, 13, 15}:
            return next(answers, honest(request))
        return framed(bytes((1, 0x84, code)))

    results, drive = scan(behave, 3, RegisterMap(name="m", points=points, faults={}))
    assert isinstance(results[0], PollFailure)
    assert [qualities(result) for result in results[1:]] == [{}, {}]
    assert [asked(request) for request in drive.requests] == [(10, 5), (10, 1), (10, 5), (10, 5)]


def test_a_busy_drive_is_not_divided() -> None:
    (result,), drive = scan(refusing(12, code=6), 1)
    assert qualities(result) == {
        "speed_rpm": Quality.REFUSED,
        "power_w": Quality.REFUSED,
        "flow_m3h": Quality.REFUSED,
        "head_m": Quality.REFUSED,
    }
    assert len(drive.requests) == 2


def test_a_drive_that_refuses_everything_is_a_failure_with_its_reason() -> None:
    (result,), _ = scan(lambda _: framed(bytes((1, 0x84, 4))), 1)
    assert isinstance(result, PollFailure)
    assert result.kind is FailureKind.REFUSED
    assert "the drive failed while reading" in result.sentence


def test_a_drive_that_is_off_costs_one_time_out_not_one_a_block() -> None:
    (result,), drive = scan(lambda _: b"", 1)
    assert isinstance(result, PollFailure)
    assert result.kind is FailureKind.NO_REPLY
    assert len(drive.requests) == 1


def test_a_block_without_an_answer_leaves_the_others_standing() -> None:
    results, _ = scan(lambda request: b"" if asked(request)[0] == 40 else honest(request), 2)
    for result in results:
        assert qualities(result) == {"current_a": Quality.NO_REPLY}
        assert isinstance(result, Reading)
        assert result.head_m == 13


def test_a_first_block_that_is_never_answered_does_not_hide_the_second() -> None:
    results, _ = scan(lambda request: b"" if asked(request)[0] == 10 else honest(request), 3)
    assert isinstance(results[0], PollFailure)
    assert isinstance(results[1], Reading)
    assert results[1].current_a == 40


def test_a_value_that_means_no_reading_is_none_and_explained() -> None:
    point = Point(quantity=QUANTITIES[3], table="input", address=7, type="u16", no_values=frozenset({7}))
    (result,), _ = scan(honest, 1, RegisterMap(name="m", points=(point,), faults={}))
    assert isinstance(result, Reading)
    assert result.head_m is None
    assert qualities(result) == {"head_m": Quality.NO_VALUE}
