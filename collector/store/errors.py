"""What can go wrong with the database, said in one line that names the file and what to do."""

from __future__ import annotations

import sqlite3
from typing import Final

from sqlalchemy.exc import DBAPIError


class StoreError(Exception):
    """The database cannot be used; the message is one line for a person. Nothing was written."""


class StoreLocked(StoreError):
    """Another process is writing for longer than we wait. Trying again later is right."""


class StoreFull(StoreError):
    """The disk is full. What was committed is kept; writing works again once there is space."""


class CannotUndo(StoreError):
    """An import that cannot be taken back, and why. Nothing was changed."""


DRIVER_ERRORS: Final = (DBAPIError, sqlite3.Error)

_REASONS: Final[tuple[tuple[str, type[StoreError], str], ...]] = (
    ("locked", StoreLocked, "is being written by another program; wait for it to finish or stop it"),
    ("busy", StoreLocked, "is being written by another program; wait for it to finish or stop it"),
    ("disk is full", StoreFull, "cannot grow: the disk is full; free some space, nothing stored is lost"),
    (
        "not a database",
        StoreError,
        "is not a database; move it away or name another file, it is left as it is",
    ),
    ("malformed", StoreError, "is damaged; keep this file, and put a backup copy in its place"),
    ("corrupt", StoreError, "is damaged; keep this file, and put a backup copy in its place"),
    ("readonly", StoreError, "cannot be written: allow this user to write the file and its folder"),
    ("unable to open", StoreError, "cannot be opened: allow this user to write the file and its folder"),
    ("disk i/o", StoreError, "could not be read or written: the disk reports an error or a size limit"),
)


def explain(error: Exception, name: str) -> StoreError:
    """Return the error to raise instead of a driver's own, about the database of this name."""
    cause = str(getattr(error, "orig", None) or error)
    for sign, kind, words in _REASONS:
        if sign in cause.lower():
            return kind(f"{name} {words}")
    return StoreError(f"{name} could not be used: {' '.join(cause.split())}")
