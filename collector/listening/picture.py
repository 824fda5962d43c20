"""What a line looks like to somebody who only listens: who asks whom for what, how often, and how well."""

from __future__ import annotations

import statistics
from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.decoder import Noise
from collector.listening.exchanges import Broadcast, Event, Exchange, OtherFunction, Outcome, Stray
from collector.listening.frames import READS, WRITES, HeardFrame
from collector.listening.rhythm import TIMES_KEPT, Rhythm
from collector.listening.writes_seen import WriteSeen, WritesSeen
from collector.ranks import nearest_rank

SHORTEST_DAMAGED_FRAME: Final = 4
"""Fewer stray bytes are a driver switching on or off, not a frame that was hurt."""
CROSSINGS: Final = 2
"""Once may be chance."""

ReadSeen = tuple[int, int, int, int, float | None]
"""Function, zero-based address, count, times heard, and the usual time between two of them [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPicture:
    """How one unit is asked and how it answers; ``writes`` are requests that change something in it.

    ``turn_around_p50_s`` and ``_p95_s`` [s]: half and 95 % of its answers begin within them; ``None`` where
    the adapter hands request and answer over together.
    """

    unit: int
    requests: int
    answers: int
    exceptions: int
    no_answers: int
    damaged: int
    writes: int
    reads: tuple[ReadSeen, ...]
    turn_around_p50_s: float | None
    turn_around_p95_s: float | None
    written: tuple[WriteSeen, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePicture:
    """What was heard in ``seconds`` [s]; ``setting`` is ``None`` when none gave a good frame.

    ``doubt`` says what of the setting could not be told. ``masters_seen`` is 0, 1, or 2 for at least two.
    ``line_share`` (0 to 1) is how much of the time somebody spoke. ``strays`` are answers to nothing that was
    heard, ``bad_characters`` those with a wrong parity or stop bit.
    """

    setting: LineSetting | None
    setting_is_sure: bool
    doubt: str = ""
    seconds: float
    bytes_heard: int
    masters_seen: int = 0
    units: tuple[UnitPicture, ...] = ()
    crc_errors: int = 0
    noise_bytes: int = 0
    bad_characters: int = 0
    strays: int = 0
    broadcasts: int = 0
    written_to_all: tuple[WriteSeen, ...] = ()
    """By broadcasts: no drive answers these, and every drive acts on them."""
    other_functions: tuple[tuple[int, int, int], ...] = ()
    """Unit, function code, times: good frames of functions that are not read here."""
    line_share: float = 0.0

    @property
    def has_master(self) -> bool:
        """Whether somebody asks on this line."""
        return self.masters_seen > 0


@dataclass(slots=True)
class _Unit:
    outcomes: Counter[Outcome] = field(default_factory=Counter)
    reads: dict[tuple[int, int, int], Rhythm] = field(default_factory=dict)
    writes: WritesSeen = field(default_factory=WritesSeen)
    turn_arounds_s: deque[float] = field(default_factory=lambda: deque(maxlen=TIMES_KEPT))

    def take(self, exchange: Exchange, character_s: float) -> None:
        request = exchange.request
        self.outcomes[exchange.outcome] += 1
        if request.function in READS:
            self.reads.setdefault(request.read, Rhythm()).note(request.ends_s)
        elif request.function in WRITES:
            self.writes.take(request)
        turn_around_s = exchange.turn_around_s(character_s)
        if turn_around_s is not None:
            self.turn_arounds_s.append(turn_around_s)

    @property
    def usual_turn_around_s(self) -> float | None:
        return statistics.median(self.turn_arounds_s) if self.turn_arounds_s else None

    def picture(self, unit: int) -> UnitPicture:
        reads = tuple((*read, rhythm.times, rhythm.every_s) for read, rhythm in sorted(self.reads.items()))
        written = self.writes.seen
        ordered = sorted(self.turn_arounds_s)
        # Where most answers came in one lump with their request, the rest are no fair sample.
        told = 2 * len(ordered) >= min(self.outcomes[Outcome.ANSWERED], TIMES_KEPT) > 0
        return UnitPicture(
            unit=unit,
            requests=self.outcomes.total(),
            answers=self.outcomes[Outcome.ANSWERED],
            exceptions=self.outcomes[Outcome.EXCEPTION],
            no_answers=self.outcomes[Outcome.NO_ANSWER],
            damaged=self.outcomes[Outcome.DAMAGED],
            writes=sum(write.times for write in written),
            written=written,
            reads=reads,
            turn_around_p50_s=statistics.median(ordered) if told else None,
            turn_around_p95_s=nearest_rank(ordered, 0.95) if told else None,
        )


class PictureTaker:
    """Takes events in order and gives the picture that they make."""

    def __init__(self, setting: LineSetting) -> None:
        self._setting = setting
        self._units: dict[int, _Unit] = {}
        self._to_all = WritesSeen()
        self._others: Counter[tuple[int, int]] = Counter()
        self._counts: Counter[str] = Counter()
        self._unanswered: HeardFrame | None = None

    def take(self, events: Iterable[Event]) -> None:
        """Take what was heard next."""
        for event in events:
            if isinstance(event, Exchange):
                self._exchange(event)
            elif isinstance(event, Stray):
                self._stray(event.frame)
            elif isinstance(event, OtherFunction):
                self._others[event.frame.unit, event.frame.function] += 1
            elif isinstance(event, Broadcast):
                self._counts["broadcasts"] += 1
                self._to_all.take(event.frame)
            elif isinstance(event, Noise):
                self._noise(event)

    def _exchange(self, exchange: Exchange) -> None:
        self._units.setdefault(exchange.request.unit, _Unit()).take(exchange, self._setting.character_s)
        if exchange.answer is None:
            self._unanswered = exchange.request

    def _stray(self, frame: HeardFrame) -> None:
        self._counts["strays"] += 1
        asked, self._unanswered = self._unanswered, None
        if asked is not None and asked.is_answered_by(frame) and self._is_as_quick_as_usual(asked, frame):
            self._counts["crossings"] += 1

    def _is_as_quick_as_usual(self, asked: HeardFrame, frame: HeardFrame) -> bool:
        """Return whether the drive took no longer than it does, so that a second master spoke too early.

        Had the first master given up and gone on, the answer would be later than those that it gets.
        """
        usual_s = self._units[asked.unit].usual_turn_around_s
        if usual_s is None:
            return False
        character_s = self._setting.character_s
        took_s = frame.begins_s - character_s - asked.ends_s
        return took_s <= 2 * usual_s + 16 * character_s

    def _noise(self, noise: Noise) -> None:
        if noise.start == 0:
            return  # We came in the middle of a frame.
        length = noise.end - noise.start
        self._counts["noise_bytes"] += length
        self._counts["crc_errors"] += length >= SHORTEST_DAMAGED_FRAME

    def picture(
        self, *, seconds: float, bytes_heard: int, bad_characters: int = 0, doubt: str = ""
    ) -> LinePicture:
        """Return the picture after so long [s]."""
        asks = bool(self._units or self._counts["broadcasts"])
        busy_s = bytes_heard * self._setting.character_s
        return LinePicture(
            setting=self._setting,
            setting_is_sure=not doubt,
            doubt=doubt,
            seconds=seconds,
            bytes_heard=bytes_heard,
            masters_seen=asks + (asks and self._counts["crossings"] >= CROSSINGS),
            units=tuple(taken.picture(unit) for unit, taken in sorted(self._units.items())),
            crc_errors=self._counts["crc_errors"],
            noise_bytes=self._counts["noise_bytes"],
            bad_characters=bad_characters,
            strays=self._counts["strays"],
            broadcasts=self._counts["broadcasts"],
            written_to_all=self._to_all.seen,
            other_functions=tuple((*key, times) for key, times in sorted(self._others.items())),
            line_share=min(1.0, busy_s / seconds) if seconds > 0 else 0.0,
        )
