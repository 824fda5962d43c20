"""A pump's own curve, learned from its own hours: head and power over flow and speed, and where it holds.

``H = a n² + b n Q + c Q²`` and ``P = d n³ + e n² Q + f n Q² + g n + h`` obey the affinity laws exactly but
for the constant losses ``g n + h`` of bearings, seals and drive.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from api.analytics.cells import CellMap, cell_map
from api.analytics.facts import PumpFacts
from api.analytics.fit import fit_by_day
from api.analytics.observations import Observations, observations
from api.analytics.spans import HOUR_MS
from api.analytics.speed_step import speed_step_rpm

FloatArray = NDArray[np.float64]

BASELINE_DAYS: Final = 28
"""Days with judged hours that make a full baseline (own study: longer buys coverage, not speed)."""

LEAST_DAYS: Final = 4
LEAST_HOURS: Final = 36
"""Fewer give no curve: one day's operation does not tell a curve from a coincidence."""

FLOW_SCALE: Final = 0.3
SPEED_SCALE: Final = 0.2
"""Departures from the typical duty are counted in these, so that 1 is a wide move."""

EDGE: Final = 0.01
"""Share of the baseline's hours beyond each edge of its range: a stray hour does not widen it."""

EPISODE_RATIO: Final = 9.0
"""An hour whose scatter variance is this many times the usual holds an episode (air, hunting)."""

MOST_RESTLESS: Final = 0.3
"""A day with a larger share of hours with episodes is not judged at all: what is left of it has a tail of
them (gas that leaves slowly)."""

# Loose beliefs for a pump that shows only one duty: shape of a centrifugal pump's curve relative to its duty
# point, and how far a pump may depart from it (common practice: shutoff head 1.1-1.5 times duty head).
_HEAD_BELIEF: Final = np.array([1.25, 0.0, -0.25])
_HEAD_BELIEF_SD: Final = np.array([0.5, 0.5, 0.5])
_POWER_BELIEF: Final = np.array([0.5, 0.45, -0.05, 0.04, 0.06])
_POWER_BELIEF_SD: Final = np.array([0.4, 0.4, 0.3, 0.01, 0.015])


