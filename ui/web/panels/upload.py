"""What may be uploaded: size of a file and number in an inspection, checked on the server.

The third limit, how many pixels a photograph may have, is the photograph reader's own
(`vision.photo.containers.MOST_PIXELS`), because it holds wherever a photograph comes from.

Photographs as they come in: by file or by the camera of this device, measured one by one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import datetime

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from inspection.record.errors import RecordError
from inspection.record.views import OpenInspection
from ui.services.add_photograph import PhotoFile, measure_and_add
from ui.services.cameras import calibrated_or_not, known_cameras
from ui.text import as_typed, place
from ui.web.page.layout import flash_success
from ui.web.page.rescreen import mark_pending, rescreen
from ui.web.page.session import SELECTED, get_record, user_name
from ui.web.page.streamlit_internals import session_goes_on, session_name
from vision.photo.containers import MOST_PIXELS, PhotoError
from vision.results import Estimate, Refusal, Result
from vision.target.print_scale import PrintCheck, check_from_dict

MOST_PHOTOGRAPHS = 400  # in one inspection: a hundred stations from four directions


def most_mb() -> int:
    """Return how large a file may be, MB, as ui/.streamlit/config.toml says."""
    return int(st.get_option("server.maxUploadSize"))


def limits_in_words() -> str:
    """Return the limits as a sentence for the field's help."""
    return (
        f"At most {most_mb()} MB and {MOST_PIXELS / 1e6:.0f} megapixels each, and "
        f"{MOST_PHOTOGRAPHS} in one inspection."
    )


def check_upload(size_bytes: int, existing: int) -> None:
    """Raise ValueError if a file is too large, or the inspection has photographs enough.

    Parameters
    ----------
    size_bytes : int
        The file's size.
    existing : int
        How many photographs the inspection has.

    Examples
    --------
    >>> check_upload(3_000_000, 8)
    """
    if size_bytes > most_mb() * 1024 * 1024:
        raise ValueError(
            f"the file has {size_bytes / 1024 / 1024:.0f} MB and at most {most_mb()} MB are "
            "taken; give the original JPEG or HEIC file of the camera."
        )
    if existing >= MOST_PHOTOGRAPHS:
        raise ValueError(
            f"the inspection has {existing} photographs and {MOST_PHOTOGRAPHS} are the most; begin "
            "another inspection for the rest."
        )


UNCHECKED = "print not checked"
# With "image" a phone offers its camera beside its files; the endings stand there for desks that
# don't count HEIC and AVIF among pictures. What a file really is, is found out from its bytes.
KINDS = ["image", "jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif"]
REJECTED = "not taken"
LAST = "photographs that came last"
ARRIVED = "arrived"  # kind of the draft that names what is being measured
WAITING = "photographs that wait for the record of"


def upload_photographs(opened: OpenInspection) -> None:
    """Offer both ways in; measure what arrives, and say what came of each."""
    try:
        check = _print_check(opened)
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
        _measure(opened, arrived, check)
        st.session_state["uploads"] = turn + 1
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


def show_lost(opened: OpenInspection) -> None:
    """Say which photographs never got into the record because the server or the page ended.

    Their names are written down before the first of them is measured.
    """
    identity, by = opened.inspection.identity, user_name()
    draft = get_record().draft(identity, by=by, kind=ARRIVED)
    if draft is None or draft.data["session"] == session_name():
        return
    if session_goes_on(draft.data["session"]):  # in another window, at work
        return
    there = {one.sha256 for one in opened.photographs}
    lost = [name for name, sha256 in draft.data["files"] if sha256 not in there]
    if lost:
        st.error(
            as_typed(
                f"{len(lost)} of {len(draft.data['files'])} photographs that came at "
                f"{draft.saved_at[:16].replace('T', ' ')} UTC are not in the record, because the "
                f"program or the page ended before they were measured: {', '.join(lost)}. Choose "
                "them again."
            ),
            icon=":material/error:",
        )
    if not lost or st.button("I have seen it", key=f"lost {identity}"):
        get_record().drop_draft(identity, by=by, kind=ARRIVED)
        if lost:
            st.rerun()


