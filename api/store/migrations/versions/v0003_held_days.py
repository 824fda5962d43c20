"""What is held of earlier days, and findings by when they were last seen."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, empty: the next analysis fills it."""
    op.create_table(
        "held_days",
        sa.Column("pump", sa.Text, primary_key=True),
        sa.Column("made_from", sa.Text, nullable=False),
        sa.Column("until_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("numbers", sa.LargeBinary, nullable=False),
    )
    op.create_index("finding_by_end", "finding", ["pump", "last_utc_ms"])
