"""What is said of each quantity: the explanation to use, how sure it is, and what would settle the rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Final

from collector.matching.advice import advice, goes_with_speed, is_only_wider
from collector.matching.belief import Believed, beliefs
from collector.matching.explain import Explanation, Shown, explanations_of
from collector.matching.groups import WORTH_TELLING, Group, grouped, same_value
from collector.matching.places import tracks_of
from collector.matching.samples import Sample
from collector.matching.scales import is_decade

_SURE_SHARE, _LIKELY_SHARE = 0.99, 0.8
_FEWEST_SAMPLES: Final = 3
"""Two may agree by chance once in a few hundred tries; three that moved have not been seen to."""


class Sureness(IntEnum):
    """How sure an answer is."""

    NONE = 0
    OPEN = 1
    LIKELY = 2
    SURE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found for one quantity.

    ``share`` [0..1] is the belief in the chosen explanation. ``twins`` are other registers that show the
    same, ``rivals`` what it may be instead, the likely first; ``advice`` is what to do next, empty when sure.
    """

    quantity: str
    sureness: Sureness
    chosen: Explanation | None = None
    share: float = 0.0
    twins: tuple[Explanation, ...] = ()
    rivals: tuple[Explanation, ...] = ()
    advice: str


def answers(samples: Sequence[Sample], rated_speed_rpm: float | None = None) -> tuple[Answer, ...]:
    """Return what the samples say of each quantity that was typed, in the order of typing.

    Where nothing goes with all samples but something with all but one, that one is left out, and it is said.
    """
    found = _answers(samples, rated_speed_rpm)
    return tuple(
        answer if answer.chosen is not None else _without_one(samples, answer, rated_speed_rpm)
        for answer in found
    )


def _answers(samples: Sequence[Sample], rated_speed_rpm: float | None) -> tuple[Answer, ...]:
    if not samples:
        return ()
    tracks = tracks_of([sample.images for sample in samples])
    shown = _shown(samples)
    found = {name: explanations_of(each, tracks, rated_speed_rpm) for name, each in shown.items()}
    counts = {name: len(each.values) for name, each in shown.items()}
    believed = beliefs(found, counts, samples[0].images[0])
    return tuple(_answer(shown[name], believed[name], shown) for name in shown)


def _without_one(samples: Sequence[Sample], answer: Answer, rated_speed_rpm: float | None) -> Answer:
    """Return what the other samples say when one of three or more was mistyped or taken while values ran."""
    name = answer.quantity
    typed = [place for place, sample in enumerate(samples) if sample.shown(name) is not None]
    best = answer
    for left_out in typed if len(typed) >= _FEWEST_SAMPLES else ():
        rest = [
            _forgetting(sample, name) if place == left_out else sample for place, sample in enumerate(samples)
        ]
        again = next(each for each in _answers(rest, rated_speed_rpm) if each.quantity == name)
        if again.sureness >= Sureness.LIKELY and again.share > best.share:
            value = samples[left_out].shown(name)
            words = f"sample {left_out + 1} ({value.text if value else ''}) does not go with the others"
            best = replace(
                again,
                sureness=Sureness.LIKELY,
                advice=f"{words} and was left out: look at it, and read again",
            )
    return best


def _forgetting(sample: Sample, name: str) -> Sample:
    return replace(sample, panel=tuple(value for value in sample.panel if value.quantity.name != name))


def _shown(samples: Sequence[Sample]) -> dict[str, Shown]:
    names = dict.fromkeys(value.quantity.name for sample in samples for value in sample.panel)
    return {
        name: Shown(
            values=tuple(value for sample in samples if (value := sample.shown(name)) is not None),
            places=tuple(place for place, sample in enumerate(samples) if sample.shown(name) is not None),
        )
        for name in names
    }


def _answer(shown: Shown, believed: Sequence[Believed], all_shown: dict[str, Shown]) -> Answer:
    name = shown.quantity.name
    groups = grouped(believed)
    if not groups:
        return Answer(quantity=name, sureness=Sureness.NONE, advice=advice(shown, None, (), all_shown))
    likeliest = max(groups, key=lambda group: group.share)
    alike = [group for group in groups if group.share >= WORTH_TELLING * likeliest.share]
    twins = [group for group in alike if shown.has_varied and same_value(likeliest.best, group.best)]
    chosen = min(twins, key=_coarseness) if twins else likeliest
    others = [group for group in alike if group is not chosen and group not in twins]
    share = _share(chosen, others, alike, sum(each.share for each in believed))
    is_open = bool(others) or goes_with_speed(shown, all_shown)
    sureness = _sureness(shown, share, is_open=is_open)
    rivals = chosen.inner_rivals + tuple(group.best for group in others)
    if shown.has_moved and rivals and all(is_only_wider(chosen.best, rival) for rival in rivals):
        # Place, scale and unit are settled then; what is open is said, and matters beyond 65,535 only.
        sureness = max(sureness, Sureness.LIKELY)
    return Answer(
        quantity=name,
        sureness=sureness,
        chosen=chosen.best,
        share=share,
        twins=tuple(group.best for group in twins if group is not chosen),
        rivals=rivals,
        advice="" if sureness is Sureness.SURE else advice(shown, chosen.best, rivals, all_shown),
    )


def _share(chosen: Group, others: Sequence[Group], alike: Sequence[Group], known: float) -> float:
    """Return the belief in the chosen one: that its registers are right, and this reading of them."""
    elsewhere = sum(group.share for group in others) / sum(group.share for group in alike)
    return chosen.inner_share * min(known, 1.0) * (1 - elsewhere)


def _sureness(shown: Shown, share: float, *, is_open: bool) -> Sureness:
    if not shown.has_moved or share < _LIKELY_SHARE:
        return Sureness.OPEN
    enough = shown.states >= _FEWEST_SAMPLES and share >= _SURE_SHARE
    return Sureness.SURE if enough and not is_open else Sureness.LIKELY


def _coarseness(group: Group) -> tuple[bool, float, float]:
    """Order copies: those of a usual scale first, then the finest, then the most believed.

    A register that follows the speed is a copy of a flow by chance sooner where scales are seldom ones.
    """
    scale = group.best.scale
    return bool(scale.words) or not is_decade(scale.scale), group.best.step, -group.share
