"""The picture of a line, held against what the simulated line knows to have been said."""

from __future__ import annotations

import threading
from collections import Counter

import pytest

from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.listening import LinePicture, WriteSeen, listen_at
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Pairing
from collector.listening.picture import PictureTaker
from simulator.lines import BadWire, ForeignMaster, PortWiring, SharedLine
from tests.collector.bus.serial_devices import framed
from tests.collector.listening.lines import READS, LinePort, drives, polled_line, simulated
from tests.collector.listening.streams import answer, read

SETTING = parse_line_setting("19200 8E1")


def heard_on(
    line: SharedLine, seconds: float, setting: LineSetting | None = SETTING, lump_s: float = 0.001
) -> LinePicture:
    return listen_at(LinePort(line, lump_s=lump_s), setting, seconds, threading.Event())


def pictured(data: bytes) -> LinePicture:
    taker = PictureTaker(SETTING)
    decoder, pairing = StreamDecoder(), Pairing()
    taker.take(pairing.take(decoder.feed(data, 0.0) + decoder.silence()))
    taker.take(pairing.silence(0.0, 60.0))
    return taker.picture(seconds=1.0, bytes_heard=len(data))


def test_who_is_asked_for_what_and_how_often_is_as_it_was_said() -> None:
    line = polled_line(SETTING, every_s=0.5)
    seen = heard_on(line, 30.0)
    assert (seen.has_master, seen.masters_seen) == (True, 1)
    assert [unit.unit for unit in seen.units] == [1, 5, 9, 30]
    reads = {(unit.unit, *each[:3]) for unit in seen.units for each in unit.reads}
    assert reads == set(READS)
    for unit in seen.units:
        for *_, times, every_s in unit.reads:
            assert times == pytest.approx(60, abs=1)
            assert every_s == pytest.approx(0.5, abs=0.02)


def test_each_exchange_is_counted_as_it_went() -> None:
    line = polled_line(SETTING, every_s=0.5)
    units = {unit.unit: unit for unit in heard_on(line, 30.0).units}
    true = Counter(exchange.request.data[0] for exchange in line.exchanges if exchange.answers)
    assert units[1].answers == pytest.approx(true[1], abs=1)
    # Registers 200 to 207 of drive C have a hole, and under number 30 there is nobody.
    assert (units[9].answers, units[9].exceptions) == (0, pytest.approx(60, abs=1))
    assert (units[30].answers, units[30].no_answers) == (0, pytest.approx(60, abs=1))
    assert units[1].no_answers == units[1].damaged == 0


def test_the_turn_around_of_each_unit_is_measured() -> None:
    units = {unit.unit: unit for unit in heard_on(polled_line(SETTING), 20.0).units}
    # A drive knows that a request is over after 3.5 characters of silence; then its own time begins.
    silence_s = 3.5 * 11 / 19_200
    assert units[1].turn_around_p50_s == pytest.approx(silence_s + 0.004, abs=0.002)
    assert units[5].turn_around_p50_s == pytest.approx(silence_s + 0.012, abs=0.002)
    assert units[30].turn_around_p50_s is None


def test_how_full_the_line_is_is_the_time_of_its_characters() -> None:
    line = polled_line(SETTING, every_s=0.5)
    seen = heard_on(line, 30.0)
    said = sum(
        len(talk.data) for exchange in line.exchanges for talk in (exchange.request, *exchange.answers)
    )
    assert seen.bytes_heard == pytest.approx(said, abs=40)
    assert seen.line_share == pytest.approx(said * 11 / 19_200 / 30.0, rel=0.02)


def test_a_good_line_has_no_errors_wherever_listening_begins() -> None:
    for begins_s in (0.0, 1.003, 1.011, 1.02):
        line = polled_line(SETTING)
        line.advance(begins_s)
        line.heard()
        seen = heard_on(line, 5.0)
        assert (seen.crc_errors, seen.noise_bytes, seen.bad_characters, seen.strays) == (0, 0, 0, 0)


