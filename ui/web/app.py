"""The menu of screens, in order; each screen is a file under screens/."""

import streamlit as st

from ui.web.page.layout import begin_run, preserve_widgets, show_errors
from ui.web.page.login import open_screens, run_screen
from ui.web.page.navigation import draw_menu
from ui.web.page.session import settle_address
from ui.web.panels.photographs.upload import show_uploads
from ui.web.panels.sheet_fields import enter_typed

SECTIONS = {
    "": [("start", "Start", "home")],
    "Inspect": [
        ("rope", "1 Rope", "cable"),
        ("cards", "2 Cards", "print"),
        ("sheet", "3 Stations", "table_chart"),
        ("result", "4 Result", "fact_check"),
        ("condition", "5 Condition and decision", "edit_note"),
        ("scale", "Without the card", "square_foot"),
    ],
    "Review": [("review", "Review", "rate_review")],
    "Supervise": [("supervise", "Supervise", "troubleshoot")],
    "Set up": [
        ("equipment", "Gauges and phones", "straighten"),
        ("limits", "Limits", "rule"),
        ("record", "Record", "inventory_2"),
    ],
}

# inline, because the browser would fetch a named icon from another address
ICON = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><g fill="none"
stroke="#0B5FA5" stroke-width="4"><path d="M4 3v26M28 3v26"/><circle cx="16" cy="16" r="9"/></g>
</svg>"""

may = open_screens()
pages = {
    section: [
        st.Page(
            f"screens/{screen}.py",
            title=title,
            icon=f":material/{icon}:",
            default=screen == "start",
            visibility="visible" if screen in may else "hidden",
        )
        for screen, title, icon in screens
    ]
    for section, screens in SECTIONS.items()
}
chosen = st.navigation(pages, position="hidden")
st.set_page_config(page_title=f"{chosen.title} · Rope Photo Check", page_icon=ICON, layout="wide")
begin_run()
with show_errors():
    if may:
        settle_address()
draw_menu(SECTIONS, may)
with show_errors():
    if may & {"sheet", "equipment"}:
        show_uploads()
with show_errors():
    if "sheet" in may:
        enter_typed()  # also when the user leaves the sheet for another screen
with show_errors():
    run_screen(chosen.url_path or "start", chosen)
preserve_widgets()
