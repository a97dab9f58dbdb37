"""The way to the rope: a code that opens an inspection on a phone, for some hours."""

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
from ui.web.page.login import current_user
from ui.web.page.session import entering, get_record, record_location

NOT_ENCRYPTED = (
    "The connection to the phone is not encrypted: whoever is in the same network can read along. "
    "Use a network of your own, or put the pages behind HTTPS (ui/TEAM.md)."
)


def offer_phone(opened: OpenInspection) -> None:
    """Draw the button that opens an inspection on a phone."""
    if st.button("On a phone", icon=":material/qr_code_2:", key="on a phone"):
        _dialog(opened.inspection.identity, opened)


@st.dialog("On a phone", on_dismiss="rerun")  # from then on the page looks what phones bring
def _dialog(identity: str, opened: OpenInspection) -> None:
    addresses = phones_origins()
    if not addresses:
        st.write(
            "Phones may not reach these pages. Whoever starts them lets phones in with "
            "`ropephoto page --phones`."
        )
        return
    st.write(
        f"Scan this with the phone's camera: it opens **{as_typed(opened.rope.identity)}**, this "
        "inspection only, for photographs and gauge readings."
    )
    kept = f"phone link {identity}"
    token, ends = st.session_state.get(kept, ("", 0.0))
    if phone_tokens.grant_of(token) is None:
        ends = time.time() + phone_tokens.LONGEST_S
        card_set = usual_print_set(opened, get_record().print_checks())
        person, email = entering(identity), current_user().email
        token = phone_tokens.begin(
            Grant(record_location(), identity, person, email, card_set, ends)
        )
        st.session_state[kept] = (token, ends)
    link = f"{addresses[0]}/phone/#{token}"
    # in the page itself: a picture with an address of its own is handed to whoever asks for it
    code = segno.make(link, error="m", micro=False).svg_data_uri(scale=8, border=4, light="white")
    said = "Code that opens the inspection on a phone"
    st.html(f'<img src="{html.escape(code)}" width="320" alt="{said}">')
    st.code(link, language=None)
    st.caption(
        f"Until {datetime.fromtimestamp(ends):%H:%M}. Whoever has this code can add photographs "
        "and readings here under your name."
    )
    if not addresses[0].startswith("https://"):
        st.warning(NOT_ENCRYPTED, icon=":material/no_encryption:")
    if st.button("End the access of phones now", icon=":material/phonelink_off:"):
        phone_tokens.take_back(record_location(), identity)
        st.session_state.pop(kept, None)
        st.rerun()
