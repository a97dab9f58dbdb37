"""A small JPEG beside each photograph, so that pages need not decode the original."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add where the preview is, and how large the photograph is; older ones have neither."""
    op.add_column(
        "photographs", sa.Column("preview", sa.String(64), nullable=False, server_default="")
    )
    for name in ("width_px", "height_px"):
        op.add_column(
            "photographs", sa.Column(name, sa.Integer, nullable=False, server_default="0")
        )
