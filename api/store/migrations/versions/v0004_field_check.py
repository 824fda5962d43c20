"""Field checks: what a person read at the pump, as typed and as worked out then."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "field_check",
        sa.Column("check_id", sa.Integer, primary_key=True),
        sa.Column("pump", sa.Text, nullable=False),
        sa.Column("at_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("recorded_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("by_role", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("corrects", sa.Integer, sa.ForeignKey("field_check.check_id")),
        sa.Column("typed", sa.Text, nullable=False),
        sa.Column("computed", sa.Text, nullable=False),
    )
    op.create_index("field_check_by_pump", "field_check", ["pump", "at_utc_ms"])
