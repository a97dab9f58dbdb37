"""A record's tables as an earlier version of the program left them, by undoing later changes."""

from __future__ import annotations

from sqlalchemy import Connection, text

# what each version of the tables added, undone (`inspection/record/migrations/versions`)
UNDONE: dict[str, tuple[str, ...]] = {
    "0005": ("ALTER TABLE findings DROP COLUMN settled_value",),
    "0006": (
        *(f"DROP TABLE {table}" for table in ("flagged", "compared", "examinations")),
        *(f"ALTER TABLE station_reviews DROP COLUMN {name}" for name in ("asks", "view_deg")),
    ),
    "0007": (
        *(f"DROP TABLE {table}" for table in ("conditions", "own_limits", "confirmations")),
        *(f"ALTER TABLE inspections DROP COLUMN {name}" for name in ("remarks", "next_due")),
        "ALTER TABLE examinations DROP COLUMN figures",
        "ALTER TABLE reviews DROP COLUMN closing",
    ),
    "0008": (
        "DROP TABLE tasks",
        *(
            f"ALTER TABLE photographs DROP COLUMN {name}"
            for name in ("asked", "how", "camera_key", "calibration", "waiting")
        ),
    ),
    "0009": ("ALTER TABLE readings DROP COLUMN blind",),
    "0010": ("DROP TABLE not_restored",),
}


def wind_back(connection: Connection, version: str) -> None:
    """Restore the tables to `version`; the wording of states is left unchanged."""
    for later in sorted(UNDONE, reverse=True):
        if later > version:
            for statement in UNDONE[later]:
                connection.execute(text(statement))
    connection.execute(text("UPDATE alembic_version SET version_num = :old"), {"old": version})
