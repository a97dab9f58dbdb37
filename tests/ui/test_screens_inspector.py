"""The inspector's path without a browser, from an empty record to a result."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.model.rope import Groove
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from tests.ui.sheet_hands import open_place
from tests.ui.upload_hands import give
from ui.presenters.rope_form import parse_grooves
from ui.presenters.sheet.reading_form import TypedRow, parse_row
from ui.services.measuring_queue import work_off
from ui.services.sample import sample_folder

SAMPLE = "2026-09-quay-crane-2"


def screen(at: AppTest, name: str) -> AppTest:
    return clean(at.switch_page(f"screens/{name}.py").run())


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def field(at: AppTest, kind: str, label: str) -> Any:
    return next(one for one in getattr(at, kind) if one.label == label)


def press(at: AppTest, label: str) -> AppTest:
    field(at, "button", label).click()
    return at.run()


def kept(identity: str = SAMPLE) -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(identity)


def test_a_rope_and_its_inspection_are_entered_as_people_type(app: AppTest) -> None:
    at = screen(app.run(), "rope")
    field(at, "text_input", "Rope").set_value("hoist  rope 7 ")
    field(at, "text_input", "Nominal diameter").set_value('7/8"')
    field(at, "text_input", "Reference diameter").set_value("22,44")
    clean(press(at, "Save rope"))
    field(at, "text_input", "Inspection name").set_value("first look")
    clean(press(at, "Start this inspection"))
    there = kept("first look")
    assert there.rope.identity == "hoist rope 7"
    assert there.rope.nominal_mm == pytest.approx(22.225)  # 7/8 x 25.4, exact by definition
    assert there.rope.reference_mm == 22.44
    assert there.inspection.inspector == "Reviewer B"


def test_reference_baseline_and_grooves_are_entered_and_changed_with_a_reason(app: AppTest) -> None:
    at = screen(app.run(), "rope")
    field(at, "text_input", "Rope").set_value("mine hoist 1")
    field(at, "text_input", "Nominal diameter").set_value("32")
    field(at, "text_input", "Reference diameter").set_value("32,8")
    field(at, "text_input", "Expanded uncertainty U").set_value("0,08")
    field(at, "text_input", "Baseline diameter (mine hoists)").set_value("32,6 mm")
    field(at, "selectbox", "Tension during that measurement").set_value("none")
    row = {"name": "head sheave", "radius": "17,2"}
    at.session_state["new rope grooves"] = {
        "edited_rows": {0: row},
        "added_rows": [],
        "deleted_rows": [],
    }
    clean(press(at, "Save rope"))
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        (rope,) = record.ropes()
    assert (rope.reference_mm, rope.u_reference_mm, rope.baseline_mm) == (32.8, 0.04, 32.6)
    assert rope.reference_tension == "none"
    assert rope.grooves == (Groove("head sheave", 17.2),)
    told = " ".join(one.proto.body for one in at.get("html"))
    assert "head sheave (groove radius 17.2 mm)" in told

    change = next(one for one in at.text_input if one.key == "change mine hoist 1 reference")
    assert change.value == "32.8 mm"
    change.set_value("32,9")
    press(at, "Save change")
    assert "say why" in at.error[0].value
    next(one for one in at.text_input if one.key == "why mine hoist 1").set_value("typed wrong")
    clean(press(at, "Save change"))
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.rope("mine hoist 1").reference_mm == 32.9
        assert record.rope("mine hoist 1").grooves == rope.grooves


def test_a_groove_needs_a_name_and_a_radius() -> None:
    assert parse_grooves([[""] * 6], "mm") == ()
    # 1/2 in is 12.7 mm and 1 in 25.4 mm, exact by definition
    assert parse_grooves([["drum", "1/2", "1", "2", "", "22,9 mm"]], "in") == (
        Groove("drum", 12.7, 25.4, 2, None, 22.9),
    )
    for row, told in (
        (["drum", "", "25", "1", "", ""], "groove radius"),
        (["drum", "x", "", "", "", ""], "groove radius of drum"),
        (["drum", "12", "", "two", "", ""], "layers"),
    ):
        with pytest.raises(ValueError, match=told):
            parse_grooves([row], "mm")


def test_what_cannot_be_a_diameter_is_reported_in_one_sentence(app: AppTest) -> None:
    at = screen(app.run(), "rope")
    field(at, "text_input", "Rope").set_value("rope 1")
    field(at, "text_input", "Nominal diameter").set_value("thick")
    press(at, "Save rope")
    assert at.error[0].value.startswith("Nominal diameter")


@pytest.mark.parametrize("name", ["sheet", "result"])
def test_every_step_says_what_comes_first(app: AppTest, name: str) -> None:
    at = screen(app.run(), name)
    assert any("no inspection yet" in one.value for one in at.info)


def test_cautions_stand_where_somebody_acts(sample_app: AppTest) -> None:
    """At the rope, and with the answer; on every screen they would be read past."""
    for name, said in (("sheet", True), ("result", True), ("cards", False)):
        at = screen(sample_app.run(), name)
        told = [one.value for one in at.caption] + [one.proto.body for one in at.get("html")]
        assert any("never clears a rope" in words for words in told) == said, name
        assert any("lock out the drive" in words for words in told) == (name == "sheet"), name


def test_a_print_check_is_kept_and_a_far_off_bar_is_refused(app: AppTest) -> None:
    at = screen(app.run(), "cards")
    field(at, "text_input", "Card set").set_value("spring")
    field(at, "text_input", "Length of the bar along the rope").set_value("179,24")
    field(at, "text_input", "Length of the bar across the rope").set_value("80")
    press(at, "Save print check")
    assert at.error
    field(at, "text_input", "Length of the bar across the rope").set_value("109,62 mm")
    clean(press(at, "Save print check"))
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.print_checks()["spring"]["across_mm"] == 109.62


def test_photographs_are_stored_as_they_arrive_and_refused_ones_say_why(
    sample_app: AppTest, tmp_path: Path
) -> None:
    folder = sample_folder()
    assert folder is not None
    at = screen(sample_app.run(), "sheet")
    before = kept()
    bar = (folder / "bar-16mm.jpg").read_bytes()
    given = {"bar.jpg": bar, "broken.jpg": b"\xff\xd8\xff\xe0 nothing behind"}
    hashes = [give(name, data)[1]["sha256"] for name, data in given.items()]
    status, told = give("paper.pdf", b"%PDF-1.7")
    assert (status, told["error"]) == (
        415,
        "paper.pdf is a PDF file; a photograph must be JPEG, PNG, TIFF, WebP, HEIC/HEIF or AVIF.",
    )
    at.session_state["uploads"] = {"arrived": {"at": 1, "hashes": hashes}}  # as the browser reports
    at.run(timeout=60)
    assert not at.exception
    assert any("**2 waiting** to be measured" in one.value for one in at.markdown)
    for other in ("result", "cards"):  # on every page
        screen(at, other)
        assert any("**2 waiting** to be measured" in one.value for one in at.markdown)
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        work_off(record, SAMPLE)
    screen(at, "sheet")
    assert not any("waiting" in one.value for one in at.markdown)
    labels = [one.label.replace("\\", "") for one in at.expander]
    assert any("broken.jpg" in one for one in labels)
    assert at.session_state["photographs that came last"] == set(hashes)  # those stand open
    assert any("cut off" in one.value for one in at.markdown)
    after = kept()
    assert len(after.photographs) == len(before.photographs) + 2
    measured = next(one for one in after.results if one.photo_name == "bar.jpg")
    # the bar is a smooth one of 16.00 mm, see sample_images/truth.csv
    assert measured.diameter_mm == pytest.approx(16.0, abs=2 * measured.u_mm)  # type: ignore[union-attr]
    assert any("refuse-tilted.jpg" in one for one in labels)


def test_a_photograph_moves_with_a_reason_only(sample_app: AppTest) -> None:
    at = clean(open_place(sample_app.run(), 1, 0))
    field(at, "number_input", "Station").set_value(2)
    press(at, "File there")
    assert "needs a reason" in at.error[0].value
    field(at, "text_input", "Reason").set_value("cards were mixed up").run()
    clean(press(at, "File there"))
    assert at.query_params["station"] == "2"  # the address follows it
    moved = next(one for one in kept().results if one.photo_name == "station-1-view-00.jpg")
    assert moved.station == 2


def test_a_corrected_reading_keeps_what_was_typed_and_settles_the_doubt(
    sample_app: AppTest,
) -> None:
    at = clean(open_place(sample_app.run(), 3, 90))  # the planted one
    field(at, "text_input", "Corrected reading").set_value("21,21")
    press(at, "Correct")
    assert "say why" in at.error[0].value
    why = next(one for one in at.text_input if str(one.key).startswith("why correct"))
    why.set_value("digits were swapped").run()
    clean(press(at, "Correct"))
    there = kept()
    assert there.logged[5].reading.value_mm == 21.21
    assert not [
        one for one in there.findings if one.current and one.finding.code == "digits-swapped"
    ]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        told = [one for one in record.events(subject=SAMPLE) if one.kind == "reading corrected"]
    assert "22.11" in str(told[0].old)


def test_the_result_shows_verdicts_and_makes_the_report(sample_app: AppTest) -> None:
    at = screen(sample_app.run(), "result")
    # the rope is thin there by the photographs, and the entry that hides it is doubted
    answer = " ".join(one.proto.body for one in at.get("html"))
    thin = [one.diameter_mm for one in kept().results if one.photo_name.startswith("station-3")]
    assert f"Thinnest: station 3, {sum(thin) / 2:.2f} ± " in answer
    assert "It may be a loss of section. Look there for a broken core" in answer
    assert "in itself a ground for discard" in answer
    next(one for one in at.text_input if one.label == "Report number").set_value("2026-114").run()
    clean(press(at, "Create report"))
    of, pdf, page = at.session_state["report that was made"]
    assert of == (SAMPLE, kept().revision, "A4", "2026-114")
    assert pdf.startswith(b"%PDF")
    assert "22.11" in page
    assert "2026-114" in page


def test_a_changed_rope_is_judged_again(sample_app: AppTest) -> None:
    at = screen(sample_app.run(), "result")
    before = [one.value for one in at.markdown] + [one.body for one in at.get("html")]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        rope = replace(kept().rope, reference_mm=24.0)  # every loss is larger now
        record.change_rope(rope, by="Inspector A", why="certificate read again")
    clean(at.run())
    assert before != [one.value for one in at.markdown] + [one.body for one in at.get("html")]


@pytest.mark.parametrize(
    ("typed", "mm"), [("22,41", 22.41), ('7/8"', 22.225), ("0.88 in", 22.352), ("Ø 22.4 mm", 22.4)]
)
def test_a_row_is_understood_as_it_is_typed(sample_app: AppTest, typed: str, mm: float) -> None:
    at = datetime(2026, 9, 15, 10, 0)
    one = parse_row(TypedRow("1", "0", typed), kept(), gauge="caliper 7", person="A", at=at)
    assert one.reading is not None
    assert one.reading.value_mm == pytest.approx(mm)
