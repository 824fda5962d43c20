"""Other units and scales in which the same registers would be a sound pump's too.

A value holds only when every other reading of it is surely wrong: what is typed right is never surely wrong,
so what is typed wrong then always has a rival, the right one, and stays open.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import islice, product
from typing import Final

from api.proving.alternatives import Alternative, scale_alternative, unit_alternatives
from api.proving.choosing import cost_of
from api.proving.counter_proofs import pace_of
from api.proving.readings_of_map import Case, Points
from api.proving.samples import Sample
from api.proving.telling import MOST_TOLD
from api.proving.typed_map import TypedMap
from collector.quantities import CHANNELS

RIVAL_SCALES: Final = (0.1, 10.0, 0.01, 100.0)


def rivals(
    name: str, typed: TypedMap, case: Case, points: Points, samples: Sequence[Sample]
) -> list[Alternative]:
    """Return what else a channel may be with no limit surely passed, the most usual first.

    What one change does is told before what two at once do.
    ``case`` holds the moments that are weighed; ``samples`` are all, by which a counter's pace is judged.
    """
    if name not in typed.points:
        return []
    singles = [each for each in _singles(name, typed) if _may_be(each, case, points, samples)]
    singles.sort(key=lambda each: _unusual(case, {**points, **each.points}))
    return singles[:MOST_TOLD] or list(
        islice((each for each in _pairs(name, typed) if _may_be(each, case, points, samples)), 1)
    )


def _singles(name: str, typed: TypedMap) -> Iterator[Alternative]:
    yield from unit_alternatives(typed.points[name])
    yield from (scale_alternative(typed.points[name], factor) for factor in RIVAL_SCALES)


def _pairs(name: str, typed: TypedMap) -> Iterator[Alternative]:
    """Yield two units mistaken at once, as when a whole table was taken for metric."""
    for other in CHANNELS:
        if other != name and other in typed.points:
            units = unit_alternatives(typed.points[name]), unit_alternatives(typed.points[other])
            for one, second in product(*units):
                yield Alternative(
                    points={**one.points, **second.points}, changes=one.changes + second.changes, price=0.0
                )


def _may_be(each: Alternative, case: Case, points: Points, samples: Sequence[Sample]) -> bool:
    new = {**points, **each.points}
    for name in each.names:
        value, quantity = case.middle(new, name), new[name].quantity
        if value is None or not 0 < value <= quantity.highest:
            return False
    if any(doubt.is_sure for doubt in case.doubts(new).values()):
        return False
    return "power_w" not in each.names or not _counter_speaks_against(new, points, samples)


def _unusual(case: Case, points: Points) -> float:
    cost = cost_of(case, points)
    return math.inf if cost is None else cost


def _counter_speaks_against(new: Points, points: Points, samples: Sequence[Sample]) -> bool:
    """Return whether the drive's energy counter keeps pace with the power as typed, and not as changed."""
    if "energy_kwh" not in points:
        return False
    as_typed, as_changed = (pace_of(points["energy_kwh"], samples, each) for each in (points, new))
    if as_typed is None or as_changed is None or not as_typed.is_telling:
        return False
    return as_typed.fits() and not as_changed.fits()
