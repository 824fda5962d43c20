"""The two array types of the plant: times in whole milliseconds UTC, and everything else."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
TimeArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
STANDARD_GRAVITY_M_S2: Final = 9.80665
"""By definition (CGPM 1901)."""
