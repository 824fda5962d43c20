"""Finding speed, parity and stop bits of a line from its traffic alone.

*Speed.* Heard at 115200 baud, a slower sender's start bit fills the lowest bits of each character, so the
first burst already points to a speed; frames with good checksums decide. *Parity.* Heard with even parity,
good frames of an even line have no bad character, of an odd line only bad ones, and of a line with two stop
bits (8N2) just those with an even number of ones, since the first stop bit stands where parity is looked
for. A line with one stop bit and no parity (8N1) breaks there and is heard with 8N1 alone. So 8N1 and 8N2
are told apart without a clock. A port that does not show bad characters leaves it to the time that
characters take, which tells 8N1 from the rest and no more.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from collector.bus.line_setting import LineSetting, Parity
from collector.listening.character_time import character_bits
from collector.listening.port import ListeningPort, Lump, SettingRefused
from collector.listening.trial import NEARLY_ALL, Trial, speed_ratio

BAUDS: Final = (19_200, 9_600, 38_400, 115_200, 57_600, 14_400)
"""Those looked for, the likely first: the two that every device must have (serial line specification V1.02,
2.5.1, from memory), then the rest by common practice."""
FASTEST: Final = max(BAUDS)
READ_S: Final = 0.025
HINT_BYTES: Final = 80
HINT_BURSTS: Final = 3
TIMED_FRAMES: Final = 40
TIMED_S: Final = 3.0

News = Callable[[str], None]


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
        self.bytes_heard = 0

    def find(self) -> FoundSetting | None:
        """Return the line's setting; ``None`` when none gave frames in time, or nothing came at all."""
        bauds = self._by_likelihood()
        for baud in itertools.cycle(bauds):
            if self._is_over():
                break
            found = self._at(baud)
            if found is not None:
                return found
        return None

    def _is_over(self) -> bool:
        return self._stop.is_set() or self._now_s >= self._until_s

    def _by_likelihood(self) -> list[int]:
        self._news("listening for traffic")
        trial = self._heard(
            LineSetting(FASTEST, "N", 1),
            lambda heard: len(heard.characters) >= HINT_BYTES or heard.bursts >= HINT_BURSTS,
        )
        ratios = tuple(FASTEST // baud for baud in BAUDS)
        likely = FASTEST // speed_ratio(trial, ratios, shows_bad=self._port.shows_parity)
        return sorted(BAUDS, key=lambda baud: baud != likely)

    def _at(self, baud: int) -> FoundSetting | None:
        even = self._tried(baud, "E")
        if even.is_right:
            return self._by_parity(even) if self._port.shows_parity else self._by_time(even)
        return self._without_parity(even)

    def _by_parity(self, even: Trial) -> FoundSetting | None:
        baud = even.setting.baud
        if even.share_of_frames(bad=False) >= NEARLY_ALL:
            return FoundSetting(setting=even.setting)
        if even.parity_bit_is_always_one:
            return FoundSetting(setting=LineSetting(baud, "N", 2))
        odd = self._tried(baud, "O")
        if odd.is_right and odd.share_of_frames(bad=False) >= NEARLY_ALL:
            return FoundSetting(setting=odd.setting)
        return self._without_parity(even)

    def _without_parity(self, even: Trial) -> FoundSetting | None:
        """Hear with 8N1, and tell from what came with even parity whether there is a second stop bit."""
        plain = self._tried(even.setting.baud, "N")
        if not plain.is_right:
            return None
        if not self._port.shows_parity:
            return self._by_time(plain)
        if plain.share_of_frames(bad=False) < NEARLY_ALL:
            return None
        while (has_two := even.may_have_two_stop_bits) is None and not self._is_over():
            even = self._heard(even.setting, lambda trial: trial.may_have_two_stop_bits is not None)
        return FoundSetting(setting=LineSetting(plain.setting.baud, "N", 2) if has_two else plain.setting)

    def _by_time(self, heard: Trial) -> FoundSetting:
        """Tell what can be told on a port that does not show parity."""
        baud = heard.setting.baud
        until_s = self._now_s + TIMED_S
        timed = self._heard(
            heard.setting,
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
        return self._heard(setting, lambda trial: trial.is_right or trial.is_wrong)

    def _heard(self, setting: LineSetting, is_enough: Callable[[Trial], bool]) -> Trial:
        """Hear with a setting until it is enough; a silent line is waited for."""
        trial = Trial(setting)
        try:
            self._port.set(setting)
        except SettingRefused:
            return trial
        for lump in self._lumps():
            trial.take(lump)
            if is_enough(trial):
                break
        return trial

    def _lumps(self) -> Iterator[Lump]:
        while not self._is_over():
            lump = self._port.read(READ_S)
            self._now_s = lump.time_s
            self.bytes_heard += len(lump.data)
            yield lump
