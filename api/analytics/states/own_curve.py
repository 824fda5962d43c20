"""What the fast rules ask of a pump's own curve; the curve itself is learned elsewhere."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class OwnCurve(Protocol):
    """Head and power over flow and speed, as this pump showed them while healthy."""

    @property
    def head_band_m(self) -> float:
        """Standard deviation of one reading's head about the curve [m]."""
        ...

    @property
    def power_band_w(self) -> float:
        """Standard deviation of one reading's power about the curve [W]."""
        ...

    @property
    def typical_speed_rpm(self) -> float:
        """The middle of the speeds it was learned at [rpm]."""
        ...

    @property
    def typical_flow_m3h(self) -> float:
        """The middle of the flows it was learned at [m3/h]."""
        ...

    def head_m(self, flow_m3h: Any, speed_rpm: Any) -> Any:  # noqa: ANN401 - numbers or arrays, as numpy does
        """Return the head [m] at these flows [m3/h] and speeds [rpm], extrapolated where need be."""
        ...

    def power_w(self, flow_m3h: Any, speed_rpm: Any) -> Any:  # noqa: ANN401
        """Return the electrical power [W] at these flows [m3/h] and speeds [rpm]."""
        ...


def usual_flow_over_speed(curve: OwnCurve) -> float:
    """Return the flow over speed that is usual for this pump [m3/h per rpm].

    By the affinity laws flow goes with speed, so that one number stands for all speeds.
    """
    return curve.typical_flow_m3h / curve.typical_speed_rpm
