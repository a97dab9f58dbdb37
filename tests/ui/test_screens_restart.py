"""The database server stopped and restarted while the pages run."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import Engine
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from tests.inspection.conftest import hand, server  # noqa: F401
from tests.ui.conftest import APP, measured_apart_once
from tests.ui.sheet_hands import sent
from tests.ui.test_screens_faults import ASKED, clean, field, kept, press, said
from tests.ui.upload_hands import give
from ui.services.sample import load_sample, sample_folder
from ui.web.page import receive, session
from ui.web.page.receive import LATER

if TYPE_CHECKING:
    from tests.inspection.conftest import Server

SAMPLE = "2026-09-quay-crane-2"
_copies = count(1)
ASLEEP = r"does not answer .*; is it running\? Nothing saved is lost: try again once it is running"


def make_database(hand: Engine, name: str, like: str = "template1") -> str:  # noqa: F811
    """Make a database, the copy of another one, and return its URL."""
    with hand.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {like}")
    return hand.url.set(database=name).render_as_string()


@pytest.fixture(scope="module")
def sampled(
    hand: Engine,  # noqa: F811
    shared: Path,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """Return the photographs of the sample; its record is the database `sampled`, to be copied."""
    folder, store = sample_folder(), tmp_path_factory.mktemp("sampled") / "photographs"
    if folder is None:
        pytest.skip("the sample photographs are not beside the program")
    url = make_database(hand, "sampled")
    with measured_apart_once(shared), open_record(url, photographs=store) as record:
        load_sample(record, folder, by="Reviewer B")
    return store


@pytest.fixture
def pages(
    hand: Engine,  # noqa: F811
    sampled: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[AppTest]:
    store = Path(shutil.copytree(sampled, tmp_path / "photographs"))
    name = f"pages_{next(_copies)}"
    monkeypatch.setenv("ROPE_PHOTO_RECORD", make_database(hand, name, like="sampled"))
    monkeypatch.setenv("ROPE_PHOTO_STORE", str(store))
    monkeypatch.setenv("ROPE_PHOTO_PERSON_FILE", str(tmp_path / "person.json"))
    (tmp_path / "person.json").write_text('{"person": "Reviewer B"}', encoding="utf-8")
    yield AppTest.from_file(str(APP), default_timeout=120)
    forget_record()


def forget_record() -> None:
    """Close the record that the pages have open; the next page opens it anew."""
    session.get_record().close()
    session._open.clear()
    receive.forget_record()


def asleep(at: AppTest) -> bool:
    return re.search(ASLEEP, said(at).replace("\\", "")) is not None


@pytest.mark.fault(
    "the database server restarts while readings are entered on the page",
    "the record's message, once; what was typed is still there afterwards",
)
def test_readings_typed_while_the_database_restarts_are_there_after_it(
    server: Server,  # noqa: F811
    pages: AppTest,
) -> None:
    at = clean(pages.run().switch_page("screens/sheet.py").run())
    before = len(kept().readings)
    server.stop()
    try:
        sent(at, {"5/0": "22,41", "5/90": "22,39"}).run()
        assert asleep(at)
        press(at, "Try again")
        assert asleep(at)
    finally:
        server.start()
    clean(press(at, "Try again"))
    clean(sent(at, {"5/0": "22,41", "5/90": "22,39"}).run())  # the browser says it again
    assert [one.typed for one in kept().readings[before:]] == ["22,41", "22,39"]


@pytest.mark.fault(
    "the database server restarts while a station is reviewed",
    "the record's message, once, on every screen; the reason is still there afterwards",
)
def test_a_reason_typed_while_the_database_restarts_is_there_after_it(
    server: Server,  # noqa: F811
    pages: AppTest,
) -> None:
    at = clean(pages.run().switch_page("screens/review.py").run())
    clean(press(at, "Send back"))
    field(at, "text_input", ASKED).set_value("read station 3 again")
    server.stop()
    try:
        press(at, "Send back")
        assert asleep(at)
        for name in ("sheet", "result", "rope", "cards", "start"):
            at.switch_page(f"screens/{name}.py").run()
            assert asleep(at), name
        at.switch_page("screens/review.py").run()
    finally:
        server.start()
    clean(at.run())
    assert field(at, "text_input", ASKED).value == "read station 3 again"
    clean(press(at, "Send back"))
    assert kept().station_reviews[-1].why == "read station 3 again"


@pytest.mark.fault(
    "the database server restarts while a photograph is uploaded",
    "the record's message; `They are kept in this browser and will be sent again.`",
)
def test_a_photograph_that_comes_while_the_database_restarts_is_sent_again(
    server: Server,  # noqa: F811
    pages: AppTest,
) -> None:
    folder = sample_folder()
    assert folder is not None
    bar = (folder / "bar-16mm.jpg").read_bytes()
    assert give("first.jpg", bar + b"0")[0] == 200
    before = len(kept().photographs)
    server.stop()
    try:
        status, told = give("bar.jpg", bar)
        assert status == LATER
        assert re.search(ASLEEP, told["error"])
    finally:
        server.start()
    assert give("bar.jpg", bar)[0] == 200
    assert len(kept().photographs) == before + 1
    clean(pages.run().switch_page("screens/sheet.py").run())


FORMS = {  # the state that keeps it, and the values of its fields
    "rope": ("Start this inspection", {"Inspection name": "first", "Reviewer": "B. Lind"}),
    "cards": ("Save print check", {"Card set": "spring",
                                   "Length of the bar along the rope": "179,2",
                                   "Length of the bar across the rope": "109,6"}),
    "sheet": ("Save gauge", {"Gauge number": "C-9", "Permissible error": "0,02"}),
}  # fmt: skip


@pytest.mark.fault(
    "the database server restarts while a form is filled in",
    "the record's message, once; what the form holds is still there afterwards",
)
@pytest.mark.parametrize("name", FORMS)
def test_a_half_filled_form_survives_a_restart_of_the_database(
    server: Server,  # noqa: F811
    pages: AppTest,
    name: str,
) -> None:
    at = clean(pages.run().switch_page(f"screens/{name}.py").run())
    if name == "sheet":
        clean(field(at, "selectbox", "Gauge").set_value("another gauge").run())
    keeps, typed = FORMS[name]
    for label, text in typed.items():
        field(at, "text_input", label).set_value(text)
    server.stop()
    try:
        press(at, keeps)
        assert asleep(at)
        for _ in range(2):
            at.run()
            assert asleep(at)
    finally:
        server.start()
    clean(at.run())
    for label, text in typed.items():
        assert field(at, "text_input", label).value == text


def test_pages_that_are_opened_while_the_database_is_down_go_on_once_it_is_up(
    server: Server,  # noqa: F811
    pages: AppTest,
) -> None:
    server.stop()
    try:
        assert asleep(pages.run())
    finally:
        server.start()
    clean(pages.run())
    assert any("1 rope" in one.value for one in (*pages.markdown, *pages.caption))
