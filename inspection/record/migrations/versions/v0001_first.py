"""The first version: events, head, drafts, and the tables of state."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def _name(column: str, length: int = 200) -> sa.Column[str]:
    return sa.Column(column, sa.String(length), nullable=False)


def _text(column: str) -> sa.Column[str]:
    return sa.Column(column, sa.Text, nullable=False)


def _count(column: str) -> sa.Column[int]:
    return sa.Column(column, sa.Integer, nullable=False)


def _number(column: str) -> sa.Column[float]:
    return sa.Column(column, sa.Double, nullable=False)


def _yes(column: str) -> sa.Column[bool]:
    return sa.Column(column, sa.Boolean, nullable=False)


def _key(column: str) -> sa.Column[int]:
    return sa.Column(column, sa.Integer, primary_key=True, autoincrement=False)


def _inspection() -> sa.Column[str]:
    return sa.Column(
        "inspection", sa.String(200), sa.ForeignKey("inspections.identity"), nullable=False
    )


def upgrade() -> None:
    """Make the tables of an empty record."""
    _make_events()
    for table in ("ropes", "gauges", "print_checks"):
        identity = sa.Column("identity", sa.String(200), primary_key=True)
        op.create_table(table, identity, _count("revision"), _text("data"))
    _make_inspections()
    _make_entries()
    _make_judgements()
    op.execute(f"INSERT INTO head (id, sequence, hash) VALUES (1, 0, '{'0' * 64}')")
    for statement in _GUARDS[op.get_bind().dialect.name]:
        op.execute(statement)


def _make_events() -> None:
    op.create_table(
        "events",
        _key("sequence"),
        _name("at", 32),
        _name("who"),
        _name("about", 40),
        _name("subject"),
        _name("kind", 40),
        sa.Column("old", sa.Text),
        sa.Column("new", sa.Text),
        _text("why"),
        _name("previous", 64),
        _name("hash", 64),
    )
    op.create_index("events_by_subject", "events", ["about", "subject", "sequence"])
    op.create_table("head", _key("id"), _count("sequence"), _name("hash", 64))
    op.create_table(
        "drafts",
        _name("person"),
        _name("inspection"),
        _name("kind", 40),
        _count("revision"),
        _name("saved_at", 32),
        _text("data"),
        sa.PrimaryKeyConstraint("person", "inspection", "kind"),
    )


def _make_inspections() -> None:
    op.create_table(
        "inspections",
        sa.Column("identity", sa.String(200), primary_key=True),
        sa.Column("rope", sa.String(200), sa.ForeignKey("ropes.identity"), nullable=False),
        _name("held_on", 10),
        _text("place"),
        _text("inspector"),
        _text("reviewer"),
        _text("supervisor"),
        _text("tension"),
        _count("revision"),
        _name("changed_at", 32),
        _name("state", 20),
        _count("readings"),
        _count("results"),
        _count("open_findings"),
        _number("rank"),
        _text("headline"),
    )
    op.create_index("inspections_by_rope", "inspections", ["rope", "held_on"])
    op.create_index("inspections_ranked", "inspections", [sa.text("rank DESC"), "identity"])
    op.create_table(
        "stations",
        _inspection(),
        _count("number"),
        _number("position_m"),
        _text("note"),
        sa.PrimaryKeyConstraint("inspection", "number"),
        sqlite_with_rowid=False,
    )


def _make_entries() -> None:
    gauge = sa.Column("gauge", sa.String(200), sa.ForeignKey("gauges.identity"), nullable=False)
    op.create_table(
        "readings",
        _inspection(),
        _count("number"),
        _count("station"),
        _count("view_deg"),
        _text("typed"),
        _number("value_mm"),
        gauge,
        _text("person"),
        sa.Column("at", sa.String(40)),
        _yes("withdrawn"),
        _text("corrected_by"),
        _count("event"),
        sa.PrimaryKeyConstraint("inspection", "number"),
        sqlite_with_rowid=False,
    )
    op.create_index("readings_by_gauge", "readings", ["gauge"])
    op.create_index("readings_by_person", "readings", ["person"])
    op.create_table(
        "results",
        _inspection(),
        _count("number"),
        sa.Column("station", sa.Integer),
        sa.Column("view_deg", sa.Integer),
        _number("at_mm"),
        _name("photo", 64),
        sa.Column("diameter_mm", sa.Double),
        sa.Column("u_mm", sa.Double),
        _text("data"),
        _count("event"),
        sa.PrimaryKeyConstraint("inspection", "number"),
    )
    op.create_index("results_by_photo", "results", ["photo"])
    op.create_table(
        "photographs",
        _inspection(),
        _name("sha256", 64),
        _text("name"),
        _count("bytes"),
        _count("event"),
        sa.PrimaryKeyConstraint("inspection", "sha256"),
    )
    op.create_index("photographs_by_hash", "photographs", ["sha256"])


def _make_judgements() -> None:
    op.create_table(
        "findings",
        _inspection(),
        _name("key", 12),
        _count("position"),
        _text("code"),
        _text("data"),
        _yes("current"),
        _text("settled_by"),
        _name("settled_at", 32),
        _text("settled_how"),
        _count("event"),
        sa.PrimaryKeyConstraint("inspection", "key"),
    )
    op.create_table(
        "reviews",
        _key("event"),
        _inspection(),
        _name("state", 20),
        _text("who"),
        _name("at", 32),
        _text("why"),
    )
    op.create_index("reviews_by_inspection", "reviews", ["inspection", "event"])


# What refuses a change or a deletion of an event, in each database's own words.
_GUARDS = {
    "sqlite": (
        "CREATE TRIGGER events_never_change BEFORE UPDATE ON events "
        "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END",
        "CREATE TRIGGER events_never_go BEFORE DELETE ON events "
        "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END",
    ),
    "postgresql": (
        "CREATE FUNCTION events_are_kept() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'events are only ever added'; END $$",
        "CREATE TRIGGER events_never_change BEFORE UPDATE OR DELETE ON events "
        "FOR EACH ROW EXECUTE FUNCTION events_are_kept()",
        "CREATE TRIGGER events_never_go BEFORE TRUNCATE ON events "
        "FOR EACH STATEMENT EXECUTE FUNCTION events_are_kept()",
    ),
}
