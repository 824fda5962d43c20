"""The finding that work answers, and entries that take a mistaken one back."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add both to the service log; entries of before answer no named finding and stand."""
    op.add_column("service_event", sa.Column("finding_id", sa.Integer))
    op.add_column("service_event", sa.Column("withdraws", sa.Integer))