@dataclass(frozen=True, slots=True, kw_only=True)
class Calm:
    """The most that a calm hour scatters: relative variances [-].

    ``head_variance`` and ``power_variance`` are what speed and flow leave unexplained however they act,
    ``head_along`` and ``power_along`` what the pump's own curve leaves. Gas in a pump whose head is held by
    its control shows in the second alone: head stands still while speed makes up for it.
    """

    head_variance: float
    power_variance: float
    head_along: float = float("inf")
    power_along: float = float("inf")

    def holds(self, seen: Observations) -> NDArray[np.bool_]:
        """Mask the hours without an episode: neither head nor power scatters far beyond the usual."""
        head, power = _relative_variance(seen)
        return np.asarray((head <= self.head_variance) & (power <= self.power_variance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A pump's own curve. Coefficients take n in rpm and Q in m3/h, and give m and W.

    ``head_band_m`` and ``power_band_w`` are one standard deviation of single readings about the curve
    within an hour; ``head_day_sd`` and ``power_day_sd`` [-] that of whole days about it, relative.
    ``typical_speed_rpm``, ``typical_flow_m3h``, ``typical_temperature_c`` (``None`` if never read) are the
    middle of what was seen, ``calm`` what an hour without an episode looks like. ``cells`` is the region of
    (flow/speed, speed) it was learned in. ``is_provisional`` while the baseline is not full: learn again.
    ``speed_step_rpm`` is the step in which speed was shown (0: none seen). Where speed keeps within a step or
    two, true speed may move by a step unseen, and head read against it by ``2 speed_step_rpm / speed`` [-].
    """

    head_coefficients: tuple[float, float, float]
    power_coefficients: tuple[float, float, float, float, float]
    head_band_m: float
    power_band_w: float
    head_day_sd: float
    power_day_sd: float
    typical_speed_rpm: float
    typical_flow_m3h: float
    typical_temperature_c: float | None
    calm: Calm
    cells: CellMap
    first_hour_utc_ms: int
    last_hour_utc_ms: int
    hours: int
    days: int
    is_provisional: bool
    departure_range: tuple[float, float]
    log_speed_range: tuple[float, float]
    speed_step_rpm: float = 0.0

    def departure(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
        """Return the departure of flow/speed from the typical, in ``FLOW_SCALE`` [-]."""
        ratio = np.asarray(flow_m3h) / np.asarray(speed_rpm) * self.typical_speed_rpm / self.typical_flow_m3h
        return np.asarray((ratio - 1) / FLOW_SCALE)

    def log_speed(self, speed_rpm: ArrayLike) -> FloatArray:
        """Return the logarithm of speed over the typical speed, in ``SPEED_SCALE`` [-]."""
        return np.asarray(np.log(np.asarray(speed_rpm) / self.typical_speed_rpm) / SPEED_SCALE)

    def head_m(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
        """Head the healthy pump gives at this flow and speed [m]; broadcasts like numpy."""
        return np.asarray(head_terms(flow_m3h, speed_rpm) @ np.array(self.head_coefficients))

    def power_w(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
        """Electrical input power the healthy pump takes at this flow and speed [W]; broadcasts."""
        return np.asarray(power_terms(flow_m3h, speed_rpm) @ np.array(self.power_coefficients))

    def head_is_calm(self, seen: Observations) -> NDArray[np.bool_]:
        """Mask the hours whose head holds no episode, on days that are not full of them: it may be judged."""
        head, _ = _relative_variance(seen)
        along, _ = _variance_along(self, seen)
        return _on_calm_days((head <= self.calm.head_variance) & (along <= self.calm.head_along), seen.day)

    def power_is_calm(self, seen: Observations) -> NDArray[np.bool_]:
        """Mask the hours of which the same holds for head and power both: power may be judged as well."""
        _, along = _variance_along(self, seen)
        calm = self.calm.holds(seen) & (along <= self.calm.power_along)
        return self.head_is_calm(seen) & _on_calm_days(calm, seen.day)

    def covers(self, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> NDArray[np.bool_]:
        """Where the curve was learned: true in or next to a (flow/speed, speed) cell of the baseline."""
        return self.cells.covers(flow_m3h, speed_rpm)

    def to_dict(self) -> dict[str, Any]:
        """Return the curve as plain values for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Curve:
        """Return the curve that :meth:`to_dict` wrote.

        Raises
        ------
        KeyError, TypeError
            When values are missing or unknown.
        """
        plain = dict(values)
        cells, calm = CellMap.from_dict(plain.pop("cells")), Calm(**plain.pop("calm"))
        rows = {name: tuple(value) for name, value in plain.items() if isinstance(value, list | tuple)}
        return cls(cells=cells, calm=calm, **(plain | rows))


def head_terms(flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
    """Regressors of head, ``n², nQ, Q²``, along a new last axis."""
    q, n = np.broadcast_arrays(np.asarray(flow_m3h, dtype=float), np.asarray(speed_rpm, dtype=float))
    return np.stack([n * n, n * q, q * q], axis=-1)


def power_terms(flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
    """Regressors of power, ``n³, n²Q, nQ², n, 1``, along a new last axis."""
    q, n = np.broadcast_arrays(np.asarray(flow_m3h, dtype=float), np.asarray(speed_rpm, dtype=float))
    return np.stack([n**3, n * n * q, n * q * q, n, np.ones_like(n)], axis=-1)


def learn_curve(hours: pd.DataFrame, facts: PumpFacts) -> Curve | None:
    """Learn the curve from the first weeks since the last event that starts a new baseline.

    ``hours`` are rows of :func:`api.analytics.hours.hour_rows`. Uses the hours of :func:`baseline`; returns
    ``None`` while there are too few, for the reason of :func:`api.analytics.no_curve.why_no_curve`.
    Readings of estimated flow and head give the drive's built-in curve: right to show and to tell air and
    dry running by, never to judge wear by.

    Sources: least squares with a random effect a day (Laird and Ware, Biometrics 38, 1982, from memory)
    and Huber's weights (k = 1.345, from memory).
    """
    learned_from = baseline(hours, facts)
    if learned_from is None:
        return None
    seen = learned_from.seen
    curve = _curve_of(seen)
    if curve.head_coefficients[0] <= 0:
        return None  # No head without flow: whatever was read, it is no pump's curve.
    step = speed_step_rpm(hours[hours.index.isin(seen.hour_utc_ms)], facts.rated_speed_rpm)
    return replace(curve, speed_step_rpm=step)


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The hours a curve is learned from; ``is_full`` once no later hour can change them."""

    seen: Observations
    is_full: bool


def baseline(hours: pd.DataFrame, facts: PumpFacts) -> Baseline | None:
    """Return the calm hours of the first ``BASELINE_DAYS`` judged days, ``None`` while there are too few.

    A pump that runs for an hour a day is given as many days as it needs for ``LEAST_HOURS``.
    """
    seen = observations(hours[hours.index >= baseline_start_utc_ms(facts)])
    seen = seen.where(reads_a_pump(seen))
    days, counts = np.unique(seen.day, return_counts=True)
    least = max(BASELINE_DAYS, int(np.searchsorted(np.cumsum(counts), LEAST_HOURS)) + 1)
    for taken in range(min(least, len(days)), len(days) + 1):
        first = seen.where(np.isin(seen.day, days[:taken]))
        calm = first.where(calm_of(first).holds(first))
        if len(np.unique(calm.day)) >= LEAST_DAYS and len(calm) >= LEAST_HOURS:
            return Baseline(seen=calm, is_full=len(days) > taken)
    return None


def reads_a_pump(seen: Observations) -> NDArray[np.bool_]:
    """Mask the hours whose head and power are above zero, by more than they scatter of themselves.

    What is zero, of the wrong sign or noise about zero makes no curve.
    """
    head = (seen.head_m > 0) & (seen.head_m**2 > seen.head_variance_m2)
    power = (seen.power_w > 0) & (seen.power_w**2 > seen.power_variance_w2)
    return np.asarray(head & power)


def baseline_start_utc_ms(facts: PumpFacts) -> int:
    """Return when the present baseline begins: the first whole hour after the last event that says so."""
    starts = [event.time_utc_ms for event in facts.events if event.new_baseline]
    return -(-max(starts) // HOUR_MS) * HOUR_MS if starts else 0


def calm_of(seen: Observations) -> Calm:
    """Return what calm means for this pump: ``EPISODE_RATIO`` times the scatter of its middle hour."""
    limits = [
        EPISODE_RATIO * max(float(np.median(part)), 1e-6) if len(part) else 1e-5
        for part in _relative_variance(seen)
    ]
    return Calm(head_variance=limits[0], power_variance=limits[1])


def _relative_variance(seen: Observations) -> list[FloatArray]:
    return [_share(seen.head_variance_m2, seen.head_m), _share(seen.power_variance_w2, seen.power_w)]


def _share(variance: FloatArray, value: FloatArray) -> FloatArray:
    # Nothing is calm about a head or a power of zero.
    return np.asarray(np.divide(variance, value**2, out=np.full(len(value), np.inf), where=value != 0))


def _variance_along(curve: Curve, seen: Observations) -> tuple[FloatArray, FloatArray]:
    # The curve is straight enough within an hour, so that its slopes there say what speed and flow do.
    n, q = seen.speed_rpm, seen.flow_m3h
    a, b, c = curve.head_coefficients
    d, e, f, g, _ = curve.power_coefficients
    head = np.column_stack([-(2 * a * n + b * q), -(b * n + 2 * c * q), np.ones(len(n))])
    power = np.column_stack(
        [-(3 * d * n**2 + 2 * e * n * q + f * q**2 + g), -(e * n**2 + 2 * f * n * q), np.ones(len(n))]
    )
    return (
        _share(np.einsum("hi,hij,hj->h", head, seen.head_moments, head), seen.head_m),
        _share(np.einsum("hi,hij,hj->h", power, seen.power_moments, power), seen.power_w),
    )


def _with_calm_along(curve: Curve, seen: Observations) -> Curve:
    head, power = (EPISODE_RATIO * max(float(np.median(part)), 1e-6) for part in _variance_along(curve, seen))
    return replace(curve, calm=replace(curve.calm, head_along=head, power_along=power))


def _curve_of(seen: Observations) -> Curve:
    n0, q0 = float(np.median(seen.speed_rpm)), float(np.median(seen.flow_m3h))
    head_duty, power_duty = head_terms(q0, n0), power_terms(q0, n0)
    head = fit_by_day(seen.head_terms, seen.head_m, seen.day, head_duty, _HEAD_BELIEF, _HEAD_BELIEF_SD)
    power = fit_by_day(seen.power_terms, seen.power_w, seen.day, power_duty, _POWER_BELIEF, _POWER_BELIEF_SD)
    a, b, c = map(float, head.coefficients)
    d, e, f, g, h = map(float, power.coefficients)
    days = len(np.unique(seen.day))
    curve = Curve(
        head_coefficients=(a, b, c),
        power_coefficients=(d, e, f, g, h),
        head_band_m=_band(seen.head_variance_m2, head.residual * seen.head_m),
        power_band_w=_band(seen.power_variance_w2, power.residual * seen.power_w),
        head_day_sd=head.day_sd,
        power_day_sd=power.day_sd,
        typical_speed_rpm=n0,
        typical_flow_m3h=q0,
        typical_temperature_c=_middle(seen.fluid_temperature_c),
        calm=calm_of(seen),
        cells=cell_map(seen.flow_m3h, seen.speed_rpm),
        first_hour_utc_ms=int(seen.hour_utc_ms[0]),
        last_hour_utc_ms=int(seen.hour_utc_ms[-1]),
        hours=len(seen),
        days=days,
        is_provisional=days < BASELINE_DAYS - 4,
        departure_range=_range((seen.flow_m3h / seen.speed_rpm * n0 / q0 - 1) / FLOW_SCALE),
        log_speed_range=_range(np.log(seen.speed_rpm / n0) / SPEED_SCALE),
    )
    return _with_calm_along(curve, seen)


def _on_calm_days(calm: NDArray[np.bool_], day: NDArray[np.int64]) -> NDArray[np.bool_]:
    _, group = np.unique(day, return_inverse=True)
    restless = np.bincount(group, ~calm) / np.maximum(np.bincount(group), 1)
    return np.asarray(calm & (restless[group] <= MOST_RESTLESS))


def _band(within_hours: FloatArray, of_hours: FloatArray) -> float:
    return float(np.sqrt(np.mean(within_hours) + np.mean(of_hours**2)))


def _middle(values: FloatArray) -> float | None:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else None


def _range(values: FloatArray) -> tuple[float, float]:
    low, high = np.quantile(values, (EDGE, 1 - EDGE)).tolist()
    return low, high
