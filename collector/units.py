"""The one table of units: what a drive's manual or a trend log may use, and how it becomes ours.

Exact by definition unless said otherwise: inch 0.0254 m, pound 0.45359237 kg, US gallon 231 in³,
standard gravity 9.80665 m/s² (NIST SP 811, appendix B). Heads given as pressure are turned into metres
of the trade's reference water, 998.2 kg/m³ (20 °C; IAPWS-95 gives 998.207).

What a person reads off a gauge or a tape measure stands in tables of its own: a drive's map never holds it.
Conventional columns of water (1000 kg/m³) and mercury by NIST SP 811, appendix B (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

STANDARD_GRAVITY_M_S2: Final = 9.80665
REFERENCE_DENSITY_KG_M3: Final = 998.2
CUBIC_METRES_A_US_GALLON: Final = 231 * 0.0254**3
METRES_A_FOOT: Final = 0.3048
WATTS_A_HORSEPOWER: Final = 550 * METRES_A_FOOT * 0.45359237 * STANDARD_GRAVITY_M_S2

_KPA_TO_M: Final = 1000 / (REFERENCE_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2)
_PSI_TO_KPA: Final = 0.45359237 * STANDARD_GRAVITY_M_S2 / 0.0254**2 / 1000


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as ``ours = theirs * factor + offset``, where ours is the unit in ``base``."""

    base: str
    factor: float
    offset: float = 0.0


UNITS: Final[dict[str, Unit]] = {
    "": Unit("", 1.0),
    "rpm": Unit("rpm", 1.0),
    "1/s": Unit("rpm", 60.0),
    "W": Unit("W", 1.0),
    "kW": Unit("W", 1000.0),
    "hp": Unit("W", WATTS_A_HORSEPOWER),
    "m3/h": Unit("m3/h", 1.0),
    "L/s": Unit("m3/h", 3.6),
    "L/min": Unit("m3/h", 0.06),
    "L/h": Unit("m3/h", 0.001),
    "gpm": Unit("m3/h", CUBIC_METRES_A_US_GALLON * 60),
    "m": Unit("m", 1.0),
    "ft": Unit("m", METRES_A_FOOT),
    "kPa": Unit("m", _KPA_TO_M),
    "bar": Unit("m", 100 * _KPA_TO_M),
    "mbar": Unit("m", 0.1 * _KPA_TO_M),
    "psi": Unit("m", _PSI_TO_KPA * _KPA_TO_M),
    "C": Unit("C", 1.0),
    "F": Unit("C", 5 / 9, -32 * 5 / 9),
    "K": Unit("C", 1.0, -273.15),
    "A": Unit("A", 1.0),
    "mA": Unit("A", 0.001),
    "kWh": Unit("kWh", 1.0),
    "Wh": Unit("kWh", 0.001),
    "MWh": Unit("kWh", 1000.0),
    "h": Unit("h", 1.0),
    "min": Unit("h", 1 / 60),
    "s": Unit("h", 1 / 3600),
    "%": Unit("%", 1.0),
}


PRESSURES: Final[dict[str, Unit]] = {
    "psi": Unit("Pa", _PSI_TO_KPA * 1000),
    "bar": Unit("Pa", 100e3),
    "mbar": Unit("Pa", 100.0),
    "kPa": Unit("Pa", 1000.0),
    "MPa": Unit("Pa", 1e6),
    "Pa": Unit("Pa", 1.0),
    "ft": Unit("Pa", 1000 * STANDARD_GRAVITY_M_S2 * METRES_A_FOOT),
    "m": Unit("Pa", 1000 * STANDARD_GRAVITY_M_S2),
    "inHg": Unit("Pa", 3386.389),
}
"""Gauge pressure; ft and m are of water on the gauge's own scale."""

LENGTHS: Final[dict[str, Unit]] = {
    "m": Unit("m", 1.0),
    "cm": Unit("m", 0.01),
    "mm": Unit("m", 0.001),
    "ft": Unit("m", METRES_A_FOOT),
    "in": Unit("m", 0.0254),
}
"""Heights and diameters."""

_ALSO_WRITTEN: Final[dict[str, str]] = {
    "m³/h": "m3/h", "m^3/h": "m3/h", "m3/hr": "m3/h", "cmh": "m3/h", "l/s": "L/s", "lps": "L/s",
    "usgpm": "gpm", "gal/min": "gpm", "us gpm": "gpm", "lpm": "L/min", "r/min": "rpm", "1/min": "rpm",
    "min-1": "rpm", "rev/min": "rpm", "°c": "C", "degc": "C", "deg c": "C", "°f": "F", "degf": "F",
    "deg f": "F", "feet": "ft", "ft.": "ft", "ftwc": "ft", "mwc": "m", "hours": "h", "hour": "h", "hrs": "h",
    "hr": "h", "watt": "W", "watts": "W", "amps": "A", "amp": "A", "percent": "%", "-": "", "none": "",
}  # fmt: skip
"""How manuals and panels also write them, in small letters (common practice)."""


def unit_as_written(text: str) -> str | None:
    """Return the unit of the table that a manual means, ``None`` when it is none of them.

    >>> unit_as_written("m³/h"), unit_as_written("KW"), unit_as_written("furlong")
    ('m3/h', 'kW', None)
    """
    word = " ".join(text.split())
    if word in UNITS:
        return word
    small = word.lower()
    spelled = [name for name in UNITS if name.lower() == small]
    return spelled[0] if spelled else _ALSO_WRITTEN.get(small)


def to_base(value: float, unit: str) -> float:
    """Convert a value to the product's own unit of the same kind.

    Raises
    ------
    KeyError
        When the unit is not in the table.

    >>> round(to_base(100, "gpm"), 4)
    22.7125
    >>> round(to_base(212, "F"), 6)
    100.0
    """
    known = UNITS[unit]
    return value * known.factor + known.offset


def units_of(base: str) -> tuple[str, ...]:
    """Return the units that convert to this one.

    >>> units_of("rpm")
    ('rpm', '1/s')
    """
    return tuple(name for name, unit in UNITS.items() if unit.base == base)
