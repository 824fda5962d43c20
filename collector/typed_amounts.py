"""An amount as a person types it, "31.5 psi" or "4 ft 6 in", as our unit of the same kind."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final, Literal

from collector.units import LENGTHS, PRESSURES, UNITS, Unit, unit_as_written, units_of

Kind = Literal["pressure", "length", "flow", "power", "speed", "percent"]

_TABLES: Final[Mapping[Kind, Mapping[str, Unit]]] = {
    "pressure": PRESSURES,
    "length": LENGTHS,
    "flow": {name: UNITS[name] for name in units_of("m3/h")},
    "power": {name: UNITS[name] for name in units_of("W")},
    "speed": {name: UNITS[name] for name in units_of("rpm")},
    "percent": {"%": UNITS["%"]},
}
_EXAMPLES: Final[Mapping[Kind, str]] = {
    "pressure": "31.5 psi",
    "length": "0.4 m",
    "flow": "142 gpm",
    "power": "2 hp",
    "speed": "2900 rpm",
    "percent": "2 %",
}
_ALSO: Final = {
    '"': "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "feet": "ft",
    "inhg": "inHg",
    "psig": "psi",
}
_NUMBER: Final = r"\s*(?P<number>[-−]?(?:\d+\.?\d*|\.\d+))\s*"
_WHOLE: Final = re.compile(_NUMBER + r"(?P<unit>[^\s\d.,−-].*?|1/\w+)\s*$")
_PART: Final = re.compile(_NUMBER + r"(?P<unit>[^\d\s.,−-][^\d.,]*?)\s*(?=[\d.]|$)")
"""Feet and inches come in parts; a unit such as m3/h holds a digit itself."""
_MOST_LETTERS: Final = 40
_VACUUM: Final = re.compile(r"\s*\b(?:vacuum|vac)\.?$", re.IGNORECASE)


def typed_amount(text: str, kind: Kind) -> float:
    """Return an amount in Pa over the atmosphere, m, m3/h, W, rpm or %.

    A vacuum is typed as "-5 inHg" or "5 inHg vacuum"; feet and inches as "4 ft 6 in".

    Raises
    ------
    ValueError
        With what is wrong and how to write it, in words that go after the field's name.

    >>> round(typed_amount("12 psi", "pressure")), round(typed_amount("5 inHg vacuum", "pressure"))
    (82737, -16932)
    >>> round(typed_amount("4 ft 6 in", "length"), 4), round(typed_amount("200 gpm", "flow"), 2)
    (1.3716, 45.42)
    """
    if len(text) > _MOST_LETTERS:
        raise ValueError(f"is too long; write {_shape(kind)}")
    bare = _VACUUM.sub("", text) if kind == "pressure" else text
    parts = _parts(bare, text, kind)
    if len(parts) > 1 and not (kind == "length" and [unit for _, unit in parts] == ["ft", "in"]):
        raise ValueError(f"{text!r} holds more than one value; write {_shape(kind)}")
    table = _TABLES[kind]
    # Minus four feet six is four feet six the other way.
    sign = -1.0 if parts[0][0] < 0 else 1.0
    amount = sign * sum(abs(number) * table[unit].factor for number, unit in parts)
    if bare == text:
        return amount
    if amount < 0:
        raise ValueError(f"{text!r} is below zero twice over; write -5 inHg or 5 inHg vacuum")
    return -amount


def _parts(bare: str, text: str, kind: Kind) -> list[tuple[float, str]]:
    found, end = [], 0
    pattern = _PART if kind == "length" else _WHOLE
    while part := pattern.match(bare, end):
        found.append((float(part["number"].replace("−", "-")), _unit(part["unit"], text, kind)))
        end = part.end()
    if found and end == len(bare):
        return found
    if not bare.strip():
        raise ValueError(f"is missing; write {_shape(kind)}")
    if "," in bare:
        raise ValueError(
            f"{text!r}: write decimals with a point and no thousands mark, as in {_EXAMPLES[kind]}"
        )
    if re.fullmatch(r"\s*[-−]?[\d.]+\s*", bare):
        raise ValueError(f"{text!r} has no unit; write {_shape(kind)}")
    raise ValueError(f"{text!r} cannot be read; write {_shape(kind)}")


def _unit(written: str, text: str, kind: Kind) -> str:
    table, word = _TABLES[kind], " ".join(written.split())
    known = {name.lower(): name for name in table}
    small = word.lower()
    name = word if word in table else _ALSO.get(small) or known.get(small) or unit_as_written(word)
    if name is None or name not in table:
        if re.search(r"\s[-−]?\d", word):
            raise ValueError(f"{text!r} holds more than one value; write {_shape(kind)}")
        raise ValueError(f"{text!r}: {word!r} is no unit of {kind} here; write {_shape(kind)}")
    return name


def _shape(kind: Kind) -> str:
    units = ", ".join(_TABLES[kind])
    return f"a number and its unit ({units}), as in {_EXAMPLES[kind]}"
