"""The report agrees with the record: limits, flags, decisions, history, fingerprint."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pypdfium2  # type: ignore[import-untyped]
import pytest

from inspection.assessment import assess
from inspection.limits.conformity import SIMPLE
from inspection.record.record import open_record
from tests.ui.report_cases import MADE, fill, folder_case, hard_case, hard_pdf, read_of, readings
from ui.report.case import ReportCase, case_of_record
from ui.report.report import html_report, pdf_report
from ui.text import CAUTIONS


def text_of(pdf: bytes) -> str:
    """Return all words of a PDF with single spaces."""
    document = pypdfium2.PdfDocument(pdf)
    words = " ".join(page.get_textpage().get_text_bounded() for page in document)
    document.close()
    return re.sub(r"\s+", " ", words.replace("\ufffe", "").replace("\r", " "))


def plain(words: str) -> str:
    """Return words without spaces: where a line ends is the typesetter's business."""
    return re.sub(r"\s+", "", words)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> ReportCase:
    return folder_case(tmp_path_factory.mktemp("folder"), wrong={(3, 0): "38.91"})


@pytest.fixture(scope="module")
def pdf(case: ReportCase) -> str:
    return text_of(pdf_report(case))


@pytest.fixture(scope="module")
def html(case: ReportCase) -> str:
    said = re.sub(r"<style>.*?</style>|<[^>]+>", " ", html_report(case), flags=re.S)
    return re.sub(r"\s+", " ", unescape(said))


@pytest.fixture(params=["pdf", "html"])
def words(request: pytest.FixtureRequest) -> str:
    made: str = request.getfixturevalue(request.param)
    return made


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the drawings, half of a report's time, where words beside them are read."""
    empty = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    monkeypatch.setattr("ui.report.writers.pdf.svg_of", lambda *_: empty)


def test_the_decision_rule_and_every_limits_edition_are_named(case: ReportCase, words: str) -> None:
    assert case.assessment.verdicts
    assert plain(case.decision.source) in plain(words)
    for one in case.assessment.verdicts:
        rule = one.verdict.limit.rule
        for said in (rule.source, rule.edition, f"{rule.rule_set}: not confirmed against a copy"):
            assert plain(said) in plain(words)
    assert plain("Limits that nobody has confirmed are shown as stored in this program") in plain(
        words
    )
    # how certain a memory was does not belong in a report to be signed
    assert "frommemory" not in plain(words)
    assert "confidence0." not in plain(words)


def test_every_limit_that_does_not_apply_says_why(case: ReportCase, words: str) -> None:
    assert case.assessment.not_applicable
    for one in case.assessment.not_applicable:
        reason = one.reason.removeprefix(f"{one.rule.rule_set}, {one.rule.what}: ")
        assert plain(reason[1:]) in plain(words)


def test_flags_first_look_and_cautions_stand_in_the_report(case: ReportCase, words: str) -> None:
    assert case.flags
    assert plain(case.assessment.first_concern) in plain(words)
    for flag in case.flags:
        assert plain(flag.finding.seen) in plain(words)
    assert plain("Open: not closed yet.") in plain(words)
    assert plain("Entries at station 3 have to be checked; every figure") in plain(words)
    for caution in CAUTIONS:
        assert plain(caution) in plain(words)


def test_raw_data_hold_the_typed_text_and_the_hashes(case: ReportCase, words: str) -> None:
    for reading in case.assessment.log.readings:
        doubted = case.assessment.entry_mark(reading.place, "gauge")
        row = f"{reading.typed}{doubted} {reading.value_mm:.3f} C-1 A. Berg"
        assert plain(row) in plain(words)
    for one in case.assessment.log.results:
        assert one.photo_sha256 in plain(words)
    assert plain("lost.jpg: no diameter. No printed card") in plain(words)


def test_there_is_room_for_three_signatures(words: str) -> None:
    for role in ("Inspector", "Reviewer", "Supervisor"):
        assert role in words
    assert "Competent person" in words
    assert plain("A signature does not clear the rope") in plain(words)
    assert plain("Rope inspection: hoist rope 1") in plain(words)
    assert plain("Open entries: 1 of 1") in plain(words)


def test_another_decision_rule_is_named_in_the_report(case: ReportCase) -> None:
    judged = assess(case.assessment.log, decision=SIMPLE)
    said = html_report(replace(case, assessment=judged, decision=SIMPLE))
    assert "simple acceptance" in said
    assert "its uncertainty is not taken into account" in said


