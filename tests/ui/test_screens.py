"""The screens without a browser: what they show, save in the record, and refuse."""

from __future__ import annotations

import io
import os
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from inspection.record.errors import RecordError
from inspection.record.record import open_record
from inspection.record.views import OpenInspection
from ui.presenters.photographs import edge_views
from ui.presenters.review.decisions import save_decision
from ui.presenters.review.queue import review_queue
from ui.presenters.review.station import edge_shapes, shapes_of
from ui.web.components.rope_view import packed
from ui.web.page import layout, pictures
from vision.results import Estimate, Place

SAMPLE = "2026-09-quay-crane-2"
SIGNED = re.compile(r":(\+z?)\.\df\}")
PLANTED = "Station 3"  # its second reading was typed wrong on purpose


def kept() -> OpenInspection:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        return record.inspection(SAMPLE)


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def button(at: AppTest, words: str) -> object:
    return next(one for one in at.button if one.label == words)


def stands(at: AppTest, why: str = "seen at the rope") -> AppTest:
    """Accept a reading although it disagrees."""
    button(at, "Accept reading").click()  # type: ignore[attr-defined]
    at.run()
    asked = "Why accept it although it disagrees?"
    next(one for one in at.text_input if one.label == asked).set_value(why)
    button(at, "Accept").click()  # type: ignore[attr-defined]
    return at.run()


def send_back(at: AppTest, why: str) -> AppTest:
    """Ask the inspector for something, in one's own words."""
    button(at, "Send back").click()  # type: ignore[attr-defined]
    at.run()
    asked = "What should the inspector do?"
    next(one for one in at.text_input if one.label == asked).set_value(why)
    button(at, "Send back").click()  # type: ignore[attr-defined]
    return at.run()


def looked_at(at: AppTest) -> str:
    """Return which station the review shows."""
    return str(next(one for one in at.radio if one.label == "Stations").value)


def shown_html(at: AppTest) -> str:
    return " ".join(one.proto.body for one in at.get("html"))


def test_an_empty_record_says_what_to_do_first(app: AppTest) -> None:
    at = clean(app.run())
    assert any("Nothing has been entered yet" in one.value for one in at.info)
    assert [one.label for one in at.button] == ["Load the sample inspection"]


@pytest.mark.parametrize("screen", ["review", "supervise"])
def test_a_screen_without_an_inspection_leads_to_the_start(app: AppTest, screen: str) -> None:
    at = clean(app.run().switch_page(f"screens/{screen}.py").run())
    assert any("no inspection yet" in one.value for one in at.info)


def test_one_click_loads_the_sample_and_a_second_load_adds_nothing(app: AppTest) -> None:
    at = clean(app.run())
    at.button[0].click().run(timeout=60)
    clean(at)
    there = kept()
    assert (len(there.readings), len(there.results), len(there.photographs)) == (8, 10, 10)
    assert at.title[0].value == "3 Stations"
    assert at.query_params.keys() == {"inspection"}  # all stations, as in any inspection
    from ui.services.sample import load_sample, sample_folder

    folder = sample_folder()
    assert folder is not None
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        load_sample(record, folder, by="Reviewer B")
    again = kept()
    assert (len(again.readings), len(again.results)) == (8, 10)


def test_the_review_begins_with_the_planted_wrong_entry(
    sample_app: AppTest, planted_photo: str
) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    assert looked_at(at) == PLANTED
    says = f"<b>90°: 22.11 logged, the photograph shows {planted_photo} "
    assert says in shown_html(at)
    assert "times as likely" in shown_html(at)  # the odds, as screening gives them
    assert any("sources of uncertainty" in one.value for one in at.markdown)


