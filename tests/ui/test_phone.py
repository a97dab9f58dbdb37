"""The phone at the rope: what its routes answer, to whom, how much, and repeated requests."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import segno
from starlette.applications import Starlette

from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope, Station
from inspection.record.record import Record, open_record
from tests.ui.asgi_hands import answer_of
from tests.ui.test_measuring_queue import made_up
from ui import environment
from ui.services import measuring_queue
from ui.services.access import phone_tokens
from ui.services.access.phone_tokens import Grant
from ui.services.measuring_queue import work_off
from ui.web.page import door, receive, security
from ui.web.phone import routes

PHONES, DESK = "http://192.0.2.20:8501", "http://127.0.0.1:8501"
PHOTO = b"\xff\xd8\xff a photograph \x03"


@pytest.fixture
def record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Record]:
    path = tmp_path / "record.db"
    monkeypatch.setenv("ROPE_PHOTO_RECORD", str(path))
    monkeypatch.setenv(environment.LOGINS_FILE, str(tmp_path / "logins.db"))
    monkeypatch.setenv(environment.ORIGINS, DESK)
    monkeypatch.setenv(environment.PHONES, PHONES)
    monkeypatch.setenv(environment.TOKEN, "token-of-the-start")
    monkeypatch.setenv(environment.ONLY_HERE, "1")
    monkeypatch.delenv("ROPE_PHOTO_TEAM", raising=False)
    monkeypatch.setattr(measuring_queue, "apart", made_up)
    receive.forget_record()
    routes._asked.clear()
    routes._sent.clear()
    with open_record(path) as opened:
        opened.add_rope(Rope("hoist rope", 22.0), by="A. Berg")
        opened.add_gauge(Gauge("C-1", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        stations = tuple(Station(number, 6.0 * number) for number in (1, 2, 3))
        opened.add_inspection(
            Inspection("visit", "hoist rope", date(2026, 11, 2), stations=stations), by="A. Berg"
        )
        yield opened


@pytest.fixture
def token(record: Record) -> str:
    return phone_tokens.begin(
        Grant(record.access.where, "visit", "A. Berg", "", "", time.time() + 60)
    )


def asked(
    path: str, token: str = "", *, method: str = "GET", body: bytes = b"", query: str = "",
    client: str = "192.0.2.7", **headers: str,
) -> tuple[int, dict[str, str], Any]:  # fmt: skip
    """Return status, headers and body of the server's answer, its door before it."""
    given = {"host": PHONES.removeprefix("http://"), "content_length": str(len(body)),
             "authorization": f"Bearer {token}" if token else "", **headers}  # fmt: skip
    app = security.security_middleware(Starlette(routes=routes.ROUTES))
    status, got, whole = answer_of(
        app, method, path, given, body=body, query=query, client=client, part=1000
    )
    is_json = got.get("content-type", "").startswith("application/json")
    return status, got, json.loads(whole) if is_json else whole.decode()


def reading(**more: object) -> bytes:
    told = {"station": 1, "view_deg": 0, "typed": "22,14", "gauge": "C-1"}
    return json.dumps({**told, "at": "2026-11-29T10:15:20", **more}).encode()


def put(path: str, token: str, body: bytes, **more: Any) -> tuple[int, Any]:
    status, _, told = asked(path, token, method="PUT", body=body, **more)
    return status, told


# ---- the page and its paths -------------------------------------------------------------------


def test_the_capture_page_is_light_and_allows_no_script_but_its_own(record: Record) -> None:
    total = 0
    for path in ("/phone/", "/phone/capture.js", "/phone/capture.css", "/phone/offline.js"):
        status, headers, text = asked(path)
        assert status == 200
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self';")
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        total += len(text)
    assert total < 40_000
    _, _, page = asked("/phone/")
    assert "<script>" not in page
    assert " style=" not in page
    assert 'accept="image/*" capture="environment"' in page


def test_the_door_knows_every_path_of_the_phones_and_no_other(record: Record) -> None:
    assert {one.path for one in routes.ROUTES} == door.PHONE_PATHS
    for path in ("/phone", "/phone/_stcore/upload_file/x", "/phone/../", "/phone/state/", "/"):
        assert asked(path)[0] == 403  # and is never handed on to the pages


