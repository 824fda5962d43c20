"""Power given to the water, and the share of the drawn power that it is."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.hours import JOULES_A_KWH

STANDARD_GRAVITY_M_S2: Final = 9.80665
WATER_DENSITY_KG_M3: Final = 998.2
"""Clean water at 20 °C (IAPWS-95: 998.207)."""
CUBIC_METRES_A_US_GALLON: Final = 231 * 0.0254**3
LEAST_HOURS: Final = 12
"""So many hours with power, flow and head tell units from a moment's odd readings."""


def hydraulic_power_w(flow_m3h: float, head_m: float, density_kg_m3: float = WATER_DENSITY_KG_M3) -> float:
    """Power given to the water [W]: density times gravity times flow times head.

    Common practice; ISO 9906 calls it the pump power output.

    >>> round(hydraulic_power_w(10.0, 12.0))
    326
    """
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 * flow_m3h / 3600 * head_m


def wire_to_water_efficiency(
    flow_m3h: float, head_m: float, power_w: float, density_kg_m3: float = WATER_DENSITY_KG_M3
) -> float:
    """Share of the electrical input power that reaches the water [-].

    >>> round(wire_to_water_efficiency(10.0, 12.0, 652.7), 2)
    0.5
    """
    return hydraulic_power_w(flow_m3h, head_m, density_kg_m3) / power_w


def hydraulic_over_electric(
    hours: pd.DataFrame, density_kg_m3: float = WATER_DENSITY_KG_M3
) -> NDArray[np.float64]:
    """Return for each hour row the work given to the water over the energy drawn meanwhile [-].

    NaN where power, flow and head were never known together, or nothing was drawn.
    """
    work_kwh = density_kg_m3 * STANDARD_GRAVITY_M_S2 * hours["volume_head_m4"].to_numpy(dtype=float)
    drawn_kwh = hours["lifted_energy_kwh"].to_numpy(dtype=float)
    none = np.full(len(drawn_kwh), np.nan)
    return np.asarray(np.divide(work_kwh / JOULES_A_KWH, drawn_kwh, out=none, where=drawn_kwh > 0))


def units_contradict(hours: pd.DataFrame, density_kg_m3: float = WATER_DENSITY_KG_M3) -> float | None:
    """Return the middle hour's efficiency [-] if it is above 1 in most hours of moving water, else ``None``.

    Energy can't be made: of flow, head and power at least one is read in a wrong unit or by a wrong factor
    (gallons a minute read as m3/h: 4.4 times the flow; feet read as metres: 3.3 times the head). ``None``
    also while fewer than ``LEAST_HOURS`` hours tell. The opposite mistake makes a poor pump, not an
    impossible one, and can't be seen here.
    """
    share = hydraulic_over_electric(hours, density_kg_m3)
    moving = share[np.isfinite(share) & (share > 0)]
    if len(moving) < LEAST_HOURS or float(np.mean(moving > 1)) <= 0.5:
        return None
    return float(np.median(moving))
