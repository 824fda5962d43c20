"""The first tables: pumps, readings, failures, touched hours, imports."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0001"
down_revision: Final = None

# Written out, not taken from the program: this file must still build the same tables in ten years.
REALS: Final = (
    "speed_rpm",
    "power_w",
    "flow_m3h",
    "head_m",
    "fluid_temperature_c",
    "drive_temperature_c",
    "current_a",
    "energy_kwh",
    "run_time_h",
)


def upgrade() -> None:
    """Make the tables in an empty database."""
    op.create_table(
        "pump",
        sa.Column("pump_id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, nullable=False, unique=True),
    )
    _make_reading()
    op.create_table(
        "poll_failure",
        *_pump_and_time(),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("sentence", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    _make_touched_hour()
    _make_imports()


def _pump_and_time() -> tuple[sa.Column[int], sa.Column[int]]:
    return (
        sa.Column("time_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column(
            "pump_id", sa.Integer, sa.ForeignKey("pump.pump_id"), primary_key=True, autoincrement=False
        ),
    )


def _make_reading() -> None:
    op.create_table(
        "reading",
        *_pump_and_time(),
        *(sa.Column(name, sa.Double) for name in REALS),
        sa.Column("starts", sa.BigInteger),
        sa.Column("speed_command_pct", sa.Double),
        sa.Column("status_word", sa.BigInteger),
        sa.Column("fault_code", sa.BigInteger),
        sa.Column("quality", sa.BigInteger, nullable=False),
        sa.Column("source", sa.SmallInteger, nullable=False),
        sqlite_with_rowid=False,
    )


def _make_touched_hour() -> None:
    op.create_table(
        "touched_hour",
        sa.Column(
            "pump_id", sa.Integer, sa.ForeignKey("pump.pump_id"), primary_key=True, autoincrement=False
        ),
        sa.Column("hour_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("mark", sa.BigInteger, nullable=False),
        sa.Column("has_reading", sa.SmallInteger, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("touched_hour_by_mark", "touched_hour", ["mark"])


def _make_imports() -> None:
    op.create_table(
        "import_log",
        sa.Column("import_id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("pump_id", sa.Integer, sa.ForeignKey("pump.pump_id"), nullable=False),
        sa.Column("file_name", sa.Text, nullable=False),
        sa.Column("sha256", sa.String, nullable=False),
        sa.Column("time_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("rows_new", sa.BigInteger, nullable=False),
        sa.Column("rows_duplicate", sa.BigInteger, nullable=False),
        sa.Column("rows_set_aside", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "set_aside",
        sa.Column(
            "import_id",
            sa.Integer,
            sa.ForeignKey("import_log.import_id"),
            primary_key=True,
            autoincrement=False,
        ),
        sa.Column("line", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
