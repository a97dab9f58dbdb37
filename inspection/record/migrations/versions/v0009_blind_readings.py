"""Whether a reading was typed before the photograph's figure was shown.

Nobody knows of older readings.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    op.add_column("readings", sa.Column("blind", sa.Boolean))
