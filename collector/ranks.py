"""The value that a share of values stays within."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil


def nearest_rank(ordered: Sequence[float], share: float) -> float | None:
    """Return the least of the values, in rising order, that this share [-] stays within; ``None`` for none.

    The nearest-rank definition of a percentile (from memory). In the unit of the values.

    >>> nearest_rank([1.0, 2.0, 3.0, 4.0], 0.5), nearest_rank(range(1, 11), 0.95), nearest_rank([], 0.5)
    (2.0, 10, None)
    """
    return ordered[max(ceil(share * len(ordered)) - 1, 0)] if ordered else None
