"""Whether a channel scatters about a smooth function of two others by more than the reported steps explain.

Two accounts of the same readings are weighed by their likelihood. Computed: the channel is a smooth function
of speed and another channel, and every departure comes from the steps of the three channels. Sensed: it has
noise or drift of a sensor besides. A reading says only that the value lay within its step, so each one's
likelihood is the normal probability of that step (grouped data; Heitjan, Statistical Science 4, 1989, from
memory); steps much coarser than the noise, and a head held within one, then need no rule of their own.

A damped sensor may be as quiet as a computation, but it drifts from day to day, which no computation does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_COMPUTED: Final = (0.0007, 0.0003, 0.0001)
"""Scatter beyond the steps, as a share of the value, that a computation still has: its curve's small print
(tuned: simulated ones stay below 0.0007)."""
_SENSED: Final = (0.024, 0.016, 0.0105, 0.007, 0.0045, 0.0033, 0.0025)
"""The same of a sensor: a quiet one in a pipe has a quarter percent or more (common practice)."""
_SURE_GAIN_A_DAY: Final = 5.0
"""What days that differ gain at least (tuned: computations 2.2 at most but where their curve's form is wrong,
sensors of 0.05 % noise that drift by 0.2 % 15 or more)."""
_SPEED_UNSURE: Final = 0.0005
"""The speed that a drive computed with is the reported one to this share: registers differ in time."""
_INPUT_SHARES: Final = (1.0, 0.5)
"""Of the scatter that evenly spread rounding of inputs makes. It makes less where an input hardly moves."""
_STRAY: Final = 0.02
_STRAY_WIDTH: Final = 0.05
"""Share of readings taken amid a change, their channels not of one instant, and how far off those are."""
_FINEST_HALF_STEP: Final = 1e-5
_NEWTON_STEPS: Final = 40
_CURVE_TERMS: Final = ((0, 0), (0, 1), (0, 2), (0, 3), (0, 4), (1, 0), (1, 1))
"""Powers of (log speed, similarity number): the affinity laws with a small departure from them."""
_LOSS_TERMS: Final = (*_CURVE_TERMS, (1, 2), (2, 0), (2, 1))
"""The same over power, in which the losses of motor and drive follow no affinity law."""
AFFINITY: Final = {"flow_m3h": 1, "head_m": 2, "power_w": 3}
"""The power of speed with which each goes at similar points (affinity laws)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BothAccounts:
    """Log-likelihoods [-] of the two accounts, and the plain scatter over that of the steps [-].

    ``sensed_at_most`` is the best that a sensor can be made to fit, with inputs whose steps explain less.
    A channel of one value only shows no step: what it hides is then not known.
    """

    computed: float
    sensed: float
    sensed_at_most: float
    over_steps: float
    steps_known: bool
    input_steps_known: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Surface:
    """Values as a smooth function: an orthonormal ``basis`` (n, k), its fit (n,), variance of inputs (n,)."""

    values: Floats
    half_step: float
    basis: Floats
    fitted: Floats
    of_inputs: Floats
    of_speed: Floats


