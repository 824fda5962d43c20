"""Gauges in the plant room: what somebody reads who stands before the pump, whatever its drive reports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from simulator.plant import PumpSpec, Signals
from simulator.plant.arrays import STANDARD_GRAVITY_M_S2, FloatArray, TimeArray
from simulator.plant.fluids import density_kg_m3

MINUTES: Final = 5
READ_TO_BAR: Final = 0.005
"""Half a division of a fine test gauge."""
FLOW_READ_TO_M3H: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeTaps:
    """Where gauges are put on, and when somebody reads them; the pipe is as wide at both taps."""

    suction_bar: float
    suction_height_m: float
    discharge_height_m: float
    visits_utc_ms: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReading:
    """What was read in some minutes from this time on: both gauges [bar] and a strap-on flow meter."""

    at_utc_ms: int
    suction_bar: float
    discharge_bar: float
    flow_m3h: float


def gauge_readings(
    taps: GaugeTaps | None, spec: PumpSpec, times: TimeArray, signals: Signals
) -> tuple[GaugeReading, ...]:
    """Return what was read at each visit within these times; none where nobody came."""
    visits = taps.visits_utc_ms if taps else ()
    ends = [(visit, visit + MINUTES * 60_000) for visit in visits]
    seen = [(visit, (times >= visit) & (times < end)) for visit, end in ends]
    return tuple(_read(taps, spec, visit, signals, mask) for visit, mask in seen if taps and mask.any())


def _read(taps: GaugeTaps, spec: PumpSpec, visit: int, signals: Signals, mask: np.ndarray) -> GaugeReading:
    def mean(name: str) -> float:
        return float(np.mean(signals.true[name][mask]))

    warm: FloatArray = np.array([mean("fluid_temperature_c")])
    density = float(density_kg_m3(warm, spec.system.fluid, spec.system.glycol_mass_pct)[0])
    column_m = mean("head_m") - (taps.discharge_height_m - taps.suction_height_m)
    rise_bar = density * STANDARD_GRAVITY_M_S2 * column_m / 1e5
    return GaugeReading(
        at_utc_ms=visit,
        suction_bar=_to(taps.suction_bar, READ_TO_BAR),
        discharge_bar=_to(taps.suction_bar + rise_bar, READ_TO_BAR),
        flow_m3h=_to(mean("flow_m3h"), FLOW_READ_TO_M3H),
    )


def _to(value: float, step: float) -> float:
    return round(round(value / step) * step, 6)
