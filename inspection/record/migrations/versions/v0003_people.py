"""Who entered something in which inspection, beside the events that say it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, and fill it from the events that are there."""
    op.create_table(
        "people",
        sa.Column("person", sa.String(200), nullable=False),
        sa.Column(
            "inspection", sa.String(200), sa.ForeignKey("inspections.identity"), nullable=False
        ),
        sa.PrimaryKeyConstraint("person", "inspection"),
        sqlite_with_rowid=False,
    )
    op.execute(
        "INSERT INTO people (person, inspection) "
        "SELECT DISTINCT who, subject FROM events WHERE about = 'inspection'"
    )
