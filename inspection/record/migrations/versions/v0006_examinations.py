"""What examining an inspection yielded, and what a reviewer asks for again.

Nothing is filled in: an inspection that nobody has examined since stands there as such.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def _inspection() -> sa.Column[str]:
    named = sa.ForeignKey("inspections.identity")
    return sa.Column("inspection", sa.String(200), named, nullable=False)


def upgrade() -> None:
    """Add the tables and the columns."""
    op.add_column(
        "station_reviews", sa.Column("asks", sa.String(20), nullable=False, server_default="")
    )
    op.add_column("station_reviews", sa.Column("view_deg", sa.Integer))
    op.create_table(
        "examinations",
        _inspection(),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("inspection"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "compared",
        _inspection(),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("view_deg", sa.Integer, nullable=False),
        sa.Column("photo_mm", sa.Double, nullable=False),
        sa.Column("gauge_mm", sa.Double, nullable=False),
        sa.Column("difference_mm", sa.Double, nullable=False),
        sa.Column("u_mm", sa.Double, nullable=False),
        sa.Column("u_own_mm", sa.Double, nullable=False),
        sa.Column("shared", sa.Text, nullable=False),
        sa.Column("word", sa.String(20), nullable=False),
        sa.Column("gauge", sa.String(200), nullable=False),
        sa.Column("person", sa.String(200), nullable=False),
        sa.Column("print_set", sa.Text, nullable=False),
        sa.Column("camera", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("inspection", "number"),
        sqlite_with_rowid=False,
    )
    op.create_index("compared_by_gauge", "compared", ["gauge"])
    op.create_index("compared_by_person", "compared", ["person"])
    op.create_table(
        "flagged",
        _inspection(),
        sa.Column("key", sa.String(12), nullable=False),
        sa.Column("gauge", sa.String(200), nullable=False),
        sa.Column("person", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("inspection", "key", "gauge", "person"),
        sqlite_with_rowid=False,
    )
