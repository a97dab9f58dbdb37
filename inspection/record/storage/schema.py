"""The record's tables: the events, which are the record, and what follows from them.

`events` and `head` are the record. The tables after them hold the current state for fast
queries; `record.changes.projection` fills them from the events and from nothing else, so they
can be rebuilt and compared. Times and dates are ISO 8601 text and results are JSON text, so that
every database stores the same characters.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    false,
)

metadata = MetaData()

events = Table(
    "events",
    metadata,
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("who", String(200), nullable=False),
    Column("about", String(40), nullable=False),
    Column("subject", String(200), nullable=False),
    Column("kind", String(40), nullable=False),
    Column("old", Text),
    Column("new", Text),
    Column("why", Text, nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
    Index("events_by_subject", "about", "subject", "sequence"),
)

head = Table(
    "head",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("sequence", Integer, nullable=False),
    Column("hash", String(64), nullable=False),
)

drafts = Table(
    "drafts",
    metadata,
    Column("person", String(200), nullable=False),
    Column("inspection", String(200), nullable=False),
    Column("kind", String(40), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("saved_at", String(32), nullable=False),
    Column("data", Text, nullable=False),
    PrimaryKeyConstraint("person", "inspection", "kind"),
)

ropes = Table(
    "ropes",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("data", Text, nullable=False),
)

gauges = Table(
    "gauges",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("data", Text, nullable=False),
)

print_checks = Table(
    "print_checks",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("data", Text, nullable=False),
)

inspections = Table(
    "inspections",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("rope", String(200), ForeignKey("ropes.identity"), nullable=False),
    Column("held_on", String(10), nullable=False),
    Column("place", Text, nullable=False),
    Column("inspector", Text, nullable=False),
    Column("reviewer", Text, nullable=False),
    Column("supervisor", Text, nullable=False),
    Column("tension", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("changed_at", String(32), nullable=False),
    Column("state", String(20), nullable=False),
    # summary of readings and screening, so that the ranked list is one index scan
    Column("readings", Integer, nullable=False),
    Column("results", Integer, nullable=False),
    Column("open_findings", Integer, nullable=False),
    Column("rank", Double, nullable=False),
    Column("headline", Text, nullable=False),
    Column("remarks", Text, nullable=False, server_default=""),
    Column("next_due", String(10)),
    Index("inspections_by_rope", "rope", "held_on"),
)
Index("inspections_ranked", inspections.c.rank.desc(), inspections.c.identity)

# Stored in key order (WITHOUT ROWID in SQLite): one inspection's rows are together, so opening it
# does not slow down as the record grows.
stations = Table(
    "stations",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("position_m", Double, nullable=False),
    Column("note", Text, nullable=False),
    PrimaryKeyConstraint("inspection", "number"),
    sqlite_with_rowid=False,
)

readings = Table(
    "readings",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("station", Integer, nullable=False),
    Column("view_deg", Integer, nullable=False),
    Column("typed", Text, nullable=False),
    Column("value_mm", Double, nullable=False),
    Column("gauge", String(200), ForeignKey("gauges.identity"), nullable=False),
    Column("person", Text, nullable=False),
    Column("at", String(40)),
    Column("blind", Boolean),
    Column("withdrawn", Boolean, nullable=False),
    Column("corrected_by", Text, nullable=False),
    Column("event", Integer, nullable=False),
    PrimaryKeyConstraint("inspection", "number"),
    Index("readings_by_gauge", "gauge"),
    Index("readings_by_person", "person"),
    sqlite_with_rowid=False,
)

results = Table(
    "results",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("station", Integer),
    Column("view_deg", Integer),
    Column("at_mm", Double, nullable=False),
    Column("photo", String(64), nullable=False),
    Column("diameter_mm", Double),
    Column("u_mm", Double),
    Column("data", Text, nullable=False),
    Column("event", Integer, nullable=False),
    Column("withdrawn", Boolean, nullable=False),
    PrimaryKeyConstraint("inspection", "number"),
    Index("results_by_photo", "photo"),
)

photographs = Table(
    "photographs",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("name", Text, nullable=False),
    Column("bytes", Integer, nullable=False),
    Column("event", Integer, nullable=False),
    # its small JPEG in the same store, and its own size; empty in older records
    Column("preview", String(64), nullable=False, server_default=""),
    Column("width_px", Integer, nullable=False, server_default="0"),
    Column("height_px", Integer, nullable=False, server_default="0"),
    # the event that last requested its measurement, how (JSON), and whether it is still waiting
    Column("asked", Integer, nullable=False, server_default="0"),
    Column("how", Text, nullable=False, server_default=""),
    Column("waiting", Boolean, nullable=False, server_default=false()),
    # camera, size and lens that took it, and the calibration of these that its figures use
    Column("camera_key", Text, nullable=False, server_default=""),
    Column("calibration", Text, nullable=False, server_default=""),
    PrimaryKeyConstraint("inspection", "sha256"),
    Index("photographs_by_hash", "sha256"),
)

# Pending tasks, and who is working on them: not entries, hence not events. A row without a
# photograph is the screening of its inspection.
tasks = Table(
    "tasks",
    metadata,
    Column("inspection", String(200), nullable=False),
    Column("photo", String(64), nullable=False),
    Column("by", String(200), nullable=False),
    Column("position", Integer, nullable=False),
    Column("worker", Text, nullable=False),
    Column("until", Double, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("problem", Text, nullable=False),
    PrimaryKeyConstraint("inspection", "photo"),
)

# Photographs and previews that a JSON export did not bring: not entries, hence not events.
not_restored = Table(
    "not_restored",
    metadata,
    Column("sha256", String(64), primary_key=True),
)

findings = Table(
    "findings",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("key", String(12), nullable=False),
    Column("position", Integer, nullable=False),
    Column("code", Text, nullable=False),
    Column("data", Text, nullable=False),
    Column("current", Boolean, nullable=False),
    Column("settled_by", Text, nullable=False),
    Column("settled_at", String(32), nullable=False),
    Column("settled_how", Text, nullable=False),
    Column("event", Integer, nullable=False),
    Column("settled_value", Double),
    PrimaryKeyConstraint("inspection", "key"),
)

reviews = Table(
    "reviews",
    metadata,
    Column("event", Integer, primary_key=True, autoincrement=False),
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("state", String(20), nullable=False),
    Column("who", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("why", Text, nullable=False),
    Column("closing", Text, nullable=False, server_default=""),  # the decision about the rope, JSON
    Index("reviews_by_inspection", "inspection", "event"),
)

# What was seen at a station besides its diameter: the last entry about each criterion.
conditions = Table(
    "conditions",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("station", Integer, nullable=False),
    Column("criterion", String(40), nullable=False),
    Column("data", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("at", String(32), nullable=False),
    PrimaryKeyConstraint("inspection", "station", "criterion"),
    sqlite_with_rowid=False,
)

# The user's own limits by the set's name, and who compared which published set with a copy.
own_limits = Table(
    "own_limits",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("data", Text, nullable=False),
)

confirmations = Table(
    "confirmations",
    metadata,
    Column("identity", String(200), primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("data", Text, nullable=False),
)

station_reviews = Table(
    "station_reviews",
    metadata,
    Column("event", Integer, primary_key=True, autoincrement=False),
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("station", Integer, nullable=False),
    Column("state", String(20), nullable=False),
    Column("back", Boolean, nullable=False),
    Column("stands", Boolean, nullable=False),
    Column("who", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("why", Text, nullable=False),
    # what is requested again: "reading", "photograph" or nothing, in which direction
    Column("asks", String(20), nullable=False, server_default=""),
    Column("view_deg", Integer),
    Index("station_reviews_by_station", "inspection", "station"),
)

# Results of examining an inspection, calculated from its entries: not part of the record. They are
# deleted when an entry changes, and the inspection is "not examined yet" until examined again.
examinations = Table(
    "examinations",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), primary_key=True),
    Column("at", String(32), nullable=False),
    Column("figures", Text, nullable=False, server_default=""),  # its worst station, JSON
    sqlite_with_rowid=False,
)

compared = Table(
    "compared",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("station", Integer, nullable=False),
    Column("view_deg", Integer, nullable=False),
    Column("photo_mm", Double, nullable=False),
    Column("gauge_mm", Double, nullable=False),
    Column("difference_mm", Double, nullable=False),
    Column("u_mm", Double, nullable=False),
    Column("u_own_mm", Double, nullable=False),
    Column("shared", Text, nullable=False),
    Column("word", String(20), nullable=False),
    Column("gauge", String(200), nullable=False),
    Column("person", String(200), nullable=False),
    Column("print_set", Text, nullable=False),
    Column("camera", Text, nullable=False),
    PrimaryKeyConstraint("inspection", "number"),
    Index("compared_by_gauge", "gauge"),
    Index("compared_by_person", "person"),
    sqlite_with_rowid=False,
)

# The gauge and person of the readings that a finding concerns.
flagged = Table(
    "flagged",
    metadata,
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    Column("key", String(12), nullable=False),
    Column("gauge", String(200), nullable=False),
    Column("person", String(200), nullable=False),
    PrimaryKeyConstraint("inspection", "key", "gauge", "person"),
    sqlite_with_rowid=False,
)

# Who entered something where: a person's own inspections are found without reading events.
people = Table(
    "people",
    metadata,
    Column("person", String(200), nullable=False),
    Column("inspection", String(200), ForeignKey("inspections.identity"), nullable=False),
    PrimaryKeyConstraint("person", "inspection"),
    sqlite_with_rowid=False,
)

# In an order where each table comes after those that it refers to.
STATE = (
    ropes,
    gauges,
    print_checks,
    inspections,
    stations,
    readings,
    results,
    photographs,
    findings,
    reviews,
    station_reviews,
    people,
    conditions,
    own_limits,
    confirmations,
)
