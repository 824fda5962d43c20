"""A survey in worked-out time: the line, our bus and the survey share one clock that nobody waits for.

A stand-in for the clock and for the open port; the line, the bus and the survey are the real ones. So what is
told of times depends on the line alone, however busy the machine is.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from importlib import import_module

import pytest

from collector.bus.line_setting import LineSetting
from collector.bus.tap import NoTap, Tap
from collector.site import Bus
from collector.survey import Progress, SettingSurvey, SurveyPlan, survey
from simulator.lines import SharedLine, uart
from simulator.lines.adapter import handed_over
from tests.collector.survey.surveyed import QUICK, serial_bus

STEP_S = 0.001
"""How often the open port looks whether something came [s]."""
HAND_OVER_S = 0.0001
"""From a character's last bit to the program: no machine is quicker [s]."""
TIMED = ("collector.bus.rtu", "collector.bus.read_only_bus", "collector.survey.survey",
         "collector.survey.asking", "collector.survey.said")  # fmt: skip


class Clock:
    """Stands for the module ``time``: sleeping is counted, not done."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += max(0.0, seconds)


class Stop(threading.Event):
    """A wish to stop that is waited for by the clock; it may come by itself, at a time."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock

    def wait(self, timeout: float | None = None) -> bool:
        if not self.is_set():
            self._clock.sleep(timeout or 0.0)
        return self.is_set()


class OpenPort:
    """The port at the end of the line, as the bus holds it."""

    def __init__(self, line: SharedLine, bus: Bus, clock: Clock, tap: Tap) -> None:
        setting = bus.line_setting
        self.character_s, self.silence_s = setting.character_s, setting.silence_s
        self._line, self._clock, self._tap = line, clock, tap
        line.advance(clock.now_s)
        line.set_port(uart.LineSetting(bus.baud, bus.parity, bus.stop_bits))

    def send(self, frame: bytes) -> None:
        self._line.advance(self._clock.now_s)
        self._line.say(frame)
        self._tap.sent(frame)

    def receive(self, wait_s: float) -> bytes:
        until_s = self._clock.now_s + wait_s
        while not (data := self._came()) and self._clock.now_s < until_s:
            self._clock.sleep(min(STEP_S, until_s - self._clock.now_s))
        if data:
            self._clock.sleep(HAND_OVER_S)
            self._tap.came(data)
        return data

    def _came(self) -> bytes:
        self._line.advance(self._clock.now_s)
        return handed_over(self._line.heard(), checks=True, marks=False)

    def close(self) -> None:
        pass


class WorkedOut:
    """Surveys lines without waiting."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.clock = Clock()
        self.stop = Stop(self.clock)
        self.news: list[Progress] = []
        self.stops_at = ""
        self.stopped_s = 0.0
        self._patch = monkeypatch
        for module in TIMED:
            # By the module itself: the function ``survey`` stands in the package under its module's name.
            monkeypatch.setattr(import_module(module), "time", self.clock)

    def surveyed(
        self,
        line: SharedLine,
        *,
        units: Iterable[int],
        setting: LineSetting = QUICK,
        timeout_s: float = 0.15,
        is_thorough: bool = False,
        rounds: int = 2,
    ) -> SettingSurvey:
        plan = SurveyPlan(units=tuple(units), timeout_s=timeout_s, is_thorough=is_thorough, rounds=rounds)
        (seen,) = self.surveyed_at(line, [setting], plan)
        return seen

    def surveyed_at(
        self, line: SharedLine, settings: list[LineSetting], plan: SurveyPlan
    ) -> list[SettingSurvey]:
        def opened(bus: Bus, tap: Tap | None = None) -> OpenPort:
            return OpenPort(line, bus, self.clock, tap or NoTap())

        self._patch.setattr("collector.bus.read_only_bus.open_link", opened)
        return list(survey(serial_bus("worked-out"), list(settings), plan, self.stop, self._take))

    def _take(self, progress: Progress) -> None:
        self.news.append(progress)
        if self.stops_at and self.stops_at in progress.words and not self.stop.is_set():
            self.stopped_s = self.clock.now_s
            self.stop.set()
