"""Exact intervals for counts: what a benchmark may claim from as many pumps as it ran."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import beta, chi2


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A value with its exact 95 % interval."""

    value: float
    low: float
    high: float


def share(found: int, of: int) -> Interval:
    """Return a share with its two-sided interval (Clopper and Pearson, Biometrika 26, 1934)."""
    low = float(beta.ppf(0.025, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(0.975, found + 1, of - found)) if found < of else 1.0
    return Interval(value=found / of, low=low, high=high)


def rate(events: int, exposure: float) -> Interval:
    """Return events over exposure with its exact Poisson interval; ``high`` is the one-sided 95 % bound.

    Garwood, Biometrika 28, 1936. With no event the bound is 3.0 over the exposure: the rule of three.
    """
    low = float(chi2.ppf(0.025, 2 * events)) / 2 / exposure if events else 0.0
    return Interval(
        value=events / exposure, low=low, high=float(chi2.ppf(0.95, 2 * events + 2)) / 2 / exposure
    )
