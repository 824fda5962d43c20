"""Whether flow and head are what they are declared to be: measured, or computed from speed and power.

A drive that estimates computes flow from speed and power, and head from speed and flow, so that each lies
on a smooth surface over the other two but for the steps in which they are reported. A sensor adds noise
and drift of its own. (The drive may use a power of its own that is smoother or rougher than the one it
reports; so head over speed and flow is the surer sign.)
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
_ROUGH_FROM: Final = 1.5
"""Scatter over that of the steps: an estimate has 1 by its making, sensors have several (tuned)."""
_ROUGH_FROM_IF_HELD: Final = 0.8
"""Of a head held within a step, at least: one that never leaves its step has next to none."""
_LEAST_NOISE: Final = 0.0025
"""Of a channel, from reading to reading: a head sensor in a pipe is hardly ever quieter (common practice)."""
_SURE_OF_NOISE: Final = 0.9
_AFFINITY: Final = {"flow_m3h": 1.0, "head_m": 2.0, "power_w": 3.0}
"""The power of speed with which each goes at similar points (affinity laws)."""
_COARSEST: Final = 0.008
"""Steps that alone make more scatter than this share hide any good sensor: nothing can be said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scatter:
    """Of a channel over two others: scatter by that of the steps [-], and the latter's share of it [-]."""

    ratio: float
    floor: float
    moves: bool
    """Whether the channel moves by more than its step; a head that is held constant shows little."""


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
    ratio = _contradicting_ratio(picked, facts)
    return [] if ratio is None else [_finding(frame, facts, ratio)]


def _picked(frame: pd.DataFrame, facts: PumpFacts) -> pd.DataFrame:
    """Return at most ``_MOST_READINGS`` readings, evenly chosen from those that may judge a curve."""
    good = np.flatnonzero(trusted(frame, facts)) if len(frame) else np.zeros(0, dtype=np.intp)
    if len(good) > _MOST_READINGS:
        good = good[np.linspace(0, len(good) - 1, _MOST_READINGS).astype(np.intp)]
    return frame.iloc[good]


def _contradicting_ratio(picked: pd.DataFrame, facts: PumpFacts) -> float | None:
    """Return the scatter over that of the steps that contradicts what is declared, None if none does."""
    flow_over_power = _scatter(picked, "flow_m3h", "power_w")
    head_over_power = _scatter(picked, "head_m", "power_w")
    head_over_flow = _scatter(picked, "head_m", "flow_m3h")
    if facts.flow is facts.head is Provenance.MEASURED:
        return _if_smooth(head_over_flow)
    if facts.flow is facts.head is Provenance.ESTIMATED:
        return _if_rough(head_over_flow)
    alone = {facts.flow: flow_over_power, facts.head: head_over_power}
    measured, estimated = alone.get(Provenance.MEASURED), alone.get(Provenance.ESTIMATED)
    smooth = None if measured is None else _if_smooth(measured)
    rough = None if estimated is None else _if_rough(estimated)
    return rough if smooth is None else smooth


def _if_smooth(scatter: _Scatter) -> float | None:
    limit = _ROUGH_FROM if scatter.moves else _least_ratio_if_held(scatter.floor)
    return scatter.ratio if scatter.ratio < limit and scatter.floor < _COARSEST else None


def _least_ratio_if_held(floor: float) -> float:
    """Return the scatter over that of the steps [-] which the quietest sensor shows about a held head."""
    quietest = _SURE_OF_NOISE * float(np.hypot(1.0, _LEAST_NOISE / floor))
    return min(max(quietest, _ROUGH_FROM_IF_HELD), _ROUGH_FROM)


def _if_rough(scatter: _Scatter) -> float | None:
    return scatter.ratio if scatter.ratio >= _ROUGH_FROM else None


def _scatter(readings: pd.DataFrame, name: str, over: str) -> _Scatter:
    """Return how a channel scatters about a local plane over speed and another channel."""
    speed, other, values = (readings[column].to_numpy(dtype=float) for column in ("speed_rpm", over, name))
    slope_other = _slope(speed, other, values)
    # By the affinity laws, since a speed that hardly moves but for its own step shows no slope.
    slope_speed = (_AFFINITY[name] * values - _AFFINITY[over] * other * slope_other) / speed
    of_steps = (
        _step(values) ** 2 + (slope_speed * _step(speed)) ** 2 + (slope_other * _step(other)) ** 2
    ) / 12
    about = _variance_about_planes(speed, other, values)
    level = max(float(np.median(np.abs(values))), 1e-9)
    floor = np.sqrt(of_steps + (1e-6 * level) ** 2)
    return _Scatter(
        ratio=float(np.median(np.sqrt(about) / floor)),
        floor=float(np.median(floor)) / level,
        moves=float(values.std()) >= _step(values),
    )


def _step(values: Floats) -> float:
    """Return the step in which values are reported: the least difference between two of them."""
    apart = np.diff(np.unique(values))
    apart = apart[apart > 1e-7 * max(float(np.abs(values).max()), 1e-9)]
    return float(apart.min()) if len(apart) else 0.0


def _slope(speed: Floats, other: Floats, values: Floats) -> Floats:
    """Return the slope of a cubic surface through the values along ``other``, (n,)."""
    x, _ = _scaled(speed)
    y, y_scale = _scaled(other)
    powers = [(i, j) for i in range(4) for j in range(4 - i)]
    terms = np.stack([x**i * y**j for i, j in powers], axis=1)
    weights = np.linalg.lstsq(terms, values, rcond=1e-6)[0]
    along = [w * j * x**i * y ** max(j - 1, 0) for w, (i, j) in zip(weights, powers, strict=True)]
    slope: Floats = np.sum(along, axis=0) / y_scale
    return slope


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
