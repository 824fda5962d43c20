"""The tables that the collector owns, as they are at the newest schema version.

Migrations build them; a test compares the two. Only plain types, so that another engine can follow.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
)

from collector.quantities import QUANTITIES

METADATA: Final = MetaData()

PUMP: Final = Table(
    "pump",
    METADATA,
    Column("pump_id", Integer, primary_key=True),
    Column("name", String, nullable=False, unique=True),
)

# Time leads the key: a scan of all pumps then ends in one page of the file, where a key led by the
# pump would rewrite one page a pump (measured: 157 against 6,502 bytes written a reading).
READING: Final = Table(
    "reading",
    METADATA,
    Column("time_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("pump_id", Integer, ForeignKey("pump.pump_id"), primary_key=True, autoincrement=False),
    *(
        Column(quantity.name, BigInteger if quantity.value_type == "whole" else Double)
        for quantity in QUANTITIES
    ),
    Column("quality", BigInteger, nullable=False),
    Column("source", SmallInteger, nullable=False),
    sqlite_with_rowid=False,
)

POLL_FAILURE: Final = Table(
    "poll_failure",
    METADATA,
    Column("time_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("pump_id", Integer, ForeignKey("pump.pump_id"), primary_key=True, autoincrement=False),
    Column("kind", String, nullable=False),
    Column("sentence", Text, nullable=False),
    sqlite_with_rowid=False,
)

TOUCHED_HOUR: Final = Table(
    "touched_hour",
    METADATA,
    Column("pump_id", Integer, ForeignKey("pump.pump_id"), primary_key=True, autoincrement=False),
    Column("hour_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("mark", BigInteger, nullable=False),
    Column("has_reading", SmallInteger, nullable=False),
    Index("touched_hour_by_mark", "mark"),
    sqlite_with_rowid=False,
)

IMPORT_LOG: Final = Table(
    "import_log",
    METADATA,
    Column("import_id", Integer, primary_key=True, autoincrement=False),
    Column("pump_id", Integer, ForeignKey("pump.pump_id"), nullable=False),
    Column("file_name", Text, nullable=False),
    Column("sha256", String, nullable=False),
    Column("time_utc_ms", BigInteger, nullable=False),
    Column("rows_new", BigInteger, nullable=False),
    Column("rows_duplicate", BigInteger, nullable=False),
    Column("rows_set_aside", BigInteger, nullable=False),
    Column("rows_completed", BigInteger, nullable=False, server_default="0"),
    Column("undone_utc_ms", BigInteger),
)

# A row a batch of a file, not a row a reading: readings stay small and an import can still be taken back.
IMPORT_CHANGE: Final = Table(
    "import_change",
    METADATA,
    Column("import_id", Integer, ForeignKey("import_log.import_id"), primary_key=True, autoincrement=False),
    Column("part", Integer, primary_key=True, autoincrement=False),
    Column("packed", LargeBinary, nullable=False),
)

SET_ASIDE: Final = Table(
    "set_aside",
    METADATA,
    Column("import_id", Integer, ForeignKey("import_log.import_id"), primary_key=True, autoincrement=False),
    Column("line", BigInteger, primary_key=True, autoincrement=False),
    Column("reason", Text, nullable=False),
    Column("text", Text, nullable=False),
)

# Time leads here too: what closes together lies together, and what is too old is one end of the table.
LINE_QUARTER: Final = Table(
    "line_quarter",
    METADATA,
    Column("start_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("bus", String, primary_key=True),
    Column("unit", SmallInteger, primary_key=True, autoincrement=False),
    Column("end_utc_ms", BigInteger, nullable=False),
    Column("watched_s", Double, nullable=False),
    Column("busy_s", Double, nullable=False),
    Column("requests", Integer, nullable=False),
    Column("answers", Integer, nullable=False),
    Column("refused", Integer, nullable=False),
    Column("no_reply", Integer, nullable=False),
    Column("damaged", Integer, nullable=False),
    Column("echo", Integer, nullable=False),
    Column("no_link", Integer, nullable=False),
    Column("long_answers", Integer, nullable=False),
    Column("long_damaged", Integer, nullable=False),
    Column("reply_times", String, nullable=False),
    sqlite_with_rowid=False,
)
