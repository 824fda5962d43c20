"""What a tech types from a drive's panel: "1180 W, 142 gpm, 27.5 ft, 3120 rpm"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from collector.quantities import Quantity, quantity
from collector.toml_file import did_you_mean
from collector.units import UNITS, to_base

NAMES: Final[Mapping[str, str]] = {
    "speed": "speed_rpm",
    "power": "power_w",
    "flow": "flow_m3h",
    "head": "head_m",
    "fluid temperature": "fluid_temperature_c",
    "drive temperature": "drive_temperature_c",
    "current": "current_a",
    "energy": "energy_kwh",
    "run time": "run_time_h",
    "starts": "starts",
    "speed command": "speed_command_pct",
    "status": "status_word",
    "fault": "fault_code",
}
"""What a quantity is called where a value is typed."""
_BY_BASE: Final[Mapping[str, str]] = {
    "rpm": "speed_rpm",
    "W": "power_w",
    "m3/h": "flow_m3h",
    "m": "head_m",
    "A": "current_a",
    "kWh": "energy_kwh",
    "h": "run_time_h",
}
"""The quantity that a unit alone stands for; a temperature or a per cent may be several."""
_ALIASES: Final[Mapping[str, str]] = {
    "m³/h": "m3/h", "cmh": "m3/h", "l/s": "L/s", "lps": "L/s", "r/min": "rpm", "1/min": "rpm", "min-1": "rpm",
    "°c": "C", "°f": "F", "feet": "ft", "hours": "h", "hrs": "h", "watt": "W", "usgpm": "gpm",
}  # fmt: skip
_SPELLINGS: Final[Mapping[str, str]] = {name.lower(): name for name in UNITS} | dict(_ALIASES)
# A comma divides values unless it stands between two digits.
_BETWEEN: Final = re.compile(r";|(?<!\d),|,(?!\d)")
_VALUE: Final = re.compile(
    r"(?:(?P<name>[A-Za-z][A-Za-z ]*?)\s*[=:]?\s*)?(?P<number>-?[\d.,]+)\s*"
    r"(?:(?:±|\+/?-)\s*(?P<within>\d[\d.]*)\s*)?(?P<unit>\D.*)?"
)
_NUMBER: Final = re.compile(r"-?(\d+\.?\d*|\.\d+)")
_MOST_DIGITS: Final = 12


class PanelError(Exception):
    """A typed value that cannot be read, in one line that shows how to write it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelValue:
    """A number as the panel shows it, and ``step`` [unit]: one of its last digit, or what ± says, twice."""

    quantity: Quantity
    number: float
    step: float
    unit: str
    text: str

    @property
    def value(self) -> float:
        """The number in the unit of the quantity's name."""
        return to_base(self.number, self.unit)

    @property
    def step_in_base(self) -> float:
        """One of the last digit, in the unit of the quantity's name."""
        return self.step * UNITS[self.unit].factor


def parse_panel(text: str, rated_speed_rpm: float | None = None) -> tuple[PanelValue, ...]:
    """Read the values of a panel, divided by commas.

    A unit says which quantity is meant; one that may be several takes its name in front. A panel that moves
    in steps of 5 W, or that flickers, is typed as "1180 ±5 W".

    Raises
    ------
    PanelError
        One line, with the words that cannot be read and how to write them.

    >>> [(each.quantity.name, each.number, each.step) for each in parse_panel("27.5 ft, starts 31")]
    [('head_m', 27.5, 0.1), ('starts', 31.0, 1.0)]
    >>> parse_panel("1180 ±5 W")[0].step
    10.0
    """
    words = [part.strip() for part in _BETWEEN.split(text) if part.strip()]
    if not words:
        raise PanelError(
            'nothing was typed; write what the panel shows, as in "1180 W, 142 gpm, 27.5 ft, 3120 rpm"'
        )
    values = tuple(_value(part, rated_speed_rpm) for part in words)
    names = [value.quantity.name for value in values]
    for place, name in enumerate(names):
        if name in names[:place]:
            first = values[names.index(name)].text
            raise PanelError(
                f"{first!r} and {values[place].text!r} are both {quantity(name).words}; type one"
            )
    return values