def test_damage_is_counted_and_what_is_whole_is_still_heard() -> None:
    line = polled_line(SETTING, every_s=0.3, wire=BadWire(damaged_frames=0.1), seed=2)
    seen = heard_on(line, 40.0)
    whole = sum(exchange.is_undamaged for exchange in line.exchanges)
    found = sum(unit.answers + unit.exceptions for unit in seen.units)
    # A damaged parity or stop bit leaves a byte as it was: such an exchange may be heard too.
    assert 0.999 * whole - 1 <= found <= sum(bool(exchange.answers) for exchange in line.exchanges)
    assert seen.crc_errors > 15
    assert seen.bad_characters > 15


@pytest.mark.parametrize("damaged_bytes", [0.0, 0.05])
@pytest.mark.parametrize("lump_s", [0.001, 0.016])
def test_undamaged_exchanges_are_decoded_and_none_invented(damaged_bytes: float, lump_s: float) -> None:
    line = polled_line(SETTING, every_s=0.2, wire=BadWire(damaged_bytes=damaged_bytes), seed=6)
    found: Counter[tuple[bytes, bytes]] = Counter()
    listen_at(
        LinePort(line, lump_s=lump_s),
        SETTING,
        45.0,
        threading.Event(),
        heard=lambda events: found.update(
            (bytes((event.request.unit,)) + event.request.pdu, bytes((event.answer.unit,)) + event.answer.pdu)
            for event in events
            if getattr(event, "answer", None) is not None
        ),
    )
    line.advance(line.now_s + 0.1)  # The line judges what was said only when it is over.
    sent = Counter(
        (exchange.request.data[:-2], exchange.answers[0].data[:-2])
        for exchange in line.exchanges
        if exchange.is_undamaged
    )
    # A damaged parity or stop bit leaves a byte as it was: such an exchange may be heard too, but none
    # that was never said.
    said = Counter(
        (exchange.request.data[:-2], reply.data[:-2])
        for exchange in line.exchanges
        for reply in exchange.answers
    )
    assert found - said == Counter()
    assert (found & sent).total() >= 0.999 * sent.total() - 1
    assert sent.total() > 50


def test_what_lumps_hide_of_the_turn_around_is_not_told() -> None:
    line = polled_line(parse_line_setting("115200 8E1"), reads=READS[:1])
    (unit,) = heard_on(line, 10.0, parse_line_setting("115200 8E1"), lump_s=0.05).units
    assert (unit.answers > 5, unit.turn_around_p50_s) == (True, None)


def test_a_silent_line_has_neither_master_nor_units() -> None:
    seen = heard_on(SharedLine(simulated(SETTING), drives()), 5.0)
    assert (seen.has_master, seen.units, seen.bytes_heard, seen.seconds) == (
        False,
        (),
        0,
        pytest.approx(5, abs=0.2),
    )


def test_a_line_of_an_unknown_setting_is_found_and_then_pictured() -> None:
    setting = parse_line_setting("38400 8O1")
    seen = heard_on(polled_line(setting, every_s=0.5), 12.0, None)
    assert (seen.setting, seen.setting_is_sure, len(seen.units)) == (setting, True, 4)


def test_bytes_without_a_frame_leave_the_setting_open() -> None:
    line = polled_line(SETTING, port=PortWiring(is_swapped=True))
    seen = heard_on(line, 10.0, None)
    assert (seen.setting, seen.has_master, seen.bytes_heard > 50) == (None, False, True)


def test_writes_broadcasts_and_other_functions_are_counted_apart_from_reads() -> None:
    write = framed(bytes.fromhex("01 06 0000 0123"))
    to_all = framed(bytes.fromhex("00 06 0000 0001"))
    other = framed(bytes.fromhex("01 41 01")) + framed(bytes.fromhex("01 41 02 03"))
    known = read(1, 3, 0, 1) + answer(1, 3, b"\0\1")
    seen = pictured(known + write * 2 + to_all + known + other + known)
    (unit,) = seen.units
    assert (unit.requests, unit.answers, unit.writes) == (4, 4, 1)
    assert unit.written == (WriteSeen(function=6, address=0, count=1, times=1, every_s=None, last=(0x123,)),)
    assert seen.written_to_all == (
        WriteSeen(function=6, address=0, count=1, times=1, every_s=None, last=(1,)),
    )
    assert (seen.broadcasts, seen.other_functions) == (1, ((1, 0x41, 2),))