def test_a_report_from_a_record_shows_fingerprint_settlements_reviews_and_history(
    tmp_path: Path, undrawn: None
) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        read = read_of(record, identity)
        found = assess(read.log).findings
        record.set_findings(identity, found, rank=1.0, by="A. Berg")
        key = record.inspection(identity).findings[0].key
        record.settle_finding(identity, key, how="Asked: 39.70 was read.", by="R. Two")
        record.review(identity, "sent back", by="R. Two", why="Read station 2 again.")
        case = case_of_record(record, read, name="record.db", made_at=MADE)
        fingerprint = record.fingerprint()
    assert len(case.pictures) == 9
    said = plain(text_of(pdf_report(case)))
    assert said.count(fingerprint) >= 3  # first page, chapter, every foot
    assert plain("Closed by R. Two") in said
    assert plain("Asked: 39.70 was read.") in said
    assert plain("whole inspection sent back R. Two") in said
    when = r"[-\d]{10}[:\d]{5}UTC"
    assert re.search(rf"ReviewsentbackbyR\.Two,{when}:Readstation2again\.", said)
    assert plain("so that a later change shows. The chain was checked and is intact.") in said
    assert plain("Earlier inspections") in said
    assert plain("mm per year (95 % interval") in said
    assert (
        plain(
            "It rests on entries that have to be checked: 39.39 mm at station 1, 0° and "
            "39.50 mm at station 1, 90°."
        )
        in said
    )


def test_a_record_that_was_tampered_with_says_so_in_the_report(
    tmp_path: Path, undrawn: None
) -> None:
    import sqlite3

    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
    with sqlite3.connect(tmp_path / "record.db") as direct:
        direct.execute("update readings set value_mm = 39.11 where number = 1")
    direct.close()
    with open_record(tmp_path / "record.db") as record:
        case = case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)
    assert case.record is not None
    assert case.record.faults
    assert plain("Verification found faults:") in plain(text_of(pdf_report(case)))


def test_a_photograph_changed_in_the_store_is_not_shown_and_the_report_says_why(
    tmp_path: Path,
) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        first = record.inspection(identity).photographs[0].sha256
        kept = [path for path in tmp_path.rglob(f"*{first[2:]}*") if path.is_file()]
        kept = kept or [path for path in tmp_path.rglob("*") if first[:8] in path.name]
        kept[0].chmod(0o644)
        kept[0].write_bytes(b"something else")
        case = case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)
    assert len(case.pictures) == 8
    assert any("bytes in the record's store were changed" in note for note in case.notes)
    assert not any(str(tmp_path) in note for note in case.notes)


def test_a_record_changed_after_its_log_was_read_makes_no_report(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        read = read_of(record, identity)
        record.withdraw_reading(identity, 1, by="A. Berg", why="wrong place")
        with pytest.raises(ValueError, match="was changed while its report was being made"):
            case_of_record(record, read, name="record.db")


def test_every_correction_is_listed_with_what_was_there_before(
    tmp_path: Path, undrawn: None
) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        record.withdraw_reading(identity, 1, by="A. Berg", why="wrong place")
        for text in ("39.40", "39.52"):  # both of two corrections are listed
            again = replace(readings()[1], typed=text, value_mm=float(text))
            record.correct_reading(identity, 2, again, by="A. Berg", why=f"it was {text}")
        case = case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)
    said = plain(text_of(pdf_report(case)))
    when = r"[-\d]{10}[:\d]{5}UTC"
    assert "Correctedorwithdrawnreadings" in said
    for row in (
        rf"1station1,0degwithdrawn39\.39nothingA\.Berg{when}wrongplace",
        rf"2station1,90degcorrected39\.5039\.40A\.Berg{when}itwas39\.40",
        rf"2station1,90degcorrected39\.4039\.52A\.Berg{when}itwas39\.52",
    ):
        assert re.search(row, said), row


def test_what_was_set_by_hand_withdrawn_or_decided_is_told_where_the_figures_stand() -> None:
    said = plain(text_of(hard_pdf("by hand", "A4")))
    for words in (
        "A loose wire misled the left edge",
        "An edge was set by hand. (s2-0.jpg)",
        "Figures from photographs at station 2 rest on an edge set by hand.",
        "s2-0.jpg station 2, 0 deg replaced 39.59 mm 39.79 mm R. Two",
        "Measured without the card. (s1-90.jpg)",
        "1 photographs, without the card (doubted) 0° and 90°",
        "2 photographs, an edge set by hand (doubted) 0° and 90°",
        "Figures from photographs at station 1 rest on a photograph without the card.",
        "s4-0.jpg station 4, 0 deg withdrawn 40.03 mm nothing R. Two",
        "station 1 accepted R. Two",
        "station 3 sent back; no longer in force R. Two",
        "station 3 overruled S. Three",
        "overruled by S. Three",
        "The wear is known.",
    ):
        assert plain(words) in said, words


def test_an_accepted_inspection_whose_flags_are_settled_says_so() -> None:
    case = hard_case("settled")
    assert case.flags
    said = plain(text_of(hard_pdf("settled", "A4")))
    assert re.search(r"ReviewacceptedbyR\.Two,[-\d]{10}[:\d]{5}UTC", said)
    assert said.count(plain("Closed by R. Two")) == len(case.flags)
    assert plain("Open: not closed yet.") not in said
    assert plain(f"No entry is open ({len(case.flags)} findings, all closed).") in said


def test_an_inspection_in_which_nothing_was_measured_says_so() -> None:
    said = plain(text_of(hard_pdf("nothing", "A4")))
    assert plain("Nothing was measured in this inspection.") in said
    assert plain("No entry stands out") not in said
