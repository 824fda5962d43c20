"""An address as a QR code, drawn as one path that a page can hold without a script or a style."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import segno

QUIET_MODULES: Final = 4
"""White around the code on each side, in modules (ISO/IEC 18004, from memory)."""
LARGEST_TEXT: Final = 1_000
"""Beyond this no label is large enough (our own choice; a code could hold some more)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QrCode:
    """A code of ``modules`` to a side, its quiet zone included; ``path`` draws the dark ones as SVG."""

    modules: int
    path: str

    def module_mm(self, side_mm: float) -> float:
        """Return how large one module is where the code is printed this large [mm]."""
        return side_mm / self.modules


def qr_code(text: str) -> QrCode:
    """Return the code of a text at level M, which bears 15 % of damage (ISO/IEC 18004, from memory).

    Raises
    ------
    ValueError
        When the text is empty or too long for a label.

    >>> qr_code("http://pumps.local/pump?name=P01").modules
    37
    """
    if not 0 < len(text) <= LARGEST_TEXT:
        raise ValueError(f"a code holds 1 to {LARGEST_TEXT} letters, not {len(text)}")
    rows = [bytes(row) for row in segno.make_qr(text, error="m").matrix]
    return QrCode(modules=len(rows) + 2 * QUIET_MODULES, path="".join(_strokes(rows)))


def _strokes(rows: list[bytes]) -> Iterator[str]:
    """Give each run of dark modules of a row as one rectangle."""
    for down, row in enumerate(rows, QUIET_MODULES):
        across = QUIET_MODULES
        for is_dark, run in groupby(row):
            length = len(list(run))
            if is_dark:
                yield f"M{across} {down}h{length}v1h-{length}z"
            across += length
