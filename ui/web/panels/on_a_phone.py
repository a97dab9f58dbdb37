"""A QR code that opens an inspection on a phone for some hours."""

from __future__ import annotations

import html
import time
from datetime import datetime

import segno
import streamlit as st

from inspection.record.views import OpenInspection
from ui.services.access import phone_tokens
from ui.services.access.phone_tokens import Grant
from ui.services.print_sets import usual_print_set
from ui.text import as_typed
from ui.web.page.door import phones_origins
from ui.web.page.layout import show_errors
from ui.web.page.login import current_user
from ui.web.page.session import entering, get_record, record_location

NOT_ENCRYPTED = (
    "The connection to the phone is not encrypted: anyone on the same network can read it. Use "
    "your own network, or put the pages behind HTTPS (ui/TEAM.md)."
)


def offer_phone(opened: OpenInspection) -> None:
    """Draw the button that opens an inspection on a phone."""
    if st.button("On a phone", icon=":material/qr_code_2:", key="on a phone"):
        with show_errors():
            _dialog(opened, entering(opened.inspection.identity))


@st.dialog("On a phone", on_dismiss="rerun")  # from then on the page polls for phone uploads
def _dialog(opened: OpenInspection, person: str) -> None:
    identity = opened.inspection.identity
    addresses = phones_origins()
    if not addresses:
        st.write(
            "Phones have no access to these pages. To allow it, start the pages with "
            "`ropephoto page --phones`."
        )
        return
    st.write(
        f"Scan this with the phone's camera. It opens this inspection of "
        f"**{as_typed(opened.rope.identity)}** only, for adding photographs and gauge readings."
    )
    link_key = f"phone link {identity}"
    token, ends = st.session_state.get(link_key, ("", 0.0))
    if phone_tokens.grant_of(token) is None:
        ends = time.time() + phone_tokens.LONGEST_S
        card_set = usual_print_set(opened, get_record().print_checks())
        email = current_user().email
        token = phone_tokens.begin(
            Grant(record_location(), identity, person, email, card_set, ends)
        )
        st.session_state[link_key] = (token, ends)
    link = f"{addresses[0]}/phone/#{token}"
    # inlined in the page: an image with its own address could be fetched by anybody
    code = segno.make(link, error="m", micro=False).svg_data_uri(scale=8, border=4, light="white")
    alt = "QR code that opens the inspection on a phone"
    st.html(f'<img src="{html.escape(code)}" width="320" alt="{alt}">')
    st.code(link, language=None)
    st.caption(
        f"Valid until {datetime.fromtimestamp(ends):%H:%M}. Anyone with this code can add "
        "photographs and readings to this inspection under your name."
    )
    if not addresses[0].startswith("https://"):
        st.warning(NOT_ENCRYPTED, icon=":material/no_encryption:")
    if st.button("End phone access now", icon=":material/phonelink_off:"):
        phone_tokens.take_back(record_location(), identity)
        st.session_state.pop(link_key, None)
        st.rerun()
