"""Start: measure a photograph at once, the rope register, and the sample in one click."""

from __future__ import annotations

import streamlit as st

from ui.services.sample import load_sample, sample_folder
from ui.web.page.address import link_query
from ui.web.page.layout import page_header, show_errors
from ui.web.page.login import can_open
from ui.web.page.session import get_record, select_inspection, user_name
from ui.web.panels.photographs.drop_zone import drop_zone
from ui.web.panels.rope_register import show_register


def _sample_button() -> None:
    folder = sample_folder()
    if folder is None:
        st.caption(
            "The sample photographs are not installed with the program; see the project folder."
        )
        return
    if st.button(
        "Load the sample inspection",
        icon=":material/science:",
        help="One invented crane rope: four stations, ten rendered photographs and one reading "
        "deliberately mistyped. Takes a few seconds, because every photograph is measured.",
    ):
        with show_errors():
            by = user_name()
            bar = st.progress(0.0, text="Loading the sample")
            identity = load_sample(get_record(), folder, by=by, report=bar.progress)
            select_inspection(identity)
            st.switch_page("screens/sheet.py", query_params=link_query(identity))


def _begin() -> None:
    """Draw the links for starting work."""
    with st.container(horizontal=True, vertical_alignment="center", key="begin"):
        st.page_link("screens/rope.py", label="New rope or inspection", icon=":material/add:")
        st.page_link("screens/cards.py", label="Print cards", icon=":material/print:")
        _sample_button()


page_header("Start", needs_inspection=False)
with show_errors():
    if can_open("sheet"):
        drop_zone()
    show_register()
    if can_open("rope"):
        _begin()