def _value(text: str, rated_speed_rpm: float | None) -> PanelValue:
    parts = _VALUE.fullmatch(text)
    if parts is None:
        raise PanelError(f"{text!r}: write a number and its unit, as in 27.5 ft")
    number, unit = parts["number"], (parts["unit"] or "").strip()
    _refuse_commas(text, number, unit)
    if _NUMBER.fullmatch(number) is None or len(number) > _MOST_DIGITS:
        raise PanelError(f"{text!r}: {number} is no number as a panel shows it; write it as in 27.5 ft")
    shown = float(number)
    step = _step(text, number, parts["within"])
    name = _named(text, parts["name"])
    if unit == "%" and name == "speed_rpm":
        return _speed_in_per_cent(text, shown, step, rated_speed_rpm)
    known = _unit(text, unit)
    return PanelValue(quantity=_quantity(text, name, known), number=shown, step=step, unit=known, text=text)


def _step(text: str, number: str, within: str | None) -> float:
    """Return how far apart two values are that a panel can just show apart."""
    last_digit = float(f"1e-{len(number.partition('.')[2])}")
    if within is None:
        return last_digit
    if _NUMBER.fullmatch(within) is None or len(within) > _MOST_DIGITS or not float(within):
        raise PanelError(f"{text!r}: after ± stands how far the value may be off, as in 1180 ±5 W")
    return max(last_digit, 2 * float(within))


def _speed_in_per_cent(text: str, shown: float, step: float, rated_speed_rpm: float | None) -> PanelValue:
    if rated_speed_rpm is None:
        raise PanelError(f"{text!r}: a speed in % needs the rated speed; add --rated-speed 2900 (in rpm)")
    one = rated_speed_rpm / 100
    return PanelValue(
        quantity=quantity("speed_rpm"), number=shown * one, step=step * one, unit="rpm", text=text
    )  # fmt: skip


def _refuse_commas(text: str, number: str, unit: str) -> None:
    if "," not in number:
        return
    better = (
        [f"{number.replace(',', '.')} {unit}".strip()] if number.count(",") == 1 and "." not in number else []
    )
    if re.fullmatch(r"-?\d{1,3}(,\d{3})+(\.\d+)?", number):
        better.append(f"{number.replace(',', '')} {unit}".strip())
    raise PanelError(
        f"{text!r}: write {' or '.join(reversed(better)) or 'one number, with a point for decimals'}"
    )


def _named(text: str, word: str | None) -> str | None:
    if word is None:
        return None
    name = " ".join(word.lower().split())
    if name not in NAMES:
        raise PanelError(f"{text!r}: no quantity is called {name!r}{did_you_mean(name, list(NAMES))}")
    return NAMES[name]


def _unit(text: str, unit: str) -> str:
    if unit in UNITS:
        return unit
    if unit.lower() not in _SPELLINGS:
        raise PanelError(
            f"{text!r}: unknown unit {unit!r}{did_you_mean(unit, [name for name in UNITS if name])}"
        )
    return _SPELLINGS[unit.lower()]


def _quantity(text: str, name: str | None, unit: str) -> Quantity:
    base = UNITS[unit].base
    if name is None:
        name = _BY_BASE.get(base)
    if name is None:
        raise PanelError(f"{text!r}: {_what_is_open(base)}")
    wanted = quantity(name)
    if wanted.unit != base:
        expected = ", ".join(each for each, known in UNITS.items() if known.base == wanted.unit and each)
        raise PanelError(
            f"{text!r}: {wanted.words} is in {expected or 'no unit'}, not in {unit or 'no unit'}"
        )
    return wanted


def _what_is_open(base: str) -> str:
    if base == "C":
        return "say whose temperature, as in fluid temperature 45 C, or drive temperature 45 C"
    if base == "%":
        return "say of what, as in speed 97.5 %, or speed command 97.5 %"
    return "add the unit, as in 27.5 ft, or the name, as in starts 31"
