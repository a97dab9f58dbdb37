"""The pages' upload route: what is stored, for whom, how much, and repeated uploads."""

from __future__ import annotations

import errno
import hashlib
import os
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from inspection.model.rope import Inspection, Rope
from inspection.record.record import Record, open_record
from tests.ui.test_access_answers import logged_in
from tests.ui.test_measuring_queue import made_up
from tests.ui.upload_hands import HOST, give, put
from ui import environment
from ui.services import measuring_queue, trays
from ui.services.access.roles import Person, local_user
from ui.web.page import door, receive, security, upload_routes
from ui.web.page.upload_routes import owner_of

PHOTO = b"\xff\xd8\xff a photograph \x03"
TOKEN = "token-of-the-start"
VERIFIED = '{{"is_logged_in": true, "email": "{}", "email_verified": true}}'
TEAM = """
[people."a@example.org"]
name = "A. Berg"
roles = ["inspector"]

[people."c@example.org"]
name = "C. Holm"
roles = ["inspector"]

[people."d@example.org"]
name = "D. Voss"
roles = ["supervisor"]
"""


@pytest.fixture
def record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Record]:
    path = tmp_path / "record.db"
    monkeypatch.setenv("ROPE_PHOTO_RECORD", str(path))
    monkeypatch.setenv(environment.LOGINS_FILE, str(tmp_path / "logins.db"))
    monkeypatch.setenv(environment.ORIGINS, f"http://{HOST}")
    monkeypatch.setenv(environment.TOKEN, TOKEN)
    monkeypatch.delenv("ROPE_PHOTO_TEAM", raising=False)
    monkeypatch.setattr(measuring_queue, "apart", made_up)
    receive.forget_record()
    security._uploads.clear()
    monkeypatch.setenv(environment.CAMERAS_FILE, str(tmp_path / "cameras.json"))
    with open_record(path) as opened:
        opened.add_rope(Rope("hoist rope", 22.0), by="A. Berg")
        opened.add_inspection(
            Inspection("visit", "hoist rope", date(2026, 11, 2), inspector="A. Berg"), by="A. Berg"
        )
        yield opened


@pytest.fixture
def team(record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "team.toml"
    file.write_text(TEAM, encoding="utf-8")
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(file))
    return file


def alone(body: bytes = PHOTO, path: str = "/uploads/photographs", **more: Any) -> Any:
    """Send as the one person of this machine, past the door."""
    query = {"name": "a.jpg", "by": "A. Berg", "inspection": "visit"}
    query |= {"owner": owner_of(local_user("A. Berg")), **more.pop("query", {})}
    return put(path, body, query, **{"cookie": f"{door.TOKEN_COOKIE}={TOKEN}", **more})


def as_one(email: str, body: bytes = PHOTO, **query: str) -> Any:
    """Send as somebody who logged in."""
    who = Person("", email, frozenset())
    told = {"name": "a.jpg", "inspection": "visit", "owner": owner_of(who), **query}
    return put(
        "/uploads/photographs", body, told, cookie=logged_in(VERIFIED.format(email)),
        origin=f"http://{HOST}",
    )  # fmt: skip


def test_a_photograph_is_stored_under_its_hash_and_waits(record: Record) -> None:
    sha256 = hashlib.sha256(PHOTO).hexdigest()
    assert alone() == (200, {"sha256": sha256, "known": False})
    there = record.inspection("visit")
    assert [(one.name, one.sha256) for one in there.photographs] == [("a.jpg", sha256)]
    assert there.waiting == {sha256}
    assert record.photographs.get(sha256) == PHOTO
    # an answer that was lost on the way: it comes again, and is kept once
    assert alone() == (200, {"sha256": sha256, "known": True})
    assert len(record.inspection("visit").photographs) == 1
    (event,) = [one for one in record.events(subject="visit") if one.kind == "photograph added"]
    assert event.who == "A. Berg"


@pytest.mark.parametrize(
    ("more", "status", "words"),
    [
        ({"body": b"%PDF-1.7"}, 415, "a.jpg is a PDF file; a photograph must be JPEG"),
        ({"body": b"not a photograph"}, 415, "a.jpg is not a photograph that can be read"),
        ({"body": b""}, 415, "a.jpg is empty"),
        ({"query": {"inspection": "other"}}, 422, "There is no inspection 'other' that you can"),
        ({"query": {"print_set": "x"}}, 422, "The record has no print check of card set 'x'"),
        ({"query": {"by": ""}}, 422, "The person needs a name"),
        ({"query": {"owner": "x"}}, 403, upload_routes.OTHERS),
        ({"content_length": ""}, 411, "The upload does not state its size."),
        ({"content_length": "99"}, 400, "The upload was incomplete"),
        ({"content_length": "3"}, 422, "The upload is larger than it stated."),
        ({"cookie": ""}, 403, "Log in first."),
        ({"origin": "http://127.0.0.1:9999"}, 403, "do not answer at this address"),
        ({"host": "elsewhere:8501"}, 403, "do not answer at this address"),
    ],
)
def test_what_is_not_taken_is_told(
    record: Record, more: dict[str, Any], status: int, words: str
) -> None:
    got, told = alone(**more)
    assert got == status, told
    assert words in told["error"]
    assert not record.inspection("visit").photographs


