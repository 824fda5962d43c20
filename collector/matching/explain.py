"""All explanations of a quantity: each place, type, order, scale and unit that gives every panel typed."""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from collector.matching.panel import PanelValue
from collector.matching.places import Place, Span, Track
from collector.matching.scales import Scale, scales_of
from collector.quantities import Quantity

_READING_OF_PANELS: Final = ((0.9, -0.5, 0.5), (0.1, 0.0, 1.0))
"""Panels round, and some cut off (common practice): how likely, and where the value may lie [steps]."""
_FEWEST_RAW: Final = 8.0
"""A whole number below this is too coarse to be known by: it would agree with everything."""
_MOVED: Final = 0.05
"""How much of its largest value a quantity must have moved before anything is sure [-]."""
_STEPS_MOVED: Final = 5.0
"""And how many steps of the panel."""
_REACH: Final = 10.0
"""So many times its unrest a value may be off where scales are looked for; the likelihood decides."""
_LEAST_LIKELY: Final = 1e-3
"""A panel this much less likely than the likeliest one rules an explanation out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One way in which the registers give what the panel shows.

    ``likelihood`` [-] is how likely the typed numbers are if it is true: near 1 when it leaves the panel no
    other number.
    """

    quantity: Quantity
    track: Track
    scale: Scale
    likelihood: float

    @property
    def place(self) -> Place:
        """Where it stands."""
        return self.track.place

    @property
    def step(self) -> float:
        """One raw step in the unit of the quantity's name."""
        return 0.0 if self.place.is_float else self.scale.factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the panel showed of one quantity: one value a sample, and in which samples."""

    values: tuple[PanelValue, ...]
    places: tuple[int, ...]

    @property
    def quantity(self) -> Quantity:
        """Which quantity."""
        return self.values[0].quantity

    @property
    def pivot(self) -> int:
        """The sample with the largest value: it says most about the scale."""
        return max(range(len(self.values)), key=lambda place: abs(self.values[place].value))

    @property
    def moved(self) -> float:
        """How far it moved, in the unit of the quantity's name."""
        values = [value.value for value in self.values]
        return max(values) - min(values)

    @property
    def states(self) -> int:
        """How many values it showed that are a step of the panel or more apart [-].

        The same state looked at twice, or one sample given twice, proves nothing more.
        """
        step = max(value.step_in_base for value in self.values)
        count, last = 0, float("-inf")
        for value in sorted(value.value for value in self.values):
            if value - last >= step * (1 - 1e-9):
                count, last = count + 1, value
        return count

    @property
    def has_varied(self) -> bool:
        """Whether it moved so far that what stands still cannot explain it."""
        return self.moved >= _STEPS_MOVED * max(value.step_in_base for value in self.values)

    @property
    def has_moved(self) -> bool:
        """Whether it moved so far, too, that what strays cannot explain it."""
        return self.has_varied and self.moved >= _MOVED * max(abs(value.value) for value in self.values)


def explanations_of(
    shown: Shown, tracks: Sequence[Track], rated_speed_rpm: float | None = None
) -> list[Explanation]:
    """Return every explanation of a quantity's panel values."""
    pivot = shown.values[shown.pivot]
    if pivot.value == 0 and shown.quantity.unit:
        return []
    grids = {
        is_float: _Grid(
            scales_of(shown.quantity, pivot.unit, is_float=is_float, rated_speed_rpm=rated_speed_rpm)
        )
        for is_float in (False, True)
    }
    return [
        explanation
        for track in tracks
        for explanation in _of_track(shown, track, grids[track.place.is_float])
    ]


class _Grid:
    """Scales by offset, each list sorted by factor, so that few are tried on a track."""

    def __init__(self, scales: tuple[Scale, ...]) -> None:
        self._by_offset: dict[float, list[Scale]] = {}
        for scale in scales:
            self._by_offset.setdefault(scale.offset, []).append(scale)
        self._factors = {offset: [scale.factor for scale in each] for offset, each in self._by_offset.items()}

    def near(self, low: float, high: float, raw: Span) -> Iterator[Scale]:
        """Yield the scales that could bring a raw span between two values."""
        for offset, scales in self._by_offset.items():
            least, most = _factors(low - offset, high - offset, raw)
            factors = self._factors[offset]
            yield from scales[bisect.bisect_left(factors, least) : bisect.bisect_right(factors, most)]


def _of_track(shown: Shown, track: Track, grid: _Grid) -> Iterator[Explanation]:
    middles = [track.middle(place) for place in shown.places]
    pivot, raw = shown.values[shown.pivot], abs(middles[shown.pivot])
    if raw < (0.0 if track.place.is_float or not shown.quantity.unit else _FEWEST_RAW):
        return
    reach = track.half_step + _REACH * track.unrest(shown.places[shown.pivot])
    low, high = window(pivot, -0.5, 1.0)
    middle = middles[shown.pivot]
    for scale in grid.near(low, high, (middle - reach, middle + reach)):
        likelihood = sum(
            usual * _agreement(shown, track, scale, begin, end) for usual, begin, end in _READING_OF_PANELS
        )
        if likelihood > 0:
            yield Explanation(quantity=shown.quantity, track=track, scale=scale, likelihood=likelihood)


def window(value: PanelValue, begin: float, end: float) -> Span:
    """Return between which values it lies that show as this, in the unit of the quantity's name."""
    step = value.step_in_base
    return value.value + begin * step, value.value + end * step


def _agreement(shown: Shown, track: Track, scale: Scale, begin: float, end: float) -> float:
    """Return how likely the panel's numbers are, given what the register held; 0 when one hardly is."""
    product = 1.0
    half = track.half_step * scale.factor
    for value, place in zip(shown.values, shown.places, strict=True):
        low, high = window(value, begin, end)
        expected = track.middle(place) * scale.factor + scale.offset
        unrest = track.unrest(place) * scale.factor
        free = _share_below((high + half - expected) / unrest, track.freedom)
        chance = free - _share_below((low - half - expected) / unrest, track.freedom)
        width = high - low + 2 * half
        likeliest = 2 * _share_below(width / 2 / unrest, track.freedom) - 1
        if chance < _LEAST_LIKELY * likeliest:
            return 0.0
        product *= chance * (high - low) / width
    return product


def _share_below(score: float, freedom: int) -> float:
    """Return Student's distribution function for 1, 2 or 3 degrees of freedom (closed forms; from memory).

    >>> round(_share_below(3.0, 2), 4)
    0.9523
    """
    if freedom == 1:
        return 0.5 + math.atan(score) / math.pi
    if freedom == 2:
        return 0.5 + score / (2 * math.sqrt(2 + score * score))
    scaled = score / math.sqrt(3)
    return 0.5 + (scaled / (1 + scaled * scaled) + math.atan(scaled)) / math.pi


def _factors(low: float, high: float, raw: Span) -> Span:
    """Return the factors that bring some raw value of a span into a window (positive ones)."""
    raw_low, raw_high = raw
    if high <= 0:
        low, high, raw_low, raw_high = -high, -low, -raw_high, -raw_low
    if raw_high <= 0:
        return 1.0, 0.0
    least = max(low, 0.0) / raw_high
    return least, high / raw_low if raw_low > 0 else 1e300
