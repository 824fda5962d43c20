"""What each cause does to head and power at the same flow and speed: signatures, hour by hour.

Per unit of a cause, the relative change of head and of power [-]. A leak past the rings and a flow meter
that reads low move the point along the curve, the leak by a flow that grows with speed alone, the meter by
one that grows with flow. Common practice where no source is named; spreads from the tuning families.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.movement import Movement

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """A cause's mark on a pump: ``mark`` [6] per unit, ``spread`` [6, 6] how pumps differ in it.

    ``sizes`` are the smallest and largest unit [-] believed in, evenly by ratio; ``signs`` say for which
    signs of the unit the cause exists. ``prior`` weighs it before anything is seen. ``twins`` are causes
    that leave the very same mark.
    """

    name: str
    twins: tuple[str, ...] = ()
    mark: FloatArray
    spread: FloatArray
    sizes: tuple[float, float] = (0.005, 0.3)
    signs: tuple[int, ...] = (1,)
    prior: float


LEAK_POWER_SPREAD: Final = 0.25
LEAK_POWER_SHARE_SPREAD: Final = 0.3
"""What the power curve's slope may be off, per unit of head and as a share of itself: far from straight."""
EROSION_POWER: Final = 0.85
EROSION_POWER_SPREAD: Final = 0.25
SHAFT_SHARE: Final = 0.9
"""Share of the input power that turns the shaft: what a denser fluid takes more of."""
THICK_HEAD: Final = 0.25
THICK_HEAD_SPREAD: Final = 0.3
"""Head a thicker fluid takes, for each share of power its weight and thickness add."""
GAIN_FELL: Final = "head_sensor_gain_fell"
"""Passages that became rough or fouled take a share of head and leave the shaft's power (from memory); so
does a head sensor whose gain fell, and only gauges tell the two apart."""

MARK_SPREAD: Final = 0.15
SLOPE_SPREAD: Final = 0.08
"""Pumps and sensors differ in each number of a mark by this share of it, and in each slope by this much a
unit: flow and speed seldom move apart, so that one slope passes for the other."""


def head_templates(moved: Movement, level: float) -> list[Template]:
    """Return the causes that move head the way of ``level`` [-], and power with it."""
    hours = moved.hours
    along = moved.of(hours.flow_lever, hours.power_lever)
    past_rings = moved.of(hours.flow_lever / hours.flow_ratio, hours.power_lever / hours.flow_ratio)
    power, head = moved.of(0.0, 1.0), moved.of(1.0, 0.0)
    scale = 1 / max(abs(float(along[0])), 0.05)
    leak = _spread(past_rings * scale, (_off_slope(past_rings * scale), power))
    meter = _spread(along * scale, (_off_slope(along * scale) / 2, power))
    eroded = -head - EROSION_POWER * power
    erosion = _spread(eroded, (EROSION_POWER_SPREAD, power))
    offset = moved.of(hours.head_share, 0.0)
    every = [
        Template(name="ring_leakage", mark=past_rings * scale, spread=leak, prior=0.3),
        Template(name="impeller_wear", mark=eroded, spread=erosion, prior=0.25),
        Template(name="flow_meter_reads_low", mark=along * scale, spread=meter, prior=0.1),
        Template(name="flow_meter_reads_high", mark=-along * scale, spread=meter, prior=0.1),
        Template(name="head_sensor_reads_low", mark=-offset, spread=_spread(offset), prior=0.07),
        Template(name="rough_passages", twins=(GAIN_FELL,), mark=-head, spread=_spread(head), prior=0.1),
        Template(name="head_sensor_reads_high", mark=offset, spread=_spread(offset), prior=0.07),
        Template(name="head_sensor_reads_high", mark=head, spread=_spread(head), prior=0.05),
        *fluid_templates(moved),
    ]
    return _that_way(every, _HEAD_LEVEL, level)


_HEAD_LEVEL: Final = 0
_POWER_LEVEL: Final = 3


def _that_way(every: list[Template], place: int, level: float) -> list[Template]:
    # What would have moved it the other way did not do this, however well the rest fits.
    signs = [tuple(sign for sign in each.signs if sign * each.mark[place] * level > 0) for each in every]
    return [replace(each, signs=left) for each, left in zip(every, signs, strict=True) if left]


def _off_slope(mark: FloatArray) -> float:
    return float(np.hypot(LEAK_POWER_SPREAD, LEAK_POWER_SHARE_SPREAD * mark[3]))


def fluid_templates(moved: Movement) -> list[Template]:
    """Return what another fluid does: weight alone where head is lifted height, both where it is pressure."""
    power, head = moved.of(0.0, 1.0), moved.of(1.0, 0.0)
    lifted, pressed = SHAFT_SHARE * power - THICK_HEAD * head, SHAFT_SHARE * power + head
    sizes = (0.005, 0.08)
    unlike = (THICK_HEAD_SPREAD, head)
    return [
        Template(
            name="fluid_changed",
            mark=lifted,
            spread=_spread(lifted, unlike),
            sizes=sizes,
            signs=(1, -1),
            prior=0.06,
        ),
        Template(
            name="fluid_changed",
            mark=pressed,
            spread=_spread(pressed, unlike),
            sizes=sizes,
            signs=(1, -1),
            prior=0.03,
        ),
    ]


def power_templates(moved: Movement, level: float) -> list[Template]:
    """Return the causes that move power the way of ``level`` [-] and leave head alone."""
    gain, drag = moved.of(0.0, 1.0), moved.of(0.0, moved.hours.torque_share)
    every = [
        Template(name="mechanical_drag", mark=drag, spread=_spread_of_power(drag), prior=0.4),
        Template(name="power_reads_high", mark=gain, spread=_spread_of_power(gain), prior=0.3),
        Template(name="power_reads_low", mark=-gain, spread=_spread_of_power(gain), prior=0.3),
        *fluid_templates(moved),
    ]
    return _that_way(every, _POWER_LEVEL, level)


def _spread_of_power(mark: FloatArray) -> FloatArray:
    # A torque that adds and a reading that scales are what they are: only their size is open.
    return np.asarray(np.diag((MARK_SPREAD * mark) ** 2))


_OF_SLOPES: Final = np.array([0.0, 1.0, 1.0, 0.0, 1.0, 1.0])


def _spread(mark: FloatArray, *unlike: tuple[float, FloatArray]) -> FloatArray:
    spread = np.diag((MARK_SPREAD * mark) ** 2 + SLOPE_SPREAD**2 * _OF_SLOPES)
    return np.asarray(spread + sum(size**2 * np.outer(part, part) for size, part in unlike))
