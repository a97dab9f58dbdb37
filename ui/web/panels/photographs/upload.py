"""The upload field of an inspection, and the limits on photographs.

`ui.web.page.upload_routes` stores uploads at once, and the queue measures them
(`ui.services.measuring_queue`). The largest number of pixels is the photograph reader's own limit
(`vision.photo.containers.MOST_PIXELS`), because it applies to photographs from any source.
"""

from __future__ import annotations

import streamlit as st

from inspection.record.views import OpenInspection
from ui.services.cameras import calibrated_or_not, known_cameras
from ui.services.measuring_queue import MOST_PHOTOGRAPHS
from ui.services.print_sets import usual_print_set
from ui.text import as_typed
from ui.web.components.uploads import UploadField, upload_field, upload_line
from ui.web.page.login import current_user
from ui.web.page.session import get_record, user_name
from ui.web.page.upload_routes import owner_of
from vision.photo.containers import MOST_PIXELS

UNCHECKED = "print not checked"
# "image" makes a phone offer its camera as well as its files; the extensions are for desktops that
# don't treat HEIC and AVIF as images. The real type of a file is determined from its bytes.
KINDS = ["image", "jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif"]
ACCEPT = ",".join("image/*" if kind == "image" else f".{kind}" for kind in KINDS)
LAST = "photographs that came last"


def most_mb() -> int:
    """Return the largest permitted file size, MB, as set in .streamlit/config.toml."""
    return int(st.get_option("server.maxUploadSize"))


def limits_in_words() -> str:
    """Return the limits as a sentence for the field's help."""
    return (
        f"At most {most_mb()} MB and {MOST_PIXELS / 1e6:.0f} megapixels each, and "
        f"{MOST_PHOTOGRAPHS} in one inspection."
    )


def show_uploads() -> None:
    """Show the uploads in progress; called on every page."""
    if arrived := upload_line(owner_of(current_user()), key="uploads"):
        st.session_state[LAST] = frozenset(arrived)


def last_uploaded() -> frozenset[str]:
    """Return the hashes of the photographs uploaded last in this session."""
    return frozenset(st.session_state.get(LAST, ()))


def upload_photographs(opened: OpenInspection) -> None:
    """Draw the field that takes photographs into an inspection."""
    cameras = {result.camera for result in opened.results if result.camera}
    if messages := calibrated_or_not(cameras, known_cameras()):
        st.caption(as_typed(messages))
    field = UploadField(
        owner_of(current_user()),
        user_name(),
        "photographs",
        "Photographs",
        "Original camera files, several at once if you like; on a phone this also offers the "
        "camera. Hold the phone square above the card, with the rope sharp and both chequered "
        f"strips in view. Take one photograph in each of the two directions. {limits_in_words()}",
        "Drop photographs here: they are filed by their cards",
        ACCEPT,
        most_mb(),
        inspection=opened.inspection.identity,
        print_set=_card_set(opened),
    )
    upload_field(field, key=f"photographs {opened.inspection.identity}")


def _card_set(opened: OpenInspection) -> str:
    checks = get_record().print_checks()
    names = [*checks, UNCHECKED]
    usual = usual_print_set(opened, checks)
    card_set = st.selectbox(
        "Card set in these photographs",
        names,
        index=names.index(usual or UNCHECKED),
        help="The print check from step 2. Without one, the card's scale is known to 1 % only. A "
        "later print check can be applied afterwards.",
    )
    return "" if card_set == UNCHECKED else card_set
