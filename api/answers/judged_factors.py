"""The factors of two periods of a pump, by the same curve and the same kind of density."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analysis.pump_pass import curve_of
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.energy.factors import Factors, factors
from api.answers.densities import densities_kg_m3
from api.answers.source import Source
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.why_views import NotTold

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class BothFactors:
    """Factors now and then, ``None`` where no water was lifted.

    ``not_told`` is why the pump can't be told from its place on the curve in them, if it can't;
    ``has_temperature`` whether densities follow the measured temperature of the fluid.
    """

    now: Factors | None
    then: Factors | None
    not_told: NotTold
    has_temperature: bool


def both_factors(source: Source, pump: Pump, now: pd.DataFrame, then: pd.DataFrame) -> BothFactors:
    """Return the factors of two periods' hour rows.

    Rows older than the present baseline can't be held against its curve: then pump and place stand together.
    """
    facts = source.facts(pump)
    curve = curve_of(source.api_store, facts)
    not_told: NotTold = "no_curve" if curve is None else ""
    if curve is not None and _oldest(now, then) < baseline_start_utc_ms(facts):
        curve, not_told = None, "new_baseline"
    learned = None if curve is None else _learned_hours(source, pump, curve)
    measured = densities_kg_m3(pump, [now, then] if learned is None else [now, then, learned])
    if measured is None:
        found = [_factors(rows, curve, facts.density_kg_m3, None) for rows in (now, then)]
    else:
        of_curve = None if learned is None else _mean_density(measured[2], learned)
        pairs = zip((now, then), measured[:2], strict=True)
        found = [_factors(rows, curve, density, of_curve) for rows, density in pairs]
    if not not_told and any(each is not None and each.over_own is None for each in found):
        not_told = "outside_region"
    return BothFactors(now=found[0], then=found[1], not_told=not_told, has_temperature=measured is not None)


def _oldest(*frames: pd.DataFrame) -> int:
    return min((int(rows.index[0]) for rows in frames if len(rows)), default=0)


def _learned_hours(source: Source, pump: Pump, curve: Curve) -> pd.DataFrame:
    return source.api_store.hours(pump.name, curve.first_hour_utc_ms, curve.last_hour_utc_ms + HOUR_MS)


def _factors(
    hours: pd.DataFrame, curve: Curve | None, density: FloatArray | float, learned: float | None
) -> Factors | None:
    return None if hours.empty else factors(hours, curve, density, learned)


def _mean_density(density_kg_m3: FloatArray, hours: pd.DataFrame) -> float:
    """Return the mean over the readings that the curve was learned from [kg/m³]."""
    count = hours["n_trusted"].to_numpy(dtype=float)
    return float(np.average(density_kg_m3, weights=count if count.sum() > 0 else None))


def told_by_all(told: Sequence[BothFactors]) -> NotTold:
    """Return why some pump can't be told from its place on the curve, nothing where all can."""
    return next((each.not_told for each in told if each.not_told), "")
