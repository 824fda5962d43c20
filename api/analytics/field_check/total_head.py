"""The pump's total head from two gauges, with its uncertainty and where that comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from api.analytics.energy.hydraulic import STANDARD_GRAVITY_M_S2
from api.analytics.field_check.gauges import Gauge, Tap

DENSITY_SD: Final = 0.005 / math.sqrt(3)
"""Water between 10 and 35 °C, or a glycol of roughly known strength, within 0.5 % (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadMeasured:
    """Total head [m] and its parts [m].

    ``from_m`` is what the uncertainty of each input gives to that of the head [m]; their squares add up to
    the square of ``sd_m``.
    """

    head_m: float
    pressure_m: float
    height_m: float
    velocity_m: float
    from_m: Mapping[str, float]

    @property
    def sd_m(self) -> float:
        """Return the standard uncertainty [m]."""
        return math.hypot(*self.from_m.values())

    @property
    def interval_m(self) -> tuple[float, float]:
        """Return the 95 % interval [m], two standard uncertainties to each side (GUM, 6.3.3; from memory)."""
        return self.head_m - 2 * self.sd_m, self.head_m + 2 * self.sd_m


def total_head(
    suction: Tap,
    discharge: Tap,
    gauges: tuple[Gauge, Gauge],
    flow_m3h: float,
    flow_sd_m3h: float,
    density_kg_m3: float,
    *,
    is_one_gauge: bool = False,
) -> HeadMeasured:
    """Return the total head by its definition, and its uncertainty by the law of propagation.

    ``H = (p_d - p_s) / (rho g) + (z_d - z_s) + (v_d² - v_s²) / 2g`` (ISO 9906 and ISO 17769-1 define it so;
    from memory). ``gauges`` are those at suction and discharge. One gauge carried from one tap to the other
    (``is_one_gauge``) errs by the same share at both, so that its error is one of the difference alone.
    Propagation by JCGM 100:2008, equation 10 (from memory); density is taken for known within 0.5 %.

    Raises
    ------
    ValueError
        When a pipe or the density is not above zero, or the flow is below.
    """
    _must_be_physical(suction, discharge, flow_m3h, density_kg_m3)
    weight = density_kg_m3 * STANDARD_GRAVITY_M_S2
    pressure_m = (discharge.pressure_pa - suction.pressure_pa) / weight
    speeds = [tap.velocity_head_m(flow_m3h, STANDARD_GRAVITY_M_S2) for tap in (suction, discharge)]
    velocity_m = speeds[1] - speeds[0]
    height_m = discharge.height_m - suction.height_m
    return HeadMeasured(
        head_m=pressure_m + height_m + velocity_m,
        pressure_m=pressure_m,
        height_m=height_m,
        velocity_m=velocity_m,
        from_m=_parts_m(suction, discharge, gauges, (flow_m3h, flow_sd_m3h), weight, is_one_gauge),
    )


def _parts_m(
    suction: Tap,
    discharge: Tap,
    gauges: tuple[Gauge, Gauge],
    flow: tuple[float, float],
    weight_n_m3: float,
    is_one_gauge: bool,
) -> Mapping[str, float]:
    """Return what each input gives to the uncertainty [m]; ``flow`` is its value and sd [m3/h]."""
    flow_m3h, flow_sd_m3h = flow
    speeds = [tap.velocity_head_m(flow_m3h, STANDARD_GRAVITY_M_S2) for tap in (suction, discharge)]
    pressure_m = (discharge.pressure_pa - suction.pressure_pa) / weight_n_m3
    return {
        "gauge_error": _gauge_error_pa(suction, discharge, gauges, is_one_gauge) / weight_n_m3,
        "gauge_reading": math.hypot(*(gauge.reading_sd_pa for gauge in gauges)) / weight_n_m3,
        "heights": math.hypot(suction.height_sd_m, discharge.height_sd_m),
        "flow": 2 * abs(speeds[1] - speeds[0]) * flow_sd_m3h / flow_m3h if flow_m3h else 0.0,
        "pipes": _pipes_m(suction, discharge, flow_m3h),
        "density": abs(pressure_m) * DENSITY_SD,
    }


def _gauge_error_pa(suction: Tap, discharge: Tap, gauges: tuple[Gauge, Gauge], is_one_gauge: bool) -> float:
    if is_one_gauge:
        return abs(discharge.pressure_pa - suction.pressure_pa) * gauges[0].scale_sd
    return math.hypot(*(gauge.scale_sd * gauge.span_pa for gauge in gauges))


def _pipes_m(suction: Tap, discharge: Tap, flow_m3h: float) -> float:
    """Return what the diameters' uncertainty gives [m]: velocity head goes with their fourth power."""
    return math.hypot(
        *(
            4 * tap.velocity_head_m(flow_m3h, STANDARD_GRAVITY_M_S2) * tap.pipe_sd_m / tap.pipe_m
            for tap in (suction, discharge)
        )
    )


def _must_be_physical(suction: Tap, discharge: Tap, flow_m3h: float, density_kg_m3: float) -> None:
    if min(suction.pipe_m, discharge.pipe_m) <= 0:
        raise ValueError("a pipe's inner diameter should be above zero")
    if density_kg_m3 <= 0:
        raise ValueError("the density should be above zero")
    if flow_m3h < 0:
        raise ValueError("the flow should not be below zero")
