"""The tables this room owns. Nothing outside ``api.store`` writes or reads them."""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

METADATA: Final = MetaData()

HOUR_LAYOUT: Final = Table(
    "hour_layout",
    METADATA,
    Column("layout_id", Integer, primary_key=True),
    Column("columns", Text, nullable=False, unique=True),
)
"""The names of an hour row's numbers, in order, as a JSON list. A new column is a new layout, and old
rows stay readable: sums are kept for ever, longer than the readings they came from."""

HOUR_ROW: Final = Table(
    "hour_row",
    METADATA,
    Column("pump", Text, primary_key=True),
    Column("hour_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("layout_id", Integer, ForeignKey("hour_layout.layout_id"), nullable=False),
    Column("numbers", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)
"""One pump's hour as little-endian doubles: it is only ever read as a whole frame of one pump."""

CURVE: Final = Table(
    "curve",
    METADATA,
    Column("pump", Text, primary_key=True),
    Column("baseline_from_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("learned_utc_ms", BigInteger, nullable=False),
    Column("is_full", Boolean, nullable=False),
    Column("document", Text, nullable=False),
    sqlite_with_rowid=False,
)
"""A full baseline is never overwritten: a recorded event starts the next one, beside it."""

FINDING: Final = Table(
    "finding",
    METADATA,
    Column("finding_id", Integer, primary_key=True),
    Column("pump", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("first_utc_ms", BigInteger, nullable=False),
    Column("last_utc_ms", BigInteger, nullable=False),
    Column("state", Text, nullable=False),
    Column("priority", Text, nullable=False),
    Column("acknowledged_utc_ms", BigInteger),
    Column("acknowledged_by", Text),
    Column("document", Text, nullable=False),
    Index("finding_by_pump", "pump", "kind", "first_utc_ms"),
    Index("finding_by_end", "pump", "last_utc_ms"),
)

FINDING_CHANGE: Final = Table(
    "finding_change",
    METADATA,
    Column("change_id", Integer, primary_key=True),
    Column("finding_id", Integer, ForeignKey("finding.finding_id"), nullable=False),
    Column("at_utc_ms", BigInteger, nullable=False),
    Column("what", Text, nullable=False),
    Column("by_role", Text, nullable=False),
    Column("note", Text, nullable=False),
    Index("finding_change_by_finding", "finding_id", "at_utc_ms"),
)

SERVICE_EVENT: Final = Table(
    "service_event",
    METADATA,
    Column("event_id", Integer, primary_key=True),
    Column("pump", Text, nullable=False),
    Column("time_utc_ms", BigInteger, nullable=False),
    Column("kind", Text, nullable=False),
    Column("new_baseline", Boolean, nullable=False),
    Column("by_role", Text, nullable=False),
    Column("note", Text, nullable=False, server_default=""),
    Column("finding_id", Integer),
    Column("withdraws", Integer),
    Index("service_event_by_pump", "pump", "time_utc_ms"),
)

ANALYSIS_MARK: Final = Table(
    "analysis_mark",
    METADATA,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    sqlite_with_rowid=False,
)
"""How far analysis has come, written in the transaction that holds its results."""

HELD_DAYS: Final = Table(
    "held_days",
    METADATA,
    Column("pump", Text, primary_key=True),
    Column("made_from", Text, nullable=False),
    Column("until_utc_ms", BigInteger, nullable=False),
    Column("numbers", LargeBinary, nullable=False),
)
"""Derived from hour rows: delete it, and the next analysis makes it anew."""

FIELD_CHECK: Final = Table(
    "field_check",
    METADATA,
    Column("check_id", Integer, primary_key=True),
    Column("pump", Text, nullable=False),
    Column("at_utc_ms", BigInteger, nullable=False),
    Column("recorded_utc_ms", BigInteger, nullable=False),
    Column("by_role", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("corrects", Integer, ForeignKey("field_check.check_id")),
    Column("typed", Text, nullable=False),
    Column("computed", Text, nullable=False),
    Index("field_check_by_pump", "pump", "at_utc_ms"),
)
"""What people measured at a pump: truth, never changed. A correction is a row of its own."""

DOCUMENT_CONTENT: Final = Table(
    "document_content",
    METADATA,
    Column("sha256", Text, primary_key=True),
    Column("content", LargeBinary, nullable=False),
)
"""The bytes of a document, once for all pumps that have it."""

DOCUMENT: Final = Table(
    "document",
    METADATA,
    Column("document_id", Integer, primary_key=True),
    Column("pump", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("media_type", Text, nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("sha256", Text, ForeignKey("document_content.sha256")),
    Column("added_utc_ms", BigInteger, nullable=False),
    Column("added_by", Text, nullable=False),
    Column("removed_utc_ms", BigInteger),
    Column("removed_by", Text),
    Index("document_once", "pump", "sha256", unique=True),
)
"""What is kept with a pump. Of one that was removed this line stays, without its title and content."""

BASELINE_ACCEPTANCE: Final = Table(
    "baseline_acceptance",
    METADATA,
    Column("pump", Text, primary_key=True),
    Column("baseline_from_utc_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("curve_sha256", Text, primary_key=True),
    Column("accepted_utc_ms", BigInteger, nullable=False),
    Column("by_role", Text, nullable=False),
    Column("note", Text, nullable=False),
    sqlite_with_rowid=False,
)
"""Which learned curve a person took for right; ``curve_sha256`` is of its document as stored."""
