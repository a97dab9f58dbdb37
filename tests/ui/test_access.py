"""People and roles: the team file, whom a login identifies, and no unprotected screen or file."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from ui.services.access.roles import (
    ROLES,
    SCREENS,
    AccessError,
    Person,
    check_login,
    may_open,
    person_of,
    read_team,
    require_role,
)
from ui.web.page import login
from ui.web.panels.photographs import upload
from vision.photo.containers import MOST_PIXELS

UI = Path(login.__file__).parents[2]
TEAM = """
[people."a.berg@example.org"]
name = "A. Berg"
roles = ["inspector"]

[people."B@Example.org"]
name = "B. Holm"
roles = ["reviewer", "supervisor"]
"""
LOGIN = """
[auth]
redirect_uri = "https://ropes.example.org/oauth2callback"
cookie_secret = "0123456789abcdef0123456789abcdef"
client_id = "ropes"
client_secret = "s"
server_metadata_url = "https://login.example.org/.well-known/openid-configuration"
"""


@pytest.fixture
def team_file(tmp_path: Path) -> Path:
    file = tmp_path / "team.toml"
    file.write_text(TEAM, encoding="utf-8")
    return file


# ---- the team file ------------------------------------------------------------------------


def test_people_have_the_roles_that_the_file_gives(team_file: Path) -> None:
    team = read_team(team_file)
    assert team["a.berg@example.org"] == Person(
        "A. Berg", "a.berg@example.org", frozenset({"inspector"})
    )
    assert team["b@example.org"].roles == {"reviewer", "supervisor"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "names nobody"),
        ("[people]\n", "names nobody"),
        ("people = 7\n", "names nobody"),
        ("[people\n", "is not a TOML file"),
        ('[people.berg]\nname = "B"\nroles = []\n', "people are named by e-mail"),
        ('[people."a@b.c"]\nroles = ["inspector"]\n', "no name"),
        ('[people."a@b.c"]\nname = ""\n', "needs a name"),
        ('[people."a@b.c"]\nname = "A"\nroles = "inspector"\n', "roles must be a list"),
        ('[people."a@b.c"]\nname = "A"\nroles = ["boss"]\n', "the role 'boss'"),
        (
            '[people."a@b.c"]\nname = "A. Berg"\n[people."d@b.c"]\nname = "a.  BERG"\n',
            "give each their own",  # or they would share drafts and reviews
        ),
        ('[people."a@b.c"]\nname = "A"\n[people."A@B.C"]\nname = "D"\n', "twice"),
    ],
)
def test_what_is_wrong_with_a_team_file_is_reported_in_one_sentence(
    team_file: Path, text: str, told: str
) -> None:
    team_file.write_text(text, encoding="utf-8")
    with pytest.raises(AccessError, match=told) as wrong:
        read_team(team_file)
    assert str(team_file) in str(wrong.value)
    assert "\n" not in str(wrong.value)


def test_a_team_file_that_is_not_there_lets_nobody_in(tmp_path: Path) -> None:
    with pytest.raises(AccessError, match="can't be read: No such file"):
        read_team(tmp_path / "team.toml")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[auth]", "[other]", "lacks redirect_uri, cookie_secret, client_id"),
        ('client_secret = "s"', 'client_secret = ""', "lacks client_secret"),
        ("0123456789abcdef0123456789abcdef", "guess me", "has 8 characters"),
        ("/oauth2callback", "/", "its path must be /oauth2callback"),
        ("https://ropes.example.org/", "/", "the full address"),
    ],
)
def test_what_the_login_lacks_is_reported_in_one_sentence(
    team_file: Path, old: str, new: str, told: str
) -> None:
    team_file.write_text(LOGIN.replace(old, new), encoding="utf-8")
    with pytest.raises(AccessError, match=told):
        check_login(team_file)


def test_a_team_opens_its_pages_where_the_login_comes_back_to(team_file: Path) -> None:
    team_file.write_text(LOGIN, encoding="utf-8")
    assert check_login(team_file) == "https://ropes.example.org"


def test_the_example_that_is_shown_is_a_team_file(tmp_path: Path) -> None:
    page = (UI / "TEAM.md").read_text(encoding="utf-8")
    example = page.partition("```toml\n")[2].partition("```")[0]
    (tmp_path / "team.toml").write_text(example, encoding="utf-8")
    assert [one.name for one in read_team(tmp_path / "team.toml").values()] == [
        "A. Berg",
        "C. Holm",
    ]
    assert check_login(tmp_path / "team.toml") == "https://ropes.example.org"
    flat = " ".join(page.split())
    config = tomllib.loads((UI / "web" / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert (
        f"One photograph can have up to {config['server']['maxUploadSize']} MB and "
        f"{MOST_PIXELS / 1e6:.0f} megapixels,"
    ) in flat
    assert f"One inspection holds up to {upload.MOST_PHOTOGRAPHS} photographs." in flat
    assert config["server"]["address"] == "127.0.0.1"


def test_the_screens_of_each_role_are_told_as_they_are() -> None:
    tree = ast.parse((UI / "web" / "app.py").read_text(encoding="utf-8"))
    named = {node.targets[0].id: node.value for node in tree.body if isinstance(node, ast.Assign)}
    sections = ast.literal_eval(named["SECTIONS"])
    titles = {name: title.lstrip("0123456789 ") for one in sections.values()
              for name, title, _ in one}  # fmt: skip
    page = (UI / "TEAM.md").read_text(encoding="utf-8")
    using = (UI / "USING.md").read_text(encoding="utf-8")
    for role in ROLES:
        row = next(line for line in page.splitlines() if line.startswith(f"| {role} |"))
        open_to = [title for name, title in titles.items() if role in SCREENS[name]]
        assert row.split(" | ")[1].split(", ") == open_to
    for title in titles.values():
        assert f"| {title} | " in using


# ---- whom a login identifies----------------------------------------------------------------


@pytest.mark.parametrize(
    ("claims", "name"),
    [
        ({"email": "a.berg@example.org", "email_verified": True}, "A. Berg"),
        ({"email": "A.Berg@EXAMPLE.org", "email_verified": 1}, "A. Berg"),
        ({"email": "A.Berg@EXAMPLE.org"}, None),  # the claim is optional, and so is our belief
        ({"email": "b@example.org", "email_verified": "true"}, "B. Holm"),
        # OpenID Connect Core 1.0, 5.1: the provider did not make sure that it is theirs
        ({"email": "a.berg@example.org", "email_verified": False}, None),
        ({"email": "a.berg@example.org", "email_verified": "false"}, None),
        ({"email": "c@example.org", "email_verified": True}, None),
        ({"name": "A. Berg"}, None),
        ({"email": None}, None),
        ({"email": ""}, None),
        # fullwidth and small capital letters are other letters, though they fold to these
        ({"email": "ａ.berg@example.org", "email_verified": True}, None),
        ({"email": "a.berg@example.orɡ", "email_verified": True}, None),
    ],
)
def test_only_a_verified_address_of_the_file_is_somebody(
    team_file: Path, claims: dict[str, Any], name: str | None
) -> None:
    person = person_of(claims, read_team(team_file))
    assert (person.name if person else None) == name


def test_the_kelvin_sign_is_no_k(team_file: Path) -> None:
    """U+212A turns into k as a small letter; the address must not become somebody else's."""
    team_file.write_text('[people."k@b.c"]\nname = "K"\nroles = ["inspector"]\n', encoding="utf-8")
    assert "\u212a".lower() == "k"
    assert person_of({"email": "\u212a@b.c"}, read_team(team_file)) is None


