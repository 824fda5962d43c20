"""Finding speed, parity and stop bits of a line from its traffic alone.

*Speed.* Heard at 115200 baud, a slower sender's start bit fills the lowest bits of each character, so the
first burst already points to a speed; frames with good checksums decide. *Parity.* Which characters of these
frames are marked as bad tells the rest. Heard with even parity: none on an even line, all on an odd one, and
on a line with two stop bits (8N2) those with an even number of ones, since the first stop bit stands where
parity is looked for. Heard without parity: on an even line those with an even number of ones, on an odd one
the others, since then parity stands where the stop bit is looked for. A line with one stop bit and no parity
(8N1) breaks when heard with parity, and an 8N2 one does not: so the two are told apart without a clock. A
port that does not show bad characters leaves it to the time that characters take, which tells 8N1 from the
rest and no more.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from collector.bus.line_setting import LineSetting, Parity
from collector.listening.character_time import character_bits
from collector.listening.port import ListeningPort, Lump, SettingRefused
from collector.listening.trial import GoodOfKind, Trial, speed_ratio

BAUDS: Final = (19_200, 9_600, 38_400, 115_200, 57_600, 14_400)
"""Those looked for, the likely first: the two that every device must have (serial line specification V1.02,
2.5.1, from memory), then the rest by common practice."""
FASTEST: Final = max(BAUDS)
READ_S: Final = 0.025
HINT_BYTES: Final = 80
HINT_BURSTS: Final = 2
TIMED_FRAMES: Final = 40
TIMED_S: Final = 3.0

News = Callable[[str], None]
Form = tuple[Parity, Literal[1, 2]]
"""Parity and stop bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundSetting:
    """A setting that gave good frames; ``doubt`` says what of it could not be told, empty when all could."""

    setting: LineSetting
    doubt: str = ""


