from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from api.analytics.finding import Kind
from dashboards.pages import pump_page, site_page
from dashboards.pages.attention import headline, in_order, over_unseen, past, to_act_on, to_know
from dashboards.views import FindingCard, SitePage


def test_the_most_urgent_comes_first(invented: SimpleNamespace) -> None:
    cards = [invented.card(kind, number=place) for place, kind in enumerate(Kind)]
    ranks = [card.priority for card in to_act_on(cards)]
    assert ranks == sorted(ranks, key=["urgent", "soon", "planned"].index)


def test_what_somebody_has_seen_comes_after_what_nobody_has(invented: SimpleNamespace) -> None:
    seen = invented.card(Kind.AIR_BINDING, number=1, acknowledged_utc_ms=invented.NOW_MS)
    new = invented.card(Kind.AIR_BINDING, number=2)
    assert [card.identity for card in to_act_on([seen, new])] == [2, 1]


def test_information_is_never_something_to_act_on(invented: SimpleNamespace) -> None:
    card = invented.card(Kind.SYSTEM_CHANGE)
    assert to_act_on([card]) == []
    assert to_know([card]) == [card]


def test_what_has_returned_to_normal_is_kept_but_not_to_be_acted_on(invented: SimpleNamespace) -> None:
    card = invented.card(Kind.DRY_RUNNING, state="returned_to_normal")
    assert to_act_on([card]) == []
    assert past([card]) == [card]


def over(invented: SimpleNamespace, kind: Kind = Kind.DRY_RUNNING, **more: object) -> FindingCard:
    card: FindingCard = invented.card(kind, state="returned_to_normal", **more)
    return card


def test_what_is_over_stays_in_sight_until_somebody_has_seen_it(invented: SimpleNamespace) -> None:
    # ISA 18.2 and IEC 62682 keep an alarm that returned to normal unacknowledged apart (from memory).
    assert over_unseen([over(invented)], invented.NOW_MS)
    assert not over_unseen([over(invented, acknowledged_utc_ms=invented.NOW_MS)], invented.NOW_MS)
    assert not over_unseen([over(invented, kind=Kind.SYSTEM_CHANGE)], invented.NOW_MS)
    assert not over_unseen([invented.card(Kind.DRY_RUNNING)], invented.NOW_MS)


def test_what_is_over_is_out_of_sight_four_weeks_before_the_newest_reading(invented: SimpleNamespace) -> None:
    day = 24 * invented.HOUR_MS
    ended = over(invented, last_utc_ms=invented.NOW_MS - 28 * day)
    assert over_unseen([ended], invented.NOW_MS)
    assert not over_unseen([ended], invented.NOW_MS + 1)


def test_both_pages_name_what_is_over_and_nobody_has_seen(invented: SimpleNamespace) -> None:
    card = over(invented, pump="A")
    site = site_page(SitePage(frame=invented.frame(), pumps=(invented.row("A"),), over=(card,)))
    assert "acknowledged by nobody: 1" in site
    assert "Running dry" in site
    page = invented.pump_page()
    assert "Over, acknowledged by nobody" in pump_page(replace(page, findings=(*page.findings, card)))


def test_the_most_urgent_that_is_over_stands_first(invented: SimpleNamespace) -> None:
    later = over(invented, kind=Kind.HEAD_LOSS, number=1, last_utc_ms=invented.NOW_MS)
    dry = over(invented, kind=Kind.DRY_RUNNING, number=2)
    assert [card.identity for card in over_unseen([later, dry], invented.NOW_MS)] == [2, 1]


@pytest.mark.parametrize(("provenance", "links"), [("measured", 2), ("estimated", 0), ("unknown", 0)])
def test_thresholds_are_offered_only_where_wear_can_show(
    invented: SimpleNamespace, provenance: str, links: int
) -> None:
    page = invented.pump_page()
    page = replace(page, provenance=page.provenance | {"head": provenance})
    assert pump_page(page).count('href="/thresholds') == links


def test_with_nothing_over_the_site_page_is_quiet_about_it(invented: SimpleNamespace) -> None:
    assert "acknowledged by nobody" not in site_page(invented.site())


def test_pumps_with_a_finding_stand_before_those_without(invented: SimpleNamespace) -> None:
    rows = [invented.row("A"), invented.row("B", invented.worn("B")), invented.row("C")]
    assert [row.name for row in in_order(rows)] == ["B", "A", "C"]


def test_a_silent_drive_stands_before_the_quiet_ones(invented: SimpleNamespace) -> None:
    rows = [invented.row("A"), invented.row("B", state="no_reply")]
    assert [row.name for row in in_order(rows)] == ["B", "A"]


def test_the_headline_counts_pumps_and_not_findings(invented: SimpleNamespace) -> None:
    twice = invented.row("A", invented.worn("A"), invented.card(Kind.HUNTING, "A", 2))
    assert headline([twice, invented.row("B")]) == "1 of 2 pumps needs attention."


def test_the_headline_never_calls_a_pump_healthy(invented: SimpleNamespace) -> None:
    words = headline([invented.row("A")])
    assert words == "Nothing to act on was found in 1 pump."


def test_the_headline_says_what_could_not_be_judged(invented: SimpleNamespace) -> None:
    blind = invented.row("A", invented.card(Kind.NOT_ASSESSABLE, "A"))
    silent = invented.row("B", state="no_reply")
    assert headline([blind, silent]).endswith("; 1 can't be judged for wear and 1 gives no readings now.")
