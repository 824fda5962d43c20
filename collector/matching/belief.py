"""How much each explanation is to be believed, all quantities of a drive considered together.

A drive mostly keeps to one table, one order and one type, and each register means one thing. What they are is
not known, so the belief is summed over all of them (Bayes' rule, with priors that are common practice).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from collector.matching.explain import Explanation
from collector.matching.places import Image, Place
from collector.registers.register_map import Order, Table

_ORDERS: Final[Mapping[tuple[Order, Order], float]] = {
    ("big", "big"): 0.5, ("big", "little"): 0.3, ("little", "big"): 0.1, ("little", "little"): 0.1
}  # fmt: skip
"""By byte order and word order."""
_TABLES: Final[tuple[Table, ...]] = ("input", "holding")
_CLASSES: Final = ("16", "32", "f")
_SAME_ORDER, _SAME_TABLE, _SAME_CLASS = 0.98, 0.95, 0.8
_NOT_READ: Final = 0.02
"""That none of the registers read holds what the panel shows."""
_FIRST_TEXT, _NEXT_TEXT = 1 / 2000, 1 / 100
"""How likely a panel's number is by itself: the first one, and each later one of the same pump."""
_FEWEST_ZEROS: Final = 0.05
_LEFT_FOR_ANOTHER: Final = 1e-5
"""What is left of an explanation whose registers surely mean another quantity."""

World = tuple[tuple[Order, Order], Table, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Believed:
    """An explanation and its share [0..1] of the belief in all of its quantity."""

    explanation: Explanation
    share: float


def beliefs(
    found: Mapping[str, Sequence[Explanation]], samples: Mapping[str, int], image: Image
) -> dict[str, list[Believed]]:
    """Return by quantity its explanations, the most believed first; the shares lack what "none" has.

    ``samples`` is how often each quantity was typed, ``image`` any image, for how usual a zero is.
    """
    zeros = max(_FEWEST_ZEROS, sum(not word for word in image.values()) / max(len(image), 1))
    weights = {name: [_weight(each, zeros, len(image)) for each in found[name]] for name in found}
    first = _shares(found, weights, samples)
    taken = {name: _taken(found[name], first[name]) for name in found}
    for name, explanations in found.items():
        others = [taken[other] for other in taken if other != name]
        weights[name] = [
            weight * _left(each.place, others)
            for weight, each in zip(weights[name], explanations, strict=True)
        ]
    shares = _shares(found, weights, samples)
    return {
        name: sorted(
            (
                Believed(explanation=each, share=share)
                for each, share in zip(found[name], shares[name], strict=True)
            ),
            key=lambda believed: -believed.share,
        )
        for name in found
    }


def _weight(each: Explanation, zeros: float, words: int) -> float:
    """Return prior times likelihood, but for what depends on the drive's habits."""
    bonus = 1 / zeros if each.track.spare_zeros else 1.0
    return each.scale.prior * each.likelihood * bonus / max(words, 1)


def _shares(
    found: Mapping[str, Sequence[Explanation]],
    weights: Mapping[str, Sequence[float]],
    samples: Mapping[str, int],
) -> dict[str, list[float]]:
    worlds = list(itertools.product(_ORDERS, _TABLES, _CLASSES))
    none = {name: _NOT_READ * _FIRST_TEXT * _NEXT_TEXT ** (samples[name] - 1) for name in found}
    parts = {
        name: [
            [
                weight * _habit(each.place, world)
                for weight, each in zip(weights[name], found[name], strict=True)
            ]
            for world in worlds
        ]
        for name in found
    }
    sums = {name: [none[name] + sum(part) for part in parts[name]] for name in found}
    logs = [
        math.log(_ORDERS[world[0]]) + sum(math.log(sums[name][place]) for name in found)
        for place, world in enumerate(worlds)
    ]
    highest = max(logs)
    scores = [math.exp(log - highest) for log in logs]
    in_all = sum(scores)
    return {
        name: [
            sum(scores[w] * parts[name][w][e] / sums[name][w] for w in range(len(worlds))) / in_all
            for e in range(len(found[name]))
        ]
        for name in found
    }


def _habit(place: Place, world: World) -> float:
    (byte_order, word_order), table, kind = world
    same_order = place.byte_order == byte_order and (len(place.words) == 1 or place.word_order == word_order)
    order = _SAME_ORDER if same_order else 1 - _SAME_ORDER
    return (
        order
        * (_SAME_TABLE if place.table == table else 1 - _SAME_TABLE)
        * (_SAME_CLASS if _class(place) == kind else (1 - _SAME_CLASS) / 2)
    )


def _class(place: Place) -> str:
    return "f" if place.is_float else str(16 * len(place.words))


def _taken(explanations: Sequence[Explanation], shares: Sequence[float]) -> dict[tuple[Table, int], float]:
    """Return how far each register is spoken for; the best explanation takes all that is believed."""
    taken: dict[tuple[Table, int], float] = {}
    highest = max(shares, default=0.0)
    believed = min(sum(shares), 1 - _LEFT_FOR_ANOTHER)
    for each, share in zip(explanations, shares, strict=True):
        for address in each.place.words:
            key = (each.place.table, address)
            taken[key] = max(taken.get(key, 0.0), believed * share / highest if highest else 0.0)
    return taken


def _left(place: Place, others: Sequence[Mapping[tuple[Table, int], float]]) -> float:
    most = max(
        (taken.get((place.table, address), 0.0) for taken in others for address in place.words), default=0.0
    )
    return max(1 - most, _LEFT_FOR_ANOTHER)
