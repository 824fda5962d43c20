"""Back-tests made beside the pages: in a process of their own, kept until a pump's day or settings change."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Final

from api.analysis.pump_pass import curve_of, number_of_events, settings_of
from api.analysis.worker_processes import end_with_parent
from api.analytics.backtest import BackTest, back_test
from api.analytics.facts import PumpFacts
from api.answers.believed import believed
from api.answers.source import Source
from api.store.api_store import open_api_store
from collector.store import HOUR_MS

_DAY_MS: Final = 24 * HOUR_MS
MOST_KEPT: Final = 2000
"""Back-tests kept; a site of 200 pumps asked for ten losses."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A back-test of one pump for one loss, as the pump's stored hours and settings stand on a day."""

    pump: str
    loss: float
    day: int
    settings: int
    events: int


@dataclass(frozen=True, slots=True)
class _Task:
    asked: Asked
    facts: PumpFacts


class BackTestDesk:
    """Takes questions, has them worked out in another process, and keeps the answers.

    Nobody waits: a question is answered with what is there, and asking again shows how far it has come.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._done: dict[Asked, BackTest | None] = {}
        self._under_way: set[Asked] = set()
        self._worker: BaseProcess | None = None
        self._answers: Connection | None = None

    def ask(self, source: Source, loss: float, wanted: str) -> dict[str, BackTest | None]:
        """Return the back-tests that are there, by pump; that of the pump that is wanted is begun if missing.

        ``None`` stands for a pump in which wear cannot be seen. Pumps that nobody asked for, or that are not
        done, are left out: each costs seconds to minutes.
        """
        tasks = [_task(source, pump.name, loss) for pump in source.site.pumps]
        with self._lock:
            self._collect()
            missing = [each for each in tasks if each.asked.pump == wanted and each.asked not in self._done]
            if missing and not self._is_at_work():
                self._begin(source.site.database_url, missing)
            return {task.asked.pump: self._done[task.asked] for task in tasks if task.asked in self._done}

    def close(self) -> None:
        """End what is under way."""
        with self._lock:
            if self._worker is not None:
                self._worker.kill()
                self._worker.join()
            self._let_go()

    def _is_at_work(self) -> bool:
        return self._worker is not None and self._worker.is_alive()

    def _begin(self, url: str, tasks: Sequence[_Task]) -> None:
        self._let_go()
        # A fresh process: one forked from a server with threads may hang.
        context = get_context("spawn")
        self._answers, theirs = context.Pipe(duplex=False)
        self._worker = context.Process(target=work, args=(url, tasks, theirs), daemon=True)
        self._worker.start()
        theirs.close()

    def _collect(self) -> None:
        try:
            while self._answers is not None and self._answers.poll():
                asked, test = self._answers.recv()
                self._done[asked] = test
        except (EOFError, OSError):
            self._let_go()
        while len(self._done) > MOST_KEPT:
            self._done.pop(next(iter(self._done)))

    def _let_go(self) -> None:
        if self._answers is not None:
            self._answers.close()
        if self._worker is not None:
            self._worker.join()
            self._worker.close()
        self._answers = self._worker = None


def _task(source: Source, pump: str, loss: float) -> _Task:
    facts = believed(source, source.site.pump(pump))
    last = source.api_store.last_hour(pump) or 0
    asked = Asked(pump, loss, last // _DAY_MS, settings_of(facts), number_of_events(facts))
    return _Task(asked, facts)


def work(url: str, tasks: Sequence[_Task], answers: Connection) -> None:
    """Work the tasks out one after another, each answer sent as soon as it is there."""
    end_with_parent()
    api_store = open_api_store(url)
    try:
        for task in tasks:
            hours = api_store.hours(task.facts.pump)
            curve = curve_of(api_store, task.facts)
            answers.send((task.asked, back_test(hours, curve, task.facts, task.asked.loss)))
    finally:
        api_store.close()
        answers.close()
