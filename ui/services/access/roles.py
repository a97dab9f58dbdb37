"""Permissions: people and roles from a team file, and which screen needs which role.

Plain functions without widgets. Without a team file there is one person on one machine, who can
do everything. With one, a login says who somebody is, and the file what they can do. The file is
read again for each check, so that a removed role ends at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args
from urllib.parse import urlsplit

from inspection.model.names import checked_name, same_person

Role = Literal["inspector", "reviewer", "supervisor"]
ROLES: tuple[Role, ...] = get_args(Role)
LOGIN_NEEDS = (
    "redirect_uri",
    "cookie_secret",
    "client_id",
    "client_secret",
    "server_metadata_url",
)
SHORTEST_SECRET = 32  # characters; it signs the cookie that identifies a person

# One of these roles is needed; a screen that is not named here opens for nobody.
SCREENS: Mapping[str, tuple[Role, ...]] = {
    "start": ROLES,
    "rope": ("inspector",),
    "cards": ("inspector",),
    "sheet": ("inspector",),
    "scale": ("inspector",),
    "condition": ROLES,
    "result": ROLES,
    "review": ("reviewer", "supervisor"),
    "supervise": ("supervisor",),
    "equipment": ("inspector", "supervisor"),
    "limits": ROLES,
    "record": ("supervisor",),
}

# Actions that change an inspection's state, or what a whole site relies on. The record also keeps
# reviewers from deciding about their own readings.
Action = Literal["submit", "observe", "review", "close", "take back", "limits", "gauges", "record"]
ACTIONS: Mapping[Action, tuple[Role, ...]] = {
    "submit": ("inspector",),
    "observe": ("inspector", "reviewer"),
    "review": ("reviewer", "supervisor"),
    "close": ("supervisor",),
    "take back": ("reviewer", "supervisor"),
    "limits": ("supervisor",),
    "gauges": ("inspector", "supervisor"),
    "record": ("supervisor",),
}


class AccessError(ValueError):
    """A person lacks the permission, or the team file can't be used."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person who uses the pages.

    Parameters
    ----------
    name : str
        Their name in the record, with everything they enter.
    email : str
        The address of their login; empty for one person on one machine, who does not log in.
    roles : frozenset of str
        Their roles: "inspector", "reviewer", "supervisor".
    """

    name: str
    email: str
    roles: frozenset[Role]

    @property
    def sees_all(self) -> bool:
        """Whether they can see all inspections; an inspector sees only their own."""
        return bool(self.roles & {"reviewer", "supervisor"})


def local_user(name: str) -> Person:
    """Return the one person of a machine without a team file, with all roles."""
    return Person(name, "", frozenset(ROLES))


def may_open(person: Person, screen: str) -> bool:
    """Return whether one of the person's roles opens a screen.

    Examples
    --------
    >>> may_open(Person("A. Berg", "a@example.org", frozenset({"inspector"})), "review")
    False
    """
    return not person.roles.isdisjoint(SCREENS.get(screen, ()))


def require_role(person: Person, screen: str) -> Person:
    """Return the person if they are allowed to open a screen.

    Raises
    ------
    AccessError
        If none of their roles opens it.
    """
    if not may_open(person, screen):
        needed = " or ".join(SCREENS.get(screen, ())) or "a role that nobody has"
        has = ", ".join(sorted(person.roles)) or "no role"
        raise AccessError(
            f"this page is for the {needed}; {person.name} is here as {has}. Ask whoever keeps "
            "the team file."
        )
    return person


def may_do(person: Person, action: Action) -> bool:
    """Return whether one of the person's roles allows an action."""
    return not person.roles.isdisjoint(ACTIONS[action])


def require_action(person: Person, action: Action) -> Person:
    """Return the person if they are allowed an action.

    Raises
    ------
    AccessError
        If none of their roles allows it.
    """
    if not may_do(person, action):
        raise AccessError(
            f"this is for the {' or '.join(ACTIONS[action])}; {person.name} is here as "
            f"{', '.join(sorted(person.roles)) or 'no role'}."
        )
    return person


# ---- the team file ------------------------------------------------------------------------


def read_team(path: str | Path) -> dict[str, Person]:
    """Return the people of a team file by their e-mail address.

    Parameters
    ----------
    path : str or Path
        A TOML file. Each person is a table named by their e-mail address::

            [people."a.berg@example.org"]
            name = "A. Berg"
            roles = ["inspector"]

    Raises
    ------
    AccessError
        If it can't be read, a person lacks a name or has an unknown role, or two people share a
        name or an address; the message says which.
    """
    people = _tables(path).get("people")
    if not isinstance(people, dict) or not people:
        raise AccessError(
            f'the team file {path} names nobody; it needs a table [people."E-MAIL"] with name '
            "and roles for each person."
        )
    team: dict[str, Person] = {}
    for email, entry in people.items():
        person = _person(path, email, entry)
        if _address(email) in team:
            raise AccessError(f"the team file {path} names the address {email!r} twice.")
        for other in team.values():
            if same_person(person.name, other.name):
                raise AccessError(
                    f"the team file {path} gives the name {person.name!r} to {other.email} and "
                    f"to {email}; the record identifies people by name: give each their own."
                )
        team[_address(email)] = person
    return team


