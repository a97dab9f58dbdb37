"""The report says what the judgement says: figures, verdicts, flags, history, fingerprint."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pypdfium2  # type: ignore[import-untyped]
import pytest

from inspection.case import judge_log
from inspection.record import open_record
from inspection.verdict import SIMPLE
from tests.ui.report_cases import MADE, fill, folder_case, read_of
from ui.report import ReportCase, case_of_record, html_report, pdf_report
from ui.words import CAUTIONS
from vision.estimate import Estimate


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


def test_every_photograph_stands_with_its_diameter_and_expanded_uncertainty(
    case: ReportCase, words: str
) -> None:
    for one in case.judgement.log.results:
        if isinstance(one, Estimate):
            row = f"station {one.station}, {one.view_deg} deg {one.diameter_mm:.2f} "
            assert plain(f"{row}{2 * one.u_mm:.2f}") in plain(words)


def test_every_section_stands_with_mean_ovality_and_their_uncertainties(
    case: ReportCase, words: str
) -> None:
    judged = case.judgement
    assert len(judged.photograph_sections) == len(judged.gauge_sections) == 4
    for source, sections in (
        ("photographs", judged.photograph_sections), ("gauge", judged.gauge_sections),
    ):  # fmt: skip
        for one in sections:
            assert one.difference_pct is not None
            row = (
                f"{one.station} {source} 0° and 90° {one.mean_mm:.2f} {2 * one.u_mean_mm:.2f} "
                f"{one.difference_pct:+.2f} {one.ovality_mm:.2f} {2 * one.u_ovality_mm:.2f} "
                f"{one.ovality_pct:.2f}"
            )
            assert plain(row) in plain(words)


def test_every_comparison_stands_with_difference_score_and_word(
    case: ReportCase, words: str
) -> None:
    assert {one.word for one in case.judgement.crosscheck.comparisons} >= {"agrees", "disagrees"}
    for one in case.judgement.crosscheck.comparisons:
        row = (
            f"{one.difference_mm:+.2f} {2 * one.u_difference_mm:.2f} {one.en:+.2f} {one.word}"
        )  # fmt: skip
        assert plain(row) in plain(words)
    agreement = case.judgement.agreement
    assert agreement is not None
    assert plain(f"{agreement.low_mm:+.2f} mm to {agreement.high_mm:+.2f} mm") in plain(words)


def test_every_verdict_stands_with_limit_source_edition_margin_and_rule(
    case: ReportCase, words: str
) -> None:
    assert case.judgement.verdicts
    assert plain(case.decision.source) in plain(words)
    for one in case.judgement.verdicts:
        verdict, rule = one.verdict, one.verdict.limit.rule
        bounds = " and ".join(
            f"{word} {bound:.2f}"
            for word, bound in (
                ("at least", verdict.limit.low_mm), ("at most", verdict.limit.high_mm),
            )
            if bound is not None
        )  # fmt: skip
        row = (
            f"station {one.station} {one.source} {verdict.value_mm:.2f} {verdict.u_mm:.2f} "
            f"{bounds} {verdict.margin_mm:+.2f}"
        )
        assert plain(row) in plain(words)
        for said in (rule.source, rule.edition, rule.sure):
            assert plain(said) in plain(words)


def test_every_limit_that_does_not_apply_says_why(case: ReportCase, words: str) -> None:
    assert case.judgement.not_applicable
    for one in case.judgement.not_applicable:
        reason = one.reason.removeprefix(f"{one.rule.rule_set}, {one.rule.what}: ")
        assert plain(reason[1:]) in plain(words)


def test_flags_first_look_and_cautions_stand_in_the_report(case: ReportCase, words: str) -> None:
    assert case.flags
    assert plain(case.judgement.first_look) in plain(words)
    for flag in case.flags:
        assert plain(flag.finding.seen) in plain(words)
    assert plain("Open: not settled.") in plain(words)
    assert plain("by the gauge at station 3 rest on entries") in plain(words)
    for caution in CAUTIONS:
        assert plain(caution) in plain(words)


def test_raw_data_hold_the_typed_text_the_hashes_and_the_budgets(
    case: ReportCase, words: str
) -> None:
    for reading in case.judgement.log.readings:
        assert plain(f"{reading.typed} {reading.value_mm:.3f} C-1 A. Berg") in plain(words)
    for one in case.judgement.log.results:
        assert one.photo_sha256 in plain(words)
        if isinstance(one, Estimate):
            assert plain(f"combined standard uncertainty u {one.u_mm:.4f} 100") in plain(words)
    assert plain("lost.jpg: no card number: no diameter. No printed card") in plain(words)


def test_there_is_room_for_three_signatures(words: str) -> None:
    for role in ("Inspector", "Reviewer", "Supervisor"):
        assert role in words
    assert plain("Role Name Signature Date") in plain(words)
    assert plain("It does not clear the rope") in plain(words)


def test_another_decision_rule_is_named_in_the_report(case: ReportCase) -> None:
    judged = judge_log(case.judgement.log, decision=SIMPLE)
    said = html_report(replace(case, judgement=judged, decision=SIMPLE))
    assert "simple acceptance" in said
    assert "its uncertainty is not counted" in said


def test_a_report_from_a_record_shows_fingerprint_settlements_reviews_and_history(
    tmp_path: Path,
) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        read = read_of(record, identity)
        found = judge_log(read.log).findings
        record.set_findings(identity, found, rank=1.0, by="A. Berg")
        key = record.inspection(identity).findings[0].key
        record.settle_finding(identity, key, how="Asked: 39.70 was read.", by="R. Two")
        record.review(identity, "sent back", by="R. Two", why="Read station 2 again.")
        case = case_of_record(record, read, name="record.db", made_at=MADE)
        fingerprint = record.fingerprint()
    assert len(case.pictures) == 9
    said = plain(text_of(pdf_report(case)))
    assert said.count(fingerprint) >= 3  # first page, chapter, every foot
    assert plain("Settled by R. Two") in said
    assert plain("Asked: 39.70 was read.") in said
    assert plain("sent back R. Two") in said
    assert plain("Its chain of events was checked and is whole.") in said
    assert plain("Earlier inspections") in said
    assert plain("mm per year (95 % interval") in said
    assert plain("An entry of this station deserves a second look") in said


def test_a_record_that_was_tampered_with_says_so_in_the_report(tmp_path: Path) -> None:
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
    assert plain("Its check found faults:") in plain(text_of(pdf_report(case)))


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
        with pytest.raises(ValueError, match="was changed while its report was made"):
            case_of_record(record, read, name="record.db")


def test_corrected_and_withdrawn_readings_are_listed(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.db") as record:
        identity = fill(record)
        record.withdraw_reading(identity, 1, by="A. Berg", why="wrong place")
        case = case_of_record(record, read_of(record, identity), name="record.db", made_at=MADE)
    said = plain(text_of(pdf_report(case)))
    assert plain("Readings that were corrected or withdrawn") in said
    assert plain("withdrawn A. Berg") in said
