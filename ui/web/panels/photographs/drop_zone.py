"""Quick look: measure a photograph without entering a rope, and save it afterwards."""

from __future__ import annotations

import hashlib
from heapq import nlargest

import streamlit as st

from inspection.record.views import Summary
from ui.lengths import diameter_words
from ui.presenters.review.station import legend_of, shapes_of
from ui.services.quick_look import QuickLook, keep_look, quick_look
from ui.services.trays import empty_tray, read_from_tray
from ui.text import as_typed, place, sentence
from ui.web.components.rope_view import PhotoView, send_pictures, show_view
from ui.web.page.address import link_query
from ui.web.page.layout import flash_success, show_errors
from ui.web.page.pictures import home_of
from ui.web.page.session import get_record, summaries, user_name
from ui.web.panels.photographs.tray import TrayWords, tray_field, tray_owner
from ui.web.panels.photographs.upload import UNCHECKED, limits_in_words
from vision.results import Estimate, Result

LOOK = "quick look"
MOST_LISTED = 50  # inspections offered for saving; for any other, open that inspection first


def drop_zone() -> None:
    """Take a photograph, show its result at once, and offer to save it."""
    words = TrayWords(
        "Measure a photograph of a rope on its card",
        "No rope or inspection is needed; nothing is saved until you choose to. "
        f"{limits_in_words()}",
        "Drop a photograph here to measure it",
    )
    with st.container(key="quick-look"):
        uploaded = tray_field("looks", words)
    with show_errors():
        for one in uploaded:
            _measure(one.sha256)
    look: QuickLook | None = st.session_state.get(LOOK)
    if look is not None:
        with st.container(border=True):
            _show(look)
            _keep(look)


def _measure(sha256: str) -> None:
    file = read_from_tray(tray_owner(), "looks", sha256)
    try:
        with st.spinner("Measuring ..."):
            st.session_state[LOOK] = quick_look(get_record(), file.data, file.name)
    except Exception:  # not a rerun of the page: that leaves it in the tray, to be measured again
        empty_tray(tray_owner(), "looks", only=sha256)
        raise
    empty_tray(tray_owner(), "looks", only=sha256)


def _show(look: QuickLook) -> None:
    left, right = st.columns([2, 3])
    with left:  # on a phone the figure is above the picture
        for result in look.results:
            _figure(result)
    with right:
        _picture(look)


def _figure(result: Result) -> None:
    if isinstance(result, Estimate):
        st.metric(
            f"Diameter, {place(result)}" if result.station is not None else "Diameter",
            diameter_words(result.diameter_mm, result.u_mm),
            help="Across the strand crowns, with its expanded uncertainty U (k = 2).",
        )
        printed = f"card set {result.print_set}" if result.print_set else UNCHECKED
        st.caption(as_typed(f"{result.photo_name}; {printed}. This place and direction only."))
        for finding in result.findings:
            st.warning(as_typed(sentence(finding)), icon=":material/info:")
        return
    st.error(f"**No diameter**, {as_typed(place(result))}", icon=":material/block:")
    for finding in result.findings:
        st.markdown(as_typed(sentence(finding)))


def _picture(look: QuickLook) -> None:
    preview = look.preview
    name = f"q-{hashlib.sha256(preview.jpeg).hexdigest()}"
    size = (preview.width_px, preview.height_px)
    send_pictures({name: preview.jpeg}, key="quick pictures")
    shown = next(
        (one for one in look.results if isinstance(one, Estimate) and one.marks is not None), None
    )
    if shown is None or shown.marks is None:
        view = PhotoView(name, size, f"Photograph {look.file.name}: no diameter.")
    else:
        view = PhotoView(
            name,
            size,
            f"The rope on its card, {diameter_words(shown.diameter_mm, shown.u_mm)}.",
            shapes_of(shown, shown.marks, None),
            legend=legend_of(shown, None),
            home=home_of(shown.marks, size),
        )
    show_view(view, key="quick photograph")


def _keep(look: QuickLook) -> None:
    """Offer to save the photograph to an inspection, or to discard it."""
    not_closed = (one for one in summaries() if one.state != "closed")
    latest = nlargest(MOST_LISTED, not_closed, key=lambda one: one.changed_at)
    if latest:
        _file_into(look, latest)
    else:
        st.caption(
            "To save it, first enter a rope and start its inspection. The photograph stays here "
            "until then."
        )
        st.page_link("screens/rope.py", label="Enter a rope", icon=":material/cable:")
    if st.button("Discard", icon=":material/close:", help="Nothing has been saved."):
        del st.session_state[LOOK]
        st.rerun()


def _file_into(look: QuickLook, known: list[Summary]) -> None:
    names = {one.identity: f"{one.rope}, {one.on:%Y-%m-%d}" for one in known}
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    identity = left.selectbox(
        "Save to inspection",
        list(names),
        format_func=lambda one: f"{one} ({names[one]})",
        key="quick inspection",
        help="The most recently changed inspections come first. The card gives the station; if it "
        "gives none, file the photograph under Stations afterwards.",
    )
    if right.button("Save", type="primary", icon=":material/save:", width="stretch"):
        with show_errors():
            keep_look(get_record(), identity, look, by=user_name())
            del st.session_state[LOOK]
            flash_success(f"{look.file.name} was saved to {identity}.")
            st.switch_page("screens/sheet.py", query_params=link_query(identity))
