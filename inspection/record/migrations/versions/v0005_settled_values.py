"""The figure that a finding had when it was settled: the settlement holds while it stays there.

Settlements that were made before keep their finding under its old key; their figure is read
from the events.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column, and fill it from the events that are there."""
    op.add_column("findings", sa.Column("settled_value", sa.Double))
    connection = op.get_bind()
    told = connection.execute(
        sa.text(
            "SELECT subject, kind, new FROM events "
            "WHERE kind IN ('findings set', 'finding settled') ORDER BY sequence"
        )
    )
    values: dict[tuple[str, str], Any] = {}
    settled: dict[tuple[str, str], Any] = {}
    for subject, kind, new in told:
        said = json.loads(new)
        if kind == "findings set":
            values |= {(subject, _key(one)): one.get("value") for one in said["findings"]}
        else:
            settled[subject, said["key"]] = values.get((subject, said["key"]))
    for (subject, key), value in settled.items():
        connection.execute(
            sa.text(
                "UPDATE findings SET settled_value = :value "
                "WHERE inspection = :subject AND key = :key"
            ),
            {"value": value, "subject": subject, "key": key},
        )


def _key(finding: dict[str, Any]) -> str:
    """Return the key that findings had until then: a hash of the sentence."""
    told = [finding["code"], list(finding["where"]), finding["seen"]]
    text = json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]
