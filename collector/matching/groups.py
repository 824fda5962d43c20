"""Explanations gathered by the registers they use: in a group one is right at most, groups may be copies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from collector.matching.belief import Believed
from collector.matching.explain import Explanation
from collector.registers.register_map import Table

WORTH_TELLING: Final = 1e-3
"""What has less than this part of the best one's belief is not worth a word."""
_UNREST_APART: Final = 0.3
"""Registers are not read in one instant: by how much of its unrest a value may differ from its copy's."""
_A_COPY: Final = 20.0
"""How much more is believed of what other registers copy: drives do that often, chance seldom."""
_FINE: Final = 0.005
"""A copy with coarser steps than this [-] would agree with anything near."""
_MOST_COMPARED: Final = 40
_SAME: Final = 1e-6
_MAY_GROW: Final = 5.0
"""A drive may show so many times what was seen: at 60 % of its speed a pump takes a fifth of its power."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Explanations that share registers, the most believed first."""

    members: tuple[Believed, ...]

    @property
    def share(self) -> float:
        """The belief in all of them [0..1]."""
        return sum(member.share for member in self.members)

    @property
    def best(self) -> Explanation:
        """The most believed one; of those that read the same as it, the narrowest.

        What u16 and u32 both read up to far beyond today's value is read as u16: the upper register may be
        another value's, which happens to be 0 today.
        """
        first = self.members[0].explanation
        alike = [each.explanation for each in self.members if reads_alike(first, each.explanation)]
        return min(alike, key=lambda each: len(each.place.words))

    @property
    def inner_share(self) -> float:
        """The belief in the best and in those that read the same, of all of the group's [0..1]."""
        same = sum(each.share for each in self.members if reads_alike(self.best, each.explanation))
        return same / self.share if self.share else 0.0

    @property
    def inner_rivals(self) -> tuple[Explanation, ...]:
        """What else these registers may mean."""
        return tuple(
            each.explanation
            for each in self.members
            if each.share >= WORTH_TELLING * self.share and not reads_alike(self.best, each.explanation)
        )


def grouped(believed: Sequence[Believed]) -> list[Group]:
    """Gather explanations around the most believed ones: what shares a register with one is with it.

    Expects them sorted, the most believed first.
    """
    seeds: list[tuple[set[tuple[Table, int]], list[Believed]]] = []
    for each in _supported(believed):
        registers = {(each.explanation.place.table, address) for address in each.explanation.place.words}
        for held, members in seeds:
            if held & registers:
                members.append(each)
                break
        else:
            seeds.append((registers, [each]))
    return [Group(members=tuple(members)) for _, members in seeds]


def reads_alike(one: Explanation, other: Explanation) -> bool:
    """Return whether two explanations read the same, now and over what the drive may come to show.

    A u32 whose upper register is 0 and the u16 below it read the same until 65,535 is passed.
    """
    if one.scale.offset != other.scale.offset or one.place.is_float != other.place.is_float:
        return False
    same_words = (one.place.words, one.place.word_order) == (other.place.words, other.place.word_order)
    if not same_words and _MAY_GROW * one.track.largest >= 2**16:
        return False
    return all(
        abs(a * one.scale.factor - b * other.scale.factor) <= _SAME * abs(a * one.scale.factor)
        for ours, theirs in zip(one.track.spans, other.track.spans, strict=True)
        for a, b in zip(ours, theirs, strict=True)
    )


def same_value(one: Explanation, other: Explanation, unrest_apart: float = _UNREST_APART) -> bool:
    """Return whether two registers held the same value all along, as closely as their own steps can show.

    What agrees by chance agrees within the panel's steps; a copy agrees within its own, which are finer.
    """
    slack = one.track.half_step * one.scale.factor + other.track.half_step * other.scale.factor
    for sample, (ours, theirs) in enumerate(zip(one.track.spans, other.track.spans, strict=True)):
        unrest = unrest_apart * one.track.unrest(sample) * one.scale.factor
        if unrest_apart and is_mirror(one, other):
            # The other table is read a moment later: it may have gone as far as each goes within a sample.
            unrest += abs(one.scale.factor) * sum(max(span) - min(span) for span in (ours, theirs))
        for a, b in zip(ours, theirs, strict=True):
            apart = a * one.scale.factor + one.scale.offset - b * other.scale.factor - other.scale.offset
            if abs(apart) > 1.01 * slack + unrest:
                return False
    return True


def is_mirror(one: Explanation, other: Explanation) -> bool:
    """Return whether both tables are read at one address, in one way: many drives show both alike."""
    at_home = replace(other.place, table=one.place.table)
    return one.place.table != other.place.table and at_home == one.place and one.scale == other.scale


def _supported(believed: Sequence[Believed]) -> list[Believed]:
    """Return the believed ones, more of it for those that a copy in other registers agrees with exactly."""
    if not believed:
        return []
    front = [each for each in believed if each.share >= WORTH_TELLING * believed[0].share][:_MOST_COMPARED]
    raised = [
        each.share * (_A_COPY if any(_is_copy(each, other) for other in front) else 1) for each in front
    ]
    back_to_sum = sum(each.share for each in front) / (sum(raised) or 1.0)
    supported = [replace(each, share=share * back_to_sum) for each, share in zip(front, raised, strict=True)]
    return sorted(supported, key=lambda each: -each.share) + list(believed[len(front) :])


def _is_copy(one: Believed, other: Believed) -> bool:
    ours, theirs = one.explanation, other.explanation
    apart = ours.place.table != theirs.place.table or not set(ours.place.words) & set(theirs.place.words)
    fine = theirs.step <= _FINE * abs(theirs.track.largest * theirs.scale.factor)
    return apart and fine and same_value(ours, theirs, 0.0)