def _note_arrived(identity: str, files: Sequence[PhotoFile]) -> None:
    """Write down what came, so that it can be said which of it was lost; a full disk says so."""
    told = [[file.name, hashlib.sha256(file.data).hexdigest()] for file in files]
    with suppress(RecordError):  # the first photograph will say the same
        get_record().save_draft(
            identity, {"session": session_name(), "files": told}, by=user_name(), kind=ARRIVED
        )


def last_uploaded() -> frozenset[str]:
    """Return the hashes of the photographs that came last in this session."""
    return frozenset(st.session_state.get(LAST, ()))


def show_rejected() -> None:
    """Say once which files did not become photographs, and why."""
    for words in st.session_state.pop(REJECTED, []):
        st.error(as_typed(words), icon=":material/error:")


def _print_check(opened: OpenInspection) -> PrintCheck | None:
    checks = get_record().print_checks()
    names = [*checks, UNCHECKED]
    used = next((result.print_set for result in opened.results if isinstance(result, Estimate)), "")
    card_set = st.selectbox(
        "Card set on these photographs",
        names,
        index=names.index(used) if used in names else 0,
        help="The print check of step 2; without one the card's scale counts as known to 1 %.",
    )
    return None if card_set == UNCHECKED else check_from_dict(card_set, checks[card_set])


def _upload(file: UploadedFile) -> PhotoFile:
    return PhotoFile(file.name, file.getvalue())


def _measure(opened: OpenInspection, arrived: list[PhotoFile], check: PrintCheck | None) -> None:
    """Measure photographs one by one; each is in the record before the next one is looked at."""
    known = {photograph.sha256 for photograph in opened.photographs}
    waiting = _waiting(opened.inspection.identity)
    rest: list[PhotoFile] = []
    messages: list[str] = []
    taken = 0
    _note_arrived(opened.inspection.identity, arrived)
    bar = st.progress(0.0, text="measuring")
    for done, one in enumerate(arrived):
        bar.progress(done / len(arrived), text=f"measuring {as_typed(one.name)}")
        sha256 = hashlib.sha256(one.data).hexdigest()
        if sha256 in known:
            messages.append(f"{one.name} is in this inspection already.")
            continue
        known.add(sha256)
        try:
            check_upload(len(one.data), len(opened.photographs) + taken)
            results = measure_and_add(
                get_record(), opened.inspection.identity, one, check, by=user_name()
            )
        except RecordError as wrong:  # the others would fare no better
            rest = arrived[done:]
            messages.append(f"{', '.join(left.name for left in rest[:6])}: {wrong}")
            break
        except PhotoError as wrong:  # says which photograph it is
            messages.append(str(wrong))
            continue
        except ValueError as wrong:
            messages.append(f"{one.name}: {wrong}")
            continue
        taken += 1
        mark_pending(opened.inspection.identity)  # a press elsewhere would end this loop
        for result in results:
            st.markdown(as_typed(line_of(result)))
    # only now: where somebody presses something else meanwhile, all of them wait on
    _hold(opened.inspection.identity, [*(one for one in waiting if one not in arrived), *rest])
    with suppress(RecordError):
        if not rest:
            get_record().drop_draft(opened.inspection.identity, by=user_name(), kind=ARRIVED)
    bar.progress(1.0, text="comparing readings with photographs")
    if taken:
        rescreen(opened.inspection.identity)
    st.session_state[REJECTED] = messages
    st.session_state[LAST] = frozenset(hashlib.sha256(one.data).hexdigest() for one in arrived)
    if taken:
        flash_success(f"{taken} of {len(arrived)} photographs were measured.")


def line_of(result: Result) -> str:
    """Return what a photograph gave, as one line."""
    if isinstance(result, Refusal):
        return f"✕ {place(result)} · {result.photo_name} · no diameter"
    return (
        f"● {place(result)} · {result.photo_name} · {result.diameter_mm:.2f} ± "
        f"{result.expanded_mm():.2f} mm"
    )
