"""How much grease a bearing takes when it is greased again."""

from __future__ import annotations

from typing import Final

GRAMS_A_SQUARE_MM: Final = 0.005
"""Grease for topping up, over outside diameter times width (common practice; the manual comes first)."""


def grease_g(outside_mm: float, width_mm: float) -> float:
    """Return the grease for one bearing [g]: 0.005 times outside diameter times width, both in mm.

    Raises
    ------
    ValueError
        When one of the two is not above zero, or the width is not below the diameter.

    >>> round(grease_g(80.0, 18.0), 1)
    7.2
    """
    if not 0 < width_mm < outside_mm:
        raise ValueError(
            f"a bearing is wider than zero and narrower than its diameter, not {outside_mm:g} x {width_mm:g}"
        )
    return GRAMS_A_SQUARE_MM * outside_mm * width_mm
