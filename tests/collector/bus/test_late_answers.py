"""A late answer is never taken for the answer to a later request: zero wrong values, however late."""

from __future__ import annotations

import itertools
import random
import socket
import struct
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress

import pytest

from collector.bus import BusError, Damaged, NoLink, NoReply, ReadOnlyBus, Refused
from tests.collector.bus.serial_devices import (
    Device,
    each_request,
    framed,
    honest,
    on_pseudo_terminal,
    on_socket,
    registers,
    serial_bus,
    tcp_bus,
)

TIME_OUT_S = 0.02
READS = 1000


def tally(
    bus: ReadOnlyBus, reads: int, counts: tuple[int, ...] = (2, 4, 4, 4, 7), seed: int = 3
) -> Counter[str]:
    """Read random places, and count what came back against what the drive holds there."""
    chance = random.Random(seed)
    results: Counter[str] = Counter()
    for _ in range(reads):
        address, count = chance.randrange(60_000), chance.choice(counts)
        try:
            data = bus.read_registers(chance.choice([1, 2]), "holding", address, count)
        except NoLink:
            time.sleep(max(0.0, bus.next_try_s - time.monotonic()))
        except BusError:
            results["none"] += 1
        else:
            results["right" if data == registers(address, count) else "wrong"] += 1
    return results


def late_in_order(late_s: float, one_in: int = 7) -> Callable[[bytes], bytes]:
    """A drive that answers one request after the other, some later than anybody waits."""
    chance = random.Random(1)

    def behave(request: bytes) -> bytes:
        if chance.randrange(one_in) == 0:
            time.sleep(late_s)
        return honest(request)

    return behave


def test_one_answer_in_seven_late_gives_no_wrong_value_in_a_thousand_reads() -> None:
    with on_pseudo_terminal(late_in_order(2 * TIME_OUT_S)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.025)) as bus:
            results = tally(bus, READS)
    assert results["wrong"] == 0
    assert results["none"] > READS / 20
    assert results["right"] > READS / 20


def test_order_alone_protects_against_answers_later_than_the_site_file_allows() -> None:
    with on_pseudo_terminal(late_in_order(8 * TIME_OUT_S)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.01)) as bus:
            # Order protects while a shorter read is left to ask: sixty registers leave fifty-nine, far more
            # than go unanswered even where a drive sleeps for eight time-outs several times in a row.
            results = tally(bus, READS // 6, counts=(60,))
    assert results["wrong"] == 0
    assert results["right"] > READS / 100


def test_time_alone_protects_against_answers_that_come_out_of_order() -> None:
    chance = random.Random(2)

    def overtaken(request: bytes) -> bytes | list[tuple[float, bytes]]:
        return [(3 * TIME_OUT_S, honest(request))] if chance.randrange(7) == 0 else honest(request)

    with on_pseudo_terminal(overtaken) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.25)) as bus:
            results = tally(bus, READS // 7)
    assert results["wrong"] == 0
    assert results["right"] > READS / 100


def test_the_same_holds_behind_a_gateway_that_hands_serial_frames_on() -> None:
    behave = late_in_order(3 * TIME_OUT_S)
    with on_socket(each_request(behave, header=False)) as drive:
        settings = {"timeout_s": TIME_OUT_S, "late_reply_s": 0.04}
        with ReadOnlyBus(tcp_bus(drive, "rtu_over_tcp", **settings)) as bus:
            results = tally(bus, READS // 5)
    assert results["wrong"] == 0
    assert results["right"] > READS / 100


def test_every_answer_sent_twice_gives_no_wrong_value() -> None:
    with on_pseudo_terminal(lambda request: 2 * honest(request)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=0.01)) as bus:
            results = tally(bus, 200)
    assert results["wrong"] == 0
    assert results["right"] > 50


def test_the_others_are_read_while_one_may_still_answer_late() -> None:
    def behave(request: bytes) -> bytes:
        return b"" if request[0] == 9 else honest(request)

    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=5.0)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(9, "holding", 0, 4)
            begun_s = time.monotonic()
            for _ in range(20):
                bus.read_registers(1, "holding", 0, 4)
            assert bus.quiet_left_s(9) > 5.0 - (time.monotonic() - begun_s) - 0.1
            assert bus.quiet_left_s(1) == 0.0


