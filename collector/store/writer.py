"""Many threads, one file: what waits while a commit runs goes into the next commit together."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field

from sqlalchemy import Connection

from collector.store.database import Database

Change = Callable[[Connection], int]
"""Does its statements on a connection within the transaction and returns how many rows were new."""


@dataclass(slots=True)
class GroupWriter:
    """Commits the changes of several threads together; each caller returns once its own is on disk."""

    database: Database
    _waiting: list[tuple[Change, Future[int]]] = field(default_factory=list)
    _waiting_lock: threading.Lock = field(default_factory=threading.Lock)
    _turn: threading.Lock = field(default_factory=threading.Lock)

    def write(self, change: Change) -> int:
        """Commit a change and return what it returned.

        Raises
        ------
        StoreError
            When it could not be committed: then nothing of it is on disk.
        """
        answer: Future[int] = Future()
        with self._waiting_lock:
            self._waiting.append((change, answer))
        with self._turn:
            if not answer.done():
                self._commit_all()
        return answer.result()

    @contextmanager
    def alone(self) -> Iterator[Connection]:
        """Give a connection to one long transaction; the other threads wait for it in line."""
        with self._turn, self.database.writing() as connection:
            yield connection

    def _commit_all(self) -> None:
        with self._waiting_lock:
            group, self._waiting = self._waiting, []
        if len(group) == 1 or not self._commit(group):
            # One bad change must not take the others with it, and its own caller must hear of it.
            for alone in group:
                self._commit_alone(alone)

    def _commit(self, group: list[tuple[Change, Future[int]]]) -> bool:
        try:
            with self.database.writing() as connection:
                counts = [change(connection) for change, _ in group]
        except Exception:
            return False
        except BaseException as error:
            # An interrupt ends this thread, but the others must not wait for an answer for ever.
            for _, answer in group:
                answer.set_exception(error)
            raise
        for (_, answer), count in zip(group, counts, strict=True):
            answer.set_result(count)
        return True

    def _commit_alone(self, alone: tuple[Change, Future[int]]) -> None:
        change, answer = alone
        try:
            with self.database.writing() as connection:
                count = change(connection)
        except BaseException as error:
            answer.set_exception(error)
        else:
            answer.set_result(count)
