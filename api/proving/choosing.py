"""Which change explains the readings: every likely one is tried, and those that leave no doubt are named."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from api.proving.alternatives import Alternative
from api.proving.readings_of_map import Case, Points, duty_of
from collector.quantities import CHANNELS

LEFT: Final = 1.0
"""Widths that an explanation may leave: less than a healthy pump may show, or it explains nothing."""
NAMED: Final = 1.6
"""How much dearer than the best an explanation may be to be named beside it."""
MOST_NAMED: Final = 4
USUAL_EFFICIENCY: Final = 0.55
"""Wire to water, of pumps of a few kilowatts near their best point (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """A change under which the readings are a sound pump's, and what it costs to believe in it."""

    alternative: Alternative
    points: Points
    case: Case
    cost: float


def explanations(case: Case, points: Points, tried: Iterable[Alternative]) -> list[Explanation]:
    """Return the changes that leave no doubt, the likeliest first, as far as they are to be named.

    ``points`` are the map as it stands.
    """
    found: list[Explanation] = []
    for each in tried:
        new = {**points, **each.points}
        so = case if each.stated is None else replace(case, stated=each.stated(case.stated))
        cost = cost_of(so, new)
        if cost is not None:
            found.append(Explanation(alternative=each, points=new, case=so, cost=cost + each.price))
    found.sort(key=lambda each: each.cost)
    return [each for each in found if each.cost <= found[0].cost + NAMED][:MOST_NAMED]


def cost_of(case: Case, points: Points) -> float | None:
    """Return how unusual the readings are when read so [-], ``None`` when they are no sound pump's."""
    values = {name: case.middle(points, name) for name in CHANNELS if name in points}
    for name, value in values.items():
        quantity = points[name].quantity
        if value is None or not quantity.lowest <= value <= quantity.highest or value <= 0:
            return None
    left = case.doubts(points).values()
    if any(doubt.is_physical or (doubt.widths > LEFT and not doubt.is_question) for doubt in left):
        return None
    questions = sum(1.0 for doubt in left if doubt.is_question)
    return questions + sum(_unusual(case, points)) / 2


def _unusual(case: Case, points: Points) -> list[float]:
    """Return squared distances from the usual: efficiency, and what the maker printed."""
    duty = duty_of(case.samples[len(case.samples) // 2], points)
    squares = []
    efficiency = duty.efficiency(case.stated.density_kg_m3)
    if efficiency is not None:
        squares.append(_square(efficiency, USUAL_EFFICIENCY, 0.5))
    if duty.flow_m3h is None or duty.speed_rpm is None:
        return squares
    for value, printed, width in (
        (duty.head_m, case.stated.printed_head_m(duty.flow_m3h, duty.speed_rpm), 0.06),
        (duty.power_w, case.stated.printed_power_w(duty.flow_m3h, duty.speed_rpm), 0.15),
    ):
        if value and printed:
            squares.append(_square(value, printed, width))
    if case.stated.rated_speed_rpm is not None:
        squares.append(_square(duty.speed_rpm, 0.8 * case.stated.rated_speed_rpm, 0.5))
    return squares


def _square(value: float, usual: float, width: float) -> float:
    return (math.log(value / usual) / width) ** 2 if value > 0 else 400.0
