"""How a serial line is set: its speed, its parity and its stop bits, always with eight data bits."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

Parity = Literal["E", "O", "N"]

SLOWEST_BAUD: Final = 300
FASTEST_BAUD: Final = 921_600
_WORDS: Final = re.compile(r"\s*(\d{3,6})[\s,/-]*8[\s,/-]*([EON])[\s,/-]*([12])\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class LineSetting:
    """Baud rate [1/s], parity (even, odd, none) and stop bits; the data bits are eight.

    >>> LineSetting(19_200, "E", 1).words
    '19200 8E1'
    """

    baud: int
    parity: Parity
    stop_bits: Literal[1, 2]

    @property
    def words(self) -> str:
        """As people write it."""
        return f"{self.baud} 8{self.parity}{self.stop_bits}"

    @property
    def character_bits(self) -> int:
        """Bits that one character takes on the line: start, eight data, parity if any, stop [-]."""
        return 1 + 8 + (self.parity != "N") + self.stop_bits

    @property
    def character_s(self) -> float:
        """The time of one character [s]."""
        return self.character_bits / self.baud


def parse_line_setting(words: str) -> LineSetting:
    """Return the setting written as ``19200 8E1``, ``19200-8E1`` or ``19200,8,E,1``.

    Raises
    ------
    ValueError
        In one line, when it is none.

    >>> parse_line_setting("9600-8n2")
    LineSetting(baud=9600, parity='N', stop_bits=2)
    """
    found = _WORDS.fullmatch(words)
    if found is None or not SLOWEST_BAUD <= int(found[1]) <= FASTEST_BAUD:
        raise ValueError(f'a line setting is written as "19200 8E1" (E, O or N; 1 or 2), not {words!r}')
    parity: Parity = "E" if found[2] in "eE" else "O" if found[2] in "oO" else "N"
    return LineSetting(int(found[1]), parity, 1 if found[3] == "1" else 2)
