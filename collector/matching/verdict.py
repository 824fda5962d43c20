"""What is said of each quantity: the explanation to use, how sure it is, and what would settle the rest."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Final

from collector.matching.advice import advice, goes_with_speed, is_only_wider, stood_still
from collector.matching.belief import Believed, beliefs
from collector.matching.explain import Explanation, Shown, explanations_of
from collector.matching.groups import WORTH_TELLING, Group, grouped, is_mirror, same_value
from collector.matching.mistyped import mistyped_words
from collector.matching.places import tracks_of
from collector.matching.samples import Sample
from collector.matching.scales import is_decade

_SURE_SHARE, _LIKELY_SHARE = 0.99, 0.8
_DOUBTED_SHARE, _NOT_FOUND_SHARE = 0.5, 0.01
"""Below the first a number may be mistyped, which is tried; below the other nothing is worth being shown."""
_FEWEST_SAMPLES: Final = 3
"""Two may agree by chance once in a few hundred tries; three that moved have not been seen to."""
_MOST_PAIRED: Final = 6


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
    ``left_out`` is the sample [from 0] that does not go with the others, if one does not; ``known`` [0..1]
    the belief in all explanations together.
    """

    quantity: str
    sureness: Sureness
    chosen: Explanation | None = None
    share: float = 0.0
    twins: tuple[Explanation, ...] = ()
    rivals: tuple[Explanation, ...] = ()
    advice: str
    left_out: int | None = None
    known: float = 0.0


def answers(samples: Sequence[Sample], rated_speed_rpm: float | None = None) -> tuple[Answer, ...]:
    """Return what the samples say of each quantity that was typed, in the order of typing.

    Where nothing goes with all samples but something with all but one, that one is left out, and it is said.
    """
    if elsewhere := _all_elsewhere(samples):
        return elsewhere
    found = _answers(samples, rated_speed_rpm)
    doubtful = {answer.quantity for answer in found if answer.known < _DOUBTED_SHARE}
    if not doubtful or len(samples) < _FEWEST_SAMPLES:
        return found
    without = [
        {each.quantity: each for each in _answers((*samples[:place], *samples[place + 1 :]), rated_speed_rpm)}
        for place in range(len(samples))
    ]
    return tuple(
        _without_one(samples, answer, [each.get(answer.quantity) for each in without], rated_speed_rpm)
        if answer.quantity in doubtful
        else answer
        for answer in found
    )


def _all_elsewhere(samples: Sequence[Sample]) -> tuple[Answer, ...]:
    """Return that nothing was found, where no register changed while the panel did: chance would be left."""
    shown = _shown(samples)
    images = [image for sample in samples for image in sample.images]
    if not any(each.has_moved for each in shown.values()) or any(image != images[0] for image in images):
        return ()
    words = stood_still(len(images[0]))
    return tuple(Answer(quantity=name, sureness=Sureness.NONE, advice=words) for name in shown)


def _answers(samples: Sequence[Sample], rated_speed_rpm: float | None) -> tuple[Answer, ...]:
    if not samples:
        return ()
    tracks = tracks_of([sample.images for sample in samples])
    shown = _shown(samples)
    found = {name: explanations_of(each, tracks, rated_speed_rpm) for name, each in shown.items()}
    counts = {name: len(each.values) for name, each in shown.items()}
    believed = beliefs(found, counts, samples[0].images[0])
    return tuple(_answer(shown[name], believed[name], shown) for name in shown)


def _without_one(
    samples: Sequence[Sample],
    answer: Answer,
    without: Sequence[Answer | None],
    rated_speed_rpm: float | None,
) -> Answer:
    """Return what the others say when one sample was mistyped or taken while values ran."""
    typed = [place for place, sample in enumerate(samples) if sample.shown(answer.quantity) is not None]
    if len(typed) < _FEWEST_SAMPLES:
        return answer
    explained = {place: each for place in typed if (each := without[place]) and each.known >= _DOUBTED_SHARE}
    again = {place: each for place, each in explained.items() if each.sureness >= Sureness.LIKELY}
    if not again and len(explained) == 1:
        # Of all samples it is this one without which there is an explanation, if an unusual one.
        again = explained
    if not again:
        return replace(answer, advice=_apart(samples, answer, typed, rated_speed_rpm) or answer.advice)
    best = max(again, key=lambda place: again[place].share)
    chosen = again[best].chosen
    assert chosen is not None, "what is likely has something chosen"
    words = mistyped_words(samples, best, answer.quantity, chosen)
    sureness = min(again[best].sureness, Sureness.LIKELY)
    return replace(again[best], sureness=sureness, left_out=best, advice=words)


def _apart(
    samples: Sequence[Sample], answer: Answer, typed: Sequence[int], rated_speed_rpm: float | None
) -> str:
    """Return which samples disagree; empty when no two of them agree, or any two would."""
    pairs = list(itertools.combinations(typed[:_MOST_PAIRED], 2))
    apart = [pair for pair in pairs if not _go_together(samples, pair, answer.quantity, rated_speed_rpm)]
    if not 0 < len(apart) < len(pairs):
        return ""
    said = ", and ".join(f"{one + 1} and {other + 1}" for one, other in apart)
    return f"samples {said} disagree with each other: take each again, with the pump held steady"


def _go_together(
    samples: Sequence[Sample], pair: tuple[int, int], name: str, rated_speed_rpm: float | None
) -> bool:
    found = _answers([samples[place] for place in pair], rated_speed_rpm)
    return any(each.quantity == name and each.chosen is not None for each in found)


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
    known = min(sum(each.share for each in believed), 1.0)
    if not groups or known < _NOT_FOUND_SHARE:
        return Answer(quantity=name, sureness=Sureness.NONE, advice=advice(shown, None, (), all_shown))
    likeliest = max(groups, key=lambda group: group.share)
    alike = [group for group in groups if group.share >= WORTH_TELLING * likeliest.share]
    twins = [group for group in alike if shown.has_varied and same_value(likeliest.best, group.best)]
    chosen = min(twins, key=_coarseness) if twins else likeliest
    # What was too fine to be the same as a coarse one may be the same as the fine one chosen in its place.
    twins += [
        each
        for each in alike
        if each not in twins
        and twins
        and is_mirror(chosen.best, each.best)
        and same_value(chosen.best, each.best)
    ]
    others = [group for group in alike if group is not chosen and group not in twins]
    share = _share(chosen, others, alike, known)
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
        known=known,
        twins=tuple(group.best for group in twins if group is not chosen),
        rivals=rivals,
        advice="" if sureness is Sureness.SURE else advice(shown, chosen.best, rivals, all_shown),
    )


def _share(chosen: Group, others: Sequence[Group], alike: Sequence[Group], known: float) -> float:
    """Return the belief in the chosen one: that its registers are right, and this reading of them."""
    elsewhere = sum(group.share for group in others) / sum(group.share for group in alike)
    return chosen.inner_share * known * (1 - elsewhere)


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
