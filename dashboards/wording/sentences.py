"""Whole sentences about a finding: its effect, its likely causes, how much could be judged."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboards.display import BOUND, number, percent, signed_percent
from dashboards.moments import day_words, moment_words, span_words
from dashboards.views import FindingCard, LikelyCause
from dashboards.wording.causes import (
    AS_THE_MANUAL_SAYS,
    LOOKS_COMPUTED,
    LOOKS_MEASURED,
    REASONS,
    UNKNOWN_CAUSE,
    cause_words,
)
from dashboards.wording.field_checks import assessed_words
from dashboards.wording.kinds import kind_words

_SURE = 0.8
"""From this weight [-] on a cause is called likely; below it is only possible (our own choice)."""
_ALL_BUT_SURE = 0.99
_ROUNDED_FROM = 0.1
"""An effect as large as this [-] is told in whole percent."""
_NO_FLOW = 0.005
"""Of the usual flow [-]: what rounds to nothing is told as nothing."""
_DAY_S = 86_400
_HOURS = {1: "hour", 24: "day"}


_TITLES_OF_THE_PAST = {"no_reply": "Drive did not answer", "drive_fault": "Drive reported a fault"}
_TITLES_BY_CAUSE = {
    "wrong_register": "Drive refuses to be read",
    "bus_noise_or_termination": "Answers arrive damaged",
    "gateway_or_adapter_down": "No link to the drive",
    "adapter_echo": "Only an echo comes back",
}
"""A drive that answers, though not with readings, must not be said to be silent."""


def title(card: FindingCard) -> str:
    """Return a finding's title; of what the newest reading does not show it speaks in the past."""
    if card.kind == "no_reply" and card.state == "active" and not card.is_seen_now:
        return "Drive drops out"
    leading = card.causes[0].names[0] if card.kind == "no_reply" and card.causes else ""
    if leading in _TITLES_BY_CAUSE:
        return _TITLES_BY_CAUSE[leading]
    is_past = card.state != "active" or not card.is_seen_now
    present = kind_words(card.kind).title
    return _TITLES_OF_THE_PAST.get(card.kind, present) if is_past else present


def effect_sentence(card: FindingCard, time_zone: str, now_utc_ms: int) -> str:
    """Return what is wrong, how much, and since when; what a fault code means is a sentence of its own."""
    said = f"{_said(card, time_zone, now_utc_ms)}."
    meaning = manual_words(card).meaning
    return f"{said} Its manual says: “{meaning}”." if meaning else said


def _said(card: FindingCard, time_zone: str, now_utc_ms: int) -> str:
    since = since_words(card, time_zone, now_utc_ms)
    last = moment_words(card.last_utc_ms, time_zone, now_utc_ms)
    if card.kind == "drive_fault":
        return _fault(card, since, last)
    if card.kind == "no_reply" and not card.is_seen_now:
        lost = f", and lost {percent(card.lost_share)} of scans in the last {_HOURS[card.lost_over_h]}"
        return f"The drive answers again (last silent at {last}){lost if card.lost_share else ''}"
    checked = assessed_words(card.field_check, time_zone, now_utc_ms) if card.field_check else ""
    return f"{_effect(card)} {since}{'; ' if checked else ''}{checked}"


def since_words(card: FindingCard, time_zone: str, now_utc_ms: int) -> str:
    """Return since when, or from when to when: days for slow findings, times for fast ones."""
    is_slow = card.last_utc_ms - card.first_utc_ms > 3 * _DAY_S * 1000
    words = day_words if is_slow else moment_words
    first = words(card.first_utc_ms, time_zone, now_utc_ms)
    if card.state == "active":
        return f"since {first}"
    if card.last_utc_ms <= card.first_utc_ms:
        return f"at {first}"
    return f"from {first} to {words(card.last_utc_ms, time_zone, now_utc_ms)}"


def _effect(card: FindingCard) -> str:
    if card.kind == "not_assessable":
        return _blind(card)
    if card.effect is None or not math.isfinite(card.effect):
        return kind_words(card.kind).what.rstrip(".") + ","
    worded = {"fraction": _share_effect, "1/h": _rate_effect, "rpm": _speed_effect, "h": _time_effect}
    return worded.get(card.effect_unit, _bare_effect)(card)


