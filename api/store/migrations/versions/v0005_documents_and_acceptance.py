"""A pump's documents, and who accepted its learned curve."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables, empty."""
    op.create_table(
        "document_content",
        sa.Column("sha256", sa.Text, primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "document",
        sa.Column("document_id", sa.Integer, primary_key=True),
        sa.Column("pump", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("size_bytes", sa.BigInteger, nullable=False),
        sa.Column("sha256", sa.Text, sa.ForeignKey("document_content.sha256")),
        sa.Column("added_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("added_by", sa.Text, nullable=False),
        sa.Column("removed_utc_ms", sa.BigInteger),
        sa.Column("removed_by", sa.Text),
    )
    # What was removed has no content: nothing is not equal to nothing, so its rows may be many.
    op.create_index("document_once", "document", ["pump", "sha256"], unique=True)
    op.create_table(
        "baseline_acceptance",
        sa.Column("pump", sa.Text, primary_key=True),
        sa.Column("baseline_from_utc_ms", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("curve_sha256", sa.Text, primary_key=True),
        sa.Column("accepted_utc_ms", sa.BigInteger, nullable=False),
        sa.Column("by_role", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
