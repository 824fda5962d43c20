"""Energy per volume as a product: density, head, the pump itself, and its place on the curve.

``e = rho g H / (3.6e6 eta)`` is the definition of the wire-to-water efficiency turned round, with H the head
weighted by volume. The efficiency parts once more: ``eta = place / over_own``, where ``place`` is what the
pump's own curve would have reached at the same duties and ``over_own`` what was drawn over that. All are
ratios of sums, so a week's factors give back the week's energy per volume exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import Curve
from api.analytics.energy.against_curve import drawn_over_own
from api.analytics.energy.hydraulic import STANDARD_GRAVITY_M_S2, WATER_DENSITY_KG_M3
from api.analytics.hours import JOULES_A_KWH

FloatArray = NDArray[np.float64]
LEAST_JUDGED: Final = 0.5
"""Share of the energy [-] that must be drawn within the learned region before the pump is told from its
place on the curve (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Factors:
    """Why a volume took the energy that it took, over the time in which power, flow and head were known.

    ``energy_kwh`` and ``volume_m3`` are of that time; their ratio is
    ``density_kg_m3 * g * mean_head_m / (3.6e6 * efficiency)``. ``over_own`` [-] is the energy drawn over that
    of the own curve at the same flows and heads, ``None`` where less than ``LEAST_JUDGED`` of the energy
    could be held against it (``judged_share`` [-]).
    """

    energy_kwh: float
    volume_m3: float
    density_kg_m3: float
    mean_head_m: float
    efficiency: float
    over_own: float | None = None
    judged_share: float = 0.0

    @property
    def kwh_per_m3(self) -> float:
        """Return the energy per volume [kWh/m³]."""
        return self.energy_kwh / self.volume_m3

    @property
    def place_efficiency(self) -> float | None:
        """Return what the own curve would have reached at the same duties [-]."""
        return None if self.over_own is None else self.efficiency * self.over_own


def factors(
    hours: pd.DataFrame,
    curve: Curve | None = None,
    density_kg_m3: FloatArray | float = WATER_DENSITY_KG_M3,
    learned_density_kg_m3: float | None = None,
) -> Factors | None:
    """Return the factors of some hour rows, ``None`` where no water was lifted in them.

    ``density_kg_m3`` is one value or one an hour row; ``learned_density_kg_m3`` that of the hours the curve
    was learned in (default: no change since).
    """
    lifted = hours["volume_head_m4"].to_numpy(dtype=float)
    energy = hours["lifted_energy_kwh"].to_numpy(dtype=float)
    volume_m3, head_m4 = float(hours["lifted_volume_m3"].sum()), float(lifted.sum())
    energy_kwh = float(energy.sum())
    if min(volume_m3, head_m4, energy_kwh) <= 0:
        return None
    density = np.broadcast_to(np.asarray(density_kg_m3, dtype=float), lifted.shape)
    mean_density = float((density * lifted).sum()) / head_m4
    over_own, judged = _over_own(hours, energy, curve, density, learned_density_kg_m3)
    return Factors(
        energy_kwh=energy_kwh,
        volume_m3=volume_m3,
        density_kg_m3=mean_density,
        mean_head_m=head_m4 / volume_m3,
        efficiency=mean_density * STANDARD_GRAVITY_M_S2 * head_m4 / JOULES_A_KWH / energy_kwh,
        over_own=over_own,
        judged_share=judged,
    )


def _over_own(
    hours: pd.DataFrame,
    energy_kwh: FloatArray,
    curve: Curve | None,
    density_kg_m3: FloatArray,
    learned_density_kg_m3: float | None,
) -> tuple[float | None, float]:
    if curve is None:
        return None, 0.0
    over_learned = density_kg_m3 / learned_density_kg_m3 if learned_density_kg_m3 else 1.0
    ratio = drawn_over_own(hours, curve, over_learned)
    known = np.isfinite(ratio) & (energy_kwh > 0)
    judged_kwh = float(energy_kwh[known].sum())
    share = judged_kwh / float(energy_kwh.sum())
    own_kwh = float((energy_kwh[known] / ratio[known]).sum())
    return (judged_kwh / own_kwh if share >= LEAST_JUDGED else None), share
