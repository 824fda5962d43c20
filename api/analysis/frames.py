"""Stored readings as the frame that analytics take."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from collector.quantities import QUANTITY_NAMES


def frame_of(rows: Sequence[tuple[Any, ...]], columns: Sequence[str] = QUANTITY_NAMES) -> pd.DataFrame:
    """Return rows of ``(time_utc_ms, *columns)`` as a frame: index ``time_utc_ms``, doubles, NaN for none."""
    # Milliseconds since 1970 are exact in a double until the year 287396.
    numbers = np.array(rows, dtype=np.float64).reshape(len(rows), len(columns) + 1)
    index = pd.Index(numbers[:, 0].astype(np.int64), name="time_utc_ms")
    return pd.DataFrame(numbers[:, 1:], index=index, columns=list(columns))
