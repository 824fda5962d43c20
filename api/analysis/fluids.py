"""Density of what is pumped, from what the site file says of it."""

from __future__ import annotations

from typing import Final

import numpy as np

WATER: Final = "water"
PROPYLENE_GLYCOL: Final = "propylene_glycol"
ETHYLENE_GLYCOL: Final = "ethylene_glycol"
USUAL_TEMPERATURE_C: Final = 20.0
"""Where the site file states none; the trade's reference water is 998.2 kg/m³ (common practice)."""

_WATER_C: Final = (4.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0)
_WATER_KG_M3: Final = (
    *(999.975, 999.702, 998.207, 995.649, 992.216),
    *(988.035, 983.196, 977.765, 971.790, 965.310),
)
"""IAPWS-95 at atmospheric pressure, computed with CoolProp."""
_GLYCOL_C: Final = (4.0, 20.0, 40.0, 60.0, 80.0)
_GLYCOL_KG_M3: Final[dict[str, dict[float, tuple[float, ...]]]] = {
    PROPYLENE_GLYCOL: {
        20.0: (1019.30, 1014.78, 1006.37, 995.59, 983.18),
        30.0: (1030.24, 1023.78, 1013.43, 1001.15, 987.60),
        40.0: (1040.53, 1032.27, 1020.06, 1006.31, 991.63),
    },
    ETHYLENE_GLYCOL: {
        20.0: (1028.30, 1024.10, 1016.40, 1006.21, 993.76),
        30.0: (1043.78, 1038.05, 1028.80, 1017.46, 1004.26),
        40.0: (1058.85, 1051.86, 1041.35, 1029.11, 1015.39),
    },
}
"""By mass percent: CoolProp's incompressible mixtures MPG and MEG."""


def density_kg_m3(fluid: str, temperature_c: float | None = None, glycol_mass_pct: float = 0.0) -> float:
    """Return the density [kg/m³] of water or a glycol mixture at a temperature [°C].

    Straight lines between the table's temperatures and mass percentages (0 % is water); outside the
    table the nearest value holds.

    Raises
    ------
    KeyError
        When the fluid is neither water nor one of the two glycols.

    >>> round(density_kg_m3("water", 60.0), 1)
    983.2
    >>> round(density_kg_m3("propylene_glycol", 20.0, 35.0), 1)
    1028.0
    """
    temperature = USUAL_TEMPERATURE_C if temperature_c is None else temperature_c
    water = float(np.interp(temperature, _WATER_C, _WATER_KG_M3))
    if fluid == WATER:
        return water
    table = _GLYCOL_KG_M3[fluid]
    mixtures = [float(np.interp(temperature, _GLYCOL_C, table[percent])) for percent in table]
    return float(np.interp(glycol_mass_pct, (0.0, *table), (water, *mixtures)))