def check_login(path: str | Path) -> str:
    """Return the address (scheme and host) at which a team's pages are opened.

    Raises
    ------
    AccessError
        If the section [auth] of the team file lacks something that the login needs.
    """
    login = _tables(path).get("auth")
    if not isinstance(login, dict):
        login = {}
    missing = [key for key in LOGIN_NEEDS if not str(login.get(key) or "").strip()]
    if missing:
        raise AccessError(
            f"the section [auth] of the team file {path} lacks {', '.join(missing)}, which the "
            "login needs."
        )
    if len(str(login["cookie_secret"])) < SHORTEST_SECRET:
        raise AccessError(
            f"cookie_secret in the team file {path} has {len(str(login['cookie_secret']))} "
            f"characters; make it {SHORTEST_SECRET} or more random characters."
        )
    redirect = str(login["redirect_uri"])
    parts = urlsplit(redirect)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise AccessError(
            f"redirect_uri in the team file {path} is {redirect!r}; it must be the full address "
            "of the pages, e.g. https://ropes.example.org/oauth2callback."
        )
    if parts.path != "/oauth2callback":
        raise AccessError(
            f"redirect_uri in the team file {path} is {redirect!r}; its path must be "
            "/oauth2callback."
        )
    return f"{parts.scheme}://{parts.netloc}"


def accepts_unverified(path: str | Path) -> bool:
    """Return whether the team file accepts addresses that the provider does not call verified.

    Its table [login] then has ``accept_unverified_email = true``.
    """
    login = _tables(path).get("login")
    return isinstance(login, dict) and login.get("accept_unverified_email") is True


def person_of(
    claims: Mapping[str, Any], team: Mapping[str, Person], *, unverified: bool = False
) -> Person | None:
    """Return the person whom a login's claims identify; None if the team file does not name them.

    Parameters
    ----------
    claims : mapping
        The login's "email" and, from most providers, "email_verified" (OpenID Connect Core 1.0,
        section 5.1). An address that the provider does not call verified is not accepted, because
        anybody may have typed it.
    team : mapping of str to Person
        As `read_team` returns it.
    unverified : bool, optional
        Whether an address is accepted although the provider does not say that it is verified; one
        that it calls unverified never is.
    """
    if str(claims.get("email_verified", unverified)).strip().lower() not in ("true", "1"):
        return None
    return person_named(str(claims.get("email") or ""), team)


def person_named(email: str, team: Mapping[str, Person]) -> Person | None:
    """Return the person of a team with an e-mail address, None if there is none."""
    return team.get(_address(email))


def _tables(path: str | Path) -> dict[str, Any]:
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
    except OSError as wrong:
        why = wrong.strerror or "it can't be read"
        raise AccessError(f"the team file {path} can't be read: {why}.") from wrong
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as wrong:
        raise AccessError(f"the team file {path} is not a TOML file: {wrong}.") from wrong


def _person(path: str | Path, email: str, entry: object) -> Person:
    if "@" not in email.strip("@"):
        raise AccessError(f"the team file {path} names {email!r}; people are named by e-mail.")
    if not isinstance(entry, dict) or not isinstance(entry.get("name"), str):
        raise AccessError(f'the team file {path} gives {email} no name; add name = "...".')
    try:
        name = checked_name(" ".join(entry["name"].split()), "person")
    except ValueError as wrong:
        raise AccessError(f"the team file {path}, {email}: {wrong}") from wrong
    roles = entry.get("roles", [])
    if not isinstance(roles, list):
        raise AccessError(
            f'the team file {path}, {email}: roles must be a list, e.g. ["reviewer"].'
        )
    unknown = [role for role in roles if role not in ROLES]
    if unknown:
        raise AccessError(
            f"the team file {path} gives {email} the role {unknown[0]!r}; the roles "
            f"are {', '.join(ROLES)}."
        )
    return Person(name, email.strip(), frozenset(roles))


def _address(email: str) -> str:
    """Return an address for comparison: case is ignored, and nothing else is changed.

    Letters outside ASCII keep their case: some become a different letter in lower case, and a
    look-alike address must not become somebody else's.
    """
    email = email.strip()
    return email.lower() if email.isascii() else email
