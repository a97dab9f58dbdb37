"""Photographs that wait to be measured, and the list of what is to be done.

None of an older record waits: its photographs were measured when they came.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns and the table."""
    none = sa.Column("asked", sa.Integer, nullable=False, server_default="0")
    op.add_column("photographs", none)
    op.add_column("photographs", sa.Column("how", sa.Text, nullable=False, server_default=""))
    for name in ("camera_key", "calibration"):
        op.add_column("photographs", sa.Column(name, sa.Text, nullable=False, server_default=""))
    waits = sa.Column("waiting", sa.Boolean, nullable=False, server_default=sa.false())
    op.add_column("photographs", waits)
    op.create_table(
        "tasks",
        sa.Column("inspection", sa.String(200), nullable=False),
        sa.Column("photo", sa.String(64), nullable=False),
        sa.Column("by", sa.String(200), nullable=False),
        sa.Column("position", sa.Integer, nullable=False),
        sa.Column("worker", sa.Text, nullable=False),
        sa.Column("until", sa.Double, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("problem", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("inspection", "photo"),
    )
