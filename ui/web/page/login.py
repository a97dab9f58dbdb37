"""Login and access: the current user, and the check that every screen and download passes.

Without a team file there is one local user, with a data folder and a name of their choice.
"""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Callable
from pathlib import Path

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from inspection.model.names import checked_name
from ui.environment import NAME_FILE, TEAM_FILE, own_file
from ui.services.access.roles import (
    SCREENS,
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
from ui.text import as_typed, capitalised
from ui.web.page.downloads import Make, note_owner, reporting_error
from ui.web.page.streamlit_internals import session_name

NOT_LOGGED_IN = "You are not logged in."
NO_ROLE = (
    "this login has no role here. Ask the keeper of the team file to add its e-mail address with a "
    "role, then open the page again."
)
UNUSABLE = (
    "the team file can't be used just now, so no roles are known. Its keeper can find the reason "
    "in the server's log."
)


def current_user() -> Person:
    """Return the logged-in user; without a team file, the single user of this machine.

    Raises
    ------
    AccessError
        If nobody is logged in, or the team file does not list them or can't be read.
    """
    file = os.environ.get(TEAM_FILE)
    if not file:
        return local_user(own_name())
    try:
        team, unverified = read_team(file), accepts_unverified(file)
    except AccessError as wrong:  # its message names the file and people
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
    """Return the user if they are still allowed to use the current screen.

    Checked again wherever something is recorded under a name: a button's callback runs before the
    page is redrawn, hence before `run_screen`.

    Raises
    ------
    AccessError
        If they are not.
    """
    return require_role(current_user(), str(st.session_state.get("screen", "start")))


def can_open(screen: str) -> bool:
    """Say whether the user can open a screen, so that no link leads to a refusal."""
    return screen in open_screens()


def open_screens() -> frozenset[str]:
    """Return the screens that the user can open; none without a role."""
    try:
        who = current_user()
    except AccessError:
        return frozenset()
    return frozenset(screen for screen in SCREENS if may_open(who, screen))


def run_screen(screen: str, page: StreamlitPage) -> None:
    """Run a screen if the user can open it; otherwise show the login or the reason."""
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
    """Return `make` with the role checked again when the file is fetched.

    A file is fetched outside the page's script, where no login can be read. So the user is the one
    for whom the button was drawn, and their roles are looked up again. `check` can refuse them for
    another reason.
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
    """Draw a download button; the only way in which the pages deliver files.

    Parameters
    ----------
    label : str
        Text of the button.
    make : callable
        Makes the file's bytes when the button is pressed, after the role has been checked.
    file_name, mime : str
        Name and type of the file for the browser.
    primary : bool, optional
        Whether it is the screen's main action.
    check : callable, optional
        Raises AccessError if the user is no longer allowed to have this file.
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


# ---- shown instead of a screen ------------------------------------------------------------


def _show_refusal(why: str) -> None:
    _, middle, _ = st.columns([1, 3, 1])
    with middle, st.container(border=True):
        st.header("Rope Photo Check", anchor=False)
        if why == NOT_LOGGED_IN:
            st.write("Log in to see the inspections that you carry out, review or supervise.")
            if st.button("Log in", type="primary", icon=":material/login:", width="stretch"):
                st.login()
            return
        st.warning(as_typed(capitalised(why)), icon=":material/lock:")
        if can_open("start"):
            st.page_link("screens/start.py", label="Back to Start", icon=":material/home:")
        log_out_button("Log out and use another login")


def log_out_button(words: str = "Log out") -> None:
    """Draw the logout button for a logged-in user."""
    if not (os.environ.get(TEAM_FILE) and st.user.to_dict().get("is_logged_in")):
        return
    if st.button(words, icon=":material/logout:"):
        st.session_state.clear()
        st.logout()


def own_name() -> str:
    """Return the name that the user has given; empty until then."""
    if "person" not in st.session_state:
        st.session_state["person"] = _saved_name()
    return str(st.session_state["person"])


def save_own_name(name: str) -> None:
    """Save the name of this machine's user; empty if they no longer give one.

    Raises
    ------
    ValueError
        If the record does not allow the name.
    """
    name = " ".join(name.split())
    if name:
        checked_name(name, "person")
    st.session_state["person"] = name
    file = _name_file()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps({"person": name}), encoding="utf-8")
    except OSError:
        return  # the name still applies to this session


def _name_file() -> Path:
    return own_file(NAME_FILE, "person.json")


def _saved_name() -> str:
    try:
        name = json.loads(_name_file().read_text(encoding="utf-8"))["person"]
        return checked_name(str(name), "person")
    except (OSError, ValueError, KeyError, TypeError):
        return ""
