from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pytest

from api.analytics.finding import Kind
from dashboards.pages.live import findings_mark, live_answer, value_note
from dashboards.pages.small_pictures import place_on_scale, quiet_line
from dashboards.pages.staleness import is_stale, stale_words
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
