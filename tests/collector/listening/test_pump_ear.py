"""Readings out of another master's polling, and which answers are believed for it."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from collector.listening.answer_order import AnswerOrder
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Event, Exchange, Pairing, Stray
from collector.listening.pump_ear import PumpEar
from collector.reading import Quality, Reading, Source, unpack_quality
from collector.registers import RegisterMap, load_register_map
from tests.collector.bus.serial_devices import framed
from tests.collector.listening.streams import answer, read

MAP = """
[map]
name = "two blocks"
addresses = "zero-based"
[quantity]
speed_rpm = { table = "holding", address = 10, type = "u16", unit = "rpm" }
power_w = { table = "holding", address = 11, type = "u16", unit = "W", no_value = [0xFFFF] }
flow_m3h = { table = "holding", address = 30, type = "u16", scale = 0.1, unit = "m3/h" }
head_m = { table = "input", address = 10, type = "f32", unit = "m" }
"""


@pytest.fixture
def register_map(tmp_path: Path) -> RegisterMap:
    path = tmp_path / "map.toml"
    path.write_text(MAP, encoding="utf-8")
    return load_register_map(path)


def heard(*talks: tuple[float, bytes]) -> list[Event]:
    decoder, pairing = StreamDecoder(), Pairing()
    events = [event for at_s, data in talks for event in pairing.take(decoder.feed(data, at_s))]
    return events + pairing.take(decoder.silence()) + pairing.silence(0.0, 1e9)


def words(*values: int) -> bytes:
    return struct.pack(f">{len(values)}H", *values)


SPEED_AND_POWER = read(1, 3, 10, 2)
FLOW = read(1, 3, 30, 1)
HEAD = read(1, 4, 10, 2)


def readings(ear: PumpEar, *talks: tuple[float, bytes]) -> list[Reading]:
    exchanges = [event for event in heard(*talks) if isinstance(event, Exchange)]
    return [
        reading
        for exchange in exchanges
        for reading in ear.take(exchange, round(1000 * (exchange.answer or exchange.request).ends_s))
    ]


def round_at(second: float, speed: int, flow: int) -> list[tuple[float, bytes]]:
    return [
        (second, SPEED_AND_POWER),
        (second + 0.02, answer(1, 3, words(speed, 1180))),
        (second + 0.10, FLOW),
        (second + 0.12, answer(1, 3, words(flow))),
    ]


def test_a_round_becomes_one_reading_at_the_time_of_its_last_answer(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    came = readings(ear, *round_at(1, 2400, 322), *round_at(2, 2410, 323), *round_at(3, 2420, 324))
    assert [(each.time_utc_ms, each.speed_rpm, each.flow_m3h) for each in came] == [
        (1120, 2400.0, pytest.approx(32.2)),
        (2120, 2410.0, pytest.approx(32.3)),
        (3120, 2420.0, pytest.approx(32.4)),
    ]
    assert {each.source for each in came} == {Source.HEARD}


def test_what_the_other_master_does_not_read_is_left_out_and_no_fault(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    came = [*readings(ear, *round_at(1, 2400, 322)), *ear.finish()]
    assert [(each.head_m, each.quality) for each in came] == [(None, 0)]


def test_a_block_that_holds_more_than_the_map_gives_what_the_map_knows(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    wide = [(1.0, read(1, 3, 0, 40)), (1.1, answer(1, 3, words(*range(1000, 1040))))]
    (reading,) = [*readings(ear, *wide), *ear.finish()]
    assert (reading.speed_rpm, reading.power_w, reading.flow_m3h) == (1010.0, 1011.0, pytest.approx(103.0))


def test_a_value_that_is_only_half_read_is_none_at_all(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    half = [(1.0, read(1, 4, 10, 1)), (1.1, answer(1, 4, words(0x4100)))]
    assert [*readings(ear, *half), *ear.finish()] == []


def test_a_value_older_than_its_own_poll_is_not_repeated(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    speed_again = [(2.0, SPEED_AND_POWER), (2.1, answer(1, 3, words(2410, 1180)))]
    speed_third = [(3.0, SPEED_AND_POWER), (3.1, answer(1, 3, words(2420, 1180)))]
    came = [*readings(ear, *round_at(1, 2400, 322), *speed_again, *speed_third), *ear.finish()]
    assert [(each.speed_rpm, each.flow_m3h) for each in came] == [
        (2400.0, pytest.approx(32.2)),
        (2410.0, None),
        (2420.0, None),
    ]


def test_a_block_that_is_refused_or_unanswered_leaves_a_partial_reading(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    talks = [
        *[(1.0, SPEED_AND_POWER), (1.1, answer(1, 3, words(2400, 0xFFFF)))],
        *[(1.2, FLOW), (1.3, framed(bytes.fromhex("01 83 02")))],
        (1.4, HEAD),
    ]
    (reading,) = [*readings(ear, *talks), *ear.finish()]
    qualities = unpack_quality(reading.quality)
    assert (reading.speed_rpm, reading.power_w, reading.flow_m3h, reading.head_m) == (
        2400.0,
        None,
        None,
        None,
    )
    assert [qualities[name] for name in ("power_w", "flow_m3h", "head_m")] == [
        Quality.NO_VALUE,
        Quality.REFUSED,
        Quality.NO_REPLY,
    ]


def test_a_round_without_any_answer_is_no_reading(register_map: RegisterMap) -> None:
    ear = PumpEar("P1", register_map)
    assert [*readings(ear, (1.0, SPEED_AND_POWER), (2.0, SPEED_AND_POWER)), *ear.finish()] == []


def certain(late_reply_s: float, *talks: tuple[float, bytes]) -> list[bool]:
    order = AnswerOrder(late_reply_s)
    told = []
    for event in heard(*talks):
        if isinstance(event, Stray):
            order.stray(event)
        elif isinstance(event, Exchange):
            is_certain = order.is_certain(event)
            if event.answer is not None:
                told.append(is_certain)
    return told


A, B, C = read(1, 3, 100, 2), read(1, 3, 200, 2), read(1, 3, 300, 5)
"""A and B have answers of one shape, C has another."""
TWO, FIVE = answer(1, 3, words(1, 2)), answer(1, 3, words(1, 2, 3, 4, 5))


def test_answers_in_order_are_certain() -> None:
    assert certain(1.0, (0, A), (0.1, TWO), (0.2, B), (0.3, TWO), (0.4, C), (0.5, FIVE)) == [True] * 3


def test_after_an_unanswered_request_an_answer_of_its_shape_is_not_believed() -> None:
    assert certain(1.0, (0, A), (0.1, TWO), (0.2, B), (0.5, A), (0.6, TWO), (0.7, B), (0.8, TWO)) == [
        True,
        False,
        False,
    ]


def test_an_answer_of_another_shape_proves_that_the_old_one_has_come_or_never_comes() -> None:
    talks = [(0, A), (0.1, TWO), (0.2, B), (0.5, C), (0.6, FIVE), (0.7, A), (0.8, TWO)]
    assert certain(1.0, *talks) == [True, True, True]


def test_so_does_leaving_the_unit_alone_for_as_long_as_it_may_be_late() -> None:
    talks = [(0, A), (0.1, TWO), (0.2, B), (1.1, A), (1.2, TWO)]
    assert certain(1.0, *talks) == [True, False]
    talks = [(0, A), (0.1, TWO), (0.2, B), (1.3, A), (1.4, TWO)]
    assert certain(1.0, *talks) == [True, True]


def test_where_only_one_block_of_a_shape_is_read_there_is_nothing_to_mistake() -> None:
    assert certain(1.0, (0, A), (0.3, A), (0.4, TWO), (0.5, A), (0.6, TWO)) == [True, True]


def test_an_answer_that_nobody_asked_for_casts_doubt_on_the_next() -> None:
    talks = [(0, A), (0.1, TWO), (0.2, B), (0.3, TWO), (0.35, TWO), (0.4, A), (0.5, TWO)]
    assert certain(1.0, *talks) == [True, True, False]


def test_an_answer_behind_a_damaged_request_casts_none() -> None:
    talks = [(0, A), (0.1, TWO), (0.2, B), (0.3, TWO), (0.4, bytes(8)), (0.5, TWO), (0.6, A), (0.7, TWO)]
    assert certain(1.0, *talks) == [True, True, True]


def test_an_exception_proves_nothing_of_the_order() -> None:
    refused = framed(bytes.fromhex("01 83 02"))
    talks = [(0, A), (0.1, TWO), (0.2, B), (0.5, C), (0.6, refused), (0.7, A), (0.8, TWO)]
    assert certain(1.0, *talks) == [True, False, False]
