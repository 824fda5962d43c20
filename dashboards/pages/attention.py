"""What needs attention first, in words: the order of findings and the site's first sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dashboards.display import listed
from dashboards.views import FindingCard, PumpRow
from dashboards.wording.terms import PRIORITY_ORDER


def consequence(card: FindingCard) -> tuple[int, bool, int]:
    """Return a sort key: active before past, then the most urgent, unacknowledged before acknowledged."""
    known = card.priority in PRIORITY_ORDER
    rank = PRIORITY_ORDER.index(card.priority) if known else len(PRIORITY_ORDER)
    return (rank, card.acknowledged_utc_ms is not None, -card.first_utc_ms)


def to_act_on(cards: Iterable[FindingCard]) -> list[FindingCard]:
    """Return the active findings that ask for action, in order of consequence."""
    return sorted((c for c in cards if c.state == "active" and c.priority != "information"), key=consequence)


def to_know(cards: Iterable[FindingCard]) -> list[FindingCard]:
    """Return the active findings that are information only."""
    return sorted((c for c in cards if c.state == "active" and c.priority == "information"), key=consequence)


def past(cards: Iterable[FindingCard]) -> list[FindingCard]:
    """Return the findings that have returned to normal, newest first."""
    return sorted((c for c in cards if c.state != "active"), key=lambda card: -card.last_utc_ms)


def in_order(pumps: Sequence[PumpRow]) -> list[PumpRow]:
    """Return the pumps, those with the worst finding first, the others as in the site file."""

    def worst(row: PumpRow) -> tuple[int, int]:
        acting = to_act_on(row.findings)
        silent = 0 if row.state == "no_reply" else 1
        return (consequence(acting[0])[0], silent) if acting else (len(PRIORITY_ORDER), silent)

    return sorted(pumps, key=worst)


def headline(pumps: Sequence[PumpRow]) -> str:
    """Return the first sentence of the site page.

    It never says that a pump is healthy: only that nothing was found, and for how many nothing could be.
    """
    acting = [row for row in pumps if to_act_on(row.findings)]
    if acting:
        need = f"{len(acting)} of {len(pumps)} pumps need{'s' if len(acting) == 1 else ''} attention"
    else:
        need = f"Nothing to act on was found in {_pumps(len(pumps))}"
    return f"{need}{_unknown(pumps)}."


def _unknown(pumps: Sequence[PumpRow]) -> str:
    blind = sum(any(c.kind == "not_assessable" for c in to_know(row.findings)) for row in pumps)
    silent = sum(row.state == "no_reply" for row in pumps)
    empty = sum(row.state == "no_data" for row in pumps)
    parts = [
        f"{blind} can't be judged for wear" if blind else "",
        f"{silent} {'does' if silent == 1 else 'do'} not answer" if silent else "",
        f"{empty} {'has' if empty == 1 else 'have'} no readings yet" if empty else "",
    ]
    words = listed(part for part in parts if part)
    return f"; {words}" if words else ""


def _pumps(count: int) -> str:
    return f"{count} pump{'s' if count != 1 else ''}"