def _blind(card: FindingCard) -> str:
    if any("units_contradict" in cause.names for cause in card.causes):
        return "Flow, head and power contradict each other"
    if not card.assessable_share:
        return "Wear can't be judged"
    return f"Wear can't be judged in {percent(1 - card.assessable_share)} of running hours"


def _interval(card: FindingCard, scale: float, unit: str, decimals: int) -> str:
    """Return the 95 % interval in brackets; one that holds zero starts at zero."""
    if card.effect_low is None or card.effect_high is None:
        return ""
    low, high = sorted(abs(bound * scale) for bound in (card.effect_low, card.effect_high))
    if card.effect_low * card.effect_high < 0:
        low = 0.0
    return f" ({number(low, 3, decimals)} to {number(high, 3, decimals)}{BOUND}{unit})"


_SHARE_SUBJECTS = {
    "head_loss": "Head at the same flow and speed is {size} below this pump's own curve",
    "power_shift": "Power at the same flow and speed is {size} {side} this pump's own curve",
    "mechanical_drag": "Power at the same flow and speed is {size} {side} this pump's own curve",
    "power_reading_shift": "The power reading is {size} {side} this pump's own curve",
    "head_sensor_shift": "The head reading is {size} {side} this pump's own curve",
    "flow_meter_shift": "The flow reading is {size} {side} what head and power say",
    "dry_running": "The pump turns without moving water: power is {size} {side} that of a closed valve",
    "system_change": "The system asks for {size} {more} head at the same flow",
    "resistance_rise": "The system asks for {size} {more} head at the same flow",
    "fluid_change": "As with another fluid, {quantity} is {size} {side} this pump's own curve",
    "hunting": "Speed swings by {size} of its mean",
}


def _bursts_effect(card: FindingCard) -> str:
    """Return how often gas came, and how far the strongest burst went: the effect is of that one."""
    times = _evidence(card, "episodes") or 1.0
    fell = percent(abs(card.effect or 0.0))
    if times > 1:
        return f"In {number(times, 9, 0)} bursts, head or power fell by up to {fell}"
    if card.last_utc_ms <= card.first_utc_ms:
        return f"In a burst, head or power fell by {fell}"
    return f"In one burst of {_length(card)}, head or power fell by {fell}"


def _length(card: FindingCard) -> str:
    return span_words((card.last_utc_ms - card.first_utc_ms) / 1000)


def _no_way_out(card: FindingCard) -> str:
    left = 1.0 + (card.effect or 0.0)
    flow = "no water flows" if left < _NO_FLOW else f"only {percent(left)} of the usual flow is left"
    return f"The pump runs, but {flow}: no way out for the water"


def _share_effect(card: FindingCard) -> str:
    if card.kind in _OF_THEIR_OWN:
        return _OF_THEIR_OWN[card.kind](card)
    effect = card.effect or 0.0
    subject = _SHARE_SUBJECTS.get(card.kind, f"{kind_words(card.kind).title}: {{size}}")
    decimals = 1 if abs(effect) < _ROUNDED_FROM else 0
    size = f"{percent(abs(effect), decimals)}{_interval(card, 100, '%', decimals)}"
    is_below = effect < 0
    return subject.format(
        size=size,
        side="below" if is_below else "above",
        more="less" if is_below else "more",
        quantity="power" if _evidence(card, "head_residual_fraction") is None else "head",
    )


_OF_THEIR_OWN = {"air_binding": _bursts_effect, "closed_discharge": _no_way_out}


def _rate_effect(card: FindingCard) -> str:
    limit, habit = (_evidence(card, f"starts_{what}_per_hour") for what in ("limit", "habit"))
    beside = f" (limit {_rate(limit)})" if limit is not None else ""
    if habit is not None and (limit is None or (card.effect or 0.0) <= limit):
        usual = f"habit of {_rate(habit)} or fewer" if habit > 0 else "habit of none"
        beside = f", more than this pump's {usual}{beside}"
    return f"Up to {_rate(card.effect)} starts an hour{beside}"


def _evidence(card: FindingCard, name: str) -> float | None:
    return next((each.value for each in card.evidence if each.name == name), None)


def _rate(per_hour: float | None) -> str:
    is_whole = per_hour is not None and per_hour == round(per_hour)
    return number(per_hour, 3, 0 if is_whole else 1)


