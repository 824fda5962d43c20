"""How each bus was used: counts a unit and quarter of an hour."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0003"
down_revision: Final = "0002"
_COUNTS: Final = (
    "requests",
    "answers",
    "refused",
    "no_reply",
    "damaged",
    "echo",
    "no_link",
    "long_answers",
    "long_damaged",
)


def upgrade() -> None:
    """Add the table of counts."""
    op.create_table(
        "line_quarter",
        sa.Column("start_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("bus", sa.String, primary_key=True),
        sa.Column("unit", sa.SmallInteger, primary_key=True, autoincrement=False),
        sa.Column("end_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("watched_s", sa.Double, nullable=False),
        sa.Column("busy_s", sa.Double, nullable=False),
        *(sa.Column(name, sa.Integer, nullable=False) for name in _COUNTS),
        sa.Column("reply_times", sa.String, nullable=False),
        sqlite_with_rowid=False,
    )
