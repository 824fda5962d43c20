"""What is told of the lines: sums of counts, who is silent, what the wires look like, since when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from api.answers.bus_health import lines_page
from api.answers.line_picture import line_picture
from api.answers.source import Source
from collector.line_quarter import QUARTER_MS
from collector.reading import FailureKind, Reading
from dashboards.line_views import Line
from tests.api.answers.invented_lines import (
    DEAD_FROM_MS,
    NOON_MS,
    NOW_MS,
    PUMPS,
    REQUESTS,
    counted,
    fill,
    lines_source,
    no_reply,
)

DAY_QUARTERS = 95
"""The clock goes on from the end of the last quarter: the first of the day has just left the range."""


@pytest.fixture
def source(tmp_path: Path) -> Iterator[Source]:
    source = lines_source(tmp_path)
    yield source
    source.close()


def line(source: Source, name: str, within: str = "day") -> Line:
    return next(each for each in lines_page(source, within).lines if each.name == name)


def kept(source: Source, *quarters: object) -> None:
    source.store.record_lines(quarters)  # type: ignore[arg-type]


def recent(place: int = 1) -> int:
    return NOW_MS - place * QUARTER_MS


def test_the_lines_stand_in_the_order_of_the_site_file(source: Source) -> None:
    assert [each.name for each in lines_page(source, "day").lines] == list(PUMPS)


def test_counts_are_summed_by_unit_over_the_range(source: Source) -> None:
    fill(source)
    unit = line(source, "filter_hall").units[0]
    assert unit.requests == unit.answers == DAY_QUARTERS * REQUESTS
    assert line(source, "filter_hall", "week").units[0].requests == 192 * REQUESTS


def test_use_is_the_busy_time_of_all_units_over_the_watched_time_once(source: Source) -> None:
    start = recent()
    kept(source, *(counted("filter_hall", unit, start) for unit in (1, 2)))
    assert line(source, "filter_hall").use == pytest.approx(2 * REQUESTS * 0.06 / 900)


def test_reply_times_are_those_of_the_unit(source: Source) -> None:
    fill(source)
    slow = next(unit for unit in line(source, "plant_room").units if unit.unit == 12)
    quick = next(unit for unit in line(source, "plant_room").units if unit.unit == 11)
    assert slow.reply_p95_s is not None
    assert quick.reply_p95_s is not None
    assert 0.15 <= slow.reply_p95_s <= 0.2
    assert 0.02 <= quick.reply_p95_s <= 0.03


def test_a_line_of_which_every_pump_is_silent_is_dead(source: Source) -> None:
    fill(source)
    roof = line(source, "roof")
    assert (roof.state, roof.last_reading_utc_ms) == ("dead", DEAD_FROM_MS)
    assert all(unit.is_silent for unit in roof.units)


def test_a_line_with_one_silent_pump_is_not_dead(source: Source) -> None:
    fill(source)
    source.store.append([Reading(pump="Air handling", time_utc_ms=NOW_MS - 5000, speed_rpm=1.0)])
    assert line(source, "roof").state == "some_silent"


def test_a_line_whose_collector_has_stopped_is_not_called_dead(source: Source) -> None:
    # Nobody asked since: the silence is ours, and every page says that readings have stopped.
    source.store.append([Reading(pump=each, time_utc_ms=DEAD_FROM_MS) for each in PUMPS["roof"].values()])
    source.store.record_failures([no_reply("Air handling", DEAD_FROM_MS - 60_000)])
    assert line(source, "roof").state == "answers"


def test_a_single_failed_turn_just_now_is_not_silence(source: Source) -> None:
    source.store.append([Reading(pump="Fountain", time_utc_ms=NOW_MS - 15_000)])
    source.store.record_failures([no_reply("Fountain", NOW_MS - 5_000)])
    assert line(source, "yard").state == "answers"


def test_pumps_that_were_never_read_make_a_dead_line_too(source: Source) -> None:
    source.store.record_failures([no_reply(each, NOW_MS - 9_000) for each in PUMPS["roof"].values()])
    roof = line(source, "roof")
    assert (roof.state, roof.last_reading_utc_ms) == ("dead", None)


def test_a_line_on_which_another_master_was_heard_is_not_asked_and_says_who_was_heard(source: Source) -> None:
    heard = "/dev/ttyS9: a master polls this line, so nothing was sent"
    for name in PUMPS["roof"].values():
        failure = replace(no_reply(name, NOW_MS - 20_000), kind=FailureKind.NO_LINK, sentence=heard)
        source.store.record_failures([failure])
    roof = line(source, "roof")
    assert (roof.state, {unit.why_not_asked for unit in roof.units}) == ("not_asked", {heard})


def test_a_line_of_which_nothing_is_known_says_so(source: Source) -> None:
    roof = line(source, "roof")
    assert (roof.state, roof.use, roof.counted_until_utc_ms) == ("not_counted", None, None)
    assert [unit.pump for unit in roof.units] == list(PUMPS["roof"].values())


def test_units_that_the_site_file_does_not_name_are_shown_without_a_pump(source: Source) -> None:
    fill(source)
    assert [(unit.unit, unit.pump) for unit in line(source, "yard").units] == [(5, "Fountain"), (6, "")]


def test_damage_on_long_answers_is_named_with_where_to_look(source: Source) -> None:
    fill(source)
    (words,) = line(source, "plant_room").troubles
    assert words.startswith("Long answers are damaged")
    assert "termination" in words


def test_damage_is_told_since_somebody_moved_the_cable(source: Source) -> None:
    fill(source)
    worse = next(each for each in line(source, "plant_room").worse if each.kind == "damaged")
    assert worse.since_utc_ms == NOON_MS
    assert worse.before == 0
    assert worse.after == pytest.approx(12 / REQUESTS)


def test_one_units_later_replies_are_told_and_no_other_units(source: Source) -> None:
    fill(source)
    later = [each for each in line(source, "plant_room").worse if each.kind == "later"]
    assert [(each.unit, each.pump, each.since_utc_ms) for each in later] == [(12, "Heating main", NOON_MS)]
    assert later[0].before < 0.03 < 0.15 < later[0].after


def test_a_unit_that_became_silent_at_times_is_told(source: Source) -> None:
    kept(
        source,
        *(
            counted("filter_hall", 1, recent(place), no_reply=9 if place < 20 else 0)
            for place in range(1, 90)
        ),
    )
    (worse,) = line(source, "filter_hall").worse
    assert (worse.kind, worse.unit, worse.since_utc_ms) == ("no_reply", 1, recent(19))


def test_a_sound_line_has_nothing_said_of_it(source: Source) -> None:
    fill(source)
    hall = line(source, "filter_hall")
    assert (hall.state, hall.troubles, hall.worse) == ("answers", (), ())


def test_what_was_mended_hours_ago_is_no_trouble_now(source: Source) -> None:
    kept(
        source,
        *(
            counted("filter_hall", 1, recent(place), damaged=20 if place > 30 else 0)
            for place in range(1, 90)
        ),
    )
    hall = line(source, "filter_hall")
    assert (hall.troubles, hall.worse) == ((), ())
    assert hall.units[0].damaged == 59 * 20


def test_a_unit_that_refuses_all_is_named(source: Source) -> None:
    kept(source, counted("filter_hall", 1, recent(), refused=REQUESTS), counted("filter_hall", 2, recent()))
    (words,) = line(source, "filter_hall").troubles
    assert words.startswith("Unit 1 answered every read with an exception")


def test_of_a_dead_line_only_that_is_said(source: Source) -> None:
    fill(source)
    roof = line(source, "roof")
    assert (roof.troubles, roof.worse) == ((), ())


def test_a_picture_has_the_counts_at_their_times(source: Source) -> None:
    fill(source)
    bus = source.site.buses[0]
    picture = line_picture(source, bus, "day")
    at_noon = picture.times_utc_ms.tolist().index(NOON_MS)
    damaged = picture.errors["damaged"]
    assert damaged[at_noon] == pytest.approx(12 / REQUESTS)
    assert damaged[at_noon - 1] == 0
    assert [each.unit for each in picture.replies] == [11, 12, 13]


def test_a_picture_leaves_a_gap_where_nothing_was_counted(source: Source) -> None:
    kept(source, counted("filter_hall", 1, recent(8)), counted("filter_hall", 1, recent(2)))
    picture = line_picture(source, source.site.buses[1], "day")
    # From the first count on: what came before there was anything to count takes no room.
    assert picture.times_utc_ms[0] == recent(8)
    assert np.isfinite(picture.use).tolist() == [True, *[False] * 5, True, False, False]
    assert np.isnan(picture.replies[0].p95_s[1])


def test_a_port_that_is_away_is_an_error_though_nothing_was_asked(source: Source) -> None:
    start = recent()
    away = counted("filter_hall", 1, start, requests=0)
    kept(source, type(away)(**{name: getattr(away, name) for name in away.__slots__} | {"no_link": 7}))
    picture = line_picture(source, source.site.buses[1], "day")
    assert picture.errors["no_link"][0] == 1.0
    assert line(source, "filter_hall").units[0].no_link == 7


@pytest.mark.parametrize(("within", "step_min"), [("day", 15), ("week", 60), ("month", 240)])
def test_longer_ranges_are_shown_in_longer_steps(source: Source, within: str, step_min: int) -> None:
    fill(source)
    picture = line_picture(source, source.site.buses[1], within)
    assert picture.step_ms == step_min * 60_000
    assert len(picture.times_utc_ms) <= 200
