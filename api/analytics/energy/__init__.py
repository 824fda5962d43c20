"""Energy per volume: what was drawn for what was moved, why it changed, and what it is worth."""

from api.analytics.energy.hydraulic import (
    CUBIC_METRES_A_US_GALLON,
    STANDARD_GRAVITY_M_S2,
    WATER_DENSITY_KG_M3,
    hydraulic_over_electric,
    hydraulic_power_w,
    units_contradict,
    wire_to_water_efficiency,
)
from api.analytics.energy.weeks import EnergyWeek, energy_weeks

__all__ = [
    "CUBIC_METRES_A_US_GALLON",
    "STANDARD_GRAVITY_M_S2",
    "WATER_DENSITY_KG_M3",
    "EnergyWeek",
    "energy_weeks",
    "hydraulic_over_electric",
    "hydraulic_power_w",
    "units_contradict",
    "wire_to_water_efficiency",
]
