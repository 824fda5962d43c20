"""By what a raw value may have to be multiplied, and how usual that is. Usual means: common practice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from collector.quantities import Quantity
from collector.units import UNITS, units_of

_DECADES: Final[Mapping[int, float]] = {
    0: 0.30, -1: 0.30, -2: 0.18, -3: 0.10, 1: 0.06, 2: 0.05, 3: 0.005, -4: 0.005
}  # fmt: skip
_DECADES_OF_FLOATS: Final[Mapping[int, float]] = {
    0: 0.95, -1: 0.01, -2: 0.01, -3: 0.01, 1: 0.005, 2: 0.005, 3: 0.01
}  # fmt: skip
_MANTISSAS: Final[Mapping[int, float]] = {1: 1.0, 5: 0.02, 2: 0.02}
_PANEL_UNIT: Final = 0.5
"""How likely a register holds the unit that the panel shows, before anything was compared."""
_RARE_UNITS: Final = frozenset({"L/min", "L/h", "mbar", "1/s", "K", "Wh", "MWh", "min", "s", "mA"})
_RARE: Final = 0.15
_SAME: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """``value in the unit of the quantity's name = raw * factor + offset``; ``prior`` [-] sums to about 1.

    ``scale`` and ``unit`` are how a register map writes it; ``words`` say more where that is not all.
    """

    scale: float
    unit: str
    factor: float
    offset: float
    prior: float
    words: str = ""


@lru_cache(maxsize=256)
def scales_of(
    quantity: Quantity, panel_unit: str, *, is_float: bool, rated_speed_rpm: float | None = None
) -> tuple[Scale, ...]:
    """Return the scales to try for a quantity, by rising factor; those that read alike are one.

    >>> speed = __import__("collector.quantities").quantities.quantity("speed_rpm")
    >>> [each.scale for each in scales_of(speed, "rpm", is_float=True)][:4]
    [0.001, 0.01, 0.001, 0.1]
    """
    if not quantity.unit:
        return (Scale(scale=1.0, unit="", factor=1.0, offset=0.0, prior=1.0),)
    made = [
        _scale(unit, number, share * chance)
        for unit, share in _unit_shares(quantity.unit, panel_unit).items()
        for number, chance in _numbers(is_float=is_float).items()
    ]
    if quantity.name == "speed_rpm" and rated_speed_rpm is not None:
        made += _of_rated_speed(rated_speed_rpm, is_float=is_float)
    return _merged(made)


def is_decade(number: float) -> bool:
    """Return whether a scale is a power of ten, as most are.

    >>> is_decade(0.001), is_decade(0.005)
    (True, False)
    """
    return f"{number:e}".startswith("1.000000")


def _unit_shares(base: str, panel_unit: str) -> dict[str, float]:
    weights = {unit: _RARE if unit in _RARE_UNITS else 1.0 for unit in units_of(base)}
    in_all = sum(weights.values())
    return {
        unit: (1 - _PANEL_UNIT) * weight / in_all + _PANEL_UNIT * (unit == panel_unit)
        for unit, weight in weights.items()
    }


def _numbers(*, is_float: bool) -> dict[float, float]:
    if is_float:
        return {float(f"1e{decade}"): chance for decade, chance in _DECADES_OF_FLOATS.items()}
    return {
        float(f"{mantissa}e{decade}"): chance * usual
        for decade, chance in _DECADES.items()
        for mantissa, usual in _MANTISSAS.items()
    }


def _scale(unit: str, number: float, prior: float) -> Scale:
    known = UNITS[unit]
    return Scale(scale=number, unit=unit, factor=number * known.factor, offset=known.offset, prior=prior)


def _of_rated_speed(rated_speed_rpm: float, *, is_float: bool) -> list[Scale]:
    """Return the scales of a register that holds the speed in % of the rated one, or as mains frequency."""
    made = []
    for full, share, words in ((100.0, 0.1, "% of"), (50.0, 0.03, "Hz, 50 at"), (60.0, 0.03, "Hz, 60 at")):
        for number, chance in _numbers(is_float=is_float).items():
            factor = number * rated_speed_rpm / full
            said = f"the drive sends {number:g} {words} {rated_speed_rpm:g} rpm"
            made.append(
                Scale(scale=factor, unit="rpm", factor=factor, offset=0.0, prior=share * chance, words=said)
            )
    return made


def _merged(scales: list[Scale]) -> tuple[Scale, ...]:
    """Join those that read alike (0.001 kW and 1 W) under the more usual writing."""
    merged: list[Scale] = []
    for scale in sorted(scales, key=lambda each: (each.factor, -each.prior)):
        if merged and _alike(merged[-1], scale):
            merged[-1] = max(merged[-1], scale, key=lambda each: each.prior)
        else:
            merged.append(scale)
    return tuple(merged)


def _alike(one: Scale, other: Scale) -> bool:
    return one.offset == other.offset and abs(one.factor - other.factor) <= _SAME * one.factor
