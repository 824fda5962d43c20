"""A bus that another master polls: its exchanges are heard, and nobody is asked."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from collector.clock import Clock
from collector.listening.ear import LineEar
from collector.listening.exchanges import Event, Exchange
from collector.listening.nothing_heard import why_no_reading
from collector.listening.port import PortTrouble, SettingRefused, open_listening_port
from collector.listening.pump_ear import LITTLE_EARLY
from collector.listening.unit_ear import UnitEar
from collector.poll.line_use import LineUse
from collector.poll.outbox import Outbox
from collector.reading import FailureKind, PollFailure, Reading
from collector.registers import RegisterMap
from collector.site import Bus, Pump

LOOK_S: Final = 0.1
REOPEN_S: Final = 0.5
LONGEST_REOPEN_S: Final = 30.0
MISSED_ROUNDS: Final = 3
"""One missed answer is common on a long line; so many in a row are a failure."""


@dataclass(slots=True)
class _PumpOnLine:
    """A pump, what was heard of it, and when a failure is due (monotonic) [s]."""

    ear: UnitEar
    interval_s: float
    least_gap_s: float
    round_s: float = 0.0
    last_reading_s: float | None = None
    last_news_s: float = 0.0

    @property
    def patience_s(self) -> float:
        return MISSED_ROUNDS * max(self.interval_s, self.round_s)

    def kept(self, readings: Sequence[Reading], now_s: float) -> list[Reading]:
        """Return the readings that are to be kept, and note when one came."""
        if not readings:
            return []
        gap_s = None if self.last_reading_s is None else now_s - self.last_reading_s
        self.last_news_s = now_s
        self.ear.count_anew()
        if gap_s is not None and gap_s < LITTLE_EARLY * self.least_gap_s:
            return []
        self.round_s = gap_s if gap_s is not None and gap_s < self.patience_s else self.round_s
        self.last_reading_s = now_s
        return list(readings)


class BusListener:
    """Hears one bus and hands over a reading of a pump for each round of the other master."""

    def __init__(
        self,
        bus: Bus,
        pumps: Sequence[tuple[Pump, RegisterMap]],
        outbox: Outbox,
        clock: Clock,
        stop: threading.Event,
    ) -> None:
        self._bus = bus
        self._setting = bus.line_setting
        self._outbox = outbox
        self._clock = clock
        self._stop = stop
        self._units_asked: set[int] = set()
        self._bytes_heard = 0
        self._use = LineUse(bus, clock)
        now_s = time.monotonic()
        self._pumps = [self._pump(pump, register_map, now_s) for pump, register_map in pumps]

    def _pump(self, pump: Pump, register_map: RegisterMap, now_s: float) -> _PumpOnLine:
        interval_s = self._clock.real_seconds(pump.interval_s or self._bus.interval_s)
        # Each round of the other master is kept, unless the site file states how often one is wanted.
        is_stated = pump.interval_s is not None or "interval_s" in self._bus.model_fields_set
        return _PumpOnLine(
            ear=UnitEar(pump.name, pump.unit_id or 0, register_map, self._bus.late_reply_s, self._utc_ms),
            interval_s=interval_s,
            least_gap_s=interval_s if is_stated else 0.0,
            last_news_s=now_s,
        )

    def run(self) -> None:
        """Hear until stop is set; a port that is away is waited for, longer each time."""
        try:
            self._hear_until_stop()
        finally:
            self._hand_over(list(self._unfinished()), [])
            self._outbox.count(self._use.last())

    def _hear_until_stop(self) -> None:
        wait_s = REOPEN_S
        while not self._stop.is_set():
            try:
                self._hear_until_lost()
            except PortTrouble as trouble:
                opened = self._bytes_heard > 0
                wait_s = REOPEN_S if opened else min(2 * wait_s, LONGEST_REOPEN_S)
                self._bytes_heard = 0
                self._no_link(str(trouble))
                self._stop.wait(wait_s)

    def _hear_until_lost(self) -> None:
        port = open_listening_port(self._bus.place)
        try:
            ear = LineEar(port, self._setting)
            while not self._stop.is_set():
                events = ear.hear(LOOK_S)
                self._bytes_heard = ear.bytes_heard
                self._hand_over(list(self._readings(events, ear.now_s)), list(self._overdue(ear)))
        except SettingRefused as error:
            raise PortTrouble(str(error)) from error
        finally:
            port.close()

    def _hand_over(self, readings: list[Reading], failures: list[PollFailure]) -> None:
        self._outbox.count(self._use.closed())
        if readings or failures:
            self._outbox.put(readings, failures)

    def _readings(self, events: Sequence[Event], now_s: float) -> Iterator[Reading]:
        for event in events:
            if isinstance(event, Exchange):
                self._units_asked.add(event.request.unit)
                self._use.heard(event)
            for pump in self._pumps:
                yield from pump.kept(pump.ear.take(event), now_s)
        for pump in self._pumps:
            yield from pump.kept(pump.ear.wait(now_s), now_s)

    def _unfinished(self) -> Iterator[Reading]:
        for pump in self._pumps:
            yield from pump.kept(pump.ear.finish(), time.monotonic())

    def _utc_ms(self, time_s: float) -> int:
        """Return the instant of a time of the port's clock, which is the monotonic one."""
        age_ms = (time.monotonic() - time_s) * 1000 * self._clock.speed_up
        return self._clock.now_utc_ms() - round(age_ms)

    def _overdue(self, ear: LineEar) -> Iterator[PollFailure]:
        for pump in self._pumps:
            if ear.now_s - pump.last_news_s < pump.patience_s:
                continue
            yield self._failure(pump, ear)
            pump.last_news_s = ear.now_s
            pump.ear.count_anew()

    def _failure(self, pump: _PumpOnLine, ear: LineEar) -> PollFailure:
        listened_s = ear.now_s - (ear.begun_s or 0.0)
        kind, sentence = why_no_reading(
            f"unit {pump.ear.unit} on {self._bus.place}",
            pump.ear.heard,
            self._units_asked,
            is_silent=ear.silent_s >= min(pump.patience_s, listened_s),
            setting=self._setting,
        )
        return PollFailure(
            pump=pump.ear.pump, time_utc_ms=self._clock.now_utc_ms(), kind=kind, sentence=sentence
        )

    def _no_link(self, sentence: str) -> None:
        time_utc_ms = self._clock.now_utc_ms()
        failures = [
            PollFailure(
                pump=pump.ear.pump, time_utc_ms=time_utc_ms, kind=FailureKind.NO_LINK, sentence=sentence
            )
            for pump in self._pumps
        ]
        self._outbox.count(self._use.closed())
        self._outbox.put(list(self._unfinished()), failures)
        for pump in self._pumps:
            self._use.away(pump.ear.unit)
            pump.last_news_s = time.monotonic()