@pytest.mark.fault(
    "a phone where phones are not enabled",
    "nothing (403); on the page: `Phones have no access to these pages. ...`",
)
def test_without_phones_nothing_answers_at_those_paths(
    record: Record, token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert asked("/phone/state", token)[0] == 200
    monkeypatch.setenv(environment.PHONES, "")
    assert asked("/phone/state", token)[0] == 403
    assert asked("/phone/")[0] == 403


def test_phones_open_no_way_to_the_pages_from_another_machine(record: Record) -> None:
    cookie = f"{door.TOKEN_COOKIE}=token-of-the-start"
    desk = {"host": "127.0.0.1:8501", "cookie": cookie}
    here = asked("/", client="127.0.0.1", **desk)
    assert here[0] != 403
    # the same from another machine, which may claim any host and know the token
    assert asked("/", client="192.0.2.7", **desk)[0] == 403
    assert asked("/", client="192.0.2.7", cookie=cookie)[0] == 403


def test_another_sites_page_and_another_name_are_refused(record: Record, token: str) -> None:
    assert put("/phone/readings", token, reading(), origin="http://evil.example")[0] == 403
    assert put("/phone/readings", token, reading(), host="evil.example:8501")[0] == 403
    assert asked("/phone/readings", token, method="POST", body=reading())[0] == 405
    assert not record.inspection("visit").readings
    assert put("/phone/readings", token, reading(), origin=PHONES)[0] == 200


# ---- tokens --------------------------------------------------------------------------------------


@pytest.mark.fault(
    "a phone's link that has expired or was withdrawn",
    "`This link has expired or was withdrawn. Scan a new code from the inspection's page.`; "
    "what the phone holds stays on it",
)
def test_a_token_expires_can_be_taken_back_and_is_stored_as_a_hash(
    record: Record, token: str
) -> None:
    assert token.encode() not in Path(f"{record.access.where}").with_name("logins.db").read_bytes()
    for wrong in ("", "x" * 22, token[:-1], f"{token}x", "' OR 1=1 --"):
        status, _, told = asked("/phone/state", wrong)
        assert (status, told["error"]) == (403, routes.ENDED)
    where = record.access.where
    soon = phone_tokens.begin(Grant(where, "visit", "A. Berg", "", "", time.time() - 1))
    assert asked("/phone/state", soon)[0] == 403
    assert phone_tokens.live(where, "visit") == 1
    phone_tokens.take_back(where, "visit")
    assert phone_tokens.live(where, "visit") == 0
    assert put("/phone/photographs", token, PHOTO)[0] == 403
    assert not record.inspection("visit").photographs


def test_a_token_is_for_one_inspection_of_one_record(record: Record, token: str) -> None:
    inspection = Inspection("other", "hoist rope", date(2026, 11, 3))
    record.add_inspection(inspection, by="A. Berg")
    other = phone_tokens.begin(
        Grant(record.access.where, "other", "A. Berg", "", "", time.time() + 60)
    )
    assert put("/phone/readings", other, reading())[0] == 200
    assert asked("/phone/state", other)[2]["inspection"] == "other"
    assert not record.inspection("visit").readings
    elsewhere = phone_tokens.begin(Grant("/another.db", "visit", "A", "", "", time.time() + 60))
    assert asked("/phone/state", elsewhere)[0] == 403


def test_who_lost_the_role_meanwhile_adds_nothing(
    record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    team = tmp_path / "team.toml"
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(team))
    token = phone_tokens.begin(
        Grant(record.access.where, "visit", "A. Berg", "a@example.org", "", time.time() + 60)
    )
    entry = '[people."a@example.org"]\nname = "A. Berg"\nroles = ["{}"]\n'
    team.write_text(entry.format("inspector"), encoding="utf-8")
    assert asked("/phone/state", token)[0] == 200
    team.write_text(entry.format("reviewer"), encoding="utf-8")
    assert asked("/phone/state", token)[0] == 403
    team.write_text("no team", encoding="utf-8")
    status, _, told = asked("/phone/state", token)
    assert (status, told["error"]) == (403, routes.ENDED)  # no path of a file is told


def test_a_token_has_a_budget(record: Record, token: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(routes, "MOST_SENT_BYTES", len(PHOTO) + 5)
    assert put("/phone/photographs", token, PHOTO)[0] == 200
    assert put("/phone/photographs", token, PHOTO + b"more")[0] == 429
    monkeypatch.setattr(routes, "MOST_ASKED", 2)
    assert asked("/phone/state", token)[0] == 429
    assert asked("/phone/")[0] == 200


@pytest.mark.parametrize(
    ("body", "headers", "status", "words"),
    [
        (PHOTO, {"content_length": ""}, 411, "does not state its size"),
        (PHOTO, {"content_length": "999999999"}, 422, "MB; the limit is"),
        (PHOTO, {"content_length": "9"}, 422, "The upload is larger than it stated"),
        (PHOTO, {"content_length": "900"}, 400, "The upload was incomplete"),
        (b"%PDF-1.7", {}, 422, "is a PDF file; a photograph must be"),
        (b"", {}, 422, "is empty"),
    ],
)
def test_what_is_no_whole_photograph_is_refused_in_a_sentence(
    record: Record, token: str, body: bytes, headers: dict[str, str], status: int, words: str
) -> None:
    got, told = put("/phone/photographs", token, body, **headers)
    assert got == status
    assert words in told["error"]
    assert not record.inspection("visit").photographs


# ---- photographs and readings --------------------------------------------------------------------


def test_a_photograph_is_acknowledged_by_its_hash_kept_once_and_answered(
    record: Record, token: str
) -> None:
    for _ in range(2):  # the first answer got lost in a dead spot
        status, told = put("/phone/photographs", token, PHOTO, query="name=phone%201.jpg")
        assert (status, told) == (200, {"sha256": hashlib.sha256(PHOTO).hexdigest()})
    there = record.inspection("visit")
    assert [one.name for one in there.photographs] == ["phone 1.jpg"]
    assert record.photographs.get(there.photographs[0].sha256) == PHOTO
    _, _, state = asked("/phone/state", token)
    assert state["photographs"] == {told["sha256"]: {"state": "waiting"}}
    work_off(record, "visit")
    _, _, state = asked("/phone/state", token)
    answer = state["photographs"][told["sha256"]]
    assert (answer["state"], answer["place"]) == ("good", "station 3, 0°")
    cell = next(one for one in state["cells"] if (one["station"], one["view_deg"]) == (3, 0))
    assert (cell["photo"], cell["figure"], answer["words"]) == ("good", "", "")  # not yet read
    _, _, shown = asked("/phone/state", token, query="figures=1")
    assert shown["photographs"][told["sha256"]]["words"].startswith("22.00 ±")
    assert put("/phone/readings", token, reading(station=3))[0] == 200
    _, _, state = asked("/phone/state", token)
    assert state["photographs"][told["sha256"]]["words"].startswith("22.00 ±")


def test_a_refused_photograph_says_what_to_do(
    record: Record, token: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_photograph(*_: object) -> object:
        raise ValueError("phone 1.jpg is cut off or damaged: its end is missing; send it again.")

    monkeypatch.setattr(measuring_queue, "apart", no_photograph)
    _, told = put("/phone/photographs", token, PHOTO)
    work_off(record, "visit")
    answer = asked("/phone/state", token)[2]["photographs"][told["sha256"]]
    assert answer["state"] == "refused"
    assert "cut off or damaged" in answer["words"]
    assert answer["remedy"]


def test_a_reading_is_entered_once_as_it_was_typed_and_when(record: Record, token: str) -> None:
    for _ in range(2):
        assert put("/phone/readings", token, reading()) == (200, {"means": "22.14 mm"})
    (read,) = record.inspection("visit").readings
    assert (read.typed, read.value_mm, read.person) == ("22,14", 22.14, "A. Berg")
    assert str(read.at) == "2026-11-29 10:15:20"
    assert read.blind is False
    assert put("/phone/readings", token, reading(station=2, blind=True))[0] == 200
    assert record.inspection("visit").readings[1].blind is True
    record.correct_reading(
        "visit", 1, type(read)("22.41", 22.41, 1, 0, "C-1", "A. Berg"), by="A", why="swapped"
    )
    assert put("/phone/readings", token, reading())[0] == 200  # late, and it does not come back
    assert [one.typed for one in record.inspection("visit").readings] == ["22.41", "22,14"]


def test_a_doubtful_reading_is_asked_about_first(record: Record, token: str) -> None:
    status, told = put("/phone/readings", token, reading(typed="28,9"))
    assert status == 409
    assert "from nominal. Is that correct?" in told["error"]
    assert not record.inspection("visit").readings
    assert put("/phone/readings", token, reading(typed="28,9", sure=True))[0] == 200


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (reading(typed="thick"), "'thick' is not a length"),
        (reading(station=0), "Enter a station from 1"),
        (reading(gauge="C-9"), "The record has no gauge 'C-9'"),
        (reading(at="yesterday"), "could not be understood"),
        (b"[]", "could not be understood"),
        (b"{", "could not be understood"),
        (b"[" * 3000, "could not be understood"),
        (b"{" + b" " * 5000 + b"}", "The reading is too long"),
    ],
)
def test_a_reading_that_is_none_is_refused_in_a_sentence(
    record: Record, token: str, body: bytes, words: str
) -> None:
    status, told = put("/phone/readings", token, body)
    assert status == 422
    assert words in told["error"]
    assert not record.inspection("visit").readings


@pytest.mark.fault(
    "a record that does not answer while a phone sends",
    "`The record is not available just now. The phone keeps everything and tries again.`",
)
def test_a_record_that_is_unreachable_for_a_while_costs_the_phone_nothing(
    record: Record, token: str, tmp_path: Path
) -> None:
    assert asked("/phone/state", token)[0] == 200
    (tmp_path / "record.db").rename(tmp_path / "elsewhere.db")
    status, told = put("/phone/photographs", token, PHOTO)
    assert (status, told["error"]) == (503, routes.NOT_NOW)  # no path is told
    (tmp_path / "elsewhere.db").rename(tmp_path / "record.db")
    assert put("/phone/photographs", token, PHOTO)[0] == 200


def test_the_code_holds_the_link_and_is_coarse_enough_to_be_scanned() -> None:
    code = segno.make(f"http://192.168.100.200:8501/phone/#{'x' * 22}", error="m", micro=False)
    # ISO/IEC 18004: 4 modules a version and 17; a phone reads 41 modules from a screen at once
    assert code.symbol_size(border=0)[0] <= 41
