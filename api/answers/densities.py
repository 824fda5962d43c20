"""The fluid's density hour by hour: by its measured temperature where there is one, else as stated."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analysis.fluids import density_kg_m3
from collector.site import Pump

FloatArray = NDArray[np.float64]


def densities_kg_m3(pump: Pump, periods: Sequence[pd.DataFrame]) -> list[FloatArray] | None:
    """Return for each period one density an hour row [kg/m³], ``None`` where a period has no temperature.

    A temperature in one of two periods alone would make a change of density that the fluid had not. An hour
    without a reading of it has its period's mean.
    """
    temperatures = [_temperatures_c(hours) for hours in periods]
    if any(not np.isfinite(each).any() for each in temperatures):
        return None
    return [_of(pump, each) for each in temperatures]


def _temperatures_c(hours: pd.DataFrame) -> FloatArray:
    if hours.empty:
        return np.array([])
    count = hours["n_temperature"].to_numpy(dtype=float)
    none = np.full(len(count), np.nan)
    return np.asarray(
        np.divide(hours["sum_temperature_c"].to_numpy(dtype=float), count, out=none, where=count > 0)
    )


def _of(pump: Pump, temperature_c: FloatArray) -> FloatArray:
    known = np.where(np.isfinite(temperature_c), temperature_c, np.nanmean(temperature_c))
    return np.array([density_kg_m3(pump.fluid, float(each), pump.glycol_mass_pct) for each in known])
