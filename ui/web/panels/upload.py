"""What may be uploaded: size of a file and number in an inspection, checked on the server.

The third limit, how many pixels a photograph may have, is the photograph reader's own
(`vision.photo.containers.MOST_PIXELS`), because it holds wherever a photograph comes from.

Photographs as they come in, by file or by the camera of this device: stored at once, all of them,
and measured by the queue (`ui.services.measuring_queue`).
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from inspection.model.log import counted
from inspection.record.errors import RecordError
from inspection.record.views import Manner, OpenInspection
from ui.lengths import diameter_words
from ui.services.cameras import calibrated_or_not, known_cameras
from ui.services.measuring_queue import MOST_PHOTOGRAPHS, PhotoFile, store_photographs
from ui.services.print_sets import usual_print_set
from ui.text import as_typed, place
from ui.web.page.layout import flash_success
from ui.web.page.session import SELECTED, entering, get_record
from ui.web.page.units import page_units
from vision.photo.containers import MOST_PIXELS
from vision.results import Refusal, Result


def most_mb() -> int:
    """Return how large a file may be, MB, as ui/.streamlit/config.toml says."""
    return int(st.get_option("server.maxUploadSize"))


def limits_in_words() -> str:
    """Return the limits as a sentence for the field's help."""
    return (
        f"At most {most_mb()} MB and {MOST_PIXELS / 1e6:.0f} megapixels each, and "
        f"{MOST_PHOTOGRAPHS} in one inspection."
    )


def refuse_large(size_bytes: int) -> None:
    """Raise ValueError if a file is too large.

    Examples
    --------
    >>> refuse_large(3_000_000)
    """
    if size_bytes > most_mb() * 1024 * 1024:
        raise ValueError(
            f"the file has {size_bytes / 1024 / 1024:.0f} MB and at most {most_mb()} MB are "
            "taken; give the original JPEG or HEIC file of the camera."
        )


UNCHECKED = "print not checked"
# With "image" a phone offers its camera beside its files; the endings stand there for desks that
# don't count HEIC and AVIF among pictures. What a file really is, is found out from its bytes.
KINDS = ["image", "jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif"]
REJECTED = "not taken"
LAST = "photographs that came last"
WAITING = "photographs that wait for the record of"


def upload_photographs(opened: OpenInspection) -> None:
    """Offer both ways in, and store what arrives."""
    try:
        manner = _manner(opened)
    except RecordError:
        hold_uploads()  # the fields in which they came are not drawn, and would be forgotten
        raise
    cameras = {result.camera for result in opened.results if result.camera}
    if messages := calibrated_or_not(cameras, known_cameras()):
        st.caption(as_typed(messages))
    turn = st.session_state.setdefault("uploads", 0)
    files = st.file_uploader(
        "Photographs",
        KINDS,
        accept_multiple_files=True,
        key=f"upload {turn}",
        max_upload_size=most_mb(),
        help="Original files from the camera, as many as you like; on a phone this opens its "
        "camera, too. Hold the phone square above the card, the rope sharp, both chequered strips "
        f"in view; one photograph for each of the two directions. {limits_in_words()}",
    )
    arrived = [*_retry(opened), *(_upload(file) for file in files or [])]
    if st.toggle(
        "Use this device's camera here",
        help="For a computer or a tablet with a camera. A phone's own camera app gives sharper "
        "pictures that also state their focal length, which makes U smaller.",
    ):
        shot = st.camera_input(
            "Camera",
            key=f"camera {turn}",
            resolution="1080p",
            help="Both chequered strips in view, the rope sharp along the band. The browser asks "
            "for leave to use the camera.",
        )
        if shot is not None:
            name = f"camera-{datetime.now():%Y%m%d-%H%M%S}.jpg"
            arrived.append(PhotoFile(name, shot.getvalue()))
    if arrived:
        _store(opened, arrived, manner)
        st.session_state["uploads"] = turn + 1  # the field and the server forget its files
        st.rerun()


