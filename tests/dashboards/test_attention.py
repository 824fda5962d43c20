from __future__ import annotations

from types import SimpleNamespace

from api.analytics.finding import Kind
from dashboards.pages.attention import headline, in_order, past, to_act_on, to_know


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
