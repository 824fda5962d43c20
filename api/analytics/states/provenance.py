"""Whether flow and head are what they are declared to be: measured, or computed from speed and power.

A drive that estimates computes flow and head from speed and power, so that they lie on a smooth surface
over those two but for the steps in which all four are reported. A sensor adds noise and drift of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.trusted import trusted

Floats = NDArray[np.float64]

_MOST_READINGS: Final = 1500
_FEWEST_READINGS: Final = 400
_NEIGHBOURS: Final = 24
_ESTIMATED_BELOW: Final = 1.15
"""Scatter over that of the reporting steps: an estimate has 1 by its making."""
_MEASURED_ABOVE: Final = 1.5
_COARSEST: Final = 0.007
"""Steps that alone make more scatter than this share hide any good sensor: nothing can be said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatter:
    """Of one channel over speed and power: scatter by that of the steps [-], and the latter's share [-]."""

    ratio: float
    floor: float


def provenance_check(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    """Return a ``not_assessable`` finding if the readings contradict the declared provenance.

    ``frame`` holds some days or more of one pump's readings (index ``time_utc_ms``). Flow and head that
    are declared measured must scatter more than their steps explain; declared estimated, they must not.
    Too few readings, or steps too coarse to tell, give no finding. It warns of a wrong setting and is no
    proof: an estimate made from other signals than the reported ones looks measured.
    """
    picked = _picked(frame, facts)
    if len(picked) < _FEWEST_READINGS:
        return []
    declared = {"flow_m3h": facts.flow, "head_m": facts.head}
    scatter = {name: _scatter(picked, name) for name in declared}
    wrong = _contradicted(declared, scatter)
    return [_finding(frame, facts, max(scatter[name].ratio for name in wrong))] if wrong else []


def _picked(frame: pd.DataFrame, facts: PumpFacts) -> pd.DataFrame:
    """Return at most ``_MOST_READINGS`` readings, evenly chosen from those that may judge a curve."""
    good = np.flatnonzero(trusted(frame, facts)) if len(frame) else np.zeros(0, dtype=np.intp)
    if len(good) > _MOST_READINGS:
        good = good[np.linspace(0, len(good) - 1, _MOST_READINGS).astype(np.intp)]
    return frame.iloc[good]


def _contradicted(declared: dict[str, Provenance], scatter: dict[str, _Scatter]) -> list[str]:
    looks_estimated = [name for name, one in scatter.items() if one.ratio < _ESTIMATED_BELOW]
    clear = [name for name in looks_estimated if scatter[name].floor < _COARSEST]
    measured = [name for name, how in declared.items() if how is Provenance.MEASURED]
    estimated = [name for name, how in declared.items() if how is Provenance.ESTIMATED]
    if measured and set(measured) <= set(looks_estimated) and set(measured) & set(clear):
        return measured
    return [name for name in estimated if scatter[name].ratio > _MEASURED_ABOVE]


def _scatter(readings: pd.DataFrame, name: str) -> _Scatter:
    """Return how a channel scatters about a local plane over speed and power."""
    speed, power, values = (
        readings[column].to_numpy(dtype=float) for column in ("speed_rpm", "power_w", name)
    )
    slope_speed, slope_power = _slopes(speed, power, values)
    of_steps = (
        _step(values) ** 2 + (slope_speed * _step(speed)) ** 2 + (slope_power * _step(power)) ** 2
    ) / 12
    about = _variance_about_planes(speed, power, values)
    level = max(float(np.median(np.abs(values))), 1e-9)
    floor = np.sqrt(of_steps + (1e-6 * level) ** 2)
    return _Scatter(ratio=float(np.median(np.sqrt(about) / floor)), floor=float(np.median(floor)) / level)


def _step(values: Floats) -> float:
    """Return the step in which values are reported: the least difference between two of them."""
    apart = np.diff(np.unique(values))
    apart = apart[apart > 1e-7 * max(float(np.abs(values).max()), 1e-9)]
    return float(apart.min()) if len(apart) else 0.0


def _slopes(speed: Floats, power: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return the slopes of a cubic surface through the values, per rpm and per W, (n,) each."""
    x, x_scale = _scaled(speed)
    y, y_scale = _scaled(power)
    powers = [(i, j) for i in range(4) for j in range(4 - i)]
    terms = np.stack([x**i * y**j for i, j in powers], axis=1)
    weights = np.linalg.lstsq(terms, values, rcond=1e-6)[0]
    by_x = sum(w * i * x ** max(i - 1, 0) * y**j for w, (i, j) in zip(weights, powers, strict=True))
    by_y = sum(w * j * x**i * y ** max(j - 1, 0) for w, (i, j) in zip(weights, powers, strict=True))
    return np.asarray(by_x) / x_scale, np.asarray(by_y) / y_scale


def _scaled(values: Floats) -> tuple[Floats, float]:
    scale = max(float(values.std()), 1e-3 * float(np.abs(values).mean()), 1e-9)
    return (values - values.mean()) / scale, scale


def _variance_about_planes(speed: Floats, power: Floats, values: Floats) -> Floats:
    """Return each reading's residual variance of a plane through its nearest neighbours, (n,)."""
    places = np.stack([_scaled(speed)[0], _scaled(power)[0]], axis=1)
    square = (places**2).sum(axis=1)
    distance = square[:, None] + square[None, :] - 2.0 * places @ places.T
    near = np.argpartition(distance, _NEIGHBOURS, axis=1)[:, :_NEIGHBOURS]
    around = places[near] - places[:, None, :]
    terms = np.concatenate([np.ones((*near.shape, 1)), around], axis=2)
    residual = values[near] - np.einsum("nij,nj->ni", terms, _plane(terms, values[near]))
    variance: Floats = (residual**2).sum(axis=1) / (_NEIGHBOURS - 3)
    return variance


def _plane(terms: Floats, values: Floats) -> Floats:
    """Return the coefficients of a plane through each row's values; flat where nothing tells a slope."""
    normal = np.einsum("nij,nik->njk", terms, terms)
    ridge = 1e-9 * np.eye(3) * np.trace(normal, axis1=1, axis2=2)[:, None, None]
    right = np.einsum("nij,ni->nj", terms, values)
    solved: Floats = np.linalg.solve(normal + ridge, right[:, :, None])[:, :, 0]
    return solved


def _finding(frame: pd.DataFrame, facts: PumpFacts, ratio: float) -> Finding:
    return Finding(
        pump=facts.pump,
        kind=Kind.NOT_ASSESSABLE,
        first_utc_ms=int(frame.index[0]),
        last_utc_ms=int(frame.index[-1]),
        active=True,
        priority=Priority.INFORMATION,
        causes=(Cause(names=("provenance_contradicted",), weight=0.95),),
        evidence=(Evidence(name="scatter_over_quantisation", value=ratio),),
        checks=("declare_provenance",),
    )