def requests_after_a_time_out(count: int) -> list[tuple[int, int]]:
    """Return address and count of what is sent when the first request went unanswered."""
    answers = iter([b""])
    with on_pseudo_terminal(lambda request: next(answers, honest(request))) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=0.01)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(1, "holding", 100, count)
            assert bus.read_registers(1, "holding", 100, count) == registers(100, count)
            assert bus.read_registers(1, "holding", 100, count) == registers(100, count)
    return [struct.unpack(">HH", request[2:6]) for request in drive.requests]


def test_after_a_time_out_a_shorter_read_comes_first_and_only_once() -> None:
    assert requests_after_a_time_out(4) == [(100, 4), (100, 2), (100, 4), (100, 4)]


def test_a_single_register_has_no_shorter_read_and_waits_instead() -> None:
    assert requests_after_a_time_out(1) == [(100, 1), (100, 1), (100, 1)]


def whole_values_only(first: int, sizes: tuple[int, ...], code: int) -> Callable[[bytes], bytes]:
    """A drive that has values of so many registers one after the other, and refuses to cut one in two."""
    bounds = {first + sum(sizes[:place]) for place in range(len(sizes) + 1)}

    def behave(request: bytes) -> bytes:
        address, count = struct.unpack(">HH", request[2:6])
        if {address, address + count} <= bounds:
            return honest(request)
        return framed(bytes((request[0], request[1] | 0x80, code)))

    return behave


def counts_after_lost_replies(
    sizes: tuple[int, ...], code: int, whole_counts: tuple[int, ...] = (), lost: tuple[int, ...] = (0,)
) -> list[int]:
    """Read all values of such a drive until it has answered once more than it lost; return what it saw."""
    answer, count = whole_values_only(100, sizes, code), sum(sizes)
    whole_reads = itertools.count()

    def behave(request: bytes) -> bytes:
        is_whole = struct.unpack(">H", request[4:6])[0] == count
        return b"" if is_whole and next(whole_reads) in lost else answer(request)

    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=0.01)) as bus:
            for number in range(2 * len(lost) + 1):
                if number in lost:
                    with pytest.raises(NoReply):
                        bus.read_registers(1, "holding", 100, count, whole_counts)
                else:
                    data = bus.read_registers(1, "holding", 100, count, whole_counts)
                    assert data == registers(100, count)
    return [struct.unpack(">H", request[4:6])[0] for request in drive.requests]


@pytest.mark.parametrize("code", [2, 3])
def test_one_lost_reply_of_a_drive_that_cuts_no_value_costs_one_read(code: int) -> None:
    assert counts_after_lost_replies((2, 2, 2), code) == [6, 2, 6, 6]


@pytest.mark.parametrize("code", [2, 3])
def test_a_shorter_read_that_is_refused_is_followed_by_another_and_not_sent_again(code: int) -> None:
    first, second = [5, 2, 4, 1, 5], [5, 1, 5, 5]
    assert counts_after_lost_replies((1, 2, 2), code, lost=(0, 2)) == first + second


def test_where_the_values_end_is_tried_first_when_it_is_known() -> None:
    assert counts_after_lost_replies((3, 2, 4), 3, whole_counts=(3, 5)) == [9, 3, 9, 9]


@pytest.mark.parametrize("code", [2, 3])
def test_a_drive_that_refuses_every_shorter_read_is_trusted_again_by_time(code: int) -> None:
    first, second = [4, 2, 1, 3, 4], [4, 4, 4]
    assert counts_after_lost_replies((4,), code, lost=(0, 2)) == first + second


def test_a_drive_that_is_busy_is_not_asked_all_shorter_reads() -> None:
    assert counts_after_lost_replies((6,), code=6) == [6, 2, 6, 6]


