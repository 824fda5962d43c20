"""How a serial line is set: its speed, its parity and its stop bits, always with eight data bits."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

Parity = Literal["E", "O", "N"]

SLOWEST_BAUD: Final = 300
FASTEST_BAUD: Final = 921_600
BITS_A_CHARACTER: Final = 11
"""Start, eight data, parity or a second stop bit, stop (serial line specification V1.02, 2.5.1; memory)."""
FASTEST_COUNTED_BAUD: Final = 19_200
FIXED_SILENCE_S: Final = 0.00175
"""Above 19200 baud the silence between frames no longer shrinks (same specification, 2.5.1.1)."""
FIXED_GAP_S: Final = 0.00075
"""Nor does the longest gap within a frame (same place)."""
_SILENT_CHARACTERS: Final = 3.5
_GAP_CHARACTERS: Final = 1.5
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

    @property
    def silence_s(self) -> float:
        """The silence that separates frames, t3.5 [s].

        Counted with eleven bits a character even where the line needs ten: that never shortens it.

        >>> round(LineSetting(9_600, "N", 1).silence_s, 6), LineSetting(115_200, "E", 1).silence_s
        (0.00401, 0.00175)
        """
        return self._characters_s(_SILENT_CHARACTERS, FIXED_SILENCE_S)

    @property
    def gap_s(self) -> float:
        """The longest gap within a frame, t1.5 [s].

        >>> round(LineSetting(9_600, "E", 1).gap_s, 6), LineSetting(115_200, "E", 1).gap_s
        (0.001719, 0.00075)
        """
        return self._characters_s(_GAP_CHARACTERS, FIXED_GAP_S)

    def _characters_s(self, characters: float, fixed_s: float) -> float:
        if self.baud > FASTEST_COUNTED_BAUD:
            return fixed_s
        return characters * max(BITS_A_CHARACTER, self.character_bits) / self.baud


def silence_s(baud: int) -> float:
    """Return the silence that separates serial frames where only the speed is known [s].

    >>> round(silence_s(9600), 6), silence_s(115200)
    (0.00401, 0.00175)
    """
    return LineSetting(baud, "E", 1).silence_s


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
