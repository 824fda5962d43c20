"""Buses that wait for the disk share a commit; a change that fails takes none of the others with it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

import pytest
from sqlalchemy import Connection, event

from collector.store import Store
from collector.store.dialect import fetch
from collector.store.writer import GroupWriter


def adding(name: str) -> Callable[[Connection], int]:
    return lambda connection: (
        connection.exec_driver_sql("INSERT INTO pump (name) VALUES (?)", (name,)).rowcount
    )


def names(store: Store) -> list[str]:
    with store.database.reading() as connection:
        return [name for (name,) in fetch(connection, "SELECT name FROM pump ORDER BY name")]


def write_while_busy(store: Store, changes: list[Callable[[Connection], int]]) -> list[Future[int]]:
    """Hand in changes while a first commit is under way, so that all of them wait together."""
    writer = GroupWriter(store.database)
    under_way, go_on = threading.Event(), threading.Event()

    def slow(_connection: Connection) -> int:
        under_way.set()
        go_on.wait(10)
        return 0

    with ThreadPoolExecutor(len(changes) + 1) as threads:
        threads.submit(writer.write, slow)
        under_way.wait(10)
        answers = [threads.submit(writer.write, change) for change in changes]
        while len(writer._waiting) < len(changes):
            pass
        go_on.set()
    return answers


def test_changes_that_wait_together_are_committed_together(store: Store) -> None:
    commits: list[int] = []
    event.listen(store.database.engine, "commit", lambda _connection: commits.append(1))
    answers = write_while_busy(store, [adding(f"P{number}") for number in range(6)])
    assert [answer.result() for answer in answers] == [1] * 6
    assert len(commits) == 2, "one for the slow change, one for the six"


def test_a_change_that_fails_is_told_to_its_own_caller_only(store: Store) -> None:
    def failing(_connection: Connection) -> int:
        raise OverflowError("no such number")

    good, bad, good_too = write_while_busy(store, [adding("P1"), failing, adding("P2")])
    assert (good.result(), good_too.result(), names(store)) == (1, 1, ["P1", "P2"])
    with pytest.raises(OverflowError):
        bad.result()


def test_a_failed_change_leaves_nothing(store: Store) -> None:
    def half(connection: Connection) -> int:
        adding("P1")(connection)
        raise OverflowError

    with pytest.raises(OverflowError):
        GroupWriter(store.database).write(half)
    assert names(store) == []


def test_an_interrupt_leaves_no_thread_waiting_for_an_answer(store: Store) -> None:
    def interrupted(_connection: Connection) -> int:
        raise KeyboardInterrupt

    answers = write_while_busy(store, [adding("P1"), interrupted, adding("P2")])
    assert [type(answer.exception(timeout=10)) for answer in answers] == [KeyboardInterrupt] * 3
    assert names(store) == []