@pytest.mark.fault(
    "an upload of more than 40 MB, or one too many",
    "`The photograph has 41 MB; the limit is 40 MB.`",
)
def test_a_photograph_too_large_or_one_too_many_is_refused(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(receive.st, "get_option", lambda _: 40)
    status, told = alone(content_length=str(41 * 1024 * 1024), cookie="", door=False)
    assert (status, told["error"]) == (422, "The photograph has 41 MB; the limit is 40 MB.")
    monkeypatch.setattr(measuring_queue, "MOST_PHOTOGRAPHS", 1)
    assert alone()[0] == 200
    status, told = alone(b"\xff\xd8\xff another")
    assert status == 422
    assert "the inspection has 1 photographs, which are the most" in told["error"]


def test_without_a_name_a_photograph_is_measured_but_not_recorded(record: Record) -> None:
    assert alone(path="/uploads/trays/looks", query={"by": ""})[0] == 200
    assert alone(query={"by": ""})[0] == 422
    assert not record.inspection("visit").photographs


def test_a_name_is_made_fit_for_the_record(record: Record) -> None:
    for number, (given, kept) in enumerate(
        {
            "../../etc/a.jpg": ".. .. etc a.jpg",
            "a\r\nb.jpg": "a  b.jpg",
            "": "photograph.jpg",
        }.items()
    ):
        assert alone(PHOTO + bytes([number]), query={"name": given})[0] == 200
        assert record.inspection("visit").photographs[-1].name == kept


@pytest.mark.fault(
    "a photograph uploaded to an inspection that has been closed",
    "`... is closed; withdraw the decision, ...`; the browser keeps the photograph",
)
def test_a_closed_inspection_takes_none_and_says_so(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inspection.record.changes import commands

    closed = commands.ClosedError("the inspection 'visit' is closed; withdraw the decision.")

    def refuse(*_: object, **__: object) -> None:
        raise closed

    monkeypatch.setattr(measuring_queue.waiting, "add_waiting", refuse)
    status, told = alone()
    assert status == 422  # no use in sending it again
    assert "is closed" in told["error"]


@pytest.mark.fault(
    "a record that does not answer while a photograph is uploaded",
    "the record's message beside `They are kept in this browser and will be sent again.`",
)
def test_a_record_that_is_gone_for_a_while_costs_no_photograph(
    record: Record, tmp_path: Path
) -> None:
    assert alone(b"\xff\xd8\xff first")[0] == 200
    (tmp_path / "record.db").rename(tmp_path / "elsewhere.db")
    assert alone()[0] == receive.LATER
    (tmp_path / "elsewhere.db").rename(tmp_path / "record.db")
    assert alone()[0] == 200
    assert len(record.inspection("visit").photographs) == 2


def test_people_add_to_their_own_inspections_only(team: Path, record: Record) -> None:
    assert as_one("a@example.org")[0] == 200
    (event,) = [one for one in record.events(subject="visit") if one.kind == "photograph added"]
    assert event.who == "A. Berg"  # whatever name the browser sends
    assert as_one("a@example.org", b"\xff\xd8\xff 2", by="C. Holm")[0] == 200
    assert {one.who for one in record.events(subject="visit")} == {"A. Berg"}
    status, told = as_one("c@example.org")
    assert (status, told["error"][:33]) == (422, "There is no inspection 'visit' th")
    status, told = as_one("d@example.org")
    assert status == 422
    assert "for the inspector" in told["error"]
    assert (
        as_one("a@example.org", owner=owner_of(Person("", "c@example.org", frozenset())))[0] == 403
    )
    team.write_text(TEAM.replace("a@", "z@"), encoding="utf-8")  # not of the team any more
    assert as_one("a@example.org", b"\xff\xd8\xff 3")[0] == 403
    assert len(record.inspection("visit").photographs) == 2


def test_uploads_here_count_in_a_persons_budget(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(security, "MOST_UPLOADS", 2)
    assert [alone(PHOTO + bytes([one]))[0] for one in range(3)] == [200, 200, 429]


def test_no_more_than_so_many_are_received_at_a_time(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(upload_routes, "MOST_AT_ONCE", 0)
    status, told = alone()
    assert (status, told["error"]) == (
        receive.LATER,
        "Other uploads are in progress; this one is waiting.",
    )
    assert not receive._busy["a page"]


def test_a_tray_keeps_photographs_for_its_person_until_they_were_used(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = owner_of(local_user("A. Berg"))
    sent = [
        alone(PHOTO + bytes([one]), path="/uploads/trays/boards", query={"name": f"{one}.jpg"})
        for one in (2, 1, 2)  # the last one comes again: its answer was lost on the way
    ]
    assert [status for status, _ in sent] == [200, 200, 200]
    there = trays.in_tray(mine, "boards")
    assert [(one.name, one.sha256) for one in there] == [
        ("2.jpg", sent[0][1]["sha256"]), ("1.jpg", sent[1][1]["sha256"])
    ]  # fmt: skip
    assert trays.read_from_tray(mine, "boards", there[0].sha256).data == PHOTO + b"\x02"
    assert trays.in_tray("f" * 24, "boards") == ()
    assert record.last_event() == 2  # the rope and its inspection: nothing came into the record
    monkeypatch.setitem(trays.MOST, "boards", 2)  # type: ignore[arg-type]
    status, told = alone(PHOTO + b"3", path="/uploads/trays/boards")
    assert (status, told["error"][:46]) == (422, "a.jpg is one too many: 2 photographs are the m")
    trays.empty_tray(mine, "boards", only=there[0].sha256)
    assert trays.in_tray(mine, "boards") == there[1:]
    with pytest.raises(ValueError, match="no longer kept; send it again"):
        trays.read_from_tray(mine, "boards", there[0].sha256)
    # of one to be looked at the next takes the place
    for one in (b"4", b"5"):
        assert alone(PHOTO + one, path="/uploads/trays/looks")[0] == 200
    (last,) = trays.in_tray(mine, "looks")
    assert trays.read_from_tray(mine, "looks", last.sha256).data == PHOTO + b"5"


@pytest.mark.fault(
    "a disk that is full when a photograph arrives for marking or a quick look",
    "`The server can't store it just now: No space left on device.`; the one before it stays, and"
    " the browser keeps the new one",
)
def test_a_full_disk_costs_no_photograph_in_a_tray(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = owner_of(local_user("A. Berg"))
    assert alone(PHOTO + b"1", path="/uploads/trays/archive")[0] == 200

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", full)
        status, told = alone(PHOTO + b"2", path="/uploads/trays/archive")
    assert (status, told["error"]) == (
        receive.LATER, "The server can't store it just now: No space left on device."
    )  # fmt: skip
    (there,) = trays.in_tray(mine, "archive")
    assert trays.read_from_tray(mine, "archive", there.sha256).data == PHOTO + b"1"
    assert alone(PHOTO + b"2", path="/uploads/trays/archive")[0] == 200
    (there,) = trays.in_tray(mine, "archive")
    assert trays.read_from_tray(mine, "archive", there.sha256).data == PHOTO + b"2"


def test_what_lay_in_a_tray_for_a_day_goes(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = owner_of(local_user("A. Berg"))
    assert alone(path="/uploads/trays/bars")[0] == 200
    now = time.time()
    monkeypatch.setattr(trays.time, "time", lambda: now + 23 * 3600)
    assert alone(path="/uploads/trays/boards")[0] == 200
    assert trays.in_tray(mine, "bars")
    monkeypatch.setattr(trays.time, "time", lambda: now + 25 * 3600)
    assert alone(PHOTO + b"2", path="/uploads/trays/looks")[0] == 200
    assert not trays.in_tray(mine, "bars")


@pytest.mark.parametrize(
    ("path", "body", "status", "words"),
    [
        ("/uploads/trays/boards", b"%PDF-1.7", 415, "a.jpg is a PDF file; a photograph must be"),
        ("/uploads/trays/elsewhere", PHOTO, 422, "There is no tray 'elsewhere'"),
    ],
)
def test_what_a_tray_does_not_take_is_told(
    record: Record, path: str, body: bytes, status: int, words: str
) -> None:
    got, told = alone(body, path=path)
    assert got == status
    assert words in told["error"]


def test_a_tray_is_for_whoever_may_open_its_screen(team: Path, record: Record) -> None:
    def gives(email: str, tray: str) -> int:
        told = {"name": "a.jpg", "owner": owner_of(Person("", email, frozenset()))}
        cookie = logged_in(VERIFIED.format(email))
        path = f"/uploads/trays/{tray}"
        return put(path, PHOTO, told, cookie=cookie, origin=f"http://{HOST}")[0]

    # a supervisor opens Gauges and phones, but neither Cards nor Without the card (ui/TEAM.md)
    assert [gives("d@example.org", one) for one in trays.TRAYS] == [200, 422, 422, 422]
    assert [gives("a@example.org", one) for one in trays.TRAYS] == [200, 200, 200, 200]


def test_the_hands_of_other_tests_reach_the_route(record: Record) -> None:
    assert give("a.jpg", PHOTO, identity="visit", by="A. Berg")[0] == 200
