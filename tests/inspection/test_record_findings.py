"""Settled findings stay settled, and no others are: a finding is identified by what it is about."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.model.loss import LOSS_REMEDY, MAY_BE_LOSS
from inspection.model.rope import Inspection, Rope
from inspection.model.serialization import from_dict, to_dict
from inspection.record.changes import commands
from inspection.record.changes.finding_keys import SAME_MM, match_findings, new_key, sentence_key
from inspection.record.record import Record, open_record
from inspection.record.storage.events import Change, Signed
from inspection.record.views import LoggedFinding
from tests.inspection.older_tables import wind_back
from tests.inspection.test_record_files import FIRST_FINGERPRINT, FIRST_VERSION
from vision.results import Finding, Place

THIN = Finding(
    "outside-limit",
    "Station 3, by the gauge: mean 21.20 mm is below 21.25 mm.",
    "Decide.",
    "look",
    21.20,
    None,
    "mm",
    ("station 3",),
    places=(Place(3),),
    about=("gauge", "ISO 4309:2017", "mean diameter", "discard"),
)


@pytest.fixture
def visit(record: Record) -> Iterator[Record]:
    """A record that is sound whatever was found and settled in it."""
    record.add_rope(Rope("R-1", 22.0), by="A. Berg")
    record.add_inspection(Inspection("visit", "R-1", date(2026, 11, 3)), by="A. Berg")
    yield record
    assert record.verify().faults == ()


def at(value: float, finding: Finding = THIN) -> Finding:
    return replace(finding, value=value, seen=finding.seen.replace("21.20", f"{value:.2f}"))


def settle(record: Record, finding: Finding) -> None:
    record.set_findings("visit", [finding], rank=1.0, by="C. Holm")
    (logged,) = [one for one in record.inspection("visit").findings if one.current]
    record.settle_finding("visit", logged.key, how="gauge checked", by="C. Holm")


def settled(record: Record, *found: Finding) -> list[bool]:
    record.set_findings("visit", found, rank=1.0, by="C. Holm")
    current = [one for one in record.inspection("visit").findings if one.current]
    assert [one.finding for one in current] == list(found)
    return [bool(one.settled_by) for one in current]


def test_a_possible_loss_is_recognised_in_records_that_say_it_in_words_only() -> None:
    remedy = f"{LOSS_REMEDY} Check the nominal diameter."
    lost = replace(THIN, remedy=remedy, look_first=True, may_be_loss=True)
    thinner = replace(THIN, seen=f"All are lower. {MAY_BE_LOSS}", may_be_loss=True)
    newer = ("look_first", "may_be_loss")
    for finding in (THIN, lost, thinner):
        older = {name: it for name, it in to_dict(finding).items() if name not in newer}
        assert from_dict(Finding, older) == finding


SAME = [
    THIN,
    at(21.19),
    at(21.21),
    replace(THIN, seen="Mean diameter at station 3: 21.20 mm, discard at 21.25 mm."),
    replace(at(21.19), seen="Station 3 : 21,19 mm", remedy="Décider.", where=("poste 3",)),
    replace(THIN, p_value=0.2, innocent="Another tension."),
]
OTHERS = [
    at(21.10),  # thinner by more than a gauge's step: somebody must look again
    at(21.30),
    replace(THIN, value=None),
    replace(THIN, unit="%"),
    replace(THIN, code="local-decrease"),
    replace(THIN, places=(Place(4),)),
    replace(THIN, places=(Place(3, 90),)),
    replace(THIN, places=(Place(3), Place(4))),
    replace(THIN, about=("photographs", *THIN.about[1:])),
    replace(THIN, about=(*THIN.about[:-1], "accept")),
]


def test_a_settled_finding_stays_settled(visit: Record) -> None:
    settle(visit, THIN)
    for again in SAME:
        assert settled(visit, again) == [True], again


def test_another_finding_does_not_inherit_a_settlement(visit: Record) -> None:
    settle(visit, THIN)
    for other in OTHERS:
        assert settled(visit, other) == [False], other
        assert settled(visit, THIN, other) == [True, False], other
        assert settled(visit, other, THIN) == [False, True], other


def test_a_figure_that_creeps_away_from_what_was_settled_is_open_again(visit: Record) -> None:
    settle(visit, THIN)
    assert settled(visit, at(21.17)) == [True]
    assert settled(visit, at(21.14)) == [False]  # 0.06 mm from what was settled, not 0.03
    assert settled(visit, at(21.18)) == [True]


@given(st.floats(-SAME_MM, SAME_MM), st.floats(20.0, 22.0))
@settings(max_examples=200)
def test_no_rounding_decides_whether_a_finding_stays_settled(move: float, value: float) -> None:
    stored = LoggedFinding("k", at(value), True, "C. Holm", "", "checked", value)
    assert match_findings([at(value + move)], [stored]) == [stored]
    assert match_findings([at(value + 2.5 * SAME_MM)], [stored]) == [None]


def test_two_findings_of_one_code_and_place_keep_a_key_each(visit: Record) -> None:
    one, two = THIN, at(20.50)
    visit.set_findings("visit", [one, two], rank=1.0, by="C. Holm")
    first, second = visit.inspection("visit").findings
    assert first.key != second.key
    visit.settle_finding("visit", second.key, how="photographed again", by="C. Holm")
    assert settled(visit, at(20.51), at(21.19)) == [True, False]


def test_the_key_of_a_finding_does_not_hang_on_its_words_or_figure() -> None:
    assert new_key(THIN, ()) == new_key(replace(at(20.0), where=(), innocent="x"), ())
    others = [
        new_key(other, ())
        for other in (
            replace(THIN, code="growth"),
            replace(THIN, places=(Place(2),)),
            replace(THIN, about=()),
        )
    ]
    assert len({new_key(THIN, ()), new_key(THIN, {new_key(THIN, ())}), *others}) == 5


def save_as_before(record: Record, *found: Finding) -> None:
    """Save findings as the program did before they had `about`."""
    plain = [to_dict(one) for one in found]
    for values in plain:
        del values["places"], values["about"]
    with record.access.writing() as connection:
        change = Change("inspection", "visit", "findings set", new={"rank": 1.0, "findings": plain})
        commands.save(connection, change, Signed("C. Holm"))


def test_what_was_settled_under_its_sentence_stays_settled(visit: Record) -> None:
    save_as_before(visit, THIN)
    visit.settle_finding("visit", sentence_key(THIN), how="gauge checked", by="C. Holm")
    assert settled(visit, at(21.19)) == [True]
    assert settled(visit, replace(at(21.18), seen="Reworded: 21.18 mm.")) == [True]
    assert settled(visit, at(21.10)) == [False]
    (logged,) = [one for one in visit.inspection("visit").findings if one.settled_by]
    assert (logged.key, logged.settled_value) == (sentence_key(THIN), 21.20)


def test_of_two_old_findings_at_one_place_the_settled_one_is_known_by_its_sentence(
    visit: Record,
) -> None:
    new_rope = replace(
        THIN,
        seen="Station 3, by the gauge: mean 21.20 mm is outside EN 12385-4.",
        about=("gauge", "EN 12385-4", "mean diameter", "accept"),
    )
    save_as_before(visit, THIN, new_rope)
    visit.settle_finding("visit", sentence_key(new_rope), how="a used rope", by="C. Holm")
    assert settled(visit, at(21.19), at(21.19, new_rope)) == [False, True]


def test_an_old_finding_that_could_be_either_of_two_settles_neither(visit: Record) -> None:
    save_as_before(visit, THIN)
    visit.settle_finding("visit", sentence_key(THIN), how="gauge checked", by="C. Holm")
    one = replace(THIN, seen="Mean diameter 21.20 mm: discard.")
    two = replace(THIN, seen="Mean diameter 21.20 mm: not as new.", about=("gauge", "EN 12385-4"))
    assert settled(visit, one, two) == [False, False]


def test_an_upgrade_takes_the_settled_figures_from_the_events(
    path: Path,
) -> None:
    shutil.copy(FIRST_VERSION, path)
    with open_record(path) as record:
        (old,) = record.inspection("2026-11").findings
        assert (old.settled_how, old.settled_value) == ("read again together", None)
        again = replace(old.finding, seen="Equal at every station.", p_value=0.02)
        record.set_findings("2026-11", [again], rank=4.0, by="C. Holm")
        (now,) = record.inspection("2026-11").findings
        assert (now.key, now.settled_by, now.finding) == (old.key, old.settled_by, again)
        found = record.verify(noted=FIRST_FINGERPRINT)
        assert found.faults == ()


def test_the_settled_figure_of_an_upgraded_record_is_that_of_a_replay(path: Path) -> None:
    with open_record(path) as record:
        record.add_rope(Rope("R-1", 22.0), by="A. Berg")
        record.add_inspection(Inspection("visit", "R-1", date(2026, 11, 3)), by="A. Berg")
        save_as_before(record, THIN)
        record.settle_finding("visit", sentence_key(THIN), how="gauge checked", by="C. Holm")
        save_as_before(record, replace(THIN, value=21.2049))  # the same sentence
        with record.access.writing() as connection:  # as version 4 of the tables left it
            wind_back(connection, "0004")
        before = record.fingerprint()
    with open_record(path) as record:
        (logged,) = record.inspection("visit").findings
        assert logged.settled_value == 21.20
        assert record.verify(noted=before).faults == ()
