"""Why energy per volume changed: the change parted exactly among the factors that it is a product of.

The logarithmic mean Divisia index: a change of a product is the logarithmic mean of both values times the sum
of the logarithms of the factors' ratios, so the parts add up without a remainder, and turn sign when the
periods are exchanged (B. W. Ang, "The LMDI approach to decomposition analysis: a practical guide", Energy
Policy 33, 2005, 867-871; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from api.analytics.energy.factors import Factors


class Part(StrEnum):
    """What a part of a change is put down to."""

    HEAD = "head"
    """The system or its setpoint asked for another head."""
    PUMP = "pump"
    """The pump drew other power than its own curve says for the same flow and head."""
    PLACE = "place"
    """Control and load put the pump at another place on its curve."""
    DENSITY = "density"
    EFFICIENCY = "efficiency"
    """Pump and place together, where they can't be told apart."""
    MIX = "mix"
    """Other pumps moved the water."""
    REST = "rest"
    """Hours in which head was not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """A change of energy per volume [kWh/m³] and its parts [kWh/m³], which add up to it."""

    before_kwh_per_m3: float
    now_kwh_per_m3: float
    parts: Mapping[Part, float]

    @property
    def change_kwh_per_m3(self) -> float:
        """Return the whole change [kWh/m³]."""
        return self.now_kwh_per_m3 - self.before_kwh_per_m3


def split(now: Factors, before: Factors, whole: tuple[float, float] | None = None) -> Split:
    """Part the change from ``before`` to ``now``.

    ``whole`` is the energy per volume of all hours [kWh/m³], now and before, where these are more than the
    hours with a head; what the factors do not hold then stands as ``Part.REST``.
    """
    logs = _log_ratios(now, before)
    weight = log_mean(now.kwh_per_m3, before.kwh_per_m3)
    parts = {part: weight * log for part, log in logs.items()}
    is_now, was = whole or (now.kwh_per_m3, before.kwh_per_m3)
    if whole is not None:
        parts[Part.REST] = (is_now - was) - (now.kwh_per_m3 - before.kwh_per_m3)
    return Split(before_kwh_per_m3=was, now_kwh_per_m3=is_now, parts=parts)


def split_of_site(
    now: Mapping[str, Factors],
    before: Mapping[str, Factors],
    whole: tuple[float, float] | None = None,
) -> Split:
    """Part the change of several pumps' energy per volume, their sums over their sums.

    ``Part.MIX`` is that other pumps moved the water, a pump that ran in one of the periods alone included.
    ``whole`` is as in :func:`split`: what hours without a head and pumps that stood still add is the rest.

    Raises
    ------
    ValueError
        When one of the periods has no pump.
    """
    if not now or not before:
        raise ValueError("a change needs a pump in both periods")
    shares = [_specific(period) for period in (now, before)]
    parts: dict[Part, float] = {}
    for name in now.keys() | before.keys():
        adds_now, added = (part.get(name, 0.0) for part in shares)
        for part, value in _parts_of(now.get(name), before.get(name), adds_now, added).items():
            parts[part] = parts.get(part, 0.0) + value
    told_now, told_before = (sum(share.values()) for share in shares)
    is_now, was = whole or (told_now, told_before)
    if whole is not None:
        parts[Part.REST] = (is_now - was) - (told_now - told_before)
    return Split(before_kwh_per_m3=was, now_kwh_per_m3=is_now, parts=parts)


def log_mean(one: float, other: float) -> float:
    """Return the logarithmic mean of two positive numbers.

    >>> round(log_mean(1.0, math.e), 6)
    1.718282
    >>> log_mean(2.0, 2.0)
    2.0
    """
    log = math.log(other / one)
    return one if log == 0 else one * math.expm1(log) / log


def _specific(pumps: Mapping[str, Factors]) -> dict[str, float]:
    """Return what each pump adds to the energy per volume of all [kWh/m³]."""
    volume = sum(pump.volume_m3 for pump in pumps.values())
    return {name: pump.energy_kwh / volume for name, pump in pumps.items()}


def _parts_of(now: Factors | None, before: Factors | None, is_now: float, was: float) -> dict[Part, float]:
    if now is None or before is None:
        return {Part.MIX: is_now - was}
    weight, logs = log_mean(is_now, was), _log_ratios(now, before)
    parts = {part: weight * log for part, log in logs.items()}
    # What a pump adds is its share of the volume times its own energy per volume.
    parts[Part.MIX] = weight * (math.log(is_now / was) - sum(logs.values()))
    return parts


def _log_ratios(now: Factors, before: Factors) -> dict[Part, float]:
    logs = {
        Part.HEAD: math.log(now.mean_head_m / before.mean_head_m),
        Part.DENSITY: math.log(now.density_kg_m3 / before.density_kg_m3),
    }
    better = math.log(now.efficiency / before.efficiency)
    if now.over_own is None or before.over_own is None:
        return logs | {Part.EFFICIENCY: -better}
    pump = math.log(now.over_own / before.over_own)
    return logs | {Part.PUMP: pump, Part.PLACE: -better - pump}
