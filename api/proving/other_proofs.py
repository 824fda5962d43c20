"""The quantities beside the four channels and the counters: each held against what little bounds it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from api.proving.alternatives import SCALES, Alternative, scale_alternative, unit_alternatives
from api.proving.proof import Proof, Verdict
from api.proving.readings_of_map import Points, middle
from api.proving.samples import Sample
from api.proving.stated import Stated
from api.proving.telling import MOST_TOLD, PANEL_TELLS, Told
from api.proving.typed_map import TypedPoint
from dashboards.display import listed

WATTS_AN_AMPERE: Final = (40.0, 1200.0)
"""From 100 V single-phase at half a power factor to 690 V three-phase at one, the square root of three
included (common practice)."""
LOADED: Final = 0.3
"""With less load than this a motor's current says little of its power: the power factor falls to nothing."""
FLUID_C: Final = (-30.0, 150.0)
FLUID_OFF_C: Final = 25.0
"""Farther from the temperature stated of it a fluid is asked about: a summer and a winter apart."""
DRIVE_C: Final = (-25.0, 110.0)
COMMAND_PCT: Final = (-1.0, 121.0)


class Unusual(str):
    """What is said of a value that may be right all the same."""

    __slots__ = ()


Judge = Callable[[float, Points, Sequence[Sample], Stated], str | None]
"""Says what is wrong with a value, or nothing."""


def other_proofs(
    typed: Mapping[str, TypedPoint], samples: Sequence[Sample], points: Points, stated: Stated, told: Told
) -> list[Proof]:
    """Return the proofs of what is neither a channel nor a counter."""
    proofs = []
    for name, each in typed.items():
        value = middle(samples, points, name)
        if value is not None:
            proofs.append(_proof(each, value, samples, points, stated, told))
    return proofs


def _proof(
    typed: TypedPoint, value: float, samples: Sequence[Sample], points: Points, stated: Stated, told: Told
) -> Proof:
    name = typed.name
    judge = _JUDGES.get(name)
    wrong = _outside(typed, value) or (judge(value, points, samples, stated) if judge else None)
    shown = told.amount(value, name)
    ways = [*unit_alternatives(typed), *(scale_alternative(typed, factor) for factor in SCALES)]
    fitting = [each for each in ways if judge and _fits(each, typed, judge, samples, points, stated)]
    if wrong is None:
        units = [each for each in fitting if each.changes[0].key == typed.key("unit")]
        verdict = Verdict.OPEN if units or name in _NOTE else Verdict.HOLDS
        other = f"; could as well be {_listed(name, units, samples, told)}: {PANEL_TELLS}" if units else ""
        return Proof(value=name, verdict=verdict, sentence=f"{shown}{_NOTE.get(name, '')}{other}")
    if isinstance(wrong, Unusual):
        other = f"; else it may be {_listed(name, fitting, samples, told)}" if fitting else ""
        return Proof(value=name, verdict=Verdict.OPEN, sentence=f"{shown}: {wrong}{other}")
    changes = tuple(change for each in fitting for change in each.changes)[:MOST_TOLD]
    return Proof(value=name, verdict=Verdict.CHANGE, sentence=f"{shown}: {wrong}", changes=changes)


def _fits(
    way: Alternative,
    typed: TypedPoint,
    judge: Judge,
    samples: Sequence[Sample],
    points: Points,
    stated: Stated,
) -> bool:
    """Return whether the value is a usual one after a change."""
    new = {**points, **way.points}
    read = middle(samples, new, typed.name)
    return read is not None and not _outside(typed, read) and judge(read, new, samples, stated) is None


def _listed(name: str, ways: Sequence[Alternative], samples: Sequence[Sample], told: Told) -> str:
    return listed([told.rival(name, each, samples) for each in ways[:MOST_TOLD]], "or")


def _outside(typed: TypedPoint, value: float) -> str | None:
    quantity = typed.point.quantity
    if quantity.lowest <= value <= quantity.highest:
        return None
    return "no drive has that"


def _current(value: float, points: Points, samples: Sequence[Sample], stated: Stated) -> str | None:
    power_w = middle(samples, points, "power_w")
    if power_w is None or power_w <= 0 or value <= 0:
        return None
    ratio = power_w / value
    loaded = stated.rated_power_w is not None and power_w >= LOADED * stated.rated_power_w
    if (ratio >= WATTS_AN_AMPERE[0] or not loaded) and ratio <= WATTS_AN_AMPERE[1]:
        return None
    return f"{ratio:.0f} W for each ampere fits no mains"


def _fluid(value: float, points: Points, samples: Sequence[Sample], stated: Stated) -> str | None:
    if not FLUID_C[0] <= value <= FLUID_C[1]:
        return "no building's fluid is that"
    expected = stated.fluid_temperature_c
    if expected is None or abs(value - expected) <= FLUID_OFF_C:
        return None
    return Unusual(
        f"the site file states {expected:g} °C as usual ({stated.place('fluid_temperature_c')}); right in "
        "another season or while the plant is off, so hold it against a thermometer at the pipe first"
    )


def _drive(value: float, points: Points, samples: Sequence[Sample], stated: Stated) -> str | None:
    return None if DRIVE_C[0] <= value <= DRIVE_C[1] else "no drive goes on at that"


def _command(value: float, points: Points, samples: Sequence[Sample], stated: Stated) -> str | None:
    return None if COMMAND_PCT[0] <= value <= COMMAND_PCT[1] else "a reference lies between 0 and 120 %"


_JUDGES: Final[Mapping[str, Judge]] = {
    "current_a": _current,
    "fluid_temperature_c": _fluid,
    "drive_temperature_c": _drive,
    "speed_command_pct": _command,
}
_NOTE: Final = {
    "status_word": ", as read; hold it against the panel: nothing else tells whether this is its register",
    "fault_code": ", as read; 0 should be what the panel shows as no fault, and many other registers hold 0",
}
"""Codes: no physics says which register they are in."""
