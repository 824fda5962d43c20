"""What differs between database engines: markers, connection settings, the start of a transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, Engine, Table, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.pool import NullPool

WRITES: Final = "owncurve_writes"
"""Execution option of a connection that will write."""


def make_engine(url: URL, busy_timeout_s: float) -> Engine:
    """Return an engine for an SQLite file; connecting, not this, finds what is wrong with the file."""
    engine = create_engine(url)
    milliseconds = round(busy_timeout_s * 1000)

    @event.listens_for(engine, "connect")
    def _settle(connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's own type
        # Without this the driver starts transactions by itself, and only around some statements.
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {milliseconds}")
        connection.execute("PRAGMA journal_mode = WAL")
        # FULL: a reading acknowledged survives a power cut, not only a crash of ours.
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its place at once: a reader that turns writer later can be refused without a wait.
        writes = connection.get_execution_options().get(WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def make_reading_engine(address: str, busy_timeout_s: float) -> Engine:
    """Return an engine that only reads; ``address`` is that of SQLite, ``file:PATH?mode=ro``."""
    engine = create_engine("sqlite://", creator=lambda: _reading(address, busy_timeout_s), poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    return engine


def _reading(address: str, busy_timeout_s: float) -> sqlite3.Connection:
    return sqlite3.connect(address, busy_timeout_s, isolation_level=None, uri=True)


def marks(connection: Connection, count: int) -> str:
    """Return the parameter markers of this engine's driver, separated by commas."""
    one = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    return ", ".join([one] * count)


def joined(connection: Connection, column: str, between: str) -> str:
    """Return what puts the texts of a group one after the other, in any order."""
    name = "GROUP_CONCAT" if connection.dialect.name == "sqlite" else "STRING_AGG"
    return f"{name}({column}, '{between}')"


def insert_or_keep(connection: Connection, table: Table, rows: Sequence[tuple[object, ...]]) -> int:
    """Insert rows in the table's column order, keep what is there already; return the number new."""
    if not rows:
        return 0
    names = ", ".join(column.name for column in table.columns)
    values = marks(connection, len(table.columns))
    statement = f"INSERT INTO {table.name} ({names}) VALUES ({values}) ON CONFLICT DO NOTHING"
    return connection.exec_driver_sql(statement, list(rows)).rowcount


def fetch(connection: Connection, statement: str, *values: object) -> list[tuple[Any, ...]]:
    """Return plain tuples, past the row objects that cost several times the reading itself.

    ``statement`` uses ``?`` for its parameters.
    """
    cursor = connection.connection.cursor()
    try:
        cursor.execute(statement.replace("?", marks(connection, 1)), values)
        return list(cursor.fetchall())
    finally:
        cursor.close()


def wipe_what_is_deleted(connection: Connection) -> None:
    """Let deletions of this connection overwrite the bytes: else they stay until the file needs room."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("PRAGMA secure_delete = ON")


def wipe_log_of_writes(engine: Engine) -> bool:
    """Bring the log of writes into the file and empty it; false while somebody still reads from it.

    What was written and deleted since would else be found in it.
    """
    if engine.dialect.name != "sqlite":
        return True
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        row = cursor.fetchone()
        # Its first number is 1 where somebody was in the way.
        return row is not None and not row[0]
    finally:
        connection.close()
