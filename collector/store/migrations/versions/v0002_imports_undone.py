"""What an import brought, so that it can be taken back, and how many readings it completed."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "0002"
down_revision: Final = "0001"


def upgrade() -> None:
    """Add two columns to the log of imports, and the table of changes."""
    op.add_column(
        "import_log", sa.Column("rows_completed", sa.BigInteger, nullable=False, server_default="0")
    )
    op.add_column("import_log", sa.Column("undone_utc_ms", sa.BigInteger))
    op.create_table(
        "import_change",
        sa.Column(
            "import_id",
            sa.Integer,
            sa.ForeignKey("import_log.import_id"),
            primary_key=True,
            autoincrement=False,
        ),
        sa.Column("part", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("packed", sa.LargeBinary, nullable=False),
    )
