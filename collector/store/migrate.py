"""Brings an owner's tables to the newest schema version, wholly or not at all.

Each owner of tables has a folder of alembic revisions, a version table of its own, and the list of its
revisions in order, so that the usual start needs one plain query and not the migration library.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, inspect

from collector.store.database import Database
from collector.store.dialect import fetch
from collector.store.errors import StoreError


@dataclass(frozen=True, slots=True, kw_only=True)
class Schema:
    """An owner's tables through time: ``folder`` holds ``versions/``, ``revisions`` their names in order."""

    folder: Path
    version_table: str
    revisions: tuple[str, ...]


COLLECTOR: Final = Schema(
    folder=Path(__file__).parent / "migrations",
    version_table="collector_version",
    revisions=("0001", "0002", "0003"),
)


def bring_up_to_date(database: Database, schema: Schema) -> None:
    """Bring an owner's tables to the newest version; an older file is copied aside first.

    Raises
    ------
    StoreError
        When the file was made by a newer version of this program, or the migration fails: then the
        file is as it was.
    """
    with database.reading() as connection:
        version = _version(connection, schema)
    if version == schema.revisions[-1]:
        return
    if version is not None:
        _must_be_known(database, schema, version)
        _copy_aside(database, version)
    with database.writing() as connection:
        # Another process may have done it while we waited for our turn.
        if _version(connection, schema) != schema.revisions[-1]:
            _upgrade(connection, schema)


def must_be_up_to_date(database: Database, schema: Schema) -> None:
    """Refuse a file that would first have to be brought to the newest version, by one who may write it.

    Raises
    ------
    StoreError
        With one line.
    """
    with database.reading() as connection:
        version = _version(connection, schema)
    if version is not None:
        _must_be_known(database, schema, version)
    if version != schema.revisions[-1]:
        raise StoreError(
            f"{database.path} is of an older version of this program, and you may only read it: let a user "
            "who may write it run owncurve analyse once"
        )


def _version(connection: Connection, schema: Schema) -> str | None:
    if not inspect(connection).has_table(schema.version_table):
        return None
    rows = fetch(connection, f"SELECT version_num FROM {schema.version_table}")
    return str(rows[0][0]) if rows else None


def _must_be_known(database: Database, schema: Schema, version: str) -> None:
    if version not in schema.revisions:
        raise StoreError(
            f"{database.path} was written by a newer version of this program (schema {version}, "
            f"this one knows up to {schema.revisions[-1]}); install the newer one, the file is left as it is"
        )


def _copy_aside(database: Database, version: str) -> None:
    """Keep the file as it was under a name that says its version; a copy made before is not replaced."""
    copy = database.path.with_name(f"{database.path.name}.before-{version}")
    if copy.exists():
        return
    unfinished = copy.with_name(copy.name + ".part")
    unfinished.unlink(missing_ok=True)
    with closing(sqlite3.connect(database.path)) as source, closing(sqlite3.connect(unfinished)) as target:
        source.backup(target)
    unfinished.rename(copy)


def _upgrade(connection: Connection, schema: Schema) -> None:
    # Imported here: the collector must stay small, and hardly ever migrates.
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(schema.folder))

    def steps(revision: object, _context: object) -> list[object]:
        return list(scripts._upgrade_revs("head", revision))  # type: ignore[arg-type]

    with EnvironmentContext(Config(), scripts, fn=steps) as environment:
        environment.configure(connection=connection, version_table=schema.version_table)
        environment.run_migrations()
