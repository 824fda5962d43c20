"""Which unit numbers to ask, as a person writes them."""

from __future__ import annotations

import re
from typing import Final

HIGHEST_ON_A_LINE: Final = 247
"""0 means everybody, 248 to 255 are reserved (serial line specification V1.02, from memory)."""
HIGHEST: Final = 255
_PART: Final = re.compile(r"\s*(\d{1,3})\s*(?:-\s*(\d{1,3})\s*)?")


def parse_units(words: str, *, is_network: bool = False) -> tuple[int, ...]:
    """Return the unit numbers in ascending order, each once; a network host may have 0 to 255.

    Raises
    ------
    ValueError
        In one line.

    >>> parse_units("1-3, 11")
    (1, 2, 3, 11)
    """
    first, last = (0, HIGHEST) if is_network else (1, HIGHEST_ON_A_LINE)
    units: set[int] = set()
    for part in words.split(","):
        found = _PART.fullmatch(part)
        begin = int(found[1]) if found else -1
        end = int(found[2] or found[1]) if found else -1
        if not first <= begin <= end <= last:
            raise ValueError(
                f'units are written as "1-247" or "1,5,10-20", from {first} to {last}, not {words!r}'
            )
        units.update(range(begin, end + 1))
    return tuple(sorted(units))
