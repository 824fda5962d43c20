"""A schema is brought up to date wholly or not at all, and a newer one is left alone."""

from __future__ import annotations

import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from collector.reading import Reading
from collector.store import CannotUndo, Store, StoreError, open_store
from collector.store.database import open_database
from collector.store.migrate import COLLECTOR, Schema, bring_up_to_date
from collector.store.tables import METADATA

NEXT = """
from alembic import op
import sqlalchemy as sa
revision = "next"
down_revision = "{last}"
def upgrade():
    op.add_column("pump", sa.Column("nick_name", sa.String))
    {then}
"""
ROOT = Path(__file__).parents[3]
LAST = COLLECTOR.revisions[-1]


def next_schema(folder: Path, then: str = "pass") -> Schema:
    """Return the collector's schema with one more revision, which does ``then`` after adding a column."""
    shutil.copytree(COLLECTOR.folder, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "next.py").write_text(NEXT.format(then=then, last=LAST), encoding="utf-8")
    return replace(COLLECTOR, folder=folder, revisions=(*COLLECTOR.revisions, "next"))


def migrate(file: Path, schema: Schema) -> None:
    database = open_database(f"sqlite:///{file}")
    try:
        bring_up_to_date(database, schema)
    finally:
        database.close()


def columns(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as connection:
        return [row[1] for row in connection.execute("PRAGMA table_info(pump)")]


def version(file: Path) -> str:
    with closing(sqlite3.connect(file)) as connection:
        return str(connection.execute("SELECT version_num FROM collector_version").fetchone()[0])


@pytest.fixture
def used(store: Store, file: Path) -> Path:
    store.append([Reading(pump="P01", time_utc_ms=1, head_m=6.5)])
    store.close()
    return file


def test_migrations_build_the_tables_that_the_program_uses(store: Store) -> None:
    ours = {*METADATA.tables, COLLECTOR.version_table}
    with store.database.reading() as connection:
        options = {"include_name": lambda name, kind, _parents: kind != "table" or name in ours}
        context = MigrationContext.configure(connection, opts=options)
        differences = [each for each in compare_metadata(context, METADATA) if "version" not in str(each)]
    assert differences == []


def test_readings_are_stored_in_the_order_of_their_key(store: Store) -> None:
    with store.database.reading() as connection:
        statement = "SELECT name FROM sqlite_master WHERE sql LIKE '%WITHOUT ROWID%' ORDER BY name"
        tables = [row[0] for row in connection.exec_driver_sql(statement)]
    assert tables == ["line_quarter", "poll_failure", "reading", "touched_hour"]


def test_the_list_of_revisions_is_that_of_the_folder() -> None:
    found = [script.revision for script in ScriptDirectory(str(COLLECTOR.folder)).walk_revisions()]
    assert tuple(reversed(found)) == COLLECTOR.revisions


def test_a_newer_schema_is_refused_and_left_alone(used: Path) -> None:
    with closing(sqlite3.connect(used)) as connection:
        connection.execute("UPDATE collector_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(StoreError, match="written by a newer version of this program"):
        open_store(f"sqlite:///{used}")
    assert version(used) == "9999"


def test_an_older_file_is_migrated_with_its_readings(used: Path, tmp_path: Path) -> None:
    migrate(used, next_schema(tmp_path / "next"))
    assert ("nick_name" in columns(used), version(used)) == (True, "next")
    with closing(sqlite3.connect(used)) as connection:
        assert connection.execute("SELECT head_m FROM reading").fetchall() == [(6.5,)]


FIRST_IMPORT = (
    "INSERT INTO pump VALUES (1, 'P01')",
    "INSERT INTO reading (time_utc_ms, pump_id, head_m, quality, source) VALUES (1, 1, 6.5, 0, 2)",
    "INSERT INTO import_log VALUES (1, 1, 'old.csv', 'sum', 2, 1, 0, 0)",
)


def test_imports_of_a_first_version_are_kept_and_say_that_they_cannot_be_undone(file: Path) -> None:
    folder = file.parent / "first"
    (folder / "versions").mkdir(parents=True)
    shutil.copy(COLLECTOR.folder / "versions" / "v0001_first_tables.py", folder / "versions")
    migrate(file, replace(COLLECTOR, folder=folder, revisions=("0001",)))
    with closing(sqlite3.connect(file)) as connection:
        for statement in FIRST_IMPORT:
            connection.execute(statement)
        connection.commit()
    with closing(open_store(f"sqlite:///{file}")) as store:
        (record,) = store.imports()
        assert (record.file_name, record.rows_new, record.rows_completed) == ("old.csv", 1, 0)
        with pytest.raises(CannotUndo, match="did not keep what an import brought"):
            store.undo_import(1, 5)
        assert store.rows("P01", 0, 10, ["head_m"]) == [(1, 6.5)]


def test_an_older_file_is_copied_aside_before(used: Path, tmp_path: Path) -> None:
    migrate(used, next_schema(tmp_path / "next"))
    copy = used.with_name(f"site.sqlite.before-{LAST}")
    assert (version(copy), "nick_name" in columns(copy)) == (LAST, False)


def test_a_new_file_needs_no_copy(store: Store, file: Path) -> None:
    assert list(file.parent.glob("*.before-*")) == []


def test_a_migration_that_fails_leaves_the_file_as_it_was(used: Path, tmp_path: Path) -> None:
    schema = next_schema(tmp_path / "next", then='op.execute("SELECT * FROM no_such_table")')
    with pytest.raises(StoreError, match="no_such_table"):
        migrate(used, schema)
    assert ("nick_name" in columns(used), version(used)) == (False, LAST)


KILLED = """
import sys
from dataclasses import replace
from pathlib import Path
from collector.store.database import open_database
from collector.store.migrate import COLLECTOR, bring_up_to_date
schema = replace(COLLECTOR, folder=Path(sys.argv[2]), revisions=(*COLLECTOR.revisions, "next"))
bring_up_to_date(open_database("sqlite:///" + sys.argv[1]), schema)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")
def test_a_migration_that_is_killed_leaves_the_file_as_it_was(used: Path, tmp_path: Path) -> None:
    next_schema(tmp_path / "next", then="import os, signal; os.kill(os.getpid(), signal.SIGKILL)")
    words = [sys.executable, "-c", KILLED, str(used), str(tmp_path / "next")]
    done = subprocess.run(words, cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    assert ("nick_name" in columns(used), version(used)) == (False, LAST)
    open_store(f"sqlite:///{used}").close()


def test_two_processes_may_open_a_new_file_at_once(file: Path) -> None:
    script = (
        "import sys; from collector.store import open_store; open_store('sqlite:///' + sys.argv[1]).close()"
    )
    children = [subprocess.Popen([sys.executable, "-c", script, str(file)], cwd=ROOT) for _ in range(4)]
    assert [child.wait() for child in children] == [0, 0, 0, 0]


def test_the_migration_library_is_not_loaded_for_a_file_that_is_up_to_date(used: Path) -> None:
    script = (
        "import sys; from collector.store import open_store; open_store('sqlite:///' + sys.argv[1]).close();"
        "print('alembic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(used)], cwd=ROOT, capture_output=True, text=True)
    assert done.stdout.strip() == "False"