class SettingFinder:
    """Tries settings on a port until one is right, or until a time on the port's clock [s]."""

    def __init__(
        self, port: ListeningPort, until_s: float, stop: threading.Event, news: News = lambda _: None
    ) -> None:
        self._port = port
        self._until_s = until_s
        self._stop = stop
        self._news = news
        self._now_s = float("-inf")
        self._set: LineSetting | None = None
        self.bytes_heard = 0

    def find(self) -> FoundSetting | None:
        """Return the line's setting; ``None`` when none gave frames in time, or nothing came at all."""
        first = self._first_heard()
        found = self._at_once(first) if first.is_right else None
        if found is not None:
            return found
        for baud in self._by_likelihood(first):
            if self._is_over():
                break
            found = self._at(baud)
            if found is not None:
                return found
        return None

    def _is_over(self) -> bool:
        return self._stop.is_set() or self._now_s >= self._until_s

    def _first_heard(self) -> Trial:
        self._news("listening for traffic")
        return self._heard(
            Trial(LineSetting(FASTEST, "N", 1)),
            lambda heard: len(heard.characters) >= HINT_BYTES or heard.bursts >= HINT_BURSTS,
        )

    def _at_once(self, first: Trial) -> FoundSetting | None:
        """Tell by what was heard before anything was tried, when that were frames already."""
        even = Trial(LineSetting(FASTEST, "E", 1))
        # Only a port that is set to a parity shows whether it heeds it.
        return self._by_plain(first, even) if self._is_set(even) and self._port.shows_parity else None

    def _by_likelihood(self, first: Trial) -> Iterator[int]:
        """Yield the speeds without end; the likely one before each of the others, since damage hides it."""
        ratios = tuple(FASTEST // baud for baud in BAUDS)
        likely = FASTEST // speed_ratio(first, ratios, shows_bad=self._port.shows_parity)
        for other in itertools.cycle(baud for baud in BAUDS if baud != likely):
            yield from (likely, other)

    def _at(self, baud: int) -> FoundSetting | None:
        even = self._tried(baud, "E")
        if self._port.shows_parity:
            return self._by_even(even) if even.is_right else self._without_parity(even)
        heard = even if even.is_right else self._tried(baud, "N")
        return self._by_time(heard) if heard.is_right else None

    def _by_even(self, even: Trial) -> FoundSetting | None:
        """Tell by frames heard with even parity."""
        self._heard(even, lambda trial: trial.is_told)
        if even.good_kinds == (False, False):
            return self._by_odd(even)
        return _found(even, {(True, True): ("E", 1), (False, True): ("N", 2)})

    def _by_odd(self, even: Trial) -> FoundSetting | None:
        """Tell an odd line from an 8N1 one, whose next start bits some receivers take for a bad stop bit."""
        odd = self._tried(even.setting.baud, "O")
        if odd.is_right:
            self._heard(odd, lambda trial: trial.is_told)
        found = _found(odd, {(True, True): ("O", 1)})
        return found or self._without_parity(even)

    def _without_parity(self, even: Trial) -> FoundSetting | None:
        plain = self._tried(even.setting.baud, "N")
        return self._by_plain(plain, even) if plain.is_right else None

    def _by_plain(self, plain: Trial, even: Trial) -> FoundSetting | None:
        """Tell by frames heard without parity: a parity bit that is 0 then stands in the stop bit's place."""
        self._heard(plain, lambda trial: trial.is_told)
        if plain.good_kinds == (True, True):
            self._heard(even, lambda trial: trial.has_two_stop_bits is not None)
        forms: dict[GoodOfKind, Form] = {(False, True): ("E", 1), (True, False): ("O", 1)}
        if even.has_two_stop_bits is not None:
            forms[True, True] = ("N", 2 if even.has_two_stop_bits else 1)
        return _found(plain, forms)

    def _by_time(self, heard: Trial) -> FoundSetting:
        """Tell what can be told on a port that does not show parity."""
        baud = heard.setting.baud
        until_s = self._now_s + TIMED_S
        timed = self._heard(
            Trial(heard.setting),
            lambda trial: len(trial.frames) >= TIMED_FRAMES or self._now_s >= until_s,
        )
        bits = character_bits([*heard.frames, *timed.frames], baud)
        if bits == 10:
            return FoundSetting(setting=LineSetting(baud, "N", 1))
        known = (
            "its characters take eleven bits, so it is 8E1, 8O1 or 8N2"
            if bits == 11
            else "nor do the times tell: it is 8E1, 8O1, 8N1 or 8N2"
        )
        return FoundSetting(
            setting=LineSetting(baud, "E", 1),
            doubt=f"this port does not show parity; {known}. It does not matter for listening; before "
            "anything is asked on this line, look the setting up at the master or at a drive",
        )

    def _tried(self, baud: int, parity: Parity) -> Trial:
        setting = LineSetting(baud, parity, 1)
        self._news(f"trying {setting.words}")
        return self._heard(Trial(setting), lambda trial: trial.is_right or trial.is_wrong)

    def _heard(self, trial: Trial, is_enough: Callable[[Trial], bool]) -> Trial:
        """Hear with a trial's setting until it is enough, at once or later; a silent line is waited for."""
        if is_enough(trial):
            return trial
        if not self._is_set(trial):
            return trial
        for lump in self._lumps():
            trial.take(lump)
            if is_enough(trial):
                break
        return trial

    def _is_set(self, trial: Trial) -> bool:
        """Set the port as the trial needs it; return whether it takes that."""
        if trial.setting != self._set:
            trial.pause()
            try:
                self._port.set(trial.setting)
            except SettingRefused:
                return False
            self._set = trial.setting
        return True

    def _lumps(self) -> Iterator[Lump]:
        while not self._is_over():
            lump = self._port.read(READ_S)
            self._now_s = lump.time_s
            self.bytes_heard += len(lump.data)
            yield lump


def _found(trial: Trial, forms: Mapping[GoodOfKind, Form]) -> FoundSetting | None:
    kinds = trial.good_kinds
    if kinds is None or kinds not in forms:
        return None
    return FoundSetting(setting=LineSetting(trial.setting.baud, *forms[kinds]))
