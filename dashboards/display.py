"""Display units and numbers: the only place where SI becomes what a reader is used to.

Electrical input power is shown in W or kW in both systems, since that is what a power meter and the energy
bill say; horsepower is the US unit of rated (shaft) power. Common practice of the trade.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from collector.units import LENGTHS, UNITS
from dashboards.views import FloatArray, UnitSystem

NOTHING: Final = "–"
BOUND: Final = "\N{NO-BREAK SPACE}"
"""Between a number and its unit, so that no line ends between them."""
_GALLONS_A_THOUSAND: Final = 1000 * UNITS["gpm"].factor / 60
"""Cubic metres in 1000 US gallons."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayUnit:
    """A unit on the screen: ``shown = stored * factor + offset``, with digits that a reader can use.

    ``digits`` are significant digits, as many as such a value is known to; ``decimals`` caps what comes
    after the point. ``is_code`` is for a number that counts nothing, such as a fault code.
    """

    label: str
    is_code: bool = False
    factor: float = 1.0
    offset: float = 0.0
    digits: int = 3
    decimals: int = 2

    def convert(self, values: FloatArray) -> FloatArray:
        """Return the values in this unit, NaN staying NaN."""
        return values * self.factor + self.offset


_COMMON: Final = {
    "speed_rpm": DisplayUnit(label="rpm", digits=4, decimals=0),
    "power_w": DisplayUnit(label="W", digits=4, decimals=0),
    "drive_temperature_c": DisplayUnit(label="°C", decimals=1),
    "current_a": DisplayUnit(label="A", decimals=1),
    "energy_kwh": DisplayUnit(label="kWh", digits=5, decimals=1),
    "run_time_h": DisplayUnit(label="h", digits=6, decimals=1),
    "starts": DisplayUnit(label="", digits=9, decimals=0),
    "speed_command_pct": DisplayUnit(label="%", decimals=1),
    "status_word": DisplayUnit(label="", is_code=True),
    "fault_code": DisplayUnit(label="", is_code=True),
    "efficiency": DisplayUnit(label="%", factor=100, digits=2, decimals=0),
}
_SI: Final = _COMMON | {
    "flow_m3h": DisplayUnit(label="m³/h", decimals=2),
    "head_m": DisplayUnit(label="m", decimals=2),
    "fluid_temperature_c": DisplayUnit(label="°C", decimals=1),
    "volume_m3": DisplayUnit(label="m³", digits=4, decimals=1),
    "kwh_per_m3": DisplayUnit(label="kWh/m³", decimals=4),
    "rated_power_w": DisplayUnit(label="kW", factor=0.001, decimals=2),
    "diameter_mm": DisplayUnit(label="mm", decimals=1),
}
_US: Final = _COMMON | {
    "flow_m3h": DisplayUnit(label="gpm", factor=1 / UNITS["gpm"].factor, decimals=1),
    "head_m": DisplayUnit(label="ft", factor=1 / UNITS["ft"].factor, decimals=1),
    "fluid_temperature_c": DisplayUnit(label="°F", factor=1.8, offset=32, decimals=0),
    "drive_temperature_c": DisplayUnit(label="°F", factor=1.8, offset=32, decimals=0),
    "volume_m3": DisplayUnit(label="1000 gal", factor=1 / _GALLONS_A_THOUSAND, digits=4, decimals=1),
    "kwh_per_m3": DisplayUnit(label="kWh/1000 gal", factor=_GALLONS_A_THOUSAND, decimals=3),
    "rated_power_w": DisplayUnit(label="hp", factor=1 / UNITS["hp"].factor, decimals=2),
    "diameter_mm": DisplayUnit(label="in", factor=0.001 / LENGTHS["in"].factor, decimals=2),
}
_SYSTEMS: Final[dict[UnitSystem, dict[str, DisplayUnit]]] = {"SI": _SI, "US": _US}
KILOWATT: Final = DisplayUnit(label="kW", factor=0.001, digits=3, decimals=2)
_KILOWATTS_FROM_W: Final = 10_000.0


