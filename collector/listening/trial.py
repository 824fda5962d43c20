"""What was heard with one setting of the port, and what it says about the setting."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.decoder import Heard, StreamDecoder
from collector.listening.frames import HeardFrame
from collector.listening.port import Lump

BURST_ENDS_S: Final = 0.02
"""A silence that ends a burst: longer than an adapter's lumps are apart (16 ms, common practice)."""
ENOUGH_FRAMES: Final = 2
"""One might be chance where everything is tried; two are not."""
ENOUGH_BURSTS: Final = 3
"""The first may have been cut by our own tuning in; the others had their chance to be a frame."""
ENOUGH_BYTES: Final = 300
"""The longest frame and what came before it, on a line that is never silent [bytes]."""
ENOUGH_OF_A_KIND: Final = 8
RATHER: Final = 0.75
"""Heard with even parity, a line without a second stop bit has half of its characters bad, of either kind."""
NEARLY_ALL: Final = 0.97
FITTING: Final = 0.95


class Trial:
    """The characters heard with one setting."""

    def __init__(self, setting: LineSetting) -> None:
        self.setting = setting
        self.frames: list[HeardFrame] = []
        self.characters: list[tuple[int, bool]] = []
        """Each byte, and whether it was marked as bad."""
        self.bursts = 0
        self._decoder = StreamDecoder()
        self._last_s: float | None = None
        self._in_burst = False

    def take(self, lump: Lump) -> None:
        """Take what a read of the port gave; nothing, when it waited for longer than a burst's end."""
        if lump.data:
            bad = frozenset(lump.bad)
            self.characters.extend((byte, place in bad) for place, byte in enumerate(lump.data))
            self._note(self._decoder.feed(lump.data, lump.time_s))
            self._last_s, self._in_burst = lump.time_s, True
        elif self._in_burst and self._last_s is not None and lump.time_s - self._last_s >= BURST_ENDS_S:
            self.bursts += 1
            self._in_burst = False
            self._note(self._decoder.silence())

    def _note(self, heard: Sequence[Heard]) -> None:
        self.frames.extend(each for each in heard if isinstance(each, HeardFrame))

    @property
    def is_right(self) -> bool:
        """Whether frames were heard: speed and data bits are right."""
        return len(self.frames) >= ENOUGH_FRAMES

    @property
    def is_wrong(self) -> bool:
        """Whether enough was heard for frames to have shown themselves, had the setting been right."""
        bursts = ENOUGH_BURSTS * (1 + len(self.frames))
        enough = self.bursts >= bursts or len(self.characters) >= ENOUGH_BYTES * (1 + len(self.frames))
        return not self.is_right and enough

    def _in_frames(self) -> Iterator[tuple[int, bool]]:
        for frame in self.frames:
            yield from self.characters[frame.start : frame.end]

    def share_of_frames(self, *, bad: bool = True) -> float:
        """Return the share of the characters within good frames that are marked as bad (or not)."""
        marks = [is_bad for _, is_bad in self._in_frames()]
        return sum(is_bad is bad for is_bad in marks) / len(marks) if marks else 0.0

    @property
    def parity_bit_is_always_one(self) -> bool:
        """Whether, heard with even parity, just the characters with an even number of ones were bad.

        Then what was taken for the parity bit is always 1: it is the first of two stop bits.
        """
        return _likeness_to_two_stop_bits(list(self._in_frames())) >= NEARLY_ALL

    @property
    def may_have_two_stop_bits(self) -> bool | None:
        """The same of all characters, damaged frames too; ``None`` when too few were heard to tell."""
        odd = sum(byte.bit_count() % 2 for byte, _ in self.characters)
        if min(odd, len(self.characters) - odd) < ENOUGH_OF_A_KIND:
            return None
        return _likeness_to_two_stop_bits(self.characters) >= RATHER


def _likeness_to_two_stop_bits(characters: Sequence[tuple[int, bool]]) -> float:
    """Return the smaller of two shares: the bad with an even number of ones, and the good of the rest."""
    even = [is_bad for byte, is_bad in characters if byte.bit_count() % 2 == 0]
    odd = [not is_bad for byte, is_bad in characters if byte.bit_count() % 2]
    return min((sum(kind) / len(kind) for kind in (even, odd) if kind), default=0.0)


def speed_ratio(trial: Trial, ratios: tuple[int, ...], *, shows_bad: bool) -> int:
    """Return how many times slower than the port's speed the sender seems to be: the likeliest of the ratios.

    A sender that is slower by a whole ratio holds its start bit for so many of our bits: our start bit and
    the lowest data bits after it read 0. (Worked out from the character's form; V1.02, 2.5.1, from memory.)
    """
    zeros = list(_low_zeros(trial, shows_bad=shows_bad))
    fitting = [ratio for ratio in sorted(ratios) if zeros and _share(zeros, ratio - 1) >= FITTING]
    return max(fitting, default=1)


def _low_zeros(trial: Trial, *, shows_bad: bool) -> Iterator[int]:
    """Yield how many of the lowest bits of each character are 0, where its beginning can be trusted.

    After a bad character some receivers take a low stop bit for a start bit, whose place then means nothing.
    """
    after_bad = False
    for byte, is_bad in trial.characters:
        if not after_bad:
            zeros = (byte & -byte).bit_length() - 1 if byte else 8
            yield 16 if byte == 0 and (is_bad or not shows_bad) else zeros
        after_bad = is_bad


def _share(zeros: list[int], at_least: int) -> float:
    return sum(count >= at_least for count in zeros) / len(zeros)
