"""The database file as a whole: found, opened, read and written in transactions."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import quote

from sqlalchemy import Connection, Engine
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from collector.store.dialect import WRITES, make_engine, make_reading_engine
from collector.store.errors import DRIVER_ERRORS, StoreError, explain

BUSY_TIMEOUT_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class Database:
    """An opened database: its engine, and its file for messages and copies."""

    engine: Engine
    path: Path

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database throughout.

        Raises
        ------
        StoreError
            With one line, instead of the driver's error.
        """
        try:
            with self.engine.connect() as connection, connection.begin():
                yield connection
        except DRIVER_ERRORS as error:
            raise explain(error, str(self.path)) from error

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose changes are all committed at the end, or none of them.

        Raises
        ------
        StoreError
            With one line, instead of the driver's error.
        """
        try:
            with (
                self.engine.connect().execution_options(**{WRITES: True}) as connection,
                connection.begin(),
            ):
                yield connection
        except DRIVER_ERRORS as error:
            raise explain(error, str(self.path)) from error

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def may_only_read(url: str) -> bool:
    """Return whether there is a database at this address that this user may not write, or not its folder."""
    path = _path_of(url)
    _must_be_usable(path)
    return path.exists() and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))


def open_to_read(url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Database:
    """Open a database of which nothing will be changed, for a user who may only read it.

    While something writes, its log of writes is read too. Where nothing writes there is no such log and none
    can be made: the file is then read as one that does not change, and whoever does so should be short.

    Raises
    ------
    StoreError
        As :func:`open_database`.
    """
    path = _path_of(url)
    _must_be_usable(path)
    has_log = path.with_name(f"{path.name}-wal").exists()
    way = "mode=ro" if has_log else "mode=ro&immutable=1"
    engine = make_reading_engine(f"file:{quote(str(path.resolve()))}?{way}", busy_timeout_s)
    return Database(engine, path)


def open_database(url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Database:
    """Open a database by its address (``sqlite:///FILE``); the file is made if there is none.

    Raises
    ------
    StoreError
        When the address or the file cannot be used; an existing file is never changed by this.
    """
    path = _path_of(url)
    _must_be_usable(path)
    return Database(make_engine(make_url(url), busy_timeout_s), path)


def _path_of(url: str) -> Path:
    try:
        parts = make_url(url)
    except ArgumentError as error:
        raise StoreError(f"{url!r} is no database address; expected sqlite:///FILE") from error
    if parts.get_backend_name() != "sqlite" or parts.database in (None, "", ":memory:"):
        raise StoreError(f"{parts.render_as_string()} cannot be used; expected sqlite:///FILE")
    return Path(str(parts.database))


def _must_be_usable(path: Path) -> None:
    try:
        has_folder, is_folder = path.parent.is_dir(), path.is_dir()
    except PermissionError as error:
        raise StoreError(f"{path} cannot be reached: allow this user to look into its folder") from error
    if not has_folder:
        raise StoreError(f"{path} cannot be made: there is no folder {path.parent}")
    if is_folder:
        raise StoreError(f"{path} is a folder; expected a database file")
    # The file itself is never opened here: closing it would drop every lock that this process holds on it
    # (POSIX advisory locks), another process could then take itself for the last one and delete the log
    # of writes under us. Seen as "malformed" within minutes. SQLite says by itself what is no database.