# Request examples of the application protocol V1.1b3, 6.5, 6.6, 6.11, 6.12, 6.16 and 6.17 (from memory).
WRITES = {
    "coil": ("05 00AC FF00", (5, 0xAC, 1), (0xFF00,)),
    "register": ("06 0001 0003", (6, 1, 1), (3,)),
    "coils": ("0F 0013 000A 02 CD01", (15, 0x13, 10), ()),
    "registers": ("10 0001 0002 04 000A 0102", (16, 1, 2), (0x0A, 0x102)),
    "masked": ("16 0004 00F2 0025", (22, 4, 1), ()),
    "with a read": ("17 0003 0006 000E 0003 06 00FF 00FE 00FD", (23, 14, 3), (0xFF, 0xFE, 0xFD)),
}


@pytest.mark.parametrize("example", WRITES)
def test_each_kind_of_write_is_told_with_its_place_and_its_words(example: str) -> None:
    pdu, place, last = WRITES[example]
    (unit,) = pictured(framed(bytes.fromhex("03" + pdu))).units
    (seen,) = unit.written
    assert (unit.unit, (seen.function, seen.address, seen.count), seen.last) == (3, place, last)


def test_how_often_another_master_writes_is_told() -> None:
    command = bytes.fromhex("10 0028 0004 08 1D4C 0000 0000 0001")
    master = ForeignMaster(reads=READS[:1], every_s=5.0, others=((1, command),))
    (unit,) = heard_on(SharedLine(simulated(SETTING), drives(), [master]), 60.0).units
    (seen,) = unit.written
    assert (seen.address, seen.count, seen.last) == (40, 4, (7500, 0, 0, 1))
    assert (seen.times, seen.every_s) == (pytest.approx(12, abs=1), pytest.approx(5.0, abs=0.05))


def test_two_masters_are_seen_where_one_speaks_between_anothers_request_and_its_answer() -> None:
    usual = [(read(1, 3, 0, 1), 0.0), (answer(1, 3, b"\0\1"), 0.012)]
    crossed = [(read(1, 3, 0, 1), 0.0), (read(2, 3, 0, 1), 0.008), (answer(1, 3, b"\0\1"), 0.014)]
    given_up = [(read(1, 3, 0, 1), 0.0), (read(2, 3, 0, 1), 0.308), (answer(1, 3, b"\0\1"), 0.330)]

    def masters(rounds: list[list[tuple[bytes, float]]]) -> int:
        taker, decoder, pairing = PictureTaker(SETTING), StreamDecoder(), Pairing()
        for begun_s, talks in enumerate(rounds):
            for frame, at_s in talks:
                taker.take(pairing.take(decoder.feed(frame, begun_s + at_s)))
        return taker.picture(seconds=9.0, bytes_heard=1).masters_seen

    assert masters([usual] * 5) == 1
    assert masters([usual] * 5 + [crossed] * 2) == 2
    # A drive that is later than its master waits is no second master.
    assert masters([usual] * 5 + [given_up] * 3) == 1


def test_answers_alone_are_no_master() -> None:
    seen = pictured(answer(1, 3, b"\0\1") * 5)
    assert (seen.has_master, seen.strays) == (False, 5)


def test_a_second_master_on_a_shared_line_is_heard_with_all_its_reads() -> None:
    masters = [
        ForeignMaster(reads=((1, 3, 10, 4),), every_s=0.5, name="controller"),
        ForeignMaster(reads=((5, 4, 100, 14),), every_s=0.7, first_s=0.3, name="logger"),
    ]
    seen = heard_on(SharedLine(simulated(SETTING), drives(), masters), 30.0)
    assert {unit.unit for unit in seen.units} == {1, 5}
