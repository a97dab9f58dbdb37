"""Page one, to sign: the result first, always one page, nothing that clears a rope."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pypdfium2  # type: ignore[import-untyped]
import pytest
from PIL import Image

from inspection.assessment import assess
from inspection.limits.confirmed import figures_of
from inspection.limits.user_rules import rules_from_json
from inspection.measurement.bench_check import BenchCheck
from inspection.measurement.doubt import DoubtedEntry
from inspection.model.closing import Closing
from inspection.model.condition import Condition
from inspection.model.confirmation import Confirmation
from inspection.record.limits import confirm_limits
from inspection.record.record import Record, open_record
from inspection.worst_station import worst_station
from tests.ui.report_cases import (
    HARD,
    MADE,
    fill,
    fill_plain,
    folder_case,
    hard_case,
    hard_pdf,
    read_of,
)
from ui.environment import CAMERAS_FILE
from ui.presenters.limit_rows import rope_limit_rows
from ui.report.blocks import Front, Heading
from ui.report.case import ReportCase, ReportFlag, case_of_record
from ui.report.letterhead import read_letterhead
from ui.report.pages.content import blocks_of
from ui.report.pages.flag_order import ORDER, by_action
from ui.report.pages.front import MOST_OPEN, front
from ui.report.photos import LOGGED
from ui.report.report import html_report, pdf_report
from ui.report.writers.pdf import Paper
from ui.services.bench_checks import keep_bench_check
from ui.services.own_limits import keep_rules, one_rule
from ui.text import CLEARS_NOTHING
from vision.overlay import JAW
from vision.results import Finding, Place

MISTYPED = DoubtedEntry(Place(3, 90), "gauge", "39.70 mm")


def page_one(case: ReportCase) -> tuple[str, str]:
    """Return the words of the first page and of the second, without spaces."""
    return two_pages(pdf_report(case))


def two_pages(pdf: bytes) -> tuple[str, str]:
    document = pypdfium2.PdfDocument(pdf)
    pages = [document[i].get_textpage().get_text_bounded() for i in range(2)]
    document.close()
    first, second = (re.sub(r"\s+", "", one.replace("\ufffe", "")) for one in pages)
    return first, second


def plain(words: str) -> str:
    return re.sub(r"\s+", "", words)


def case_of(record: Record, identity: str) -> ReportCase:
    return case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"), wrong={(3, 0): "38.91"})


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", HARD)
def test_the_page_to_sign_is_one_page_and_the_annex_stands_behind_it(
    name: str, paper: Paper
) -> None:
    first, second = two_pages(hard_pdf(name, paper))
    assert "Annex:summaryoffindings" in second
    assert "Annex" not in first.partition("Decision")[2]
    for words in ("Decision of the competent person", "stays in service", "taken out of service"):
        assert plain(words) in first
    for role in ("Inspector", "Reviewer", "Competent person"):
        assert plain(f"{role}, date") in first
    assert plain(CLEARS_NOTHING) in first
    assert plain("A signature does not clear the rope") in first


def test_the_worst_station_leads_with_decrease_and_severity(case: ReportCase) -> None:
    worst = worst_station(case.assessment)
    assert worst is not None
    assert worst.severity is not None
    said = front(case)
    assert said.headline == (
        f"Thinnest: station {worst.station}, {worst.diameter_mm:.2f} ± {2 * worst.u_mm:.2f} mm"
    )
    rated = worst.severity.severity
    assert f"{rated.decrease_pct:.1f} % of nominal below the reference of 41.20 mm" in said.words
    assert f"severity {rated.band}, {rated.severity_pct} % towards discard" in said.words
    first, _ = page_one(case)
    assert first.index(plain(said.headline)) < first.index(plain(said.open_title))
    assert "within" not in first  # what was found in order is counted in the annex


def test_a_limit_that_was_passed_comes_first_and_says_that_it_is_doubted(
    case: ReportCase,
) -> None:
    first, *others = case.assessment.verdicts
    placed = replace(first, verdict=replace(first.verdict, outcome="outside"), doubts=(MISTYPED,))
    said = front(replace(case, assessment=replace(case.assessment, verdicts=(placed, *others))))
    assert said.alarms[0].startswith("Beyond a limit. Station 1, by photographs: ISO 4309:2017")
    assert said.alarms[0].endswith(
        "A gauge reading there has to be checked: 39.70 mm at station 3, 90°."
    )
    worst = worst_station(replace(case.assessment, verdicts=(placed, *others)))
    assert worst is not None
    assert (worst.station, worst.why) == (1, "beyond a limit")


def test_a_possible_loss_of_section_comes_before_a_larger_even_decrease(case: ReportCase) -> None:
    assessment = case.assessment
    thin = next(one for one in assessment.local if one.station == 4)
    lost = replace(
        thin, outcome="local decrease", deficit_mm=0.8, deficit_pct=2.0, doubts=(MISTYPED,)
    )
    local = tuple(lost if one.station == 4 else one for one in assessment.local)
    # what was found at station 3 itself is left out: only this one may be a loss of section
    with_loss = replace(assessment, local=local, findings=())
    worst = worst_station(with_loss)
    assert worst is not None
    assert (worst.station, worst.why) == (4, "possible loss of section")
    assert not worst.is_thinnest
    said = front(replace(case, assessment=with_loss))
    assert said.headline.startswith("Check first: station 4")
    assert said.alarms[0].startswith("Possible loss of section. Station 4")
    assert "It rests on an entry that has to be checked: 39.70 mm" in said.alarms[0]
    assert "in itself a ground for discard" in said.alarms[0]


def test_a_reading_that_no_rope_can_have_does_not_make_the_worst_station(tmp_path: Path) -> None:
    # 3.987 instead of 39.87: no rope has lost nine tenths and still carries
    slipped = {(4, 0): "4.003", (4, 90): "4.014"}
    worst = worst_station(folder_case(tmp_path, wrong=slipped).assessment)
    assert worst is not None
    assert worst.station != 4


def test_entries_come_in_the_order_of_what_must_be_done_first(case: ReportCase) -> None:
    assessment = case.assessment
    worst = worst_station(assessment)
    assert worst is not None
    calm = {one.station for one in assessment.best} - {
        one.station for one in assessment.verdicts if one.verdict.outcome != "within"
    }
    other = min(calm - {worst.station})

    def flag(code: str, station: int, p_value: float) -> ReportFlag:
        found = Finding(code, "seen", "Ask.", "look", p_value=p_value, places=(Place(station, 0),))
        return ReportFlag(replace(found, look_first=code == "loss"))

    likely, unlikely = flag("likely", other, 0.04), flag("unlikely", other, 1e-9)
    decides = flag("decides", worst.station, 0.05)
    loss = flag("loss", other, 0.03)
    ranked = by_action([likely, unlikely, decides, loss], assessment)
    assert [one.finding.code for one in ranked] == ["loss", "decides", "unlikely", "likely"]
    # what is beyond a limit comes with the possible losses
    outside = tuple(
        replace(one, verdict=replace(one.verdict, outcome="outside"))
        if one.station == other and one.verdict.limit.rule.purpose == "discard"
        else one
        for one in assessment.verdicts
    )
    ranked = by_action([decides, likely], replace(assessment, verdicts=outside))
    assert [one.finding.code for one in ranked] == ["likely", "decides"]
    # the whole rope, too, whose finding names no station
    whole = (*assessment.verdicts, *(replace(one, station=None) for one in outside))
    rope = ReportFlag(replace(decides.finding, code="outside-limit", places=()))
    ranked = by_action([decides, rope], replace(assessment, verdicts=whole))
    assert [one.finding.code for one in ranked] == ["outside-limit", "decides"]


def test_open_entries_are_named_and_counted(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        case = case_of(record, fill(record))
    many = tuple(case.flags[0] for _ in range(MOST_OPEN + 3))
    said = front(replace(case, flags=many))
    assert said.open_title == f"Open entries: {MOST_OPEN + 3} of {MOST_OPEN + 3}"
    assert said.open_order == ORDER
    assert len(said.open_entries) == MOST_OPEN + 1
    assert said.open_entries[-1] == "and 3 more, in the annex"


def closed(record: Record) -> str:
    """Put an inspection into a record, with what was seen beside its diameter, and close it."""
    identity = fill_plain(record, 3)
    record.observe(
        identity, Condition(2, "broken wires", 40, count=3, length_mm=240.0), by="A. Berg"
    )
    record.observe(identity, Condition(2, "corrosion", 20, "outside, light"), by="A. Berg")
    name = "ISO 4309:2017"
    confirm_limits(
        record,
        Confirmation(name, "edition 2017, office", "C. Holm", date(2026, 2, 5), figures_of(name)),
        by="C. Holm",
    )
    record.submit(identity, by="A. Berg")
    record.review(identity, "accepted", by="R. Two")
    decision = Closing(
        "stays in service until",
        "C. Holm",
        until=date(2027, 3, 1),
        next_due=date(2027, 2, 1),
        remarks="Grease it; look at station 2 in May.",
    )
    record.close_inspection(identity, decision, by="C. Holm")
    return identity


def test_decision_criteria_and_confirmed_limits_stand_on_page_one(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        case = case_of(record, closed(record))
    facts = dict(front(case).facts)
    assert facts["Broken wires"] == "station 2: 3 on 240 mm; 40 % towards discard"
    assert facts["Corrosion"] == "station 2: outside, light; 20 % towards discard"
    assert facts["Deformation"] == ""  # a line to write on: nobody recorded it
    assert facts["All criteria added up"].startswith("Station 2: decrease in diameter ")
    assert facts["Limits"] == (
        "ISO 4309:2017: confirmed against a copy of the document (edition 2017, office) by C. Holm "
        "on 2026-02-05."
    )
    decision = front(case).decision
    assert [choice for choice, taken in decision.choices if taken] == [
        "stays in service until 2027-03-01"
    ]
    assert decision.next_due == "2027-02-01"
    first, _ = page_one(case)
    for words in ("Grease it; look at station 2 in May.", "☒", "C. Holm", "2027-02-01"):
        assert plain(words) in first
    assert plain("Grease it; look at station 2 in May.") in plain(html_report(case))


def test_a_severity_that_reaches_discard_together_is_an_alarm(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill_plain(record, 3)
        record.observe(identity, Condition(2, "corrosion", 80), by="A. Berg")
        case = case_of(record, identity)
    worn = {one.station: one.severity.severity_pct for one in case.assessment.severities}
    assert worn[2] >= 20  # together 100 % or more, ISO 4309:2017's own sum
    assert front(case).alarms[0].startswith("All criteria together reach discard. Station 2: ")


def test_where_nothing_was_decided_there_is_room_to_write(case: ReportCase) -> None:
    decision = front(case).decision
    assert not any(taken for _, taken in decision.choices)
    assert (decision.remarks, decision.next_due) == ("", "")
    facts = dict(front(case).facts)
    blank = ["Bench check", "Broken wires", "Corrosion", "Deformation", "Heat"]
    assert [name for name, value in facts.items() if not value] == blank


def test_the_bench_check_of_the_phone_and_card_set_stands_on_the_page(
    case: ReportCase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CAMERAS_FILE, str(tmp_path / "cameras.json"))
    on = case.assessment.log.inspection.on
    good = BenchCheck("phone 1", "set-1", on, 16.0, 0.001, 7, 0, 0.0031, 0.01, 0.008, 7, 0.04)
    keep_bench_check(good)
    keep_bench_check(replace(good, camera="phone 2", mean_error_mm=0.5))  # took none of these
    said = dict(front(case).facts)["Bench check"]
    assert said == f"{on}: U holds, 7 photographs of 16 mm, mean error +0.003 mm"
    assert plain(said) in page_one(case)[0]
    # one that is old, and one that a mean error of 25 times its u tells against (ISO 13528's E_n)
    keep_bench_check(replace(good, on=on - timedelta(days=366), mean_error_mm=0.2, inside=0))
    said = dict(front(case).facts)["Bench check"]
    assert ", over a year old: U does not hold, 7 photographs of 16 mm, mean error +0.200" in said
    (tmp_path / "bench_checks.json").write_text("[", encoding="utf-8")
    said = dict(front(case).facts)["Bench check"]
    assert said == "the saved ones can't be read; the annex says why"


def test_the_logged_reading_lies_as_far_apart_as_it_was_read(tmp_path: Path) -> None:
    case = folder_case(tmp_path, wrong={(1, 0): "44.37"})
    picture = next(one for one in case.close_ups if Place(1, 0) in one.places)
    assert "Logged: 44.37 (doubted)." in picture.caption
    pixels = np.asarray(Image.open(io.BytesIO(picture.jpeg)).convert("RGB")).astype(int)

    def apart(colour: str) -> float:
        wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
        near = np.abs(pixels - wanted).sum(axis=2) < 90
        rows = np.flatnonzero(near.sum(axis=1) > 100)  # lines, no end ticks
        upper, lower = rows[rows < rows.mean()], rows[rows > rows.mean()]
        return float(lower.mean() - upper.mean())

    # the photograph says 39.37 mm: the two pairs of lines have the ratio of the two figures
    assert apart(LOGGED) / apart(JAW) == pytest.approx(44.37 / 39.37, abs=0.005)


def test_the_worst_stations_photographs_stand_on_page_one(case: ReportCase) -> None:
    said = front(case)
    assert len(said.pictures) == 2
    assert [one.caption.partition(":")[0] for one in said.pictures] == ["0°", "90°"]
    assert "(solid lines); logged" in said.pictures[0].caption
    # nearer than in the annex: the jaws, which are 80 px long here, take most of the width
    assert said.pictures[0].jpeg not in {one.jpeg for one in case.pictures}
    document = pypdfium2.PdfDocument(pdf_report(case))
    images = [*document[0].get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE])]
    assert len(images) == 2
    document.close()


def test_a_rope_in_inches_is_told_in_inches() -> None:
    said = front(hard_case("settled"))
    assert re.search(r"station 1, 1\.5\d\d ± 0\.00\d in$", said.headline)
    assert "reference of 1.622 in" in said.words
    assert dict(said.job)["Rope"].startswith("1.5748 in nominal")  # 40 mm; 1 in = 25.4 mm exactly
    facts = {name: value for name, value in said.facts if name != "Lay length"}
    told = [said.headline, said.words, *said.alarms, *facts.values(), *said.open_entries]
    assert not [words for words in told if " mm" in words]


def test_limits_of_the_users_own_that_the_record_keeps_are_applied(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill_plain(record, 2)
        text = one_rule("Site 4", "least diameter", "site rule 4.2", least_mm=39.9, least_pct=None)
        keep_rules(record, "Site 4", text, by="C. Holm")
        case = case_of(record, identity)
    said = front(case)
    assert said.alarms[0].startswith("Beyond your own limit. Station 1, by photographs: Site 4")
    assert "Site 4: entered by the user, not a published limit" in dict(said.facts)["Limits"]


def written(folder: Path, told: object) -> Path:
    file = folder / "letterhead.json"
    file.write_text(json.dumps(told), encoding="utf-8")
    return file


def test_company_logo_and_number_stand_at_the_top(case: ReportCase, tmp_path: Path) -> None:
    Image.new("RGB", (3000, 900), "#0072B2").save(tmp_path / "logo.png")
    told = {"company": "Port of Example", "lines": ["Quay 4", "Example"], "logo": "logo.png"}
    letterhead = read_letterhead(written(tmp_path, told))
    assert Image.open(io.BytesIO(letterhead.logo_png)).size == (1600, 480)
    whose = replace(case, letterhead=letterhead, number="2026-114")
    first, _ = page_one(whose)
    assert first.index("PortofExample") < first.index("Ropeinspection:")
    assert "Quay4" in first
    assert "No.2026-114" in first
    said = html_report(whose)
    assert "Port of Example" in said
    assert "data:image/png;base64," in said
    assert "No. " not in html_report(case)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (["Port"], "holds no names; it can hold company, lines and logo."),
        ({"name": "Port"}, "holds name; it can hold company, lines and logo."),
        ({"company": 7}, "company and logo must be texts, and lines a list of texts."),
        ({"lines": "Quay 4"}, "company and logo must be texts, and lines a list of texts."),
        ({"lines": ["x"] * 5}, "at most 4 lines of 120 characters fit."),
        ({"logo": "gone.png"}, "logo gone.png was not found; put it beside the letterhead."),
        ({"logo": "letterhead.json"}, "is not a PNG or JPEG picture; save it as one."),
    ],
)
def test_a_letterhead_that_can_not_be_used_is_reported(
    told: object, said: str, tmp_path: Path
) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        read_letterhead(written(tmp_path, told))


def test_a_letterhead_that_is_not_json_or_not_there_is_reported(tmp_path: Path) -> None:
    for data in (b"\xff{", b"[" * 100_000):
        (tmp_path / "x.json").write_bytes(data)
        with pytest.raises(ValueError, match=r"x\.json is not a JSON file; write it like"):
            read_letterhead(tmp_path / "x.json")
    with pytest.raises(ValueError, match=r"y\.json can't be read"):
        read_letterhead(tmp_path / "y.json")


def test_the_front_is_cut_to_its_room_and_the_annex_is_whole() -> None:
    case = hard_case("long")
    said = front(case)
    assert isinstance(said, Front)
    assert len(said.title) <= 110
    assert said.title.endswith("…")
    assert plain(case.assessment.log.rope.identity) in plain(html_report(case))


def test_your_own_limit_has_its_own_heading_which_leads_where_it_is_exceeded(
    case: ReportCase,
) -> None:
    for least_mm, first, last in (
        (39.0, "Published limits", "Your own limits"),
        (40.9, "Your own limits", "Published limits"),
    ):
        text = one_rule("Site 4", "least diameter", "4.2", least_mm=least_mm, least_pct=None)
        own = replace(case, assessment=assess(case.assessment.log, own=rules_from_json(text)))
        headings = [one.words for one in blocks_of(own) if isinstance(one, Heading)]
        assert headings.index(first) < headings.index(last)
        exceeded = first.startswith("Your own")
        said = front(own).alarms
        assert any(one.startswith("Beyond your own limit. ") for one in said) == exceeded
        assert ("your own Site 4" in own.assessment.first_concern) == exceeded


def test_the_confirmation_of_a_published_set_covers_no_own_limit_of_its_name(
    tmp_path: Path,
) -> None:
    name = "ISO 4309:2017"
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        copy = Confirmation(name, "copy 7", "C. Holm", date(2026, 2, 5), figures_of(name))
        confirm_limits(record, copy, by="C. Holm")
        case = case_of(record, identity)
    rule = one_rule(name, "least diameter", "site rule 4.2", least_mm=15.0, least_pct=None)
    own = assess(case.assessment.log, own=rules_from_json(rule))
    case = replace(case, assessment=replace(own, verdicts=own.verdicts[-1:]))
    assert case.assessment.verdicts[0].verdict.limit.rule.source == "site rule 4.2"
    told = f"{name}: entered by the user, not a published limit of this program."
    assert dict(front(case).facts)["Limits"] == told
    words = plain(html_report(case))
    assert plain(told) in words
    assert "confirmed against a copy of the document (copy 7)" not in words
    rows, _ = rope_limit_rows(own.log.rope, rules_from_json(rule), case.confirmed)
    assert [row[-1] for row in rows if row[1] == "least diameter"] == ["your own"]


def test_the_entry_in_doubt_is_named_once_on_the_page_and_marked_at_its_photograph(
    case: ReportCase,
) -> None:
    said = front(case)
    doubts = [one for one in (*said.alarms, said.words) if "to be checked: " in one]
    assert doubts
    assert said.words not in doubts or len(doubts) == 1
    marked = [one.words for one in case.assessment.doubts if one.source == "gauge"]
    assert marked
    for picture in case.pictures:
        doubted = any(
            case.assessment.entry_mark(place, "gauge") and "Logged" in picture.caption
            for place in picture.places
        )
        assert ("(doubted)" in picture.caption) == doubted
