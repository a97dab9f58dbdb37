"""The versions of the record's tables: one line of migrations, in the order of their files."""

from __future__ import annotations

from pathlib import Path

from alembic.script import ScriptDirectory

from inspection.record.storage import database


def test_migrations_follow_one_another_in_the_order_of_their_files() -> None:
    # that they make the tables of the program: test_record_files.py
    versions = ScriptDirectory(str(database.MIGRATIONS))
    newest_first = [(Path(one.path).name[:5], one.revision) for one in versions.walk_revisions()]
    files = sorted(path.name[:5] for path in (database.MIGRATIONS / "versions").glob("v*.py"))
    assert newest_first[::-1] == [(name, name.removeprefix("v")) for name in files]
    assert versions.get_heads() == [newest_first[0][1]]
