"""The record: entries come back, corrections supersede, conflicts are reported. Both databases."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime

import pytest

from inspection.model.names import same_person
from inspection.model.readings import Gauge, Reading
from inspection.model.rope import Groove, Inspection, Rope, Station
from inspection.record.errors import RecordError, StaleError
from inspection.record.record import Record
from vision.results import Estimate, Finding, Marks, Refusal
from vision.uncertainty import Term

ROPE = Rope(
    "hoist rope 1",
    22.0,
    outer_strands=8,
    build="rotation-resistant",
    reference_mm=22.35,
    reference_on=date(2025, 3, 1),
    reference_how="mean of four, run in",
    grooves=(Groove("drum", 12.1, pitch_mm=24.5, layers=3, rope_min_mm=21.6), Groove("sheave", 12)),
)
GAUGE = Gauge("C-07", "wide-jaw caliper", 0.01, 0.03, date(2027, 1, 31))
RULER = Gauge("g", "ruler", 0.01, 0.03)  # type: ignore[arg-type]
VISIT = Inspection(
    "2026-11",
    ROPE.identity,
    date(2026, 11, 2),
    place="yard, bay 3",
    inspector="A. Berg",
    reviewer="B. Lind",
    supervisor="C. Holm",
    stations=(Station(1, 0.0), Station(2, 41.5, "crossover, layer 2")),
)
FIRST = Reading("22,41", 22.41, 1, 0, "C-07", "A. Berg", datetime(2026, 11, 2, 9, 14, 30))
SECOND = Reading("22.4", 22.4, 1, 90, "C-07", "A. Berg")
ESTIMATE = Estimate(
    22.38,
    (Term("left edge", 0.02, "mm", 1.0, "A", "edge:1:left"),),
    findings=(Finding("print-unchecked", "The print was not checked.", "Check it.", "warn"),),
    station=1,
    view_deg=0,
    photo_name="s1-0.jpg",
    photo_sha256="ab" * 32,
    taken_at=datetime(2026, 11, 2, 9, 15),
    marks=Marks(
        ((1.0, 2.0), (1.5, 9.0)),
        ((5.0, 2.0),),
        ((1, 2), (3, 4)),
        ((5, 6), (7, 8)),
        (4.0, 5.0),
        ((0.0, 0.0), (9.0, 0.0)),
    ),
)
REFUSAL = Refusal(
    (Finding("too-far", "31 px wide.", "Go nearer.", "refuse", 31.0, 40.0, "px"),),
    station=2,
    view_deg=90,
    photo_sha256="cd" * 32,
)
ODD = Finding(
    "equal-pairs",
    "x equals y at 9 of 10 stations.",
    "Read them again.",
    "look",
    where=("station 1", "station 2"),
    p_value=0.002,
    innocent="A very round rope.",
)


@pytest.fixture
def filled(record: Record) -> Record:
    record.add_rope(ROPE, by="A. Berg")
    record.add_gauge(GAUGE, by="A. Berg")
    record.add_inspection(VISIT, by="A. Berg")
    assert record.add_readings("2026-11", [FIRST, SECOND], by="A. Berg") == (1, 2)
    return record


def test_what_goes_in_comes_out(filled: Record, opened: Callable[[], Record]) -> None:
    filled.add_results("2026-11", [ESTIMATE, REFUSAL], by="A. Berg")
    there = opened().inspection("2026-11")
    assert there.inspection == VISIT
    assert there.rope == ROPE
    assert there.gauges == (GAUGE,)
    assert there.readings == (FIRST, SECOND)
    assert there.results == (ESTIMATE, REFUSAL)
    assert there.state == "draft"
    assert filled.ropes() == (ROPE,)
    assert filled.gauge("C-07") == GAUGE
    assert [item.reading for item in filled.readings(person="A. Berg")] == [FIRST, SECOND]
    assert not list(filled.readings(gauge="C-99"))


def test_ones_own_inspections_are_those_that_the_events_say(filled: Record) -> None:
    for name, inspector in (("2026-12", "C. Holm"), ("2027-01", "")):
        visit = replace(VISIT, identity=name, inspector=inspector)
        filled.add_inspection(visit, by="E. Lund")
    filled.add_results("2026-12", [ESTIMATE], by="D. Ek")
    filled.withdraw_reading("2026-11", 1, by="C. Holm", why="the wrong rope")
    said = [event for event in filled.events() if event.about == "inspection"]
    for person in ("A. Berg", "C. Holm", "D. Ek", "E. Lund", "c.  holm", "nobody"):
        entered = {event.subject for event in said if event.who == person}
        named = {"2026-12"} if same_person(person, "C. Holm") else set()
        named |= {"2026-11"} if same_person(person, VISIT.inspector) else set()
        found = filled.ranked(person=person)
        assert {one.identity for one in found} == entered | named, person
        assert [one for one in filled.ranked() if one in found] == found  # in the same order
    assert filled.verify().sound


def test_a_correction_supersedes_and_the_old_reading_stays_in_its_event(filled: Record) -> None:
    better = replace(FIRST, typed="22,14", value_mm=22.14)
    filled.correct_reading("2026-11", 1, better, by="A. Berg", why="digits swapped")
    there = filled.inspection("2026-11")
    assert there.readings == (better, SECOND)
    assert there.logged[0].corrected_by == "A. Berg"
    event = list(filled.events(about="inspection", subject="2026-11"))[-1]
    assert (event.who, event.kind, event.why) == ("A. Berg", "reading corrected", "digits swapped")
    assert event.old_value["typed"] == "22,41"
    assert event.new_value["typed"] == "22,14"
    assert datetime.fromisoformat(event.at).utcoffset() is not None
    assert filled.verify().sound


def test_a_correction_without_a_reason_is_refused(filled: Record) -> None:
    with pytest.raises(ValueError, match="say why"):
        filled.correct_reading("2026-11", 1, SECOND, by="A. Berg", why=" ")


def test_a_withdrawn_reading_is_kept_but_does_not_count(filled: Record) -> None:
    filled.withdraw_reading("2026-11", 2, by="A. Berg", why="gauge fell down")
    there = filled.inspection("2026-11")
    assert there.readings == (FIRST,)
    assert [item.withdrawn for item in there.logged] == [False, True]
    with pytest.raises(RecordError, match="reading 2 was withdrawn; add a new reading"):
        filled.correct_reading("2026-11", 2, SECOND, by="A. Berg", why="again")
    assert filled.add_readings("2026-11", [SECOND], by="A. Berg") == (3,)
    assert filled.verify().sound


def test_a_second_estimate_of_the_same_photograph_supersedes_the_first(filled: Record) -> None:
    filled.add_results("2026-11", [ESTIMATE], by="A. Berg")
    again = replace(ESTIMATE, diameter_mm=22.36)
    assert filled.add_results("2026-11", [again, REFUSAL], by="A. Berg") == (1, 2)
    assert filled.inspection("2026-11").results == (again, REFUSAL)
    assert filled.ranked()[0].results == 2
    assert filled.verify().sound


def test_a_person_cannot_review_their_own_readings(filled: Record) -> None:
    with pytest.raises(RecordError, match=r"a\.  berg read or corrected 2 of the readings"):
        filled.review("2026-11", "accepted", by="a.  berg")
    better = replace(FIRST, typed="22,14", value_mm=22.14)
    filled.correct_reading("2026-11", 1, better, by="B. Lind", why="digits swapped")
    with pytest.raises(RecordError, match=r"B. Lind read or corrected 1 of the readings"):
        filled.review("2026-11", "accepted", by="B. Lind")
    filled.review("2026-11", "accepted", by="C. Holm")
    assert filled.inspection("2026-11").state == "reviewed"


def test_a_review_goes_through_its_states_each_by_a_person(filled: Record) -> None:
    with pytest.raises(ValueError, match="say why"):
        filled.review("2026-11", "sent back", by="B. Lind")
    with pytest.raises(RecordError, match="no decision to overrule"):
        filled.review("2026-11", "overruled", by="C. Holm", why="rope was changed")
    filled.review("2026-11", "sent back", by="B. Lind", why="station 2 is missing")
    with pytest.raises(RecordError, match="another person must overrule"):
        filled.review("2026-11", "overruled", by="B. Lind", why="I was too strict")
    filled.review("2026-11", "overruled", by="C. Holm", why="station 2 can't be reached")
    there = filled.inspection("2026-11")
    assert there.state == "reviewed"
    assert [(item.state, item.who) for item in there.reviews] == [
        ("sent back", "B. Lind"),
        ("overruled", "C. Holm"),
    ]
    assert there.reviews[1].why == "station 2 can't be reached"


def test_a_reviewed_inspection_that_changes_waits_for_the_reviewer_again(filled: Record) -> None:
    filled.review("2026-11", "accepted", by="B. Lind")
    filled.add_readings("2026-11", [replace(FIRST, station=2)], by="A. Berg")
    there = filled.inspection("2026-11")
    assert there.state == "submitted"
    assert [item.state for item in there.reviews] == ["accepted"]
    assert filled.verify().sound


def test_the_second_of_two_editors_is_told_and_nothing_is_lost(
    filled: Record, opened: Callable[[], Record]
) -> None:
    other = opened()
    other.save_draft("2026-11", {"2, 0": "22,5"}, by="B. Lind")
    seen = filled.inspection("2026-11").revision
    assert other.inspection("2026-11").revision == seen
    first = replace(FIRST, typed="22,14", value_mm=22.14)
    filled.correct_reading("2026-11", 1, first, by="A. Berg", why="swapped", revision=seen)
    second = replace(FIRST, typed="22,44", value_mm=22.44)
    with pytest.raises(StaleError) as told:
        other.correct_reading("2026-11", 1, second, by="B. Lind", why="misread", revision=seen)
    assert "reading corrected by A. Berg at 20" in str(told.value)
    assert "kept as your draft" in str(told.value)
    assert told.value.draft_kept
    assert told.value.change["typed"] == "22,44"
    assert filled.inspection("2026-11").readings[0] == first
    draft = filled.draft("2026-11", by="B. Lind", kind="unsaved")
    assert draft is not None
    assert draft.data == told.value.change
    assert draft.revision == seen
    typed = filled.draft("2026-11", by="B. Lind")
    assert typed is not None
    assert typed.data == {"2, 0": "22,5"}  # what the page keeps is not overwritten


def test_a_draft_outlives_a_closed_browser(filled: Record, opened: Callable[[], Record]) -> None:
    typed = {"1, 0": "22,4", "1, 90": ""}
    filled.save_draft("2026-11", {"1, 0": "22"}, by="A. Berg")
    filled.save_draft("2026-11", typed, by="A. Berg", revision=4)
    again = opened()
    draft = again.draft("2026-11", by="A. Berg")
    assert draft is not None
    assert draft.data == typed
    assert again.draft("2026-11", by="B. Lind") is None
    again.drop_draft("2026-11", by="A. Berg")
    assert again.draft("2026-11", by="A. Berg") is None


def test_findings_are_settled_in_words_and_stay_settled_when_found_again(filled: Record) -> None:
    late = Finding("too-fast", "Two readings within 3 s.", "Ask.", "look")
    filled.set_findings("2026-11", [ODD, late], rank=7.5, by="C. Holm")
    there = filled.inspection("2026-11")
    assert [item.finding for item in there.findings] == [ODD, late]
    assert (there.rank, there.open_findings) == (7.5, 2)
    key = there.findings[0].key
    filled.settle_finding("2026-11", key, how="read again together, agreed", by="C. Holm")
    filled.set_findings("2026-11", [ODD], rank=7.5, by="C. Holm")
    there = filled.inspection("2026-11")
    settled = there.findings[0]
    assert (settled.settled_by, settled.settled_how) == ("C. Holm", "read again together, agreed")
    assert [item.current for item in there.findings if item.finding == late] == [False]
    assert (there.rank, there.open_findings) == (0.0, 0)  # nothing is left to look at
    assert filled.verify().sound


def test_the_ranked_list_puts_the_most_deserving_first(filled: Record) -> None:
    for number, rank in enumerate([2.0, 9.0, 5.0, 5.0]):
        name = f"visit {number}"
        filled.add_inspection(replace(VISIT, identity=name), by="A. Berg")
        filled.set_findings(name, [ODD], rank=rank, by="C. Holm")
    filled.review("visit 2", "accepted", by="C. Holm")
    listed = filled.ranked()
    order = [item.identity for item in listed]
    assert order == ["visit 1", "visit 2", "visit 3", "visit 0", "2026-11"]
    assert listed[0].headline == ODD.seen
    assert [item.identity for item in filled.ranked(state="reviewed")] == ["visit 2"]
    assert [item.identity for item in filled.ranked(limit=2)] == ["visit 1", "visit 2"]


def test_changes_made_together_are_saved_together_or_not_at_all(filled: Record) -> None:
    before = filled.fingerprint()

    def change_two_things() -> None:
        with filled.transaction() as batch:
            batch.add_rope(Rope("rope 2", 10.0), by="A. Berg")
            batch.add_readings("2026-11", [replace(FIRST, gauge="C-99")], by="A. Berg")

    with pytest.raises(RecordError, match="no gauge 'C-99'"):
        change_two_things()
    assert filled.fingerprint() == before
    assert filled.ropes() == (ROPE,)


def test_two_who_write_at_the_same_time_both_get_in(
    filled: Record, opened: Callable[[], Record]
) -> None:
    before = filled.verify().events
    failures: list[BaseException] = []

    def write(record: Record, person: str) -> None:
        try:
            for _ in range(25):
                record.add_readings("2026-11", [replace(FIRST, person=person)], by=person)
        except BaseException as error:
            failures.append(error)

    threads = [
        threading.Thread(target=write, args=(opened(), name)) for name in ("D. Dahl", "E. Ek")
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures
    found = filled.verify()
    assert found.faults == ()
    assert found.events == before + 50
    numbers = [item.number for item in filled.inspection("2026-11").logged]
    assert numbers == list(range(1, 53))


NOT_TO_BE_RECORDED: list[tuple[Callable[[Record], object], str]] = [
    (lambda r: r.add_rope(ROPE, by="A"), "rope 'hoist rope 1' is already in the record"),
    (lambda r: r.add_rope(Rope("x", 0.0), by="A"), "must be more than 0 mm; got 0.0"),
    (lambda r: r.add_rope(Rope("x", float("nan")), by="A"), "more than 0 mm; got nan"),
    (lambda r: r.add_rope(Rope(" x", 5.0), by="A"), "without spaces around it; got ' x'"),
    (lambda r: r.add_rope(Rope("x\0", 5.0), by="A"), "control character"),
    (lambda r: r.add_rope(Rope("x", 5.0, site="a\rb"), by="A"), "control character"),
    (lambda r: r.add_rope(Rope("x", 5.0, site="\ud800"), by="A"), "not valid Unicode"),
    (lambda r: r.add_rope(Rope("x" * 201, 5.0), by="A"), "201 characters; at most 200"),
    (lambda r: r.add_rope(Rope("x", 5.0), by=""), "person needs a name"),
    (lambda r: r.change_rope(Rope("x", 5.0), by="A", why="w"), "no rope 'x' in the record"),
    (lambda r: r.change_rope(ROPE, by="A", why=""), "say why"),
    (lambda r: r.add_gauge(RULER, by="A"), "got 'ruler'"),
    (lambda r: r.add_inspection(VISIT, by="A"), "is already in the record"),
    (lambda r: r.add_inspection(replace(VISIT, identity="v", rope="?"), by="A"), "no rope"),
    (lambda r: r.inspection("v"), "no inspection 'v' in the record"),
    (lambda r: r.rope("v"), "no rope 'v' in the record"),
    (lambda r: r.add_readings("2026-11", [replace(FIRST, view_deg=360)], by="A"), "0 to 359"),
    (lambda r: r.add_readings("2026-11", [replace(FIRST, value_mm=-1)], by="A"), "more than 0"),
    (lambda r: r.correct_reading("2026-11", 9, FIRST, by="A", why="w"), "no reading 9"),
    (lambda r: r.review("2026-11", "fine", by="C"), "got 'fine'"),
    (lambda r: r.settle_finding("2026-11", "k", how="h", by="C"), "no finding 'k'"),
    (lambda r: r.set_findings("2026-11", [ODD, ODD], rank=1, by="C"), "give one"),
]


def test_what_cannot_be_recorded_is_refused_in_one_sentence(filled: Record) -> None:
    before = filled.fingerprint()
    for change, sentence in NOT_TO_BE_RECORDED:
        with pytest.raises(ValueError, match=r".") as told:
            change(filled)
        assert sentence in str(told.value)
        assert "\n" not in str(told.value)
        assert filled.fingerprint() == before, sentence


@pytest.mark.fault(
    "a text of a hundred thousand characters, which no report can hold",
    "`a text to be recorded has 100000 characters; at most 10000 are allowed: ...`",
)
def test_a_text_without_end_is_not_recorded(filled: Record) -> None:
    before = filled.last_event()
    for remarks, why in (("x" * 100_000, "more"), ("", "x" * 100_000)):
        there = filled.inspection("2026-11")
        with pytest.raises(ValueError, match="has 100000 characters; at most 10000 are allowed"):
            filled.change_inspection(
                replace(there.inspection, remarks=remarks),
                by="A. Berg", why=why, revision=there.revision,
            )  # fmt: skip
    assert filled.last_event() == before