def test_the_screen_is_sent_both_pairs_of_lines(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    sent = at.get_by_key(f"{SAMPLE} 3 90 0.0 photograph").proto.json
    assert '"look": "logged"' in sent or '"look":"logged"' in sent
    assert "logged 22.11" in sent


def test_a_disagreement_stands_with_a_reason_only_and_the_next_one_is_there(
    sample_app: AppTest,
) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    at = stands(at, "  ")
    assert "give a reason for accepting it" in at.error[0].value
    assert not [one for one in kept().findings if one.settled_by]
    assert looked_at(at) == PLANTED
    button(at, "Back to the decisions").click()  # type: ignore[attr-defined]
    at = clean(stands(at.run()))
    settled = [one for one in kept().findings if one.settled_by]
    assert {one.settled_how for one in settled} == {"accepted: seen at the rope"}
    assert {one.settled_by for one in settled} == {"Reviewer B"}
    assert looked_at(at) != PLANTED


def test_a_station_that_agrees_is_decided_by_one_press(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    next(one for one in at.radio if one.label == "Stations").set_value("Station 1")
    at = clean(at.run())
    assert "photograph agrees" in shown_html(at)
    button(at, "Accept reading").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    (decision,) = kept().station_reviews
    assert (decision.station, decision.state, decision.stands) == (1, "accepted", True)
    assert looked_at(at) == PLANTED  # the most doubtful of those that wait


def test_read_again_marks_the_entry_in_one_press(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    button(at, "Read again 90°").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    (asked,) = kept().station_reviews
    assert (asked.station, asked.asks, asked.view_deg, asked.back) == (3, "reading", 90, True)
    assert kept().state == "sent back"
    assert looked_at(at) != PLANTED


def test_a_slip_is_corrected_to_what_the_photograph_supports_and_to_nothing_else(
    sample_app: AppTest,
) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    button(at, "Slip: correct to 21.21").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    field = next(one for one in at.text_input if one.label == "Correct 22.11 at 90° to")
    assert field.value == "21.21"
    field.set_value("22.01")
    button(at, "Correct it").click()  # type: ignore[attr-defined]
    at.run()
    assert "does not support 22.01" in at.error[0].value.replace("\\", "")
    next(one for one in at.text_input if one.label.startswith("Correct 22.11")).set_value("21.21")
    button(at, "Correct it").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    (now,) = [one for one in kept().logged if one.reading.place == Place(3, 90)]
    assert (now.reading.typed, now.corrected_by) == ("21.21", "Reviewer B")
    assert not now.withdrawn
    # the section that may be lost is still to be decided: the correction explains the entry alone
    still = [one for one in review_queue(kept()) if one.name == PLANTED]
    assert [one.finding.code for one in still[0].findings] == ["local-decrease"]
    assert still[0].waits
    assert looked_at(at) == PLANTED
    clean(stands(at, "competent person told"))
    assert [one.name for one in review_queue(kept()) if one.name == PLANTED and one.waits] == []
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert record.verify().faults == ()


def test_a_photograph_is_set_aside_with_a_reason(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    button(at, "Set photograph aside").click()  # type: ignore[attr-defined]
    at = clean(at.run())
    button(at, "Set it aside").click()  # type: ignore[attr-defined]
    at.run()
    assert "say what is wrong with the photograph" in at.error[0].value
    before = len(kept().results)
    label = "What is wrong with the photograph?"
    next(one for one in at.text_input if one.label == label).set_value("the card had slipped")
    button(at, "Set it aside").click()  # type: ignore[attr-defined]
    clean(at.run())
    assert len(kept().results) == before - 1
    assert not [one for one in kept().results if one.place == Place(3, 90)]


def test_sending_back_needs_a_reason_and_then_stands_in_the_record(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    at = send_back(at, "")
    assert "say why" in at.error[0].value
    assert kept().state == "draft"
    button(at, "Back to the decisions").click()  # type: ignore[attr-defined]
    clean(send_back(at.run(), "read it again"))
    there = kept()
    assert there.state == "sent back"
    assert there.reviews[-1].why == f"{PLANTED}: read it again"


def test_nobody_reviews_readings_of_their_own(sample_app: AppTest, tmp_path: Path) -> None:
    (tmp_path / "person.json").write_text('{"person": "inspector  a"}', encoding="utf-8")
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    at = stands(at)
    assert "can't review them" in at.error[0].value
    assert not [one for one in kept().findings if one.settled_by]


def test_a_decision_about_what_was_changed_meanwhile_is_not_kept(sample_app: AppTest) -> None:
    sample_app.run()
    stale = kept()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        record.withdraw_reading(SAMPLE, 5, by="Inspector A", why="typed wrong")
        with pytest.raises(RecordError, match="was changed while you were reviewing"):
            save_decision(
                record, stale, review_queue(stale)[0], "accepted", by="Reviewer B", why="no"
            )
    assert not [one for one in kept().findings if one.settled_by]


def test_the_supervisors_list_leads_with_the_thin_station_and_its_wrong_entry(
    sample_app: AppTest,
) -> None:
    at = clean(sample_app.run().switch_page("screens/supervise.py").run())
    first, second = (
        next(one.value for one in at.markdown if one.value.startswith(f"**{place}. "))
        for place in (1, 2)
    )
    assert "1. station 3**" in first  # a possible loss of section
    assert "2. station 3, 90 deg**" in second
    assert '"Entries (CSV)"' in str(at.get("download_button")[0].proto).replace("'", '"')


def test_a_filter_that_leaves_nothing_says_so(sample_app: AppTest) -> None:
    at = clean(sample_app.run().switch_page("screens/supervise.py").run())
    next(one for one in at.text_input if one.label == "Site or place contains").set_value(
        "mine"
    ).run()
    assert any("No inspection matches" in one.value for one in clean(at).info)


def test_the_lines_lie_as_far_apart_as_the_figures_say(sample: Path) -> None:
    """A reading 1 mm larger lies half a millimetre further out on each side."""
    with open_record(sample / "record.db") as record:
        estimate = next(
            one for one in record.inspection(SAMPLE).results if isinstance(one, Estimate)
        )
    marks = estimate.marks
    assert marks is not None
    shapes = shapes_of(estimate, marks, estimate.diameter_mm + 1.0)
    logged = [np.array(one.points) for one in shapes if one.look == "logged"]
    drawn = [np.array(one.points) for one in shapes if one.look == "photograph"]
    along = (drawn[0][1] - drawn[0][0]) / np.linalg.norm(drawn[0][1] - drawn[0][0])
    across = np.array([-along[1], along[0]])
    apart_px = [abs((pair[0].mean(0) - pair[1].mean(0)) @ across) for pair in (drawn, logged)]
    assert apart_px[1] / apart_px[0] == pytest.approx(1 + 1 / estimate.diameter_mm, rel=2e-3)
    place = edge_views.edge_places(estimate, marks)[0]
    edge = edge_shapes(estimate, marks, place, 0, estimate.diameter_mm + 1.0)
    heights = {one.look: one.points[0][1] for one in edge if one.look in ("logged", "photograph")}
    moved = heights["photograph"] - heights["logged"]
    assert moved == pytest.approx(0.5 * edge_views.EDGE_PX_PER_MM, rel=0.01)
    for more_mm, words in (
        (1.0, "0.50 mm outside"),
        (-0.012, "0.01 mm inside"),
        (0.008, "at the same place"),
        (-0.008, "at the same place"),
    ):
        edge = edge_shapes(estimate, marks, place, 0, estimate.diameter_mm + more_mm)
        assert [one.label for one in edge if one.look == "logged"] == [f"logged {words}"]


def test_a_difference_of_nothing_has_no_minus() -> None:
    """-0.001 mm to two decimals is 0; every signed figure that is written says it without minus."""
    assert (f"{-0.001:+.2f}", f"{-0.001:+z.2f}") == ("-0.00", "+0.00")
    project = Path(pictures.__file__).parents[3]
    written = [
        path
        for package in ("vision", "inspection", "ui")
        for path in (project / package).rglob("*.py")
    ]
    signed = [found for path in written for found in SIGNED.findall(path.read_text("utf-8"))]
    assert len(signed) > 20
    assert set(signed) == {"+z"}


def test_what_is_said_after_a_click_outlives_a_drawing_that_is_cut_short(
    sample_app: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = clean(sample_app.run().switch_page("screens/review.py").run())
    told = [": accepted." in one.value for one in clean(stands(at)).success]
    again = [": accepted." in one.value for one in clean(at.run()).success]
    assert told == again == [True]
    monkeypatch.setattr(layout, "FLASH_S", 0.0)
    assert not clean(at.run()).success


def test_a_magnified_edge_shows_the_rope_below_and_a_known_step_in_its_place() -> None:
    """A picture of our own: bright rope below row 500, turned by a quarter as a check."""
    picture = np.zeros((1000, 1400, 3), np.uint8)
    picture[500:] = 200
    upright = edge_views.EdgePlace((700.0, 499.5), (0.0, -1.0), 10.0)
    turned = edge_views.EdgePlace((500.5, 700.0), (1.0, 0.0), 10.0)  # rope on the left
    for pixels, place in ((picture, upright), (np.rot90(picture, -1).copy(), turned)):
        with Image.open(io.BytesIO(edge_views.edge_png(pixels, place))) as png:
            cut = np.asarray(png.convert("L"))
        rope = cut[:, cut.shape[1] // 2] > 100
        step = int(np.argmax(rope))
        assert rope[step:].all()
        assert abs(step - cut.shape[0] / 2) <= edge_views.EDGE_PX_PER_MM / 10 + 1  # one photo px


def test_pictures_are_packed_so_that_the_page_finds_each() -> None:
    block = packed({"a": b"one", "b": b"three"})
    long = int.from_bytes(block[:4], "little")
    assert block[4 : 4 + long] == b'[["a", 3], ["b", 5]]'
    assert block[4 + long :] == b"onethree"


def test_three_inspections_give_a_trend_and_the_review_shows_the_earlier_readings(
    sample_app: AppTest,
) -> None:
    """Two invented inspections before the sample: a quarter of a millimetre thicker each."""
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        for years in (1, 2):
            on = there.inspection.on.replace(year=there.inspection.on.year - years)
            earlier = replace(there.inspection, identity=f"{years} before", on=on, place="Quay 9")
            record.add_inspection(earlier, by="Inspector A")
            thicker = [
                replace(one, value_mm=round(one.value_mm + 0.25 * years, 2), typed="", at=None)
                for one in there.readings
            ]
            named = [replace(one, typed=f"{one.value_mm:.2f}") for one in thicker]
            record.add_readings(earlier.identity, named, by="Inspector A")
    at = clean(sample_app.run().switch_page("screens/supervise.py").run())
    assert any("3 not examined yet" in one.value for one in at.warning)  # the sample rests on them
    button(at, "Examine 3 now").click()  # type: ignore[attr-defined]
    clean(at.run())
    at = sample_app
    at.session_state["ranked by"] = "Ropes"
    at = clean(at.switch_page("screens/supervise.py").run())
    assert any(one.label == "Station" for one in at.selectbox)  # of the trend
    assert not any("A trend needs" in one.value for one in at.info)
    at.session_state["ranked by"] = "Entries"
    at = clean(at.switch_page("screens/supervise.py").run())
    next(one for one in at.text_input if one.label == "Site or place contains").set_value(
        "quay 9"
    ).run()
    day = f"{there.inspection.on:%Y-%m-%d}"  # of the one that is not on quay 9
    assert not any(f"{day} · waits" in one.value for one in clean(at).markdown)
    at = clean(at.switch_page("screens/review.py").run())
    next(one for one in at.radio if one.label == "Stations").set_value(PLANTED)
    told = shown_html(clean(at.run()))
    assert "Earlier inspections of this station" in told
    assert "mean by gauge -0.25 mm since".replace("-", "−") in told  # last time, beside it
    assert "22.36" in told  # station 3, 90 deg: 22.11 + 0.25
    charts = at.get("vega_lite_chart")
    assert any("inspection history" in str(one.proto.spec) for one in charts)