def hold_uploads() -> None:
    """Hold the photographs that came while the page could not be drawn."""
    turn = st.session_state.get("uploads", 0)
    files = list(st.session_state.get(f"upload {turn}") or ())
    if shot := st.session_state.get(f"camera {turn}"):
        files.append(shot)
    if files and (identity := st.session_state.get(SELECTED)):
        _hold(identity, [*_waiting(identity), *map(_upload, files)])
        st.session_state["uploads"] = turn + 1


def _waiting(identity: str) -> tuple[PhotoFile, ...]:
    """Return the photographs that came and are not in the record."""
    waiting: tuple[PhotoFile, ...] = st.session_state.get(f"{WAITING} {identity}", ())
    return waiting


def _hold(identity: str, photographs: Iterable[PhotoFile]) -> None:
    """Let these be the ones that wait, each once."""
    st.session_state[f"{WAITING} {identity}"] = tuple(dict.fromkeys(photographs))


def _retry(opened: OpenInspection) -> tuple[PhotoFile, ...]:
    """Offer photographs that came but are not in the record; return them once that is wished."""
    waiting = _waiting(opened.inspection.identity)
    if not waiting:
        return ()
    count = f"{len(waiting)} photograph{'' if len(waiting) == 1 else 's'}"
    names = ", ".join(one.name for one in waiting[:6])
    st.warning(
        as_typed(
            f"{count} arrived but could not be saved yet: {names}. As long as this page is "
            "open, nothing has to be chosen or photographed again."
        ),
        icon=":material/pending:",
    )
    return waiting if st.button(f"Try again with {count}", type="primary") else ()


def last_uploaded() -> frozenset[str]:
    """Return the hashes of the photographs that came last in this session."""
    return frozenset(st.session_state.get(LAST, ()))


def show_rejected() -> None:
    """Say once which files did not become photographs, and why."""
    for words in st.session_state.pop(REJECTED, []):
        st.error(as_typed(words), icon=":material/error:")


def _manner(opened: OpenInspection) -> Manner:
    checks = get_record().print_checks()
    names = [*checks, UNCHECKED]
    usual = usual_print_set(opened, checks)
    card_set = st.selectbox(
        "Card set on these photographs",
        names,
        index=names.index(usual or UNCHECKED),
        help="The print check of step 2; without one the card's scale counts as known to 1 %. One "
        "that is made later can be applied then.",
    )
    return Manner("" if card_set == UNCHECKED else card_set)


def _upload(file: UploadedFile) -> PhotoFile:
    return PhotoFile(file.name, file.getvalue())


def _store(opened: OpenInspection, arrived: list[PhotoFile], manner: Manner) -> None:
    """Store what arrived, all of it before anything is measured; what can't be is held."""
    identity = opened.inspection.identity
    messages: list[str] = []
    taken: list[PhotoFile] = []
    for one in arrived:
        try:
            refuse_large(len(one.data))
            taken.append(one)
        except ValueError as wrong:
            messages.append(f"{one.name}: {wrong}")
    rest: list[PhotoFile] = []
    try:
        stored = store_photographs(get_record(), identity, taken, manner, by=entering(identity))
    except RecordError as wrong:
        there: set[str] = set()
        with suppress(RecordError):
            there = {one.sha256 for one in get_record().inspection(identity).photographs}
        rest = [one for one in taken if one.sha256 not in there]
        messages.append(f"{', '.join(left.name for left in rest[:6])}: {wrong}")
    else:
        messages += stored.rejected
        messages += [
            f"{one.name} is in this inspection already."
            for one in taken
            if one.sha256 in stored.known
        ]
        if stored.added:
            flash_success(
                f"{counted(len(stored.added), 'photograph is', 'photographs are')} in the record; "
                "the figures appear as they are measured. This page can be left meanwhile."
            )
    before = _waiting(identity)
    _hold(identity, [*(one for one in before if one not in arrived), *rest])
    st.session_state[REJECTED] = messages
    st.session_state[LAST] = frozenset(one.sha256 for one in arrived)


def line_of(result: Result) -> str:
    """Return what a photograph gave, as one line."""
    if isinstance(result, Refusal):
        return f"✕ {place(result)} · {result.photo_name} · no diameter"
    return (
        f"● {place(result)} · {result.photo_name} · "
        f"{diameter_words(result.diameter_mm, result.u_mm, page_units())}"
    )
