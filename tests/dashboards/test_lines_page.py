"""What the page of the lines says, for each state a line can be in."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dashboards.figures.line import MOST_UNITS, drawn_units, kinds_seen, line_figure, stands_alone
from dashboards.line_views import ERROR_KINDS, Line, LinePicture, LinesPage, UnitOnLine, UnitReplies, Worse
from dashboards.pages import lines_page
from dashboards.pages.lines import headline
from dashboards.wording import lines
from dashboards.wording.lines import dead_words, full_words, worse_words

NOW_MS = 1_793_000_000_000
UNIT = UnitOnLine(unit=3, pump="P03", requests=1000, answers=1000, reply_p50_s=0.02, reply_p95_s=0.03)
SOUND = Line(
    name="cellar",
    place="/dev/ttyS0",
    setting="19200 8E1",
    is_listened=False,
    state="answers",
    use=0.2,
    units=(UNIT,),
    last_reading_utc_ms=NOW_MS,
    counted_until_utc_ms=NOW_MS,
)
STRANGE = replace(UNIT, unit=9, pump="")
SILENT = replace(UNIT, is_silent=True, answers=0, no_reply=1000)
DEAD = replace(SOUND, state="dead", units=(SILENT,), last_reading_utc_ms=NOW_MS - 3_600_000)
WORSE = Worse(kind="damaged", since_utc_ms=NOW_MS - 3_600_000, before=0.001, after=0.04)


def page_of(invented: SimpleNamespace, *shown: Line) -> LinesPage:
    return LinesPage(frame=invented.frame(now_utc_ms=NOW_MS), range="day", hours=24, lines=shown)


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        ((SOUND, SOUND), "All lines answer"),
        ((SOUND, DEAD), "One line dead: cellar"),
        ((DEAD, DEAD), "2 lines dead: cellar, cellar"),
        ((SOUND, replace(DEAD, state="not_asked")), "One line not asked: cellar"),
        (
            (SOUND, DEAD, replace(DEAD, name="roof", state="not_asked")),
            "One line dead: cellar; 1 not asked: roof",
        ),
        ((SOUND, replace(SOUND, state="some_silent")), "One line with silent drives"),
        ((SOUND, replace(SOUND, worse=(WORSE,))), "All lines answer; one line worth a look"),
        ((SOUND, replace(SOUND, troubles=("t",))), "All lines answer; one line worth a look"),
        ((replace(SOUND, use=0.95), SOUND), "All lines answer; one line worth a look"),
        ((replace(SOUND, state="not_counted"),), "Nothing was counted on any line yet"),
        ((SOUND, replace(SOUND, state="not_counted")), "One line of 2 counted"),
        (
            (SOUND, replace(SOUND, units=(UNIT, STRANGE))),
            "All lines answer; one unit on them is not in the site file",
        ),
    ],
)
def test_the_first_line_of_the_page_says_how_the_lines_are(
    invented: SimpleNamespace, shown: tuple[Line, ...], words: str
) -> None:
    assert headline(page_of(invented, *shown)) == words


def test_a_line_that_answers_is_not_called_dead(invented: SimpleNamespace) -> None:
    assert dead_words(SOUND, invented.frame()) == ""
    assert 'class="dead"' not in lines_page(page_of(invented, SOUND))


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (
            {
                "state": "not_asked",
                "units": (replace(SILENT, why_not_asked="/dev/x: a master polls this line"),),
            },
            "Nobody is asked on this line. /dev/x: a master polls this line. The last good reading",
        ),
        ({"is_listened": True}, "Is the other master off"),
        ({"units": (replace(SILENT, no_reply=0, damaged=1000),)}, "Bytes come, but no sound answer"),
        ({}, "power of the cabinet"),
        ({"setting": ""}, "the network, the gateway's power"),
        ({"last_reading_utc_ms": None}, "None of its pumps was ever read"),
    ],
)
def test_a_dead_line_says_where_to_look_first(
    invented: SimpleNamespace, more: dict[str, Any], words: str
) -> None:
    assert words in dead_words(replace(DEAD, **more), invented.frame(now_utc_ms=NOW_MS))


def test_a_dead_line_is_told_before_the_others(invented: SimpleNamespace) -> None:
    page = lines_page(page_of(invented, SOUND, replace(DEAD, name="roof")))
    assert page.index("<bdi>roof</bdi>") < page.index("<bdi>cellar</bdi>")


@pytest.mark.parametrize(("use", "is_said"), [(0.89, False), (0.9, True), (None, False)])
def test_a_full_line_is_told_from_nine_tenths_on(use: float | None, is_said: bool) -> None:
    assert bool(full_words(replace(SOUND, use=use))) is is_said


def test_a_line_that_another_master_fills_is_not_ours_to_slow_down() -> None:
    assert full_words(replace(SOUND, use=0.99, is_listened=True)) == ""


def test_a_full_line_with_silent_drives_says_that_waiting_is_part_of_it() -> None:
    assert "Waiting for silent drives" in full_words(replace(SOUND, use=0.95, units=(SILENT,)))


def test_what_became_worse_is_told_with_before_and_after(invented: SimpleNamespace) -> None:
    frame = invented.frame(now_utc_ms=NOW_MS)
    assert "4.0\N{NO-BREAK SPACE}% of requests, before 0.1\N{NO-BREAK SPACE}%" in worse_words(WORSE, frame)
    later = Worse(kind="later", since_utc_ms=NOW_MS, before=0.02, after=0.2, unit=3, pump="P03")
    assert worse_words(later, frame).startswith("Unit 3 (P03) answers later")
    assert "200\N{NO-BREAK SPACE}ms, before within 20\N{NO-BREAK SPACE}ms" in worse_words(later, frame)
    silent = replace(later, kind="no_reply", before=0.0, after=0.5, pump="")
    assert worse_words(silent, frame).startswith("Unit 3 is silent more often")


def test_every_kind_of_error_is_named_and_explained(invented: SimpleNamespace) -> None:
    page = lines_page(page_of(invented, SOUND))
    assert all(lines.ERRORS[kind] in page for kind in ERROR_KINDS)
    assert all(lines.ERRORS_EXPLAINED[kind].split(":")[0] in page for kind in ERROR_KINDS)


def test_before_the_first_counts_the_page_says_when_they_come(invented: SimpleNamespace) -> None:
    words = "first counts come a minute after"
    assert words in lines_page(page_of(invented, replace(SOUND, counted_until_utc_ms=None, use=None)))
    assert words not in lines_page(page_of(invented, SOUND))


def test_the_page_says_that_drives_may_start_by_themselves(invented: SimpleNamespace) -> None:
    assert "can start by themselves" in lines_page(page_of(invented, SOUND))


def picture(units: int = 2, **errors: list[float]) -> LinePicture:
    times = np.array([0, 900_000], dtype=np.int64)
    clean = {kind: np.array(errors.get(kind, [0.0, 0.0])) for kind in ERROR_KINDS}
    return LinePicture(
        name="cellar",
        time_zone="UTC",
        step_ms=900_000,
        times_utc_ms=times,
        use=np.array([0.2, 0.3]),
        errors=clean,
        replies=tuple(
            UnitReplies(
                unit=unit, pump="", p50_s=np.array([0.01, np.nan]), p95_s=np.array([unit / 100, np.nan])
            )
            for unit in range(1, units + 1)
        ),
    )


def test_a_picture_shows_kinds_that_happened_and_that_the_usual_ones_did_not() -> None:
    assert kinds_seen(picture()) == ["no_reply", "damaged"]
    assert kinds_seen(picture(echo=[0.0, 0.1])) == ["no_reply", "damaged", "echo"]


def test_of_many_units_the_slowest_are_drawn_and_the_caption_says_so() -> None:
    many = picture(units=MOST_UNITS + 4)
    assert [each.unit for each in drawn_units(many)] == list(range(5, MOST_UNITS + 5))
    assert f"the {MOST_UNITS} slowest of {MOST_UNITS + 4} units" in line_figure(many).caption


def test_no_replies_leave_a_gap_in_the_picture() -> None:
    times = next(trace for trace in line_figure(picture()).data if trace["name"] == "1")
    assert times["y"] == [10.0, None]
    assert times["connectgaps"] is False


def test_nothing_counted_is_said_in_words() -> None:
    empty = replace(picture(), use=np.array([np.nan, np.nan]))
    assert line_figure(empty).caption == "Nothing was counted on cellar in this range."


def test_small_errors_are_not_blown_up_and_large_ones_fit() -> None:
    small = line_figure(picture(damaged=[0.0, 0.0004])).layout["yaxis2"]["range"]
    large = line_figure(picture(damaged=[0.0, 0.5])).layout["yaxis2"]["range"]
    assert small == [0, 1.0]
    assert large[1] >= 50


def test_units_of_nobody_are_told_with_what_to_do(invented: SimpleNamespace) -> None:
    heard = replace(SOUND, units=(UNIT, STRANGE), is_listened=True)
    assert "asked by the other master and not in the site file" in lines.unlisted_words(heard)
    assert "Unit 9 is not in the site file any more" in lines.unlisted_words(
        replace(heard, is_listened=False)
    )
    assert lines.unlisted_words(SOUND) == ""


def test_the_page_says_what_its_numbers_count(invented: SimpleNamespace) -> None:
    page = lines_page(page_of(invented, SOUND, replace(SOUND, is_listened=True)))
    assert "Requests we sent over 24 hours; percentages are of a unit" in page
    assert "What the other master asked, as heard over 24 hours" in page


def test_a_narrow_screen_keeps_every_number_of_a_sound_unit_and_says_that_it_had_no_errors(
    invented: SimpleNamespace,
) -> None:
    page = lines_page(page_of(invented, replace(SOUND, units=(UNIT,))))
    assert 'class="narrow"><span class="quiet">, no errors' in page
    assert 'class="calm"' not in page
    assert "no errors" not in lines_page(page_of(invented, replace(SOUND, units=(SILENT,))))


def test_errors_stand_on_each_other_so_that_none_hides_another() -> None:
    bars = {
        trace["name"]: trace
        for trace in line_figure(picture(no_reply=[0.1, 0.0], damaged=[0.2, np.nan])).data
        if trace.get("yaxis") == "y2"
    }
    assert (bars["no_reply".replace("_", " ")]["base"], bars["damaged"]["base"]) == ([0.0, 0.0], [10.0, 0.0])
    assert bars["damaged"]["y"] == [20.0, None]


def test_the_errors_of_one_step_fit_together_under_the_top() -> None:
    top = line_figure(picture(no_reply=[0.4, 0.0], damaged=[0.5, 0.0])).layout["yaxis2"]["range"][1]
    assert top >= 90


def test_a_lone_value_has_a_mark_and_others_have_a_line() -> None:
    values = np.array([1.0, np.nan, 2.0, 3.0, np.nan, 4.0])
    assert stands_alone(values).tolist() == [True, False, False, False, False, True]
    assert stands_alone(np.array([1.0])).tolist() == [True]
    drawn = next(trace for trace in line_figure(picture()).data if trace["name"] == "1")
    assert drawn["marker"]["size"][0] > 0
    assert drawn["cliponaxis"] is False


def test_a_line_that_is_little_used_does_not_look_full() -> None:
    idle = replace(picture(), use=np.array([0.02, 0.018]))
    assert line_figure(idle).layout["yaxis"]["range"] == [0, 10.0]
