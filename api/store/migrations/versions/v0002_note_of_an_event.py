"""What the person who did the work wrote beside it."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the note; events recorded before have none."""
    op.add_column("service_event", sa.Column("note", sa.Text, nullable=False, server_default=""))