def unit_of(quantity: str, system: UnitSystem) -> DisplayUnit:
    """Return the unit in which a quantity is shown; a quantity without one is shown bare."""
    return _SYSTEMS[system].get(quantity, DisplayUnit(label=""))


def unit_for_range(quantity: str, system: UnitSystem, largest: float) -> DisplayUnit:
    """Return the unit for a whole axis or column whose largest value is known: kW for large pumps.

    >>> unit_for_range("power_w", "SI", 45_000).label
    'kW'
    """
    if quantity == "power_w" and largest >= _KILOWATTS_FROM_W:
        return KILOWATT
    return unit_of(quantity, system)


def number(value: float | None, digits: int = 3, decimals: int = 6) -> str:
    """Return a number with as many digits as mean something, thousands set apart.

    >>> number(1234.56, 4), number(0.01234, 3), number(None), number(-0.001, 3, 1)
    ('1,235', '0.0123', '–', '0')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    whole_digits = 1 if value == 0 else math.floor(math.log10(abs(value))) + 1
    places = max(0, min(decimals, digits - whole_digits))
    text = f"{value:,.{places}f}"
    return "0" if float(text.replace(",", "")) == 0 else text.replace("-", "−")


def amount(value: float | None, quantity: str, system: UnitSystem) -> str:
    r"""Return a stored value as a reader sees it, with its unit; a dash where there is none.

    >>> amount(22.7125, "flow_m3h", "US"), amount(2.13, "power_w", "SI"), amount(None, "head_m", "SI")
    ('100\xa0gpm', '2\xa0W', '–')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    unit = unit_for_range(quantity, system, abs(value))
    if unit.is_code:
        return f"{value:.0f}"
    text = number(value * unit.factor + unit.offset, unit.digits, unit.decimals)
    times = f"×{BOUND}" if unit.label[:1].isdigit() else ""
    return f"{text}{BOUND}{times}{unit.label}" if unit.label else text


def bare(value: float | None, quantity: str, system: UnitSystem) -> str:
    """Return a stored value as a reader sees it in a column whose header says the unit.

    The unit of a column never depends on one value, so power stays in W.

    >>> bare(1000.0, "volume_m3", "US"), bare(12_345.6, "power_w", "SI"), bare(None, "head_m", "SI")
    ('264.2', '12,346', '–')
    """
    unit = unit_of(quantity, system)
    if value is None or not math.isfinite(value):
        return NOTHING
    return number(value * unit.factor + unit.offset, unit.digits, unit.decimals)


def percent(fraction: float | None, decimals: int = 0) -> str:
    r"""Return a share as a percentage.

    >>> percent(0.9149), percent(-0.041, 1)
    ('91\xa0%', '−4.1\xa0%')
    """
    if fraction is None or not math.isfinite(fraction):
        return NOTHING
    text = f"{fraction * 100:.{decimals}f}"
    return f"{text.lstrip('-') if float(text) == 0 else text.replace('-', '−')}{BOUND}%"


def signed_percent(fraction: float | None, decimals: int = 1) -> str:
    r"""Return a change as a percentage that always carries its sign.

    >>> signed_percent(0.062), signed_percent(-0.01), signed_percent(0.0)
    ('+6.2\xa0%', '−1.0\xa0%', '0.0\xa0%')
    """
    text = percent(fraction, decimals)
    is_rise = fraction is not None and text not in (NOTHING, percent(0.0, decimals)) and fraction > 0
    return f"+{text}" if is_rise else text


def listed(words: Iterable[str], joint: str = "and") -> str:
    """Return words as a person lists them.

    >>> listed(["air", "wear", "drag"])
    'air, wear and drag'
    """
    parts = list(words)
    return " ".join(parts) if len(parts) < 2 else f"{', '.join(parts[:-1])} {joint} {parts[-1]}"
