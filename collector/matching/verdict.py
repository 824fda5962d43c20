"""What is said of each quantity: the explanation to use, how sure it is, and which change would settle the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from collector.matching.belief import Believed, beliefs
from collector.matching.explain import Explanation, Shown, explanations_of, proportional
from collector.matching.places import Track, tracks_of
from collector.matching.samples import Sample
from collector.registers.register_map import Table

_SURE_SHARE, _LIKELY_SHARE = 0.99, 0.8
_TWIN: Final = 1e-3
"""Another register with this part of the best one's belief agrees too well for chance once values have moved."""
_MOVED: Final = 0.05
"""How much of its largest value a quantity must have moved before anything is sure [-]."""
_STEPS_MOVED: Final = 5.0
"""And how many steps of the panel."""
_FEWEST_SAMPLES: Final = 3
_SAME: Final = 1e-6
_MAY_GROW: Final = 5.0
"""A drive may show so many times what was seen so far: at 60 % of the speed power is a fifth of its largest."""


class Sureness(IntEnum):
    """How sure an answer is."""

    NONE = 0
    OPEN = 1
    LIKELY = 2
    SURE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found for one quantity.

    ``share`` [0..1] is the belief in the chosen explanation against others of the same registers. ``twins``
    are other registers that show the same, ``rivals`` what it may be instead, the likely first.
    """

    quantity: str
    sureness: Sureness
    chosen: Explanation | None
    share: float
    twins: tuple[Explanation, ...]
    rivals: tuple[Explanation, ...]
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Explanations that share registers, so that one of them at most is right."""

    members: tuple[Believed, ...]

    @property
    def share(self) -> float:
        return sum(member.share for member in self.members)

    @property
    def best(self) -> Explanation:
        return self.members[0].explanation

    @property
    def inner_share(self) -> float:
        """The belief in the best of them and in those that read the same, of all of theirs."""
        same = sum(member.share for member in self.members if reads_alike(self.best, member.explanation))
        return same / self.share if self.share else 0.0


def answers(samples: Sequence[Sample], rated_speed_rpm: float | None = None) -> tuple[Answer, ...]:
    """Return what the samples say of each quantity that was typed, in the order of typing."""
    tracks = list(tracks_of([sample.images for sample in samples]))
    shown = _shown(samples)
    found = {name: explanations_of(each, tracks, rated_speed_rpm) for name, each in shown.items()}
    counts = {name: len(each.values) for name, each in shown.items()}
    image = samples[0].images[0] if samples else {}
    believed = beliefs(found, counts, image)
    return tuple(_answer(shown[name], believed[name], tracks, shown) for name in shown)


def _shown(samples: Sequence[Sample]) -> dict[str, Shown]:
    names = dict.fromkeys(value.quantity.name for sample in samples for value in sample.panel)
    return {
        name: Shown(
            values=tuple(value for sample in samples if (value := sample.shown(name)) is not None),
            places=tuple(place for place, sample in enumerate(samples) if sample.shown(name) is not None),
        )
        for name in names
    }


def _answer(
    shown: Shown, believed: Sequence[Believed], tracks: Sequence[Track], all_shown: Mapping[str, Shown]
) -> Answer:
    name = shown.quantity.name
    groups = _groups(believed)
    if not groups:
        return Answer(
            quantity=name, sureness=Sureness.NONE, chosen=None, share=0.0, twins=(), rivals=(), advice=""
        )
    moved = _has_moved(shown)
    likeliest = max(groups, key=lambda group: group.share)
    alike = [group for group in groups if group.share >= _TWIN * likeliest.share]
    follows = _follower(shown, tracks, groups) if moved else None
    if moved and follows is None:
        chosen = min(alike, key=_fineness)
        twins, rivals = [g for g in alike if g is not chosen], []
    else:
        chosen = likeliest
        twins, rivals = [], [g for g in alike if g is not chosen]
    total = sum(member.share for member in believed)
    share = (
        chosen.inner_share
        * min(1.0, total)
        * (1.0 if not rivals else chosen.share / sum(g.share for g in alike))
    )
    sureness = _sureness(shown, chosen, share, moved, bool(rivals))
    others = tuple(
        m.explanation
        for m in chosen.members
        if not reads_alike(chosen.best, m.explanation) and m.share >= 0.01 * chosen.share
    )
    return Answer(
        quantity=name,
        sureness=sureness,
        chosen=chosen.best,
        share=share,
        twins=tuple(g.best for g in twins),
        rivals=others + tuple(g.best for g in rivals),
        advice="",
    )


def _sureness(shown: Shown, chosen: _Group, share: float, moved: bool, rivals: bool) -> Sureness:
    if share >= _SURE_SHARE and moved and not rivals and len(shown.values) >= _FEWEST_SAMPLES:
        return Sureness.SURE
    return Sureness.LIKELY if share >= _LIKELY_SHARE else Sureness.OPEN


def _fineness(group: _Group) -> tuple[bool, float, float]:
    return bool(group.best.scale.words), group.best.step, -group.share


def _groups(believed: Sequence[Believed]) -> list[_Group]:
    """Gather explanations around the most believed ones: what shares a register with one of them is with it."""
    seeds: list[tuple[set[tuple[Table, int]], list[Believed]]] = []
    for each in believed:
        registers = {(each.explanation.place.table, address) for address in each.explanation.place.words}
        for held, members in seeds:
            if held & registers:
                members.append(each)
                break
        else:
            seeds.append((registers, [each]))
    return [_Group(members=tuple(members)) for _, members in seeds]


def reads_alike(one: Explanation, other: Explanation) -> bool:
    """Return whether two explanations read the same, now and over what the drive may come to show.

    u32 with an upper register of 0 and the u16 below it read the same until 65,535 is passed.
    """
    if one.scale.offset != other.scale.offset or one.place.is_float != other.place.is_float:
        return False
    if len(one.place.words) != len(other.place.words) and _MAY_GROW * one.largest_raw >= 2**16:
        return False
    return all(
        abs(a * one.scale.factor - b * other.scale.factor) <= _SAME * abs(a * one.scale.factor)
        for ours, theirs in zip(one.track.spans, other.track.spans, strict=True)
        for a, b in zip(ours, theirs, strict=True)
    )


def _has_moved(shown: Shown) -> bool:
    values = [value.value for value in shown.values]
    moved = max(values) - min(values)
    step = max(value.step_in_base for value in shown.values)
    return moved >= _MOVED * max(abs(value) for value in values) and moved >= _STEPS_MOVED * step


def _follower(shown: Shown, tracks: Sequence[Track], groups: Sequence[_Group]) -> Track | None:
    """Return a register that goes along with the panel but by no usual scale: then agreement may be chance."""
    known = {
        (member.explanation.place.table, address)
        for group in groups
        for member in group.members
        for address in member.explanation.place.words
    }
    for track in tracks:
        if known.isdisjoint((track.place.table, address) for address in track.place.words):
            if max(high for _, high in track.spans) >= 20 and proportional(shown, track):
                return track
    return None
