"""Decisions about single stations, and results that were withdrawn."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table of decisions; every result that is there stands."""
    op.add_column(
        "results", sa.Column("withdrawn", sa.Boolean, nullable=False, server_default=sa.false())
    )
    op.create_table(
        "station_reviews",
        sa.Column("event", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column(
            "inspection", sa.String(200), sa.ForeignKey("inspections.identity"), nullable=False
        ),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("back", sa.Boolean, nullable=False),
        sa.Column("stands", sa.Boolean, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("why", sa.Text, nullable=False),
    )
    op.create_index("station_reviews_by_station", "station_reviews", ["inspection", "station"])
