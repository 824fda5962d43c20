"""What needs attention first, in words: the order of findings and the site's first sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from dashboards.display import listed
from dashboards.moments import span_words
from dashboards.views import FindingCard, PumpRow
from dashboards.wording.terms import PRIORITY_ORDER

_IN_SIGHT_MS: Final = 28 * 86_400_000
_LEARNING: Final = "baseline_too_short"
_TIME_TO_LEARN: Final = "own curves need about 4 days of readings"
_WHY: Final = {
    "blind": ("can't be judged for wear", "can't be judged for wear"),
    _LEARNING: ("still learns its own curve", "still learn their own curves"),
    "no_reply": ("gives no readings now", "give no readings now"),
    "no_data": ("has no readings yet", "have no readings yet"),
    "old": ("has had no readings for {age}", "have had no readings for {age} or more"),
    "failed": ("could not be analysed", "could not be analysed"),
    "restated": (
        "is stated otherwise in the site file than at its last analysis",
        "are stated otherwise in the site file than at their last analysis",
    ),
    "not_analysed": (
        "has readings newer than the last analysis",
        "have readings newer than the last analysis",
    ),
}
_CALM: Final = {
    "": "Nothing to act on was found.",
    "blind": "Nothing to act on was found in what can be judged.",
    _LEARNING: (
        "Wear can't be judged yet: its own curve needs about 4 days of readings. "
        "No other trouble was found so far."
    ),
    "no_reply": "Nothing is known of this pump while its drive gives no readings.",
    "no_data": "Nothing is known of this pump until its first reading.",
    "old": "Nothing is known of this pump for the last {age}; nothing to act on was found before.",
    "failed": "Nothing new is known of this pump: its analysis failed.",
    "restated": "The site file says other things of it than at its last analysis: run owncurve analyse.",
    "not_analysed": "Its readings are newer than the last analysis: run owncurve analyse.",
}
"""What a pump without a finding may say, by the code of :func:`why_not_judged`."""


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


def over_unseen(cards: Iterable[FindingCard], until_utc_ms: int | None) -> list[FindingCard]:
    """Return what asked for action, is over by itself and was acknowledged by nobody, most urgent first.

    Of the four weeks before ``until_utc_ms``, the newest reading: older ones stand on their pump's page.
    """
    since = (until_utc_ms or 0) - _IN_SIGHT_MS
    unseen = [
        card
        for card in past(cards)
        if card.priority != "information" and card.acknowledged_utc_ms is None and card.last_utc_ms >= since
    ]
    return sorted(unseen, key=consequence)


def in_order(pumps: Sequence[PumpRow]) -> list[PumpRow]:
    """Return the pumps, those with the worst finding first, the others as in the site file."""

    def worst(row: PumpRow) -> tuple[int, int]:
        acting = to_act_on(row.findings)
        silent = 0 if row.state == "no_reply" else 1
        return (consequence(acting[0])[0], silent) if acting else (len(PRIORITY_ORDER), silent)

    return sorted(pumps, key=worst)


def headline(pumps: Sequence[PumpRow]) -> str:
    """Return the first sentence about the pumps.

    It never says that a pump is healthy: only that nothing was found, in how many of them something could
    have been found, and why not in the others. Where no pump has had a reading for long, that comes first.
    """
    if pumps and all(row.state == "old" for row in pumps):
        then = headline([replace(row, state="standing") for row in pumps])
        return f"No readings for {_age(pumps)}. As it was then: {then[0].lower()}{then[1:]}"
    acting = sum(bool(to_act_on(row.findings)) for row in pumps)
    why = [why_not_judged(row) for row in pumps]
    judged = why.count("")
    if acting:
        need = f"{acting} of {pumps_words(len(pumps))} need{'s' if acting == 1 else ''} attention"
    elif judged == 0:
        return _none_judged(why, pumps)
    else:
        share = f"{judged} of " if judged < len(pumps) else ""
        need = f"Nothing to act on was found in {share}{pumps_words(len(pumps))}"
    return f"{need}{_unknown(why, pumps)}."


def why_not_judged(row: PumpRow) -> str:
    """Return the code of what stands between a pump and a judgement, empty where nothing does."""
    reasons = {name for card in _blind(row) for cause in card.causes for name in cause.names}
    if row.state in ("no_data", "no_reply", "old"):
        return row.state
    if row.analysis_failure:
        return "failed"
    if row.is_restated:
        return "restated"
    if not row.is_analysed:
        return "not_analysed"
    if _blind(row) and reasons != {_LEARNING}:
        return "blind"
    return "" if row.has_own_curve else _LEARNING


def _blind(row: PumpRow) -> list[FindingCard]:
    return [card for card in to_know(row.findings) if card.kind == "not_assessable"]


def _age(pumps: Sequence[PumpRow]) -> str:
    """Return the least age of the pumps whose readings are old, in words."""
    return span_words(min((row.old_s for row in pumps if row.old_s), default=0.0))


def _none_judged(why: Sequence[str], pumps: Sequence[PumpRow]) -> str:
    count = pumps_words(len(why))
    if set(why) == {"no_data"}:
        return f"No readings yet of {count}."
    if set(why) == {_LEARNING}:
        none = "it can't be judged" if len(why) == 1 else "none can be judged"
        return f"{count}: {none} yet ({_TIME_TO_LEARN})."
    if len(why) == 1:
        return f"{count}: it {_WHY[why[0]][0].format(age=_age(pumps))}{_what_to_do(why)}."
    return f"{count}: none can be judged now{_unknown(why, pumps)}."


def _unknown(why: Sequence[str], pumps: Sequence[PumpRow]) -> str:
    parts = []
    for code, (one, more) in _WHY.items():
        count = why.count(code)
        if count:
            parts.append(f"{count} {(one if count == 1 else more).format(age=_age(pumps))}")
    words = listed(parts)
    return f"; {words}{_what_to_do(why)}" if words else ""


def _what_to_do(why: Sequence[str]) -> str:
    return " (run owncurve analyse)" if {"not_analysed", "restated"} & set(why) else ""


def calm_words(row: PumpRow) -> str:
    """Return what is said of a pump with nothing to act on: what was looked at, or why nothing was."""
    return _CALM.get(why_not_judged(row), _CALM[""]).format(age=span_words(row.old_s))


def pumps_words(count: int) -> str:
    """Return a number of pumps in words.

    >>> pumps_words(1), pumps_words(2)
    ('1 pump', '2 pumps')
    """
    return f"{count} pump{'s' if count != 1 else ''}"