def _speed_effect(card: FindingCard) -> str:
    return f"Speed swings by {number(card.effect, 3, 0)}{BOUND}rpm{_interval(card, 1, 'rpm', 0)}"


def _time_effect(card: FindingCard) -> str:
    return f"For {span_words((card.effect or 0.0) * 3600)} in all,"


def _bare_effect(card: FindingCard) -> str:
    return f"{kind_words(card.kind).title}: {number(card.effect)}"


def _fault(card: FindingCard, since: str, last: str) -> str:
    """Return what code the drive reports or reported: count and last time where it comes and goes."""
    code = "a fault" if card.effect is None else f"fault code {card.effect:.0f}"
    times = next((each.value for each in card.evidence if each.name == "episodes"), 1.0)
    often = f", {number(times, 9, 0)} times" if times > 1 else ""
    if card.state != "active":
        return f"The drive reported {code}{often} {since}"
    if not card.is_seen_now:
        return f"The drive has reported {code}{often} {since}, last at {last}, and does not report it now"
    return f"The drive reports {code}{often and ', seen' + often[1:]} {since}"


@dataclass(frozen=True, slots=True)
class ManualWords:
    """What a drive's manual says a fault code means and what to check, as typed in; empty if nothing was."""

    meaning: str = ""
    check: str = ""


def manual_words(card: FindingCard) -> ManualWords:
    """Return the manual's meaning of a card's fault code, and its check, apart from each other."""
    meaning, _, check = card.fault_meaning.partition("\n")
    return ManualWords(meaning.strip().rstrip("."), check.strip().rstrip("."))


def why_sentence(card: FindingCard) -> str:
    """Return the likely causes of a finding; nothing where the manual's meaning is told already."""
    looks_computed = _evidence(card, "looks_computed")
    if looks_computed is not None:
        return LOOKS_COMPUTED if looks_computed else LOOKS_MEASURED
    only_manual = [cause.names for cause in card.causes] == [(AS_THE_MANUAL_SAYS,)]
    if not only_manual:
        return cause_sentence(card.causes)
    if card.fault_meaning:
        return ""
    return "What the code stands for is said in the drive's manual."


def cause_sentence(causes: tuple[LikelyCause, ...]) -> str:
    """Return the likely causes, best first, and say which can't be told apart from here."""
    reasons = [REASONS[name] for cause in causes for name in cause.names if name in REASONS]
    if reasons:
        return " ".join(reasons)
    if not causes:
        return "The cause can't be told from these readings."
    first, *rest = sorted(causes, key=lambda cause: -cause.weight)
    lead = "Likely" if first.weight >= _SURE else "Possibly"
    apart = ", not to be told apart from here" if len(first.names) > 1 else ""
    others = "".join(f"; or {cause_words(cause.names)} ({_weight(cause.weight)})" for cause in rest)
    return f"{lead} {cause_words(first.names)} ({_weight(first.weight)}{apart}){others}."


def _weight(weight: float) -> str:
    """Return a cause's weight; no likelihood from telemetry is ever called certain."""
    return percent(weight) if weight <= _ALL_BUT_SURE else f"more than {percent(_ALL_BUT_SURE)}"


def power_sentence(card: FindingCard) -> str:
    """Return what power says of a loss of head; that it agrees only where a cause is called likely."""
    shift = next((each.value for each in card.evidence if each.name == "power_residual_fraction"), None)
    if card.kind != "head_loss" or shift is None or not math.isfinite(shift):
        return ""
    leading = max(card.causes, key=lambda cause: cause.weight, default=None)
    said = f"{signed_percent(shift)} against its own curve"
    if leading is not None and leading.weight >= _SURE and UNKNOWN_CAUSE not in leading.names:
        return f"Power agrees ({said})."
    return f"Power is {said}."


def judged_sentence(share: float | None) -> str:
    """Return how much of the running hours could be judged."""
    return "" if share is None else f"{percent(share)} of running hours could be judged."


def change_words(now: float | None, before: float | None) -> str:
    """Return the change of an amount against the one before, or nothing where it can't be said."""
    if now is None or before is None or before <= 0:
        return ""
    return signed_percent(now / before - 1)