def test_the_refusals_of_a_long_read_are_bounded_in_one_turn_and_end_in_the_next() -> None:
    seen = counts_after_lost_replies((24,), code=3, lost=(0, 2))
    assert [count for count in seen if count == 24] == [24] * 5
    assert seen == [24, *range(2, 18, 2), 24, 24, 18, 20, 22, 1, 3, 5, 7, 9, 24, 24]


@pytest.mark.parametrize(
    ("late_reply_s", "counts", "size"),
    [(0.3, (2, 4, 6), 2), (0.015, (12,), 3)],
    ids=["in the time of the site file, without a fence", "later than that, with fences"],
)
def test_late_answers_of_a_drive_that_cuts_no_value_give_no_wrong_value(
    late_reply_s: float, counts: tuple[int, ...], size: int
) -> None:
    chance, starts = random.Random(5), range(0, 600, 6)
    answer = whole_values_only(0, (size,) * (700 // size), code=2)

    def behave(request: bytes) -> bytes:
        if chance.randrange(7) == 0:
            time.sleep(2 * TIME_OUT_S)
        return answer(request)

    results: Counter[str] = Counter()
    with on_pseudo_terminal(behave) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=TIME_OUT_S, late_reply_s=late_reply_s)) as bus:
            for _ in range(100):
                address, count = chance.choice(starts), chance.choice(counts)
                with suppress(BusError):
                    data = bus.read_registers(1, "holding", address, count)
                    results["right" if data == registers(address, count) else "wrong"] += 1
    assert results["wrong"] == 0
    assert results["right"] > 30


def test_a_refusal_that_may_be_an_older_requests_is_no_refusal_of_the_read() -> None:
    """A stray answer comes just before the shorter read, so that late answers are possible again."""
    stray, refusal = framed(b"\x01\x03\x14" + bytes(20)), framed(b"\x01\x83\x02")
    with on_pseudo_terminal(lambda request: [(0.25, stray)] if request[5] == 6 else refusal) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=0.1)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(1, "holding", 100, 6)
            with pytest.raises(Damaged, match="while a late reply was still possible"):
                bus.read_registers(1, "holding", 100, 6)
    assert len(drive.requests) == 2


def test_an_exception_proves_nothing_while_a_late_answer_is_possible() -> None:
    answers = iter([b""])
    refusal = framed(b"\x01\x83\x02")
    with on_pseudo_terminal(lambda request: next(answers, refusal)) as drive:
        with ReadOnlyBus(serial_bus(drive, timeout_s=0.2, late_reply_s=1.0)) as bus:
            with pytest.raises(NoReply):
                bus.read_registers(1, "holding", 100, 4)
            with pytest.raises(Refused) as unsure:
                bus.read_registers(1, "holding", 100, 2)
            time.sleep(bus.quiet_left_s(1))
            with pytest.raises(Refused) as sure:
                bus.read_registers(1, "holding", 100, 3)
    assert (unsure.value.certain, sure.value.certain) == (False, True)


def test_a_late_answer_over_tcp_is_told_by_its_transaction_number() -> None:
    chance = random.Random(4)

    def send_if_open(connection: socket.socket, answer: bytes) -> None:
        with suppress(OSError):
            connection.sendall(answer)

    def serve(connection: socket.socket, device: Device) -> None:
        while request := connection.recv(12):
            device.note(request)
            transaction, _, _, unit, function, address, count = struct.unpack(">HHHBBHH", request)
            pdu = bytes((function, 2 * count)) + registers(address, count)
            answer = struct.pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu
            if chance.randrange(7) == 0:
                later = threading.Timer(3 * TIME_OUT_S, send_if_open, (connection, answer))
                later.start()
                laters.append(later)
            else:
                connection.sendall(answer)

    laters: list[threading.Timer] = []
    with on_socket(serve) as drive:
        with ReadOnlyBus(tcp_bus(drive, timeout_s=TIME_OUT_S)) as bus:
            results = tally(bus, READS // 2)
            for later in laters:
                later.join()
    assert results["wrong"] == 0
    assert results["right"] > READS / 8
