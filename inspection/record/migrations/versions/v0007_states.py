"""States from draft to closed, what was seen beside the diameter, limits confirmed and one's own.

What was "open", "accepted" or "overruled" becomes the state that the events lead to now.
"""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

# An inspection's figures change by these.
CHANGES = {
    "inspection changed", "readings added", "reading corrected", "reading withdrawn",
    "results added", "result replaced", "result withdrawn",
}  # fmt: skip


def upgrade() -> None:
    """Add columns and tables, and bring each inspection's state to its new word."""
    op.add_column("inspections", sa.Column("remarks", sa.Text, nullable=False, server_default=""))
    op.add_column("inspections", sa.Column("next_due", sa.String(10)))
    op.add_column("examinations", sa.Column("figures", sa.Text, nullable=False, server_default=""))
    op.add_column("reviews", sa.Column("closing", sa.Text, nullable=False, server_default=""))
    op.create_table(
        "conditions",
        sa.Column(
            "inspection", sa.String(200), sa.ForeignKey("inspections.identity"), nullable=False
        ),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("criterion", sa.String(40), nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("inspection", "station", "criterion"),
        sqlite_with_rowid=False,
    )
    for name in ("own_limits", "confirmations"):
        op.create_table(
            name,
            sa.Column("identity", sa.String(200), primary_key=True),
            sa.Column("revision", sa.Integer, nullable=False),
            sa.Column("data", sa.Text, nullable=False),
        )
    _rename_states()


def _rename_states() -> None:
    connection = op.get_bind()
    states: dict[str, str] = {}
    told = connection.execute(
        sa.text(
            "SELECT subject, kind, new FROM events WHERE about = 'inspection' ORDER BY sequence"
        )
    )
    for subject, kind, new in told:
        states[subject] = _after(states.get(subject, "draft"), kind, new)
    for subject, state in states.items():
        connection.execute(
            sa.text("UPDATE inspections SET state = :state WHERE identity = :subject"),
            {"state": state, "subject": subject},
        )


def _after(state: str, kind: str, new: Any) -> str:
    if kind in CHANGES:
        return {"reviewed": "submitted", "sent back": "draft"}.get(state, state)
    if kind != "reviewed":
        return state
    decision = json.loads(new)["state"]
    if decision == "overruled":
        return "sent back" if state == "reviewed" else "reviewed"
    return {"accepted": "reviewed", "sent back": "sent back", "open": "draft"}[decision]
