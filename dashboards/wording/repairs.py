"""What a piece of work did, in words: the verdict, the numbers that carry it, what to check next."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from dashboards.display import BOUND, amount, number, percent, signed_percent, unit_of
from dashboards.moments import moment_words
from dashboards.service_views import AnsweredView, EffectView, Interval, ServiceEntry
from dashboards.views import UnitSystem
from dashboards.wording import plain
from dashboards.wording.checks import check_words
from dashboards.wording.kinds import kind_words
from dashboards.wording.terms import SERVICES

VERDICTS: Final = {
    "worked": "Worked",
    "partly": "Worked in part",
    "did_not_work": "Did not work",
    "too_early": "Too early to say",
    "not_known": "Can't be told",
}
MARKS: Final = {"worked": "✓", "partly": "◐", "did_not_work": "✗", "too_early": "…", "not_known": "?"}
"""A shape for each verdict, so that colour never stands alone."""
QUANTITIES: Final = {
    "head": "Head, same flow and speed",
    "power": "Power, same flow and speed",
    "energy": "Energy, same flow and head",
    "resistance": "The system's resistance",
}
_LEAST_RUNNING_H: Final = 1.0
_PARTS: Final = {
    "pump": "the pump itself",
    "head": "another head asked for",
    "place": "another place on its curve",
    "density": "the fluid's density",
    "efficiency": "pump and place on the curve together",
    "mix": "other pumps",
    "rest": "hours without a head",
}


def entry_words(entry: ServiceEntry, time_zone: str, now_utc_ms: int) -> str:
    """Return an entry of the service log in a line: what was done and when."""
    what = SERVICES.get(entry.kind, plain(entry.kind))
    return f"{what}, {moment_words(entry.time_utc_ms, time_zone, now_utc_ms)}"


def verdict_sentence(answered: AnsweredView, time_zone: str, now_utc_ms: int) -> str:
    """Return what became of a finding, and when it will be known."""
    name = kind_words(answered.kind).title
    said = f"{VERDICTS.get(answered.verdict, plain(answered.verdict))}: {name[:1].lower()}{name[1:]}"
    if answered.verdict == "worked":
        return f"{said} is gone."
    if answered.verdict == "too_early":
        return f"{said}. {_known(answered, time_zone, now_utc_ms)}"
    if answered.verdict == "not_known":
        return f"{said}. These readings don't tell it apart from what drifts and weather do."
    still = "is less than it was, and still there" if answered.verdict == "partly" else "is still there"
    again = answered.seen_again_utc_ms
    seen = "" if again is None else f", last seen {moment_words(again, time_zone, now_utc_ms)}"
    return f"{said} {still}{seen}."


def _known(answered: AnsweredView, time_zone: str, now_utc_ms: int) -> str:
    if answered.known_at_utc_ms is None:
        return "There are not enough hours at its usual duties since the work."
    return f"It will be known about {moment_words(answered.known_at_utc_ms, time_zone, now_utc_ms)}."


def next_sentence(answered: AnsweredView) -> str:
    """Return what to check next of a finding that is still there, empty where nothing is."""
    is_there = answered.verdict in ("partly", "did_not_work")
    return f"Check next: {check_words(answered.checks[0]).text}" if is_there and answered.checks else ""


def effect_sentence(effect: EffectView, units: UnitSystem) -> str:
    """Return what was measured of a piece of work, the numbers that matter to a person alone."""
    if not effect.is_expected:
        return "Nothing measurable was expected of this work."
    if effect.running_h < _LEAST_RUNNING_H:
        return "The pump has hardly run since."
    parts = list(_parts(effect, units))
    why = _why_not(effect)
    if not parts:
        return why or "There are not enough like-for-like hours before and since."
    sentence = "; ".join(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}.{' ' if why else ''}{why}"


def _why_not(effect: EffectView) -> str:
    if not effect.is_judged:
        return (
            "Flow and head are not both measured here, so head and the pump's own energy can't be compared: "
            "make a field check before and after such work."
        )
    return (
        "" if effect.has_curve else "Its own curve was not learned before the work, so head has no measure."
    )


def _parts(effect: EffectView, units: UnitSystem) -> Iterator[str]:
    head, energy = effect.since.get("head"), effect.change.get("energy")
    if head is not None:
        yield f"head {_against(effect, 'head', head)} {_with_interval(head)} of its own curve"
    if energy is not None:
        volume = "gallon" if units == "US" else "m³"
        yield f"energy per {volume} {_with_interval(energy)} at the same flow and head"
    if _is_power(effect):
        yield f"power {_with_interval(effect.since['power'])} of its own curve"
    if any(each.quantity == "resistance" for each in effect.answered) and "resistance" in effect.change:
        yield f"the system's resistance {signed_percent(effect.change['resistance'].value, 0)}"
    yield from _of_episodes(effect)


def _is_power(effect: EffectView) -> bool:
    return "power" in effect.since and any(each.quantity == "power" for each in effect.answered)


def _against(effect: EffectView, quantity: str, since: Interval) -> str:
    """Return how the level since lies to the one before: back, still, now."""
    before, change = effect.before.get(quantity, 0.0), effect.change.get(quantity)
    verdict = next((each.verdict for each in effect.answered if each.quantity == quantity), "")
    if verdict == "worked":
        return "back to"
    if verdict == "did_not_work":
        return "still"
    moved = change is not None and change.low * change.high > 0
    return "now" if moved and abs(since.value - before) > 0 else "as before,"


def _of_episodes(effect: EffectView) -> Iterator[str]:
    for each in effect.answered:
        if (
            each.kind == "air_binding"
            and each.verdict in ("worked", "too_early")
            and (each.quiet_h or 0) >= 1
        ):
            yield f"no air for {number(each.quiet_h, 3, 0)}{BOUND}h of running"
    starts = effect.starts_per_h
    if starts is not None and any(each.kind == "repeated_starts" for each in effect.answered):
        yield f"{number(starts[1], 2, 2)} starts an hour, {number(starts[0], 2, 2)} before"


def _with_interval(value: Interval) -> str:
    low, high = signed_percent(value.low), signed_percent(value.high)
    return f"{signed_percent(value.value)} ({low} to {high})"


def energy_sentence(effect: EffectView, units: UnitSystem) -> str:
    """Return how energy per volume changed as a whole and what it is put down to; empty without both."""
    if effect.kwh_per_m3 is None or not effect.is_judged or not effect.is_expected:
        return ""
    before, since = effect.kwh_per_m3
    unit = unit_of("kwh_per_m3", units)
    shares = [
        f"{signed_percent(value / before)} {_PARTS.get(name, plain(name))}"
        for name, value in sorted(effect.parts.items(), key=lambda part: -abs(part[1]))
        if percent(value / before, 1) != percent(0.0, 1)
    ]
    if signed_percent(since / before - 1) == signed_percent(0.0):
        return f"Energy per volume as a whole as before, {amount(before, 'kwh_per_m3', units)}."
    told = (
        f"{number(before * unit.factor, unit.digits, unit.decimals)} to "
        f"{number(since * unit.factor, unit.digits, unit.decimals)}{BOUND}{unit.label}"
    )
    of = f": {', '.join(shares)}" if shares else ""
    return f"Energy per volume as a whole {signed_percent(since / before - 1)}, {told}{of}."


def numbers(effect: EffectView) -> list[tuple[str, str, str, str, str]]:
    """Return the numbers behind the sentence as rows: quantity, before, since, change, days on both sides."""
    return [
        (
            words,
            signed_percent(effect.before[name]),
            _with_interval(effect.since[name]),
            _with_interval(effect.change[name]),
            f"{effect.days[name][0]} and {effect.days[name][1]}",
        )
        for name, words in QUANTITIES.items()
        if name in effect.since
    ]
