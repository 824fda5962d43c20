"""Pictures as small as a word: the quiet line of the last weeks, and the place against the own curve.

They are drawn as SVG by the templates, in the text's own colour, with the same said in words beside them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from dashboards.views import FloatArray

LINE_WIDTH: Final = 96
LINE_HEIGHT: Final = 22
SCALE_HEIGHT: Final = 22
_FULL_SCALE: Final = 0.10
"""Head this share [-] off its curve reaches the edge of the small scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietLine:
    """Pieces of a line as SVG point lists; a gap parts two pieces."""

    pieces: tuple[str, ...]


def quiet_line(values: FloatArray | None) -> QuietLine:
    """Return the last weeks as a line from zero to the largest value.

    >>> quiet_line(np.array([0.0, 1.0])).pieces
    ('1.0,21.0 95.0,1.0',)
    """
    if values is None or values.size < 2 or not np.isfinite(values).any():
        return QuietLine(pieces=())
    largest = float(np.nanmax(values)) or 1.0
    across = np.linspace(1, LINE_WIDTH - 1, values.size)
    down = LINE_HEIGHT - 1 - values / largest * (LINE_HEIGHT - 2)
    pieces: list[list[str]] = [[]]
    for x, y in zip(across.tolist(), down.tolist(), strict=True):
        if np.isfinite(y):
            pieces[-1].append(f"{x:.1f},{y:.1f}")
        elif pieces[-1]:
            pieces.append([])
    return QuietLine(pieces=tuple(" ".join(piece) for piece in pieces if len(piece) > 1))


def place_on_scale(against_curve: float | None) -> float | None:
    """Return how far down the small scale the dot stands; the middle is the pump's own curve.

    >>> place_on_scale(0.0), place_on_scale(-0.5)
    (11.0, 20.0)
    """
    if against_curve is None or not np.isfinite(against_curve):
        return None
    half = SCALE_HEIGHT / 2
    share = max(-1.0, min(1.0, against_curve / _FULL_SCALE))
    return half - share * (half - 2)
