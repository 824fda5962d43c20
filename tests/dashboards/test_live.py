from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pytest

from api.analytics.finding import Kind
from dashboards.pages.live import findings_mark, is_left_out, live_answer, value_note, with_efficiency
from dashboards.pages.small_pictures import place_on_scale, quiet_line
from dashboards.pages.staleness import as_of_words, is_stale, stale_words
from dashboards.views import DutyPoint, LiveValue


@pytest.mark.parametrize(("age_s", "stale"), [(120, False), (121, True)])
def test_readings_are_called_stopped_only_beyond_the_limit(
    invented: SimpleNamespace, age_s: int, stale: bool
) -> None:
    frame = invented.frame(data_as_of_utc_ms=invented.NOW_MS - age_s * 1000)
    assert is_stale(frame) is stale
    assert bool(stale_words(frame)) is stale


def test_imported_data_are_never_stale(invented: SimpleNamespace) -> None:
    assert not is_stale(invented.frame(data_as_of_utc_ms=0, is_imported_only=True))


def test_the_warning_says_how_old_and_what_to_check(invented: SimpleNamespace) -> None:
    words = stale_words(invented.frame(data_as_of_utc_ms=invented.NOW_MS - 3 * invented.HOUR_MS))
    assert "the newest is 3 h old" in words
    assert "collector" in words


def test_the_live_dot_moves_in_display_units(invented: SimpleNamespace) -> None:
    now = DutyPoint(time_utc_ms=0, speed_rpm=2400, flow_m3h=22.7125, head_m=3.048, power_w=655)
    answer = live_answer(invented.frame(units="US"), [], now)
    assert answer["now"]["head"] == pytest.approx([100, 10], rel=1e-4)
    assert answer["now"]["power"] == pytest.approx([100, 655], rel=1e-4)


def test_the_answer_is_json_whatever_the_names_are(invented: SimpleNamespace) -> None:
    page = invented.site()
    answer = json.loads(json.dumps(live_answer(page.frame, page.pumps), allow_nan=False))
    assert answer["pumps"][invented.HOSTILE]["state"] == "no_data"
    assert answer["pumps"]["P07"]["values"]["flow_m3h"] == "–"


def test_acknowledging_changes_the_mark_of_the_findings(invented: SimpleNamespace) -> None:
    before = findings_mark([invented.row("A", invented.card(Kind.HUNTING, number=4))])
    after = findings_mark([invented.row("A", invented.card(Kind.HUNTING, number=4, acknowledged_utc_ms=1))])
    assert before != after


def test_a_missing_value_says_why() -> None:
    assert (
        value_note(LiveValue(quantity="head_m", value=None, quality="refused"))
        == "the drive refuses this register"
    )
    assert value_note(LiveValue(quantity="head_m", value=None)) == "not reported"
    assert (
        value_note(LiveValue(quantity="head_m", value=1.0, provenance="estimated"))
        == "estimated by the drive"
    )


@pytest.mark.parametrize("needed", ["speed_rpm", "power_w", "flow_m3h", "head_m"])
def test_a_channel_that_judging_needs_is_shown_even_when_there_is_none(needed: str) -> None:
    assert not is_left_out(LiveValue(quantity=needed, value=None, quality="no_value"))


@pytest.mark.parametrize(
    ("quality", "left_out"), [("no_value", True), ("refused", False), ("no_reply", False)]
)
def test_only_what_the_drive_has_not_is_left_out_and_never_what_went_wrong(
    quality: str, left_out: bool
) -> None:
    assert is_left_out(LiveValue(quantity="speed_command_pct", value=None, quality=quality)) is left_out


def test_a_value_that_comes_is_shown_again(invented: SimpleNamespace) -> None:
    none = LiveValue(quantity="speed_command_pct", value=None, quality="no_value")
    some = LiveValue(quantity="speed_command_pct", value=60.0)
    answers = [live_answer(invented.frame(), [invented.row("A", live=(each,))]) for each in (none, some)]
    assert [answer["pumps"]["A"]["left_out"] for answer in answers] == [["speed_command_pct"], []]


def test_efficiency_has_one_place_whether_the_pump_runs_or_not() -> None:
    speed = LiveValue(quantity="speed_rpm", value=0.0)
    known = LiveValue(quantity="efficiency", value=0.5)
    assert [each.quantity for each in with_efficiency([speed])] == ["speed_rpm", "efficiency"]
    assert with_efficiency([speed, known]) == [speed, known]


def test_numbers_for_columns_come_without_their_unit(invented: SimpleNamespace) -> None:
    pump = live_answer(invented.frame(units="US"), [invented.row("A")])["pumps"]["A"]
    assert pump["numbers"]["flow_m3h"] == "62.5"
    assert pump["values"]["flow_m3h"] == "62.5\u00a0gpm"


def test_a_gap_parts_the_quiet_line() -> None:
    assert len(quiet_line(np.array([1.0, 2.0, np.nan, 2.0, 1.0])).pieces) == 2


def test_a_line_of_nothing_is_not_drawn() -> None:
    assert quiet_line(np.array([np.nan, np.nan])).pieces == ()
    assert quiet_line(None).pieces == ()


def test_head_below_the_curve_stands_below_the_middle() -> None:
    below, on, none = place_on_scale(-0.05), place_on_scale(0.0), place_on_scale(None)
    assert below is not None
    assert on is not None
    assert below > on
    assert none is None


def test_no_efficiency_is_explained_by_what_is_missing_and_not_by_the_drive() -> None:
    note = value_note(LiveValue(quantity="efficiency", value=None, quality="no_value"))
    assert note == "no flow, head or power to work it out from"


def test_a_value_set_aside_says_outside_of_what_it_was() -> None:
    # The limits of collector.quantities: no pump's shaft turns faster than 12,000 rpm (our own choice).
    note = value_note(LiveValue(quantity="speed_rpm", value=None, quality="impossible"))
    assert note.endswith("set aside (outside 0 to 12,000\u00a0rpm)")


def test_where_nobody_could_ask_the_page_does_not_say_that_there_is_nothing(
    invented: SimpleNamespace,
) -> None:
    frame = invented.frame(data_as_of_utc_ms=None, is_known=False, is_imported_only=True)
    assert as_of_words(frame) == "not known just now"
