"""What the product may say about a pump, and with what evidence. Words for people live in dashboards."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """The kinds of finding. The values are used in JSON, tables and tests."""

    HEAD_LOSS = "head_loss"
    POWER_SHIFT = "power_shift"
    AIR_BINDING = "air_binding"
    DRY_RUNNING = "dry_running"
    CLOSED_DISCHARGE = "closed_discharge"
    MECHANICAL_DRAG = "mechanical_drag"
    HEAD_SENSOR_SHIFT = "head_sensor_shift"
    FLOW_METER_SHIFT = "flow_meter_shift"
    POWER_READING_SHIFT = "power_reading_shift"
    HUNTING = "hunting"
    REPEATED_STARTS = "repeated_starts"
    FROZEN_READING = "frozen_reading"
    NO_REPLY = "no_reply"
    DRIVE_FAULT = "drive_fault"
    SYSTEM_CHANGE = "system_change"
    RESISTANCE_RISE = "resistance_rise"
    FLUID_CHANGE = "fluid_change"
    NOT_ASSESSABLE = "not_assessable"


INFORMATION_KINDS = frozenset(
    {Kind.SYSTEM_CHANGE, Kind.RESISTANCE_RISE, Kind.FLUID_CHANGE, Kind.NOT_ASSESSABLE}
)
"""Shown, but never an alarm."""


class Priority(StrEnum):
    """How soon somebody should act (terms of IEC 62682: priority follows consequence and time to act)."""

    URGENT = "urgent"
    SOON = "soon"
    PLANNED = "planned"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A likely cause with its weight [-], 0 to 1; causes that cannot be told apart share one entry.

    ``names`` are codes such as ``"ring_leakage"``; more than one means: not to be told apart from here.
    """

    names: tuple[str, ...]
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """A number a person can check on the chart. ``name`` carries the unit, as everywhere."""

    name: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """An interval in which something is not as it should be, with its effect and evidence.

    Times are milliseconds UTC; ``last_utc_ms`` is the last time it was seen, and ``active`` says whether
    it still stood at the end of the data. ``effect`` and its 95 % interval are in the unit that
    ``effect_unit`` names: ``fraction`` (of the pump's own curve, of a flow meter of flow; negative is below),
    ``1/h``, ``rpm``, ``h`` or ``1`` (a code). ``None`` where an effect has no number. ``assessable_share`` is
    the share [-] of running hours that could be judged.
    """

    pump: str
    kind: Kind
    first_utc_ms: int
    last_utc_ms: int
    active: bool
    priority: Priority
    effect: float | None = None
    effect_low: float | None = None
    effect_high: float | None = None
    effect_unit: str = "fraction"
    causes: tuple[Cause, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    checks: tuple[str, ...] = ()
    assessable_share: float | None = None
