"""The first tables: hour rows, curves, findings with their history, service events, marks."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the tables."""
    op.create_table(
        "hour_layout",
        sa.Column("layout_id", sa.Integer, primary_key=True),
        sa.Column("columns", sa.Text, nullable=False, unique=True),
    )
    op.create_table(
        "hour_row",
        sa.Column("pump", sa.Text, primary_key=True),
        sa.Column("hour_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("layout_id", sa.Integer, sa.ForeignKey("hour_layout.layout_id"), nullable=False),
        sa.Column("numbers", sa.LargeBinary, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "curve",
        sa.Column("pump", sa.Text, primary_key=True),
        sa.Column("baseline_from_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("learned_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("is_full", sa.Boolean, nullable=False),
        sa.Column("document", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    _create_findings()
    _create_what_people_and_analysis_note()


def _create_findings() -> None:
    op.create_table(
        "finding",
        sa.Column("finding_id", sa.Integer, primary_key=True),
        sa.Column("pump", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("first_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("last_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("priority", sa.Text, nullable=False),
        sa.Column("acknowledged_utc_ms", sa.BigInteger),
        sa.Column("acknowledged_by", sa.Text),
        sa.Column("document", sa.Text, nullable=False),
    )
    op.create_index("finding_by_pump", "finding", ["pump", "kind", "first_utc_ms"])
    op.create_table(
        "finding_change",
        sa.Column("change_id", sa.Integer, primary_key=True),
        sa.Column("finding_id", sa.Integer, sa.ForeignKey("finding.finding_id"), nullable=False),
        sa.Column("at_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("by_role", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_index("finding_change_by_finding", "finding_change", ["finding_id", "at_utc_ms"])


def _create_what_people_and_analysis_note() -> None:
    op.create_table(
        "service_event",
        sa.Column("event_id", sa.Integer, primary_key=True),
        sa.Column("pump", sa.Text, nullable=False),
        sa.Column("time_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("new_baseline", sa.Boolean, nullable=False),
        sa.Column("by_role", sa.Text, nullable=False),
    )
    op.create_index("service_event_by_pump", "service_event", ["pump", "time_utc_ms"])
    op.create_table(
        "analysis_mark",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
