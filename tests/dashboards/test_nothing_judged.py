"""Nobody may read "all is well" where nothing could be judged: the first sentence says why not."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from api.analytics.finding import Kind
from dashboards.pages import pump_page as pump_html
from dashboards.pages import site_page
from dashboards.pages.attention import calm_words, headline
from dashboards.views import LikelyCause, PumpRow, SitePage, Unwatched

WELL_SOUNDING = "Nothing to act on was found"


def learning(invented: SimpleNamespace, name: str) -> PumpRow:
    cause = (LikelyCause(names=("baseline_too_short",), weight=1.0),)
    card = invented.card(Kind.NOT_ASSESSABLE, name, assessable_share=0.0, causes=cause)
    return invented.row(name, card, has_own_curve=False)


def test_without_any_own_curve_it_says_that_none_can_be_judged_yet(invented: SimpleNamespace) -> None:
    rows = [learning(invented, name) for name in "ABCDE"]
    assert headline(rows) == ("5 pumps: none can be judged yet (own curves need about 4 days of readings).")


def test_in_the_first_hour_before_any_finding_it_says_so_too(invented: SimpleNamespace) -> None:
    row = invented.row("A", has_own_curve=False)
    assert headline([row]) == ("1 pump: it can't be judged yet (own curves need about 4 days of readings).")


def test_without_readings_it_says_that_there_are_none(invented: SimpleNamespace) -> None:
    rows = [invented.row(name, state="no_data", has_own_curve=False) for name in "AB"]
    assert headline(rows) == "No readings yet of 2 pumps."


def test_readings_that_nobody_has_analysed_are_not_called_quiet(invented: SimpleNamespace) -> None:
    row = invented.row("A", has_own_curve=False, is_analysed=False)
    assert headline([row]) == ("1 pump: it has readings newer than the last analysis (run owncurve analyse).")


def test_a_pump_that_still_learns_is_not_counted_among_the_quiet(invented: SimpleNamespace) -> None:
    rows = [invented.row("A"), learning(invented, "B")]
    assert headline(rows) == "Nothing to act on was found in 1 of 2 pumps; 1 still learns its own curve."


def test_what_needs_attention_hides_nothing_of_what_is_not_known(invented: SimpleNamespace) -> None:
    rows = [invented.row("A", invented.worn("A")), invented.row("B", is_analysed=False)]
    words = headline(rows)
    assert words.startswith("1 of 2 pumps needs attention; 1 has readings newer than the last analysis")


@pytest.mark.parametrize(
    "facts",
    [
        {"state": "no_data"},
        {"state": "no_reply"},
        {"is_analysed": False},
        {"has_own_curve": False},
    ],
)
def test_the_site_page_never_sounds_well_from_ignorance(
    invented: SimpleNamespace, facts: dict[str, object]
) -> None:
    page = site_page(SitePage(frame=invented.frame(), pumps=(invented.row("A", **facts),)))
    assert WELL_SOUNDING not in page
    assert calm_words(invented.row("A", **facts)) != calm_words(invented.row("A"))


def test_a_pump_without_any_curve_says_which_dangers_are_not_watched_for(invented: SimpleNamespace) -> None:
    blind = Unwatched(kinds=("dry_running", "closed_discharge"), because="no_curve")
    page = pump_html(replace(invented.pump_page(), not_watched=(blind,)))
    assert "Not watched yet: running dry and running against a closed valve" in page


def test_a_pump_that_is_watched_for_all_says_nothing_of_it(invented: SimpleNamespace) -> None:
    assert "Not watched" not in pump_html(invented.pump_page())
