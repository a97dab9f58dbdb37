"""Photographs that the JSON export a record was restored from did not hold.

Older records don't say which these are.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table("not_restored", sa.Column("sha256", sa.String(64), primary_key=True))
