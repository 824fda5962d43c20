"""When, how much and how surely a residual changed its level for good: a growing-baseline likelihood ratio.

Model of hour i on day d: ``y_i = x_i · beta + delta t_i [d >= tau] + bias_d + noise_i``, with ``beta``
loosely believed near zero (what the curve's form leaves unexplained), and ``bias_d`` the sensors' slow
drift, autoregressive of order one over days. ``beta`` is a nuisance, fitted jointly for every change day,
so everything before the change day is the baseline, and it grows. Generalised likelihood ratio for a
change of unknown size: Siegmund and Venkatraman, Annals of Statistics 23, 1995 (title read).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOURS_ALIKE: Final = 3.0
"""Neighbouring hours share their error, so that this many count as one in a day's mean."""

SHAPE_HOURS_ALIKE: Final = 12.0
"""The curve's form is wrong in the same way on every visit, so that more hours count as one for its shape."""

DAY_SD_BELIEF: Final = 0.005
DAY_BELIEF_WEIGHT: Final = 6.0
"""Sensors drift 0.2-0.5 % from day to day (own study); worth this many observed days."""

AUTOCORRELATIONS: Final = np.array([0.2, 0.35, 0.5, 0.6, 0.68, 0.75, 0.81, 0.86, 0.9, 0.94])
AUTOCORRELATION_BELIEF: Final = 0.7
AUTOCORRELATION_BELIEF_SD: Final = 0.12
WIDEST_INNOVATION: Final = 3.0
"""Innovations count at most this many standard deviations, so that one odd day does not make noise."""

OWN_STEP_Z: Final = 4.0
"""A step this sure is no noise, and is taken out before the noise is judged."""

OWN_RAMP_Z: Final = 2.5
OWN_RAMP_DAYS: Final = 56
"""So is a ramp this sure over at least so many days, twice a baseline: left in, a wearing pump's first
months would pass for drift and hide the rest; taken out wrongly, it costs little (tuning families)."""

