"""The data sheet's curve, to stand in for a pump's own one while that is not learned yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from api.analytics.facts import PumpFacts
from api.analytics.states.own_curve import Floats

_HEAD_BAND: Final = 0.05
_POWER_BAND: Final = 0.09
"""Tolerances of ISO 9906:2012 for head and power between its grades 2B and 3B (from memory)."""
_FEWEST_POINTS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCurve:
    """Head [m] and power [W] by the affinity laws from a sheet at ``typical_speed_rpm``.

    ``head`` and ``power`` are the coefficients of 1, Q and Q² at that speed, Q in m3/h. The sheet's power is
    taken for electrical input; where it is the shaft's, all of it is some percent too low.
    """

    head: tuple[float, float, float]
    power: tuple[float, float, float]
    head_band_m: float
    power_band_w: float
    typical_speed_rpm: float
    typical_flow_m3h: float

    def head_m(self, flow_m3h: Any, speed_rpm: Any) -> Any:  # noqa: ANN401 - numbers or arrays, as numpy does
        """Return the head [m] at these flows [m3/h] and speeds [rpm]."""
        return self._at_speed(self.head, flow_m3h, speed_rpm, 2)

    def power_w(self, flow_m3h: Any, speed_rpm: Any) -> Any:  # noqa: ANN401
        """Return the power [W] at these flows [m3/h] and speeds [rpm]."""
        return self._at_speed(self.power, flow_m3h, speed_rpm, 3)

    def _at_speed(self, terms: tuple[float, float, float], flow: Any, speed: Any, exponent: int) -> Any:  # noqa: ANN401
        share = np.asarray(speed, dtype=float) / self.typical_speed_rpm
        at_rated = np.asarray(flow, dtype=float) / np.maximum(share, 1e-9)
        return share**exponent * (terms[0] + terms[1] * at_rated + terms[2] * at_rated**2)


def sheet_curve(facts: PumpFacts) -> SheetCurve | None:
    """Return the data sheet's curve; ``None`` without a rated speed or three points that all tell power.

    ``facts.data_sheet`` holds points of flow [m3/h], head [m] and power [W].
    """
    points = sorted(point for point in facts.data_sheet if point[2] is not None)
    if facts.rated_speed_rpm is None or len({point[0] for point in points}) < _FEWEST_POINTS:
        return None
    flow, head, power = np.array(points, dtype=np.float64).T
    return SheetCurve(
        head=_parabola(flow, head),
        power=_parabola(flow, power),
        head_band_m=_HEAD_BAND * float(head.max()),
        power_band_w=_POWER_BAND * float(power.max()),
        typical_speed_rpm=facts.rated_speed_rpm,
        typical_flow_m3h=float(flow[np.argmax(flow * head / power)]),
    )


def _parabola(flow_m3h: Floats, values: Floats) -> tuple[float, float, float]:
    scale = float(flow_m3h.max())
    square, line, constant = np.polyfit(flow_m3h / scale, values, 2)
    return float(constant), float(line / scale), float(square / scale**2)
