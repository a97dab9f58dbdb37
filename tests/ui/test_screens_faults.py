"""Pages whose record can't be written or read for a while: one sentence, and no input lost."""

from __future__ import annotations

import hashlib
import os
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.model.rope import Inspection, Rope
from inspection.record.errors import RecordError
from inspection.record.record import open_record
from inspection.record.storage import database
from inspection.record.storage.photo_store import PhotographStore
from inspection.record.views import Manner, OpenInspection
from tests.ui.page_faults import FAULTS, LOCKED
from tests.ui.sheet_hands import sent
from tests.ui.upload_hands import give
from ui.services.measuring_queue import PhotoFile, store_photographs, work_off
from ui.services.sample import sample_folder
from ui.web.page import receive, session
from ui.web.page.receive import LATER

SAMPLE = "2026-09-quay-crane-2"


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait for a lock as long as a test has time."""
    monkeypatch.setattr(database, "BUSY_MS", 50)
    receive.forget_record()


@pytest.fixture(params=list(FAULTS))
def fault(request: pytest.FixtureRequest) -> Any:
    return FAULTS[request.param]


def kept(identity: str = SAMPLE) -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(identity)


ASKED = "What should the inspector do?"


def field(at: AppTest, kind: str, label: str) -> Any:
    return next(one for one in getattr(at, kind) if one.label == label)


def press(at: AppTest, label: str) -> AppTest:
    field(at, "button", label).click()
    return at.run()


def said(at: AppTest) -> str:
    """Return the one-sentence error; there is no traceback."""
    assert not at.exception
    (told,) = [one.value for one in at.error]
    assert "fault of the program" not in told
    assert "program error" not in told
    return str(told)


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def record_path() -> Path:
    return Path(os.environ["ROPE_PHOTO_RECORD"])


@pytest.mark.fault(
    "a full disk, a locked record or a write-protected folder while readings or station "
    "places are typed into the sheet",
    "the record's message, once; typed values stay, and are entered once the record can be "
    "written again",
)
def test_readings_that_can_not_be_saved_stay_typed(sample_app: AppTest, fault: Any) -> None:
    befall, sentence = fault
    at = clean(sample_app.run().switch_page("screens/sheet.py").run())
    before = len(kept().readings)
    with befall(record_path()):
        sent(at, {"5/0": "22,41", "5/90": "22,38", "at/1": "7,5"}).run()
        assert re.search(sentence, said(at))
    assert len(kept().readings) == before
    clean(at.run())
    # a browser keeps what was not confirmed, and sends it again once the sheet is drawn
    clean(sent(at, {"5/0": "22,41", "5/90": "22,38", "at/1": "7,5"}).run())
    there = kept()
    assert [one.typed for one in there.readings[before:]] == ["22,41", "22,38"]
    assert [one.position_m for one in there.inspection.stations] == [7.5, 31.5, 58.0, 83.5]
    with open_record(record_path()) as record:
        assert record.verify().sound


@pytest.mark.fault(
    "the same three while a station is reviewed",
    "the record's message, once; no decision is saved, and the reason stays",
)
def test_a_decision_that_can_not_be_saved_keeps_its_reason(sample_app: AppTest, fault: Any) -> None:
    befall, sentence = fault
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    clean(press(at, "Send back"))
    field(at, "text_input", ASKED).set_value("read station 3 again")
    with befall(record_path()):
        press(at, "Send back")
        assert re.search(sentence, said(at))
    at.run()
    assert field(at, "text_input", ASKED).value == "read station 3 again"
    assert kept().state == "draft"
    clean(press(at, "Send back"))
    there = kept()
    assert there.state == "sent back"
    assert there.station_reviews[-1].why == "read station 3 again"


@pytest.mark.fault(
    "the same three while a photograph is uploaded",
    "the record's message; `They are kept in this browser and will be sent again.`",
)
def test_photographs_that_can_not_be_saved_are_sent_again_until_they_can(
    sample_app: AppTest, fault: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    befall, sentence = fault
    folder = sample_folder()
    assert folder is not None
    bar = (folder / "bar-16mm.jpg").read_bytes()
    before = len(kept().photographs)
    # the faults befall the record that the pages have open
    monkeypatch.setattr(receive, "_opened", (str(record_path()), session.get_record()))
    with befall(record_path()):
        status, told = give("bar.jpg", bar)
        assert status == LATER  # the browser keeps it and sends it again
        assert re.search(sentence, told["error"])
    assert len(kept().photographs) == before
    assert give("bar.jpg", bar)[0] == 200
    assert len(kept().photographs) == before + 1
    clean(sample_app.run().switch_page("screens/sheet.py").run())


def test_a_slow_store_of_photographs_holds_up_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, written = sample_folder(), []
    assert folder is not None
    really = PhotographStore.put

    def slow(store: PhotographStore, data: bytes) -> str:
        if not store.has(hashlib.sha256(data).hexdigest()):  # the bytes are on their way
            with open_record(tmp_path / "record.db") as other:
                other.add_rope(Rope(f"rope {len(written) + 2}", 9.0), by="B. Lind")
            written.append(len(data))
        return really(store, data)

    bar = (folder / "bar-16mm.jpg").read_bytes()
    with open_record(tmp_path / "record.db") as record:
        record.add_rope(Rope("rope", 22.0), by="A. Berg")
        record.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")
        monkeypatch.setattr(PhotographStore, "put", slow)
        file = PhotoFile("bar.jpg", bar)
        store_photographs(record, "visit", [file], Manner(), by="A. Berg")
        assert written == [len(bar)]
        work_off(record, "visit")
        there = record.inspection("visit")
        preview = record.photographs.get(there.photographs[0].preview)
        assert written == [len(bar), len(preview)]
        assert len(there.photographs) == len(there.results) == 1


@pytest.mark.fault(
    "a photograph uploaded after the folder of photographs was moved away",
    "the record's message; the browser keeps the photograph until the folder is back",
)
def test_a_photograph_starts_no_second_store_after_the_first_was_moved(
    sample_app: AppTest,
) -> None:
    folder, store = sample_folder(), record_path().with_name("record-photographs")
    assert folder is not None
    bar = (folder / "bar-16mm.jpg").read_bytes()
    store.rename(store.with_name("elsewhere"))
    status, told = give("bar.jpg", bar)
    assert status == LATER
    assert "was it moved? Put it back before adding more" in told["error"]
    assert not store.exists()
    store.with_name("elsewhere").rename(store)
    assert give("bar.jpg", bar)[0] == 200
    assert any(one.name == "bar.jpg" for one in kept().photographs)


@pytest.mark.fault(
    "photographs missing from their store, on the pages",
    "the record's message, once; figures, decisions and the report work without the pictures",
)
def test_pages_without_the_store_of_photographs_show_the_rest(sample_app: AppTest) -> None:
    store = record_path().with_name("record-photographs")
    at = clean(sample_app.run())
    store.rename(store.with_name("elsewhere"))
    for name, rest in (
        ("sheet", "Gauge"),
        ("review", "Uncertainty, history, entries and neighbours"),
        ("result", "Against the limits"),
    ):
        at.switch_page(f"screens/{name}.py").run()
        assert "is not in the store" in said(at)
        assert "was the folder moved? Put it back, or restore it from a backup." in said(at)
        assert rest in [one.label for one in (*at.selectbox, *at.text_input, *at.expander)]
    press(at, "Create report")
    assert "is not in the store" in said(at)  # the report itself goes on without the pictures
    at.switch_page("screens/review.py").run()
    press(at, "Send back")
    field(at, "text_input", ASKED).set_value("no photograph to look at")
    press(at, "Send back")
    assert kept().state == "sent back"  # a decision needs no photograph
    store.with_name("elsewhere").rename(store)
    for name in ("sheet", "review", "result"):
        clean(at.switch_page(f"screens/{name}.py").run())


@pytest.mark.fault(
    "a store of photographs that can't be written",
    "`the store of photographs ... can't be written: ...`; the browser keeps the photograph until "
    "it can",
)
def test_a_photograph_whose_store_can_not_be_written_is_sent_again(sample_app: AppTest) -> None:
    folder, store = sample_folder(), record_path().with_name("record-photographs")
    assert folder is not None
    bar = (folder / "bar-16mm.jpg").read_bytes()
    store.rename(store.with_name("elsewhere"))
    store.write_text("a file is in the way")
    status, told = give("bar.jpg", bar)
    assert status == LATER
    assert "can't be written" in told["error"]
    store.unlink()
    store.with_name("elsewhere").rename(store)
    assert give("bar.jpg", bar)[0] == 200
    assert any(one.name == "bar.jpg" for one in kept().photographs)


@pytest.mark.fault(
    "a fault of the program on a page",
    "`This part of the page could not be shown because of a program error. ...`",
)
def test_a_fault_of_the_program_is_a_sentence_too(
    sample_app: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ui.web.page.layout.FLASH_S", 0.0)  # a sentence stays for one drawing

    def broken(*_: object) -> None:
        raise RuntimeError("no traceback reaches a person")

    at = clean(sample_app.run().switch_page("screens/review.py").run())
    with monkeypatch.context() as patched:
        # while a button is answered, too
        patched.setattr("ui.presenters.review.queue.finding_strength", broken)
        press(at, "Read again 90°")
        assert not at.exception
        (told,) = [one.value for one in at.error]
        assert "because of a program error" in told
    with monkeypatch.context() as patched:
        patched.setattr("ui.web.page.layout.apply_theme", broken)
        at.run()
        assert not at.exception
        assert [one.value for one in at.error] == [told]
    clean(at.run())


@pytest.mark.fault(
    "one of the same three between an entry and its screening",
    "`The last change is in the record, but its findings could not be saved: ...`; they are "
    "saved later",
)
def test_findings_are_saved_later_if_only_the_entry_was_saved(
    sample_app: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(*_: object, **__: object) -> None:
        raise RecordError(f"The record {record_path()} {LOCKED}")

    at = clean(sample_app.run().switch_page("screens/sheet.py").run())
    before = kept()
    with monkeypatch.context() as patched:
        patched.setattr("ui.web.page.rescreen.screen_inspection", busy)
        clean(sent(at, {"5/0": "26,41"}, sure=True).run())  # it deserves a look
        assert any(
            "The last change is in the record" in one.value for one in clean(at.run()).warning
        )
        assert len(kept().readings) == len(before.readings) + 1  # and can't be entered twice
        assert kept().findings == before.findings
    clean(at.run())
    assert not any("The last change is in the record" in one.value for one in at.warning)
    assert len(kept().findings) > len(before.findings)


@pytest.mark.fault(
    "a folder for the record that can't be made, on the pages",
    "`The folder ... for the record can't be created: ...`",
)
def test_a_folder_that_can_not_be_created_is_reported(
    app: AppTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.delenv("ROPE_PHOTO_RECORD")  # the user's own record is created if there is none
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "file"))
    assert re.search(
        "folder .*file/rope-photo-check for the record can't be created",
        said(app.run()).replace("\\", ""),
    )
