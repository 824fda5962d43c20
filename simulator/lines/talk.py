"""What is said on a line, and what one receiver on it hears of it, at any settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Final

from simulator.lines.uart import Character, LineSetting, Wave, joined, receive, wave_of

_KEPT_CHARACTERS: Final = 20
"""How long a talk is remembered after its end, in characters: then no receiver still waits for its bits."""


@dataclass(eq=False, slots=True, kw_only=True)
class Talk:
    """One go at talking: who, when [s], which bytes, and what befell them on the line."""

    talker: str
    begins_s: float
    data: bytes
    setting: LineSetting
    flipped: frozenset[int] = frozenset()
    """Bits that were hurt, counted from the talk's first start bit."""
    is_inverted: bool = False
    """Said over swapped wires."""
    is_collided: bool = False
    is_run_together: bool = False
    """Less than 3.5 characters of silence lay between it and what somebody else said."""
    answers: Talk | None = None
    """The request that this answers."""
    _wave: Wave | None = field(default=None, init=False, repr=False)

    @property
    def ends_s(self) -> float:
        """Return when its last stop bit is over [s]."""
        return self.begins_s + len(self.data) * self.setting.character_s

    @property
    def is_whole(self) -> bool:
        """Return whether it went over the line as it was meant."""
        return not (self.flipped or self.is_collided or self.is_inverted)

    def wave(self) -> Wave:
        """Return the level that its driver puts on the line; at 1 before and after."""
        if self._wave is None:
            self._wave = wave_of(self.data, self.setting, self.begins_s, self.flipped, self.is_inverted)
        return self._wave

    def forget_wave(self) -> None:
        """Give the memory back; the wave is worked out anew when it is asked for."""
        self._wave = None

    def overlaps(self, other: Talk) -> bool:
        """Return whether both talked at one time."""
        return self.begins_s < other.ends_s and other.begins_s < self.ends_s


class Receiver:
    """One listener on a line: it takes in what was said, each bit once.

    >>> said = Talk(talker="a master", begins_s=1.0, data=b"hi", setting=LineSetting(baud=9600))
    >>> receiver = Receiver(LineSetting(baud=9600))
    >>> bytes(character.byte for character in receiver.take([said], 2.0))
    b'hi'
    """

    def __init__(
        self, setting: LineSetting, is_inverted: bool = False, starts_at_low_stop: bool = False
    ) -> None:
        self.setting = setting
        self._is_inverted = is_inverted
        self._starts_at_low_stop = starts_at_low_stop
        self._resumes_s = 0.0

    def set_up(self, setting: LineSetting, now_s: float) -> None:
        """Begin anew with other settings; what was under way is lost."""
        self.setting = setting
        self._resumes_s = max(now_s, self._resumes_s)

    def take(self, talks: Sequence[Talk], until_s: float) -> list[Character]:
        """Return the characters that came up to a time; ``talks`` by their beginning, none forgotten yet."""
        came: list[Character] = []
        talks = [talk for talk in talks if self._resumes_s < talk.ends_s and talk.begins_s < until_s]
        for group in _apart(talks):
            came += self._plain(group[0], until_s) if self._is_plain(group) else self._bitwise(talks, until_s)
        return came

    def _is_plain(self, group: Sequence[Talk]) -> bool:
        """Return whether bytes can be taken as they are, since no bit of them can be misread."""
        first = group[0]
        plain = first.is_whole and first.setting == self.setting and not self._is_inverted
        return len(group) == 1 and plain and (self._resumes_s <= first.begins_s or self._is_in_stop(first))

    def _is_in_stop(self, talk: Talk) -> bool:
        """Return whether this receiver last stopped within a stop bit of this talk."""
        characters = (self._resumes_s - talk.begins_s) / self.setting.character_s
        return characters % 1 >= 1 - self.setting.stop_bits / self.setting.character_bits

    def _plain(self, talk: Talk, until_s: float) -> list[Character]:
        character_s = self.setting.character_s
        first = max(0, ceil((self._resumes_s - talk.begins_s) / character_s))
        # A billionth more, lest a character that ends at this very moment be left to the next look.
        last = min(len(talk.data), int((until_s - talk.begins_s) / character_s + 1e-9))
        if last <= first:
            return []
        self._resumes_s = talk.begins_s + (last - 0.5 / self.setting.character_bits) * character_s
        return [
            Character(talk.data[place], talk.begins_s + (place + 1) * character_s)
            for place in range(first, last)
        ]

    def _bitwise(self, talks: Sequence[Talk], until_s: float) -> list[Character]:
        wave = joined([talk.wave() for talk in talks])
        if self._is_inverted:
            wave = wave.inverted()
        heard = receive(wave, self.setting, self._resumes_s, until_s, self._starts_at_low_stop)
        self._resumes_s = heard.resumes_s
        return list(heard.characters)


def _apart(talks: Sequence[Talk]) -> list[list[Talk]]:
    """Return the talks in groups that share no moment with each other."""
    groups: list[list[Talk]] = []
    ends_s = float("-inf")
    for talk in talks:
        if talk.begins_s < ends_s:
            groups[-1].append(talk)
        else:
            groups.append([talk])
        ends_s = max(ends_s, talk.ends_s)
    return groups


def is_forgotten(talk: Talk, now_s: float) -> bool:
    """Return whether no receiver can still wait for a bit of it."""
    slowest_s = max(talk.setting.character_s, 11 / 1200)
    return talk.ends_s + _KEPT_CHARACTERS * slowest_s < now_s