def both_accounts(
    name: str, values: Floats, speed: Floats, over: str, other: Floats, step_if_held: float = 0.0
) -> BothAccounts:
    """Weigh both accounts of ``values`` (n,) over ``speed`` (n,) and ``other`` (n,), all above zero.

    ``name`` and ``over`` are flow_m3h, head_m or power_w; units cancel. ``step_if_held`` is the step to
    take for values that never leave theirs, 0 if unknown.
    """
    level = float(np.median(values))
    step = step_of(values) or step_if_held
    surface = _surface(name, values / level, step / level, speed / np.median(speed), over, other)
    full, half = (_likelihoods(surface, share) for share in _INPUT_SHARES)
    left = float(np.sqrt(np.mean((surface.values - surface.fitted) ** 2)))
    explained = float(np.sqrt(np.mean(surface.of_inputs) + surface.half_step**2 / 3))
    computed, sensed = max(full[len(_SENSED) :]), max(full[: len(_SENSED)])
    return BothAccounts(
        computed=computed,
        sensed=sensed,
        sensed_at_most=max(sensed, *half[: len(_SENSED)]),
        over_steps=left / explained,
        steps_known=step > 0,
        input_steps_known=min(step_of(speed), step_of(other)) > 0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyLevels:
    """By how much a level of its own on each day betters the computed account, a day, and their spread [-].

    ``gain_a_day`` is a logarithm of likelihood, as those of :class:`BothAccounts`. A fit to chance alone
    gains a half (Wilks, Annals of Mathematical Statistics 9, 1938, from memory).
    """

    gain_a_day: float
    spread: float

    @property
    def has_drifted(self) -> bool:
        """Whether the days differ surely, and by more than a computation's small print."""
        return self.gain_a_day > _SURE_GAIN_A_DAY and self.spread > _COMPUTED[0]


def daily_levels(
    name: str,
    values: Floats,
    speed: Floats,
    over: str,
    other: Floats,
    day: NDArray[np.int64],
    step_if_held: float = 0.0,
) -> DailyLevels:
    """Return what a level of its own on each ``day`` (n,) tells; the rest is as for :func:`both_accounts`."""
    level = float(np.median(values))
    step = step_of(values) or step_if_held
    surface = _surface(name, values / level, step / level, speed / np.median(speed), over, other)
    days = np.unique(day)
    levels = (day[:, None] == days[None, :]) * surface.fitted[:, None]
    left, size, _ = np.linalg.svd(np.column_stack([surface.basis, levels]), full_matrices=False)
    by_day = replace(surface, basis=left[:, size > 1e-7 * size[0]])
    alike, apart = (max(_likelihoods(each, 1.0, _COMPUTED)) for each in (surface, by_day))
    off = surface.values / surface.fitted - 1
    means = np.array([off[day == each].mean() for each in days])
    spread = float(np.sqrt(np.average(means**2, weights=[(day == each).sum() for each in days])))
    return DailyLevels(gain_a_day=(apart - alike) / len(days), spread=spread)


def _surface(name: str, values: Floats, step: float, speed: Floats, over: str, other: Floats) -> _Surface:
    terms, along = _terms(name, speed, over, other)
    weights = np.linalg.lstsq(terms, values, rcond=1e-7)[0]
    fitted, slope = terms @ weights, along @ weights
    # By the affinity laws, since a speed that hardly moves but for its own step shows no slope.
    by_speed = (AFFINITY[name] * fitted - AFFINITY[over] * other * slope) / speed
    left, size, _ = np.linalg.svd(terms, full_matrices=False)
    return _Surface(
        values=values,
        half_step=max(step / 2, _FINEST_HALF_STEP),
        basis=left[:, size > 1e-7 * size[0]],
        fitted=fitted,
        of_inputs=((slope * step_of(other)) ** 2 + (by_speed * step_of(speed)) ** 2) / 12,
        of_speed=(by_speed * speed * _SPEED_UNSURE) ** 2,
    )


def step_of(values: Floats) -> float:
    """Return the step in which values are reported: the least difference between two of them.

    >>> round(step_of(np.array([1.3, 1.1, 1.2, 1.3])), 6)
    0.1
    """
    apart = np.diff(np.unique(values))
    apart = apart[apart > 1e-7 * max(float(np.abs(values).max()), 1e-9)]
    return float(apart.min()) if len(apart) else 0.0


def _terms(name: str, speed: Floats, over: str, other: Floats) -> tuple[Floats, Floats]:
    """Return the terms of the smooth function (n, k) and their slopes along the other channel (n, k)."""
    similar = other / speed ** AFFINITY[over]
    x, _ = _scaled(np.log(speed), 0.003)
    y, width = _scaled(similar, 0.02 * float(np.abs(similar).mean()))
    powers = _LOSS_TERMS if over == "power_w" else _CURVE_TERMS
    terms = np.stack([x**i * y**j for i, j in powers], axis=1)
    along = np.stack([j * x**i * y ** max(j - 1, 0) for i, j in powers], axis=1)
    carried = (speed ** AFFINITY[name])[:, None]
    return terms * carried, along * carried / (width * speed ** AFFINITY[over])[:, None]


def _scaled(values: Floats, least: float) -> tuple[Floats, float]:
    width = max(float(values.std()), least, 1e-9)
    return (values - values.mean()) / width, width


def _likelihoods(
    surface: _Surface, input_share: float, scatters: Sequence[float] = (*_SENSED, *_COMPUTED)
) -> list[float]:
    """Return the best log-likelihood for each scatter [-], from wide to narrow; each fit starts the next."""
    known = input_share * surface.of_inputs + surface.of_speed
    size = np.maximum(surface.fitted, 0.05)
    weights: Floats = surface.basis.T @ surface.fitted
    found = []
    for scatter in scatters:
        deviation = np.sqrt(known + (scatter * size) ** 2)
        weights, likelihood = _climbed(surface, deviation, weights)
        found.append(likelihood)
    return found


def _climbed(surface: _Surface, deviation: Floats, weights: Floats) -> tuple[Floats, float]:
    """Return the most likely weights and their log-likelihood (Newton's method with halved steps)."""
    likelihood = _log_likelihood(surface, deviation, weights)
    for _ in range(_NEWTON_STEPS):
        stride = _newton_stride(surface, deviation, weights)
        tries: Sequence[Floats] = [weights + stride / 2**halving for halving in range(6)]
        better = ((each, _log_likelihood(surface, deviation, each)) for each in tries)
        step = next((found for found in better if found[1] > likelihood), None)
        if step is None:
            break
        gained, (weights, likelihood) = step[1] - likelihood, step
        if gained < 0.01:
            break
    return weights, likelihood


def _log_likelihood(surface: _Surface, deviation: Floats, weights: Floats) -> float:
    low, high = _ends(surface, deviation, weights)
    return float(np.log(_probability(surface, low, high)).sum())


def _ends(surface: _Surface, deviation: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Return both ends of each reading's step, in deviations from the function."""
    off = surface.values - surface.basis @ weights
    return (off - surface.half_step) / deviation, (off + surface.half_step) / deviation


def _probability(surface: _Surface, low: Floats, high: Floats) -> Floats:
    """Return the probability of each reading's step; a stray reading may be anywhere near."""
    width = 2.0 * surface.half_step
    stray = 0.4 * width / float(np.hypot(_STRAY_WIDTH, width))
    within = np.maximum(_normal_below(high) - _normal_below(low), 0.0)
    probability: Floats = (1.0 - _STRAY) * within + _STRAY * stray
    return probability


def _newton_stride(surface: _Surface, deviation: Floats, weights: Floats) -> Floats:
    low, high = _ends(surface, deviation, weights)
    share = (1.0 - _STRAY) / _probability(surface, low, high)
    at_low, at_high = _normal_density(low), _normal_density(high)
    rise = share * (at_low - at_high) / deviation
    bend = np.maximum(share * (high * at_high - low * at_low) / deviation**2, 0.0) + rise**2
    curvature = (surface.basis * bend[:, None]).T @ surface.basis
    ridge = 1e-9 * float(np.trace(curvature)) + 1e-12
    regular = curvature + ridge * np.eye(len(weights))
    return np.asarray(np.linalg.solve(regular, surface.basis.T @ rise), dtype=np.float64)


def _normal_density(z: Floats) -> Floats:
    density: Floats = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    return density


def _normal_below(z: Floats) -> Floats:
    """Return the normal distribution's share below z, to 1e-7 (Abramowitz and Stegun 7.1.26, from memory)."""
    x = np.abs(z) / np.sqrt(2.0)
    t = 1.0 / (1.0 + 0.3275911 * x)
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    below: Floats = 0.5 * (1.0 + np.sign(z) * (1.0 - series * np.exp(-x * x)))
    return below
