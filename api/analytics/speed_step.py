"""The step in which a drive shows its speed, told from what it has shown."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.trusted import RUNNING_SPEED_RPM

FloatArray = NDArray[np.float64]

USUAL_STEPS_RPM: Final = (30.0, 15.0, 10.0, 6.0, 5.0, 3.0, 1.5, 1.0)
"""Half a hertz and a tenth of one at two and four poles, and round numbers of rpm (common practice)."""

USUAL_STEPS_OF_RATED: Final = (0.01, 0.005, 0.001)
"""A whole, half or tenth of a percent of rated speed (common practice)."""

FITTING: Final = 0.98
"""Share of the values that are whole steps: a ramp or a spoilt value may lie between."""

MOST_OF_SPEED: Final = 0.03
"""Two setpoints further apart than this, as a share of speed, are setpoints and not a step."""


def speed_step_rpm(hours: pd.DataFrame, rated_speed_rpm: float | None) -> float:
    """Return the step in which speed was shown over these hour rows [rpm], 0 where it moved freely.

    It is the coarsest usual step of which all values shown are multiples; else the smallest difference of
    two of them. A speed that never left one value may have any step that fits: the coarsest is returned, as
    the true speed may have moved by that much unseen. Head read against a speed off by ``step`` is off by
    ``2 step / speed``, as a share (affinity law).
    """
    shown = np.unique(hours[["speed_rpm_min", "speed_rpm_max"]].to_numpy(dtype=float))
    shown = shown[np.isfinite(shown) & (shown > RUNNING_SPEED_RPM)]
    if not len(shown):
        return 0.0
    of_rated = [share * rated_speed_rpm for share in USUAL_STEPS_OF_RATED] if rated_speed_rpm else []
    for step in sorted((*of_rated, *USUAL_STEPS_RPM), reverse=True):
        if _fits(shown, step):
            return step
    apart = np.diff(shown)
    smallest = float(apart.min()) if len(apart) else 0.0
    return smallest if smallest < MOST_OF_SPEED * float(shown.mean()) else 0.0


def _fits(shown: FloatArray, step: float) -> bool:
    # A percentage turned into whole rpm is rounded once more; a step of a few rpm has no room for that.
    slack = 0.51 if step >= 5 and bool(np.all(shown == np.rint(shown))) else 0.02
    off = np.abs(shown - np.rint(shown / step) * step)
    return bool(np.mean(off <= slack) >= FITTING)
