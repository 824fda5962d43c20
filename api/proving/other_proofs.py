"""The quantities beside the four channels and the counters: each held against what little bounds it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from api.proving.alternatives import SCALES, scale_alternative, unit_alternatives
from api.proving.proof import Change, Proof, Verdict
from api.proving.readings_of_map import Points, middle
from api.proving.samples import Sample
from api.proving.stated import Stated
from api.proving.telling import Told
from api.proving.typed_map import TypedPoint

WATTS_AN_AMPERE: Final = (40.0, 1200.0)
"""From 100 V single-phase at half a power factor to 690 V three-phase at one, the square root of three
included (common practice)."""
LOADED: Final = 0.3
"""With less load than this a motor's current says little of its power: the power factor falls to nothing."""
FLUID_C: Final = (-30.0, 150.0)
FLUID_OFF_C: Final = 25.0
"""How far a fluid may be from the temperature stated of it: a summer and a winter apart."""
DRIVE_C: Final = (-25.0, 110.0)
COMMAND_PCT: Final = (-1.0, 121.0)

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
    if wrong is None:
        return Proof(value=name, verdict=Verdict.HOLDS, sentence=f"{shown}{_NOTE.get(name, '')}")
    ways = [*unit_alternatives(typed), *(scale_alternative(typed, factor) for factor in SCALES)]
    changes: list[Change] = []
    for way in ways:
        new = {**points, **way.points}
        read = middle(samples, new, name)
        if read is not None and judge and not _outside(typed, read) and not judge(read, new, samples, stated):
            changes += way.changes
    return Proof(value=name, verdict=Verdict.CHANGE, sentence=f"{shown}: {wrong}", changes=tuple(changes[:3]))


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
    return f"the site file states {expected:g} °C"


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
    "status_word": ", as read; hold it against the panel",
    "fault_code": ", as read; 0 should be what the panel shows as no fault",
}