LEAST_RAMP_DAYS: Final = 21
"""A steady decline is looked for over at least three weeks; over less it is a step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayNoise:
    """Stationary spread of the daily bias [-], its correlation from day to day, and the hours' spread [-]."""

    day_sd: float
    autocorrelation: float
    hour_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Hours summed up by day.

    ``mean`` is [days, k + 2]: features, template, residual. ``inside`` is the scatter of features and
    residual within each day, [days, k + 1, k + 1]. ``belief_sd`` [k] bounds the features' coefficients.
    """

    day: IntArray
    hours: FloatArray
    mean: FloatArray
    inside: FloatArray
    belief_sd: FloatArray

    def where(self, kept: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Days:
        """Return the days under the mask, or at these places."""
        parts = {name: getattr(self, name)[kept] for name in ("day", "hours", "mean", "inside")}
        return Days(**parts, belief_sd=self.belief_sd)

    def then(self, later: Days) -> Days:
        """Return these days and later ones."""
        names = ("day", "hours", "mean", "inside")
        parts = {name: np.concatenate([getattr(self, name), getattr(later, name)]) for name in names}
        return Days(**parts, belief_sd=self.belief_sd)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """For the last day given: each candidate change day with its effect [-] and standard error [-]."""

    change_day: IntArray
    effect: FloatArray
    standard_error: FloatArray

    @property
    def z(self) -> FloatArray:
        """Return the effects in standard errors."""
        return self.effect / self.standard_error


def by_day(
    day: IntArray, features: FloatArray, template: FloatArray, residual: FloatArray, belief_sd: FloatArray
) -> Days:
    """Sum hours up by day."""
    if not len(day):
        return no_days(belief_sd)
    days, group = np.unique(day, return_inverse=True)
    count = np.bincount(group).astype(float)
    columns = np.column_stack([features, template, residual])
    mean = np.column_stack([np.bincount(group, column) for column in columns.T]) / count[:, None]
    off = np.delete(columns - mean[group], features.shape[1], axis=1)
    starts = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
    inside = np.add.reduceat(off[:, :, None] * off[:, None, :], starts, axis=0)
    return Days(day=days, hours=count, mean=mean, inside=inside, belief_sd=belief_sd)


def no_days(belief_sd: FloatArray) -> Days:
    """Return the sums of no hours at all."""
    k = len(belief_sd)
    return Days(
        day=np.zeros(0, dtype=np.int64),
        hours=np.zeros(0),
        mean=np.zeros((0, k + 2)),
        inside=np.zeros((0, k + 1, k + 1)),
        belief_sd=belief_sd,
    )


def day_noise(days: Days) -> DayNoise:
    """Judge the noise from the days given: maximum likelihood of an autoregression with loose beliefs.

    The strongest step or ramp, if it is sure, is taken out first, so that a fault does not pass for noise. No
    days at all leave the beliefs.
    """
    rough = DayNoise(
        day_sd=DAY_SD_BELIEF, autocorrelation=AUTOCORRELATION_BELIEF, hour_sd=_hour_sd(days, None)
    )
    if not len(days.day):
        return rough
    white = Whitened.of(days, rough)
    beta = white.beta()
    level = days.mean[:, -1] - days.mean[:, :-2] @ beta
    level = level - _sure_change(white, len(level))
    day_sd, rho = _autoregression(level, _gaps(days.day))
    return DayNoise(day_sd=day_sd, autocorrelation=rho, hour_sd=_hour_sd(days, beta))


def _gaps(day: IntArray) -> FloatArray:
    return np.append(np.inf, np.diff(day))


def _sure_change(white: Whitened, count: int) -> FloatArray:
    if count < 3:
        return np.zeros(count)
    step = _strongest(white.scan(count - 1, 1))
    ramp = _sure_ramp(white, count)
    if ramp is not None and (abs(ramp.z[0]) > abs(step.z[0]) or abs(step.z[0]) < OWN_STEP_Z):
        since = np.maximum(white.day - ramp.change_day[0], 0)
        return np.asarray(ramp.effect[0] * since / since[-1])
    size = float(step.effect[0]) if abs(step.z[0]) >= OWN_STEP_Z else 0.0
    return np.where(white.day > step.change_day[0], size, 0.0)


def _sure_ramp(white: Whitened, count: int) -> Scan | None:
    latest = int(np.searchsorted(white.day, white.day[-1] - LEAST_RAMP_DAYS, side="right")) - 1
    if count < OWN_RAMP_DAYS or latest < 1:
        return None
    ramp = _strongest(white.scan_ramp(count - 1, 1, latest))
    return ramp if abs(ramp.z[0]) >= OWN_RAMP_Z else None


def _strongest(scan: Scan) -> Scan:
    place = int(np.argmax(np.abs(scan.z)))
    here = slice(place, place + 1)
    return Scan(
        change_day=scan.change_day[here], effect=scan.effect[here], standard_error=scan.standard_error[here]
    )


def _autoregression(level: FloatArray, gaps: FloatArray) -> tuple[float, float]:
    best, chosen = -np.inf, (DAY_SD_BELIEF, AUTOCORRELATION_BELIEF)
    centred = level - np.median(level)
    before = np.append(0.0, centred[:-1])
    for rho in AUTOCORRELATIONS.tolist():
        carry = rho**gaps
        spread = 1 - carry**2
        squares = (centred - carry * before) ** 2 / spread
        variance = _variance(squares)
        surprise = (rho - AUTOCORRELATION_BELIEF) / AUTOCORRELATION_BELIEF_SD
        weight = len(level) + DAY_BELIEF_WEIGHT
        score = -0.5 * (np.log(spread).sum() + weight * np.log(variance) + surprise**2)
        if score > best:
            best, chosen = score, (float(np.sqrt(variance)), rho)
    return chosen


def _variance(squares: FloatArray) -> float:
    variance = float(np.mean(squares)) + DAY_SD_BELIEF**2
    for _ in range(3):
        clipped = np.minimum(squares, WIDEST_INNOVATION**2 * variance)
        variance = (DAY_BELIEF_WEIGHT * DAY_SD_BELIEF**2 + float(clipped.sum())) / (
            DAY_BELIEF_WEIGHT + len(squares)
        )
    return variance


def _hour_sd(days: Days, beta: FloatArray | None) -> float:
    contrast = np.append(np.zeros(days.inside.shape[1] - 1) if beta is None else -beta, 1.0)
    spread = np.einsum("dij,i,j->d", days.inside, contrast, contrast)
    many = days.hours > 1
    return max(float(np.sqrt(np.median(spread[many] / (days.hours[many] - 1)))) if many.any() else 0.0, 2e-4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """What is kept of the days up to ``day`` once their rows are let go: their sums, and the last one's mean.

    Sums are those of :class:`Whitened` on that day; ``origin`` is the day that its ramps count time from.
    """

    day: int
    origin: int
    mean: FloatArray
    normal: FloatArray
    right: FloatArray
    step_features: FloatArray
    step_residual: float
    step_step: float
    time_features: FloatArray
    time_residual: float
    time_step: float
    time_time: float


def nothing_folded(days: Days) -> Folded:
    """Return the sums before the first of these days: beliefs alone."""
    k = len(days.belief_sd)
    sums: dict[str, Any] = {name: np.zeros(k) for name in _VECTORS} | dict.fromkeys(_NUMBERS, 0.0)
    return Folded(
        day=_LONG_AGO,
        origin=int(days.day[0]) if len(days.day) else 0,
        mean=np.zeros(k + 2),
        normal=np.diag(1 / days.belief_sd**2),
        **sums,
    )


_LONG_AGO: Final = -(10**9)
_NUMBERS: Final = ("step_residual", "step_step", "time_residual", "time_step", "time_time")
_VECTORS: Final = ("right", "step_features", "time_features")


def _running(start: FloatArray | float, values: FloatArray) -> FloatArray:
    # Added up one after another from the start, so that it does not matter where the rows were cut.
    return np.cumsum(np.concatenate([np.asarray(start)[None], values]), axis=0)[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class Whitened:
    """Running sums over days of the whitened normal equations; row d holds the sums of days 0 to d.

    ``normal`` [days, k, k] and ``right`` [days, k] for the features alone; ``step_*`` sum the products of
    the template on days after a change with features, residual and itself; ``first_*`` are the same of the
    change day itself, when only that day of the pair carries the template; ``time_*`` are those of the
    template times the day since ``origin``, from which a ramp from any day is made.
    """

    day: IntArray
    origin: int
    normal: FloatArray
    right: FloatArray
    step_features: FloatArray
    step_residual: FloatArray
    step_step: FloatArray
    first_features: FloatArray
    first_residual: FloatArray
    first_step: FloatArray
    time_features: FloatArray
    time_residual: FloatArray
    time_step: FloatArray
    time_time: FloatArray

    @classmethod
    def of(cls, days: Days, noise: DayNoise, folded: Folded | None = None) -> Whitened:
        """Whiten day means as an autoregression over days, and hours within days by their spread.

        ``folded`` are the days before these: sums go on from theirs, to the last bit as if their rows were
        still there.
        """
        folded = nothing_folded(days) if folded is None else folded
        k = days.mean.shape[1] - 2
        carry = noise.autocorrelation ** np.diff(days.day, prepend=folded.day).astype(float)
        variance = noise.day_sd**2 * (1 - carry**2) + HOURS_ALIKE * noise.hour_sd**2 / days.hours
        before = np.vstack([folded.mean[None], days.mean])[:-1]
        white = (days.mean - carry[:, None] * before) / np.sqrt(variance)[:, None]
        first = days.mean[:, k] / np.sqrt(variance)
        inside = days.inside / (SHAPE_HOURS_ALIKE * noise.hour_sd**2)
        x, t, y = white[:, :k], white[:, k], white[:, k + 1]
        since = days.day - folded.origin
        since_before = np.append(folded.day, days.day)[:-1] - folded.origin
        a = (since * days.mean[:, k] - carry * (since_before * before[:, k])) / np.sqrt(variance)
        return cls(
            day=days.day,
            origin=folded.origin,
            normal=_running(folded.normal, x[:, :, None] * x[:, None, :] + inside[:, :k, :k]),
            right=_running(folded.right, x * y[:, None] + inside[:, :k, k]),
            step_features=_running(folded.step_features, t[:, None] * x),
            step_residual=_running(folded.step_residual, t * y),
            step_step=_running(folded.step_step, t * t),
            first_features=first[:, None] * x,
            first_residual=first * y,
            first_step=first * first,
            time_features=_running(folded.time_features, a[:, None] * x),
            time_residual=_running(folded.time_residual, a * y),
            time_step=_running(folded.time_step, a * t),
            time_time=_running(folded.time_time, a * a),
        )

    def fold(self, days: Days, place: int) -> Folded:
        """Return the sums of the days up to this place; ``days`` are those that these sums were made of."""
        sums = {name: getattr(self, name)[place].copy() for name in (*_VECTORS, "normal")}
        sums |= {name: float(getattr(self, name)[place]) for name in _NUMBERS}
        return Folded(day=int(self.day[place]), origin=self.origin, mean=days.mean[place].copy(), **sums)

    def beta(self) -> FloatArray:
        """Return the features' coefficients over all days, no change supposed."""
        if not len(self.day):
            return np.zeros(self.right.shape[1])
        return np.asarray(np.linalg.solve(self.normal[-1], self.right[-1]))

    def scan(self, last: int, earliest: int, latest: int | None = None) -> Scan:
        """Judge change days from place ``earliest`` to ``latest``, else ``last``, by the days to ``last``."""
        tau = np.arange(earliest, (last if latest is None else latest) + 1)
        cross = self.step_features[last] - self.step_features[tau] + self.first_features[tau]
        reply = self.step_residual[last] - self.step_residual[tau] + self.first_residual[tau]
        own = self.step_step[last] - self.step_step[tau] + self.first_step[tau]
        return self._effects(last, tau, cross, reply, own, np.ones(len(tau)))

    def scan_ramp(self, last: int, earliest: int, latest: int) -> Scan:
        """Judge every day from place ``earliest`` to ``latest`` as the start of a steady ramp.

        The effect is that reached on the day at place ``last``.
        """
        tau = np.arange(earliest, latest + 1)
        since = (self.day[tau] - self.origin).astype(float)
        cross = self._late(self.time_features, tau, last) - since[:, None] * self._late(
            self.step_features, tau, last
        )
        reply = self._late(self.time_residual, tau, last) - since * self._late(self.step_residual, tau, last)
        mixed, flat = self._late(self.time_step, tau, last), self._late(self.step_step, tau, last)
        own = self._late(self.time_time, tau, last) - 2 * since * mixed + since**2 * flat
        return self._effects(last, tau, cross, reply, own, self.day[last] - self.day[tau].astype(float))

    def _late(self, sums: FloatArray, tau: NDArray[np.intp], last: int) -> FloatArray:
        return np.asarray(sums[last] - sums[tau])

    def _effects(
        self,
        last: int,
        tau: NDArray[np.intp],
        cross: FloatArray,
        reply: FloatArray,
        own: FloatArray,
        reach: FloatArray,
    ) -> Scan:
        solved = np.linalg.solve(self.normal[last], np.column_stack([self.right[last], cross.T]))
        information = np.maximum(own - np.einsum("ij,ji->i", cross, solved[:, 1:]), 1e-12)
        effect = (reply - cross @ solved[:, 0]) / information
        return Scan(
            change_day=self.day[tau], effect=effect * reach, standard_error=reach / np.sqrt(information)
        )
