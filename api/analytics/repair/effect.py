"""All that can be said of a piece of work, from the hours about it and the findings that stood."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import pandas as pd

from api.analytics.curve import Curve
from api.analytics.energy.factors import factors
from api.analytics.energy.split import Split, split
from api.analytics.facts import PumpFacts, ServiceEvent
from api.analytics.finding import Finding, Kind
from api.analytics.repair.outcome import BY_LEVEL, BY_QUIET, Answered, by_level, by_quiet
from api.analytics.repair.quantities import Measured, Quantity, measured
from api.analytics.repair.stretch import NOTHING_EXPECTED, Stretch, between, running_h, stretch_of
from api.analytics.spans import DAY_MS, HOUR_MS

STOOD_MS: Final = 7 * DAY_MS
"""A finding last seen so long before the work still stood: nobody repairs within the hour (our choice)."""

_HEAD: Final = frozenset({Kind.HEAD_LOSS})
_SENSORS: Final = frozenset({Kind.HEAD_SENSOR_SHIFT, Kind.FLOW_METER_SHIFT, Kind.POWER_READING_SHIFT})
_DRAG: Final = frozenset({Kind.MECHANICAL_DRAG, Kind.POWER_SHIFT})
_SYSTEM: Final = frozenset({Kind.RESISTANCE_RISE, Kind.SYSTEM_CHANGE, Kind.CLOSED_DISCHARGE})
ANSWERS: Final[Mapping[str, frozenset[Kind]]] = {
    "vented": frozenset({Kind.AIR_BINDING, Kind.DRY_RUNNING}),
    "strainer_cleaned": frozenset({Kind.RESISTANCE_RISE, Kind.AIR_BINDING}),
    "filter_changed": frozenset({Kind.RESISTANCE_RISE}),
    "seal_replaced": _HEAD | _DRAG | {Kind.AIR_BINDING},
    "impeller_changed": _HEAD | _DRAG,
    "ring_replaced": _HEAD | _DRAG,
    "bearing_replaced": _DRAG,
    "aligned": _DRAG,
    **{kind: frozenset() for kind in NOTHING_EXPECTED - {"aligned"}},
    "fluid_changed": _HEAD | _DRAG,
    "glycol_added": _HEAD | _DRAG,
    "rebalanced": _SYSTEM | {Kind.HUNTING},
    "valve_set": _SYSTEM | {Kind.HUNTING, Kind.REPEATED_STARTS},
}
"""What each kind of work may do away with (common practice of the trade)."""
_ANY: Final = frozenset(BY_LEVEL) | BY_QUIET


@dataclass(frozen=True, slots=True, kw_only=True)
class Works:
    """A piece of work among all that was done to the pump, and the finding that it answers, if named."""

    work: ServiceEvent
    every: Sequence[ServiceEvent]
    chosen: Finding | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkEffect:
    """What a piece of work did.

    ``measured`` by quantity, only where both sides could be judged; ``energy`` parts the change of energy per
    volume, ``None`` without water on both sides. ``starts_per_h`` [1/h] before and since, by running hours;
    ``running_h`` [h] since. ``answered`` are the findings that stood. ``is_expected`` is false where nothing
    measurable was expected of the work and nothing stood. ``is_judged`` is false while head and flow are not
    both measured, so that head and energy of the pump itself can't be compared.
    """

    stretch: Stretch
    measured: Mapping[Quantity, Measured] = field(default_factory=dict)
    energy: Split | None = None
    starts_per_h: tuple[float, float] | None = None
    running_h: float = 0.0
    answered: tuple[Answered, ...] = ()
    is_expected: bool = True
    is_judged: bool = True


def effect_of_work(
    hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts, works: Works, findings: Sequence[Finding]
) -> WorkEffect:
    """Return what a piece of work did, from the hour rows about it.

    ``hours`` reach from the stretch's first day to its end; ``curve`` is the one that held before the work,
    and ``facts`` those of now: what was recorded later is left out here. ``findings`` are the pump's.
    """
    end = int(hours.index[-1]) + HOUR_MS if len(hours) else works.work.time_utc_ms
    stretch = stretch_of(works.work, works.every, end)
    stood = standing(findings, works, stretch)
    within = between(hours, _first(stood, stretch), stretch.end_utc_ms)
    found = {} if curve is None else measured(within, curve, _facts_before(facts, stretch), stretch)
    answered = tuple(_answered(each, found, findings, hours, stretch) for each in stood)
    return WorkEffect(
        stretch=stretch,
        measured=found,
        energy=_energy(within, curve, facts, stretch),
        starts_per_h=_starts(within, stretch),
        running_h=running_h(hours, stretch.done_utc_ms, stretch.end_utc_ms),
        answered=answered,
        is_expected=works.work.kind not in NOTHING_EXPECTED or bool(answered),
        is_judged=facts.wear_can_be_seen,
    )


def standing(findings: Sequence[Finding], works: Works, stretch: Stretch) -> list[Finding]:
    """Return the findings that the work may have answered: the one named, else those that stood."""
    if works.chosen is not None:
        return [works.chosen] if works.chosen.kind in _ANY else []
    kinds = ANSWERS.get(works.work.kind, _ANY)
    return [
        each
        for each in findings
        if each.kind in kinds
        and each.first_utc_ms < stretch.begun_utc_ms
        and each.last_utc_ms >= stretch.begun_utc_ms - STOOD_MS
    ]


def _facts_before(facts: PumpFacts, stretch: Stretch) -> PumpFacts:
    return replace(facts, events=tuple(e for e in facts.events if e.time_utc_ms < stretch.begun_utc_ms))


def _first(stood: Sequence[Finding], stretch: Stretch) -> int:
    """Return from when on the days before show what stood, and not the time when all was well."""
    onsets = [each.first_utc_ms for each in stood if each.kind in BY_LEVEL]
    latest = stretch.begun_utc_ms - 2 * DAY_MS
    return max([stretch.first_utc_ms, *(onset for onset in onsets if onset <= latest)])


def _answered(
    finding: Finding,
    found: Mapping[Quantity, Measured],
    findings: Sequence[Finding],
    hours: pd.DataFrame,
    stretch: Stretch,
) -> Answered:
    if finding.kind in BY_LEVEL:
        return by_level(finding, found.get(BY_LEVEL[finding.kind]), stretch)
    later = [f for f in findings if f.kind is finding.kind and f.first_utc_ms >= stretch.begun_utc_ms]
    return by_quiet(finding, later, hours, stretch)


def _energy(within: pd.DataFrame, curve: Curve | None, facts: PumpFacts, stretch: Stretch) -> Split | None:
    before, since = _sides(within, stretch)
    pumped = (factors(since, curve, facts.density_kg_m3), factors(before, curve, facts.density_kg_m3))
    if pumped[0] is None or pumped[1] is None:
        return None
    return split(pumped[0], pumped[1])


def _starts(within: pd.DataFrame, stretch: Stretch) -> tuple[float, float] | None:
    before, since = _sides(within, stretch)
    ran = [float(side["seconds_running"].sum()) / 3600 for side in (before, since)]
    if min(ran) < 1:
        return None
    return float(before["starts"].sum()) / ran[0], float(since["starts"].sum()) / ran[1]


def _sides(within: pd.DataFrame, stretch: Stretch) -> tuple[pd.DataFrame, pd.DataFrame]:
    return (
        between(within, 0, stretch.begun_utc_ms),
        between(within, stretch.done_utc_ms, stretch.end_utc_ms),
    )