@pytest.mark.parametrize("screen", [*SCREENS, "unheard-of"])
def test_a_person_without_a_role_opens_nothing(screen: str) -> None:
    with pytest.raises(AccessError, match="is here as no role"):
        require_role(Person("A", "a@b.c", frozenset()), screen)


def test_each_role_opens_its_screens_only() -> None:
    opened = {
        role: {one for one in SCREENS if may_open(Person("A", "a@b.c", frozenset({role})), one)}
        for role in ROLES
    }
    assert opened["inspector"] == set(SCREENS) - {"review", "supervise", "record"}
    assert opened["reviewer"] == {"start", "condition", "result", "review", "limits"}
    assert opened["supervisor"] == {
        "start", "condition", "result", "review", "supervise", "equipment", "limits", "record",
    }  # fmt: skip


# ---- nothing is forgotten -----------------------------------------------------------------


@cache
def every_call(source: str) -> tuple[tuple[str, str], ...]:
    """What is called, and in which function; "" for a module's own lines."""
    found: list[tuple[str, str]] = []

    def walk(node: ast.AST, inside: str) -> None:
        if isinstance(node, ast.FunctionDef):
            inside = node.name
        if isinstance(node, ast.Call):
            told = node.func
            called = getattr(told, "attr", None) or getattr(told, "id", None)
            found.append((called or "", inside))
        for child in ast.iter_child_nodes(node):
            walk(child, inside)

    walk(ast.parse(source), "")
    return tuple(found)


