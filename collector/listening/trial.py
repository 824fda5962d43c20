"""What was heard with one setting of the port, and what it says about the setting."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.decoder import Heard, StreamDecoder
from collector.listening.frames import HeardFrame
from collector.listening.port import Lump

BURST_ENDS_S: Final = 0.02
"""A silence that ends a burst: longer than an adapter's lumps are apart (16 ms, common practice)."""
ENOUGH_FRAMES: Final = 2
"""One might be chance where everything is tried; two are not."""
ENOUGH_BURSTS: Final = 2
"""The first may have been cut by our own tuning in; the other had its chance to be a frame."""
ENOUGH_BYTES: Final = 300
"""The longest frame and what came before it, on a line that is never silent [bytes]."""
ENOUGH_OF_A_KIND: Final = 4
CLEARLY: Final = 0.75
"""Share of one kind of characters that are bad, or good, where by the setting all are: damage hurts some."""
MANY_IN_FRAMES: Final = 300
"""So many characters must have told, if they ever do."""
GOOD_WITH_TWO_STOP_BITS: Final = 0.9
GOOD_WITH_ONE: Final = 0.5
SURE: Final = math.log(1000)
"""So much likelier one must be than the other."""
FITTING: Final = 0.95

GoodOfKind = tuple[bool, bool]
"""Whether the characters with an even number of ones are good, and whether those with an odd number are."""


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
        """Yield the characters of good frames but the last of each: what follows that is silence."""
        for frame in self.frames:
            yield from self.characters[frame.start : frame.end - 1]

    def pause(self) -> None:
        """Say that the port hears with another setting for a while: no frame goes on after it."""
        self._note(self._decoder.silence())
        self._in_burst = False

    @property
    def is_told(self) -> bool:
        """Whether :attr:`good_kinds` tells, or never will."""
        return self.good_kinds is not None or len(list(self._in_frames())) > MANY_IN_FRAMES

    @property
    def good_kinds(self) -> GoodOfKind | None:
        """Which kinds of characters within good frames are good ones; ``None`` when it cannot be told yet.

        With a bit too much or too few of parity, or of the wrong kind, just one kind of characters is bad.
        """
        even, odd = (_is_clearly(kind) for kind in _good_by_kind(self._in_frames()))
        return None if even is None or odd is None else (even, odd)

    @property
    def has_two_stop_bits(self) -> bool | None:
        """Heard with even parity on a line without: whether a second stop bit stands in parity's place.

        Then all characters with an odd number of ones are good. Without one the next start bit stands where
        the stop bit is looked for, and half of them at best are good. Damaged frames tell too. ``None``
        while neither is a thousand times likelier than the other.
        """
        _, odd = _good_by_kind(self.characters)
        two, one = GOOD_WITH_TWO_STOP_BITS, GOOD_WITH_ONE
        ratio = sum(math.log(two / one if good else (1 - two) / (1 - one)) for good in odd)
        return None if abs(ratio) < SURE else ratio > 0


def _good_by_kind(characters: Iterable[tuple[int, bool]]) -> tuple[list[bool], list[bool]]:
    """Return of each character with an even, and with an odd number of ones, whether it was good."""
    kinds: tuple[list[bool], list[bool]] = ([], [])
    for byte, is_bad in characters:
        kinds[byte.bit_count() % 2].append(not is_bad)
    return kinds


def _is_clearly(good: list[bool]) -> bool | None:
    if len(good) < ENOUGH_OF_A_KIND:
        return None
    share = sum(good) / len(good)
    return True if share >= CLEARLY else False if share <= 1 - CLEARLY else None


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
