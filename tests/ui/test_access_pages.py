"""A team on the pages: each role on each screen, drafts, addresses, and names full of markup."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from inspection.record.errors import RecordError
from inspection.record.record import open_record
from tests.ui.test_screens import stands
from tests.ui.upload_hands import give
from ui.presenters.sheet.entry import read_draft
from ui.services import measuring_queue
from ui.services.access.roles import ROLES, SCREENS
from ui.services.sample import sample_folder

APP = Path(__file__).resolve().parents[2] / "ui" / "web" / "app.py"
SAMPLE = "2026-09-quay-crane-2"
FOREIGN = "2026-10-c-only"
PEOPLE = {
    "a": ("Inspector A", ("inspector",)),
    "b": ("Reviewer B", ("reviewer",)),
    "c": ("Inspector C", ("inspector",)),
    "d": ("Supervisor D", ("supervisor",)),
    "e": ("Inspector A Too", ("inspector", "reviewer")),
}
As = Callable[[str], AppTest]


def team_of(people: dict[str, tuple[str, tuple[str, ...]]]) -> str:
    return "".join(
        f'[people."{letter}@example.org"]\nname = "{name}"\nroles = {list(roles)}\n'
        for letter, (name, roles) in people.items()
    )


@pytest.fixture
def as_person(tmp_path: Path, empty_record: Path, monkeypatch: pytest.MonkeyPatch) -> As:
    """Return the pages as one of `PEOPLE` sees them, by letter; "" is not logged in."""
    (tmp_path / "team.toml").write_text(team_of(PEOPLE), encoding="utf-8")
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(tmp_path / "team.toml"))
    monkeypatch.setenv("ROPE_PHOTO_RECORD", str(tmp_path / "record.db"))
    shutil.copy(empty_record, tmp_path / "record.db")  # the pages make none that was named
    monkeypatch.setenv("ROPE_PHOTO_PERSON_FILE", str(tmp_path / "person.json"))

    def pages(letter: str) -> AppTest:
        at = AppTest.from_file(str(APP), default_timeout=120)
        claims = {"is_logged_in": True, "email": f"{letter}@example.org", "email_verified": True}
        at.user = claims if letter else {"is_logged_in": False}
        return at

    return pages


@pytest.fixture
def sampled(as_person: As, sample: Path, tmp_path: Path) -> As:
    """Return the same on a copy of the sample, whose readings Inspector A took."""
    shutil.copytree(sample, tmp_path, dirs_exist_ok=True)
    with open_record(tmp_path / "record.db") as record:
        other = replace(
            record.inspection(SAMPLE).inspection,
            identity=FOREIGN,
            inspector="Inspector C",
            on=date(2026, 10, 1),
        )
        record.add_inspection(other, by="Inspector C")
    return as_person


def clean(at: AppTest) -> AppTest:
    assert not at.exception
    assert not [one.value for one in at.error]
    return at


def words(at: AppTest) -> str:
    """Return what is written on the page, tables too."""
    kinds = ("markdown", "caption", "info", "warning", "error", "success", "title", "header")
    told = [str(one.value) for kind in kinds for one in getattr(at, kind)]
    told += [str(one.proto.body) for one in at.get("html")]
    return "\n".join(told)


def button(at: AppTest, label: str) -> Any:
    return next(one for one in at.button if one.label == label)


@pytest.mark.parametrize("role", ROLES)
def test_a_role_opens_its_screens_and_is_told_at_the_others(as_person: As, role: str) -> None:
    letter = next(key for key, (_, roles) in PEOPLE.items() if roles == (role,))
    at = clean(as_person(letter).run())
    for screen, needed in SCREENS.items():
        clean(at.switch_page(f"screens/{screen}.py").run())
        told = [one.value for one in at.warning if "this page is for" in one.value.lower()]
        if role in needed:
            assert not told, screen
            assert at.title, screen
        else:
            assert len(told) == 1, screen
            assert f"is here as {role}" in told[0]
            assert not at.title, screen  # nothing of the screen itself was drawn
            assert not at.text_input, screen


@pytest.mark.parametrize("letter", ["", "x"], ids=["nobody", "stranger"])
def test_who_has_no_role_sees_nothing_anywhere(sampled: As, letter: str) -> None:
    at = sampled(letter).run()
    for screen in SCREENS:
        clean(at.switch_page(f"screens/{screen}.py").run())
        assert [one.label for one in at.button] == [
            "Log out and use another login" if letter else "Log in"
        ]
        assert not at.title
        assert not at.sidebar.children
        for secret in ("quay crane", "22.11", SAMPLE, FOREIGN):
            assert secret not in words(at)
    if letter:
        assert "This login has no role here" in words(at)


def test_the_name_comes_from_the_team_file_and_cannot_be_typed(as_person: As) -> None:
    at = clean(as_person("a").run())
    assert not [one for one in at.text_input if one.label == "Your name"]
    assert "Inspector A" in words(at)


def test_an_inspector_sees_what_names_them_or_holds_entries_of_theirs(sampled: As) -> None:
    known = {}
    for letter in "abcd":
        at = clean(sampled(letter).run())
        listed = next(one for one in at.selectbox if one.label == "Inspection")
        known[letter] = set(listed.options)
        rows = at.get_by_key("register rows").proto.json
        assert ('"3: 21.' in rows) == (letter != "c")  # C may not see that figure
    assert known["a"] == {SAMPLE}
    assert known["c"] == {FOREIGN}
    assert known["b"] == known["d"] == {SAMPLE, FOREIGN}
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        mine = [one.identity for one in record.ranked(person="Reviewer B")]
        assert mine == [SAMPLE]  # loaded by B
        assert [one.identity for one in record.ranked(person="inspector  c")] == [FOREIGN]
        assert record.ranked(person="Nobody") == []
        assert len(record.ranked(person="Inspector C", limit=0)) == 0


@pytest.mark.fault(
    "somebody else's inspection, requested by a guessed address",
    "the same as for one that does not exist",
)
@pytest.mark.parametrize("asked", [FOREIGN, "made up", "<script>alert(1)</script>"])
def test_another_persons_inspection_is_refused_like_a_missing_one(sampled: As, asked: str) -> None:
    at = sampled("a")
    at.query_params["inspection"] = asked
    at.run().switch_page("screens/result.py")
    at.query_params["inspection"] = asked
    at.run()
    assert not at.exception
    assert len(at.error) == 1
    assert "that you can see" in at.error[0].value
    assert "Along the rope" not in words(at)
    if asked == FOREIGN:
        at = sampled("d")
        at.query_params["inspection"] = asked
        clean(at.run())


def test_a_draft_is_its_own_persons(sampled: As) -> None:
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        kept = {"gauge": "caliper 7", "rows": [["1", "0", "23,45"], ["", "", ""]]}
        record.save_draft(SAMPLE, kept, by="Inspector A")
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        there = record.inspection(SAMPLE)
        assert read_draft(record, there, "Inspector A").texts == {"1/0": "23,45"}
        assert read_draft(record, there, "Reviewer E").texts == {}
    clean(sampled("a").run().switch_page("screens/sheet.py").run())


def test_a_role_taken_away_counts_before_the_next_click_is_kept(
    sampled: As, tmp_path: Path
) -> None:
    at = clean(sampled("b").run().switch_page("screens/review.py").run())
    button(at, "Next").click()
    accept = button(clean(at.run()), "Accept")
    less = {**PEOPLE, "b": ("Reviewer B", ("inspector",))}
    (tmp_path / "team.toml").write_text(team_of(less), encoding="utf-8")
    accept.click()
    at.run()
    assert not at.exception
    assert "this page is for the reviewer or supervisor" in words(at).lower()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert not [one for one in record.inspection(SAMPLE).findings if one.settled_by]


def test_a_team_file_that_breaks_while_the_pages_run_lets_nobody_in(
    sampled: As, tmp_path: Path
) -> None:
    at = clean(sampled("a").run())
    (tmp_path / "team.toml").write_text("[people", encoding="utf-8")
    at.run()
    assert not at.exception
    assert "The team file can't be used just now" in words(at)
    assert "team.toml" not in words(at)
    assert "quay crane" not in words(at)


def test_nobody_settles_or_reviews_their_own_readings_whatever_asks_for_it(
    sampled: As, tmp_path: Path
) -> None:
    both = {**PEOPLE, "a": ("Inspector A", ("inspector", "reviewer", "supervisor"))}
    (tmp_path / "team.toml").write_text(team_of(both), encoding="utf-8")
    at = clean(sampled("a").run().switch_page("screens/review.py").run())
    at = stands(at)
    assert "can't review them" in at.error[0].value.replace("\\", "")
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        key = record.inspection(SAMPLE).findings[0].key
        for name in ("Inspector A", "inspector  a"):
            with pytest.raises(RecordError, match="can't review them"):
                record.settle_finding(SAMPLE, key, how="accepted", by=name)
            for state in ("accepted", "sent back", "overruled"):
                with pytest.raises(RecordError, match="can't review them"):
                    record.review(SAMPLE, state, by=name, why="mine")  # type: ignore[arg-type]
        record.settle_finding(SAMPLE, key, how="accepted", by="Reviewer B")


def test_one_photograph_too_many_is_reported_and_not_kept(
    sampled: As, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("ROPE_PHOTO_TEAM")
    monkeypatch.setattr(measuring_queue, "MOST_PHOTOGRAPHS", 10)  # the sample has ten
    folder = sample_folder()
    assert folder is not None
    one_more = (folder / "bar-16mm.jpg").read_bytes()
    status, told = give("more.jpg", one_more)
    assert status == 422
    assert "the inspection has 10 photographs, which are the most" in told["error"]
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        assert len(record.inspection(SAMPLE).photographs) == 10
