"""Readings out of another master's polling: which values make a round, and when it is over."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from collector.listening.exchanges import Event
from collector.listening.unit_ear import UnitEar
from collector.reading import Quality, Reading, Source, unpack_quality
from collector.registers import RegisterMap, load_register_map
from tests.collector.bus.serial_devices import framed
from tests.collector.listening.ears import Talk, heard
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


def words(*values: int) -> bytes:
    return struct.pack(f">{len(values)}H", *values)


SPEED_AND_POWER = read(1, 3, 10, 2)
FLOW = read(1, 3, 30, 1)
HEAD = read(1, 4, 10, 2)


def ear_of(register_map: RegisterMap) -> UnitEar:
    return UnitEar("P1", 1, register_map, 1.0, lambda time_s: round(1000 * time_s))


def readings(ear: UnitEar, *talks: Talk) -> list[Reading]:
    return readings_of(ear, heard(*talks))


def readings_of(ear: UnitEar, events: list[Event]) -> list[Reading]:
    return [reading for event in events for reading in ear.take(event)]


def round_at(second: float, speed: int, flow: int) -> list[Talk]:
    return [
        (second, SPEED_AND_POWER),
        (second + 0.02, answer(1, 3, words(speed, 1180))),
        (second + 0.10, FLOW),
        (second + 0.12, answer(1, 3, words(flow))),
    ]


def test_a_round_becomes_one_reading_at_the_time_of_its_last_answer(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
    came = readings(ear, *round_at(1, 2400, 322), *round_at(2, 2410, 323), *round_at(3, 2420, 324))
    assert [(each.time_utc_ms, each.speed_rpm, each.flow_m3h) for each in came] == [
        (1120, 2400.0, pytest.approx(32.2)),
        (2120, 2410.0, pytest.approx(32.3)),
        (3120, 2420.0, pytest.approx(32.4)),
    ]
    assert {each.source for each in came} == {Source.HEARD}


def test_what_the_other_master_does_not_read_is_left_out_and_no_fault(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
    came = [*readings(ear, *round_at(1, 2400, 322)), *ear.finish()]
    assert [(each.head_m, each.quality) for each in came] == [(None, 0)]


def test_a_block_that_holds_more_than_the_map_gives_what_the_map_knows(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
    wide = [(1.0, read(1, 3, 0, 40)), (1.1, answer(1, 3, words(*range(1000, 1040))))]
    (reading,) = [*readings(ear, *wide), *ear.finish()]
    assert (reading.speed_rpm, reading.power_w, reading.flow_m3h) == (1010.0, 1011.0, pytest.approx(103.0))


def test_a_value_that_is_only_half_read_is_none_at_all(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
    half = [(1.0, read(1, 4, 10, 1)), (1.1, answer(1, 4, words(0x4100)))]
    assert [*readings(ear, *half), *ear.finish()] == []


def test_a_value_older_than_its_own_poll_is_not_repeated(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
    speed_again = [(2.0, SPEED_AND_POWER), (2.1, answer(1, 3, words(2410, 1180)))]
    speed_third = [(3.0, SPEED_AND_POWER), (3.1, answer(1, 3, words(2420, 1180)))]
    came = [*readings(ear, *round_at(1, 2400, 322), *speed_again, *speed_third), *ear.finish()]
    assert [(each.speed_rpm, each.flow_m3h) for each in came] == [
        (2400.0, pytest.approx(32.2)),
        (2410.0, None),
        (2420.0, None),
    ]


def test_a_block_that_is_refused_or_unanswered_leaves_a_partial_reading(register_map: RegisterMap) -> None:
    ear = ear_of(register_map)
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
    ear = ear_of(register_map)
    assert [*readings(ear, (1.0, SPEED_AND_POWER), (2.0, SPEED_AND_POWER)), *ear.finish()] == []


SPEED_ALONE = [(0.0, SPEED_AND_POWER), (0.02, answer(1, 3, words(2400, 1180)))]
FLOW_ALONE = [(0.0, FLOW), (0.02, answer(1, 3, words(322)))]


def at(begins_s: float, talks: list[Talk]) -> list[Talk]:
    return [(begins_s + at_s, data) for at_s, data in talks]


def values(came: list[Reading]) -> list[tuple[float | None, float | None]]:
    return [(each.speed_rpm, each.flow_m3h) for each in came]


FLOW_SHOWN = pytest.approx(32.2)


def test_a_speed_of_an_hour_ago_joins_no_flow(register_map: RegisterMap) -> None:
    # Before, this was one reading of 2400 rpm and 32.2 m³/h.
    ear = ear_of(register_map)
    came = [*readings(ear, *at(0, SPEED_ALONE), *at(3600, FLOW_ALONE)), *ear.finish()]
    assert values(came) == [(2400.0, None), (None, FLOW_SHOWN)]


@pytest.mark.parametrize(("apart_s", "joined"), [(9.9, True), (10.1, False)])
def test_values_of_one_state_are_no_more_than_ten_seconds_apart(
    register_map: RegisterMap, apart_s: float, joined: bool
) -> None:
    ear = ear_of(register_map)
    came = [*readings(ear, *at(0, SPEED_ALONE), *at(apart_s, FLOW_ALONE)), *ear.finish()]
    assert values(came) == ([(2400.0, FLOW_SHOWN)] if joined else [(2400.0, None), (None, FLOW_SHOWN)])


def test_what_is_left_of_a_round_is_not_joined_to_the_next_ones(register_map: RegisterMap) -> None:
    # The flow of the third round and the speed of the fourth were not heard. Before, the third speed and
    # the fourth flow were one reading, three seconds apart.
    ear = ear_of(register_map)
    rounds = [talk for begins_s in (0, 3) for talk in round_at(begins_s, 2400, 322)]
    came = [*readings(ear, *rounds, *at(6, SPEED_ALONE), *at(9.1, FLOW_ALONE)), *ear.finish()]
    assert values(came)[2:] == [(2400.0, None), (None, FLOW_SHOWN)]


def test_a_part_that_was_missing_once_is_awaited_again(register_map: RegisterMap) -> None:
    # Before, the fourth flow closed a round by itself, and the fourth speed was joined to the fifth flow.
    flow_first = [*at(0, FLOW_ALONE), *at(0.1, SPEED_ALONE)]
    ear = ear_of(register_map)
    talks = [talk for begins_s in (0, 3, 6) for talk in at(begins_s, flow_first)]
    talks += at(9, FLOW_ALONE) + [talk for begins_s in (12, 15) for talk in at(begins_s, flow_first)]
    came = [*readings(ear, *talks), *ear.finish()]
    assert values(came)[-3:] == [(None, FLOW_SHOWN), (2400.0, FLOW_SHOWN), (2400.0, FLOW_SHOWN)]


def test_a_round_that_has_no_more_to_come_is_a_reading_without_waiting_for_another(
    register_map: RegisterMap,
) -> None:
    ear = ear_of(register_map)
    assert readings(ear, *at(0, SPEED_ALONE)) == []
    assert ear.wait(10.0) == []
    assert values(ear.wait(10.1)) == [(2400.0, None)]
    assert ear.wait(20.0) == ear.finish() == []


def test_after_the_port_was_opened_again_nothing_is_joined_to_what_was_before(
    register_map: RegisterMap,
) -> None:
    # Before, a speed heard until the adapter was pulled out joined the first flow after it was back.
    ear = ear_of(register_map)
    before = readings(ear, *at(0, SPEED_ALONE))
    after = readings_of(ear, heard(*at(4, FLOW_ALONE), *at(6, FLOW_ALONE), begins_s=1.0))
    assert before == []
    assert values([*after, *ear.finish()]) == [(2400.0, None), (None, FLOW_SHOWN)]


def test_a_value_that_comes_a_second_time_begins_a_round(register_map: RegisterMap) -> None:
    # Two reads that overlap: before, the second speed took the place of the first, beside the first's power.
    ear = ear_of(register_map)
    speed_alone = [(0.2, read(1, 3, 10, 1)), (0.22, answer(1, 3, words(1200)))]
    came = [*readings(ear, *SPEED_ALONE, *speed_alone), *ear.finish()]
    assert [(each.speed_rpm, each.power_w) for each in came] == [(2400.0, 1180.0), (1200.0, None)]


def test_an_answer_whose_request_is_not_certain_is_a_value_that_is_missing(register_map: RegisterMap) -> None:
    # Somebody may have been asked just before we listened, and this may be his answer.
    ear = ear_of(register_map)
    came = readings_of(ear, heard(*round_at(0.0, 2400, 322), begins_s=-0.1))
    assert [*came, *ear.finish()] == []
    assert ear.heard.uncertain == 2
