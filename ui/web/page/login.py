"""Login and access: the current user, and the one check that every screen and download passes.

Without a team file there is a local user: their data folder, and the name they gave.
"""

from __future__ import annotations

import getpass
import json
import logging
import os
from collections.abc import Callable
from pathlib import Path

import streamlit as st
from platformdirs import user_data_path
from streamlit.navigation.page import StreamlitPage

from inspection.model.names import checked_name
from ui.services.access.roles import (
    SCREENS,
    TEAM_FILE,
    AccessError,
    Person,
    accepts_unverified,
    local_user,
    may_open,
    person_named,
    person_of,
    read_team,
    require_role,
)
from ui.text import as_typed
from ui.web.page.downloads import Make, note_owner, reporting_error
from ui.web.page.streamlit_internals import session_name

NOT_LOGGED_IN = "You are not logged in."
NO_ROLE = (
    "this login has no role here. Ask whoever keeps the team file to enter its e-mail address with "
    "a role, then open the page again."
)
UNUSABLE = (
    "the team file can't be used just now, so nobody's role is known. Whoever keeps it finds the "
    "reason in the server's log."
)


def current_user() -> Person:
    """Return who is logged in; without a team file the one person of this machine.

    Raises
    ------
    AccessError
        If nobody is logged in, the team file does not name them or can't be read.
    """
    file = os.environ.get(TEAM_FILE)
    if not file:
        return local_user(own_name())
    try:
        team, unverified = read_team(file), accepts_unverified(file)
    except AccessError as wrong:  # its sentence names the file and people
        logging.getLogger(__name__).error("%s", wrong)
        raise AccessError(UNUSABLE) from wrong
    claims = st.user.to_dict()
    if not claims.get("is_logged_in"):
        raise AccessError(NOT_LOGGED_IN)
    person = person_of(claims, team, unverified=unverified)
    if person is None or not person.roles:
        raise AccessError(NO_ROLE)
    return person


def authorized_user() -> Person:
    """Return the person if they may still use the screen that they are on.

    It is asked again wherever something is written under a name: a button's work is done before
    the page is drawn anew, hence before `run_screen`.

    Raises
    ------
    AccessError
        If not.
    """
    return require_role(current_user(), str(st.session_state.get("screen", "start")))


def can_open(screen: str) -> bool:
    """Say whether the person may open a screen, so that no link leads to a refusal."""
    return screen in open_screens()


def open_screens() -> frozenset[str]:
    """Return the screens that the person may open; none for a stranger."""
    try:
        who = current_user()
    except AccessError:
        return frozenset()
    return frozenset(screen for screen in SCREENS if may_open(who, screen))


def run_screen(screen: str, page: StreamlitPage) -> None:
    """Run a screen if the person may open it; else show the login, or why not."""
    st.session_state["screen"] = screen
    try:
        authorized_user()
    except AccessError as refused:
        _show_refusal(str(refused))
        return
    page.run()


def guard_download(
    make: Make, screen: str, check: Callable[[Person], None] = lambda _: None
) -> Make:
    """Return `make`, asked for the role again when the file is fetched.

    A file is fetched outside the page's script, where no login can be read; so the person is
    kept from when the button was drawn, and their roles are looked up anew. `check` may refuse
    them for another reason.
    """
    drawn_for, drawn_in = authorized_user(), session_name()
    file = os.environ.get(TEAM_FILE)

    def made() -> bytes | str:
        now = drawn_for
        if file:
            now = person_named(drawn_for.email, read_team(file)) or Person(
                drawn_for.name, drawn_for.email, frozenset()
            )
        require_role(now, screen)
        check(now)
        note_owner(now.email, drawn_in)
        return make()

    return reporting_error(made)


def download(
    label: str,
    make: Make,
    file_name: str,
    mime: str | None = None,
    *,
    primary: bool = False,
    check: Callable[[Person], None] = lambda _: None,
) -> None:
    """Draw a download button; the one way in which a file leaves the pages.

    Parameters
    ----------
    label : str
        What stands on the button.
    make : callable
        Makes the file's bytes when the button is pressed, after the role was checked.
    file_name, mime : str
        How the browser keeps it.
    primary : bool, optional
        Whether it is the screen's main action.
    check : callable, optional
        Raises AccessError where the person may not have this file any more.
    """
    screen = str(st.session_state.get("screen", "start"))
    st.download_button(
        label,
        guard_download(make, screen, check),
        file_name,
        mime,
        on_click="ignore",
        icon=":material/download:",
        type="primary" if primary else "secondary",
    )


# ---- what is shown instead of a screen ----------------------------------------------------


def _show_refusal(why: str) -> None:
    _, middle, _ = st.columns([1, 3, 1])
    with middle, st.container(border=True):
        st.header("Rope Photo Check", anchor=False)
        if why == NOT_LOGGED_IN:
            st.write("Log in to see the inspections that are yours to take, review or supervise.")
            if st.button("Log in", type="primary", icon=":material/login:", width="stretch"):
                st.login()
            return
        st.warning(as_typed(why[:1].upper() + why[1:]), icon=":material/lock:")
        if can_open("start"):
            st.page_link("screens/start.py", label="Back to the start", icon=":material/home:")
        log_out_button("Log out and come as somebody else")


def log_out_button(words: str = "Log out") -> None:
    """Draw the way out for whoever is logged in."""
    if not (os.environ.get(TEAM_FILE) and st.user.to_dict().get("is_logged_in")):
        return
    if st.button(words, icon=":material/logout:"):
        st.session_state.clear()
        st.logout()


NAME_FILE = "ROPE_PHOTO_PERSON_FILE"


def data_folder() -> Path:
    """Return the folder of this user's own record; it is made when it is first needed."""
    return user_data_path("rope-photo-check", appauthor=False)


def own_name() -> str:
    """Return the name that was given on this machine, else the name of the account."""
    if "person" not in st.session_state:
        st.session_state["person"] = _saved_name()
    return str(st.session_state["person"])


def save_own_name(name: str) -> None:
    """Save the name of this machine's user.

    Raises
    ------
    ValueError
        If it can't stand in a record.
    """
    told = checked_name(" ".join(name.split()), "person")
    st.session_state["person"] = told
    file = _name_file()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps({"person": told}), encoding="utf-8")
    except OSError:
        return  # the name holds for this session all the same


def _name_file() -> Path:
    return Path(os.environ.get(NAME_FILE) or data_folder() / "person.json")


def _saved_name() -> str:
    try:
        told = json.loads(_name_file().read_text(encoding="utf-8"))["person"]
        return checked_name(str(told), "person")
    except (OSError, ValueError, KeyError, TypeError):
        pass
    try:
        return checked_name(getpass.getuser(), "person")
    except (OSError, KeyError, ImportError, ValueError):
        return "somebody"
