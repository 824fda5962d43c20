"""Energy per volume beside the trade's design yardsticks."""

from __future__ import annotations

from typing import Final

from api.analytics.energy.hydraulic import CUBIC_METRES_A_US_GALLON

HEATING_W_PER_GPM: Final = 19.0
"""Design pump power per flow of a hot-water (and a condenser-water) plant in ASHRAE 90.1's baseline building;
from memory."""
COOLING_W_PER_GPM: Final = 22.0
"""The same of a chilled-water plant; from memory."""
_M3H_A_GPM: Final = 60 * CUBIC_METRES_A_US_GALLON


def w_per_gpm(kwh_per_m3: float) -> float:
    """Return energy per volume as the power per flow that it is: kWh/m³ in W per US gallon a minute.

    >>> round(w_per_gpm(19.0 / 1000 / 0.227125), 2)
    19.0
    """
    return kwh_per_m3 * 1000 * _M3H_A_GPM


def kwh_per_m3_of(watt_per_gpm: float) -> float:
    """Return a yardstick [W per US gallon a minute] as energy per volume [kWh/m³].

    >>> round(kwh_per_m3_of(HEATING_W_PER_GPM) * 3.785412, 4)
    0.3167
    """
    return watt_per_gpm / 1000 / _M3H_A_GPM