def calls(source: str, name: str) -> list[str]:
    """Return the functions in which something is called `name`."""
    return [inside for called, inside in every_call(source) if called == name]


def sources() -> Iterator[tuple[str, str]]:
    for path in sorted(UI.rglob("*.py")):
        yield path.relative_to(UI).as_posix(), path.read_text(encoding="utf-8")


def test_every_screen_has_its_roles_and_is_run_by_the_login_only() -> None:
    screens = {path.stem for path in (UI / "web" / "screens").glob("*.py")} - {"__init__"}
    assert screens == set(SCREENS)
    assert all(SCREENS.values())
    for name, source in sources():
        for made in ("Page", "navigation"):
            assert not calls(source, made) or name == "web/app.py", f"{name} makes pages of its own"
    app = (UI / "web" / "app.py").read_text(encoding="utf-8")
    assert calls(app, "run_screen") == [""]
    assert not calls(app, "run")  # only the login runs a screen
    assert calls((UI / "web" / "page" / "login.py").read_text(encoding="utf-8"), "run") == [
        "run_screen"
    ]


# whatever else would put a file under an address of the server's
LEAKS = ("image", "audio", "video", "pdf", "logo", "link_button", "write_stream")


def past_the_login(name: str, source: str) -> list[str]:
    """Return the places that hand out a file past the login."""
    found = [f"{name}: {one}" for one in calls(source, "download_button")]
    found += [f"{name}: {leak}" for leak in LEAKS for _ in calls(source, leak)]
    return [one for one in found if one != "web/page/login.py: download"]


def test_every_download_is_drawn_by_the_login() -> None:
    assert [one for name, source in sources() for one in past_the_login(name, source)] == []
    body = (UI / "web" / "page" / "login.py").read_text(encoding="utf-8")
    assert calls(body, "download_button") == calls(body, "guard_download") == ["download"]


def test_a_download_past_the_login_would_be_noticed() -> None:
    source = "import streamlit as st\ndef show():\n    st.download_button('a', b'')\n"
    assert past_the_login("screens/result.py", source) == ["screens/result.py: show"]
    assert past_the_login("screens/result.py", "st.image('a.png')") == ["screens/result.py: image"]
    assert past_the_login("login.py", source) == ["login.py: show"]


def test_a_file_is_made_only_for_who_still_has_the_role(
    team_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROPE_PHOTO_TEAM", str(team_file))
    person = read_team(team_file)["b@example.org"]
    monkeypatch.setattr(login, "authorized_user", lambda: person)
    make = login.guard_download(lambda: b"the file", "supervise")
    assert make() == b"the file"
    team_file.write_text(TEAM.replace('"reviewer", "supervisor"', '"reviewer"'), encoding="utf-8")
    with pytest.raises(AccessError, match="this page is for the supervisor"):
        make()
    team_file.write_text(TEAM.replace("B@Example.org", "d@example.org"), encoding="utf-8")
    with pytest.raises(AccessError, match="is here as no role"):
        make()
    team_file.unlink()
    with pytest.raises(AccessError, match="can't be read"):
        make()
