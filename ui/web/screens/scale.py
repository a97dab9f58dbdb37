"""Without the card: a rule, a tape or a known length gives an old photograph its scale."""

from __future__ import annotations

import hashlib

import streamlit as st

from inspection.model.length_text import parse_length
from inspection.record.views import OpenInspection
from ui.lengths import diameter_words
from ui.services.measure_archive import Shown, add_figure, archive_measured
from ui.services.trays import empty_tray, read_from_tray
from ui.text import as_typed, sentence
from ui.web.components.point_view import mark_points, send_photograph, set_points
from ui.web.page.layout import flash_success, page_header, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import entering, get_record
from ui.web.panels.photographs.tray import TrayWords, tray_field, tray_owner
from vision.apart import apart
from vision.photo.containers import PhotoError
from vision.photo.preview import preview_of
from vision.results import Estimate, PointPx, Result
from vision.scale_rule.scale import Placement, ScaleRequest
from vision.uncertainty import shares

WORDS = TrayWords(
    "Photograph without the card",
    "The original file if available: it records the focal length, which reduces U.",
    "Drop the photograph here",
)
LABELS = ("start of length", "end of length", "one side of rope", "other side of rope")
PAIRS = ((0, 1), (2, 3))
PLACEMENT_WORDS: dict[Placement, str] = {
    Placement.UNSAID: "not known",
    Placement.BESIDE: "beside the rule, on the same surface",
    Placement.ON: "on the face of the rule",
    Placement.LEVEL: "axis level with the face of the rule",
    Placement.AT_HEIGHT: "axis at a known height",
}


@st.cache_data(max_entries=3, show_spinner=False)
def _shown(sha256: str, owner: str) -> Shown | str:
    """Return a photograph with its preview, or a sentence if it can't be read."""
    file = read_from_tray(owner, "archive", sha256)
    try:
        shown = apart(file.name, preview_of, file.data, file.name)
    except PhotoError as refused:
        return str(refused)
    return Shown(file.name, sha256, file.data, *shown)


def _uploaded_photo() -> Shown | None:
    uploaded = tray_field("archive", WORDS)
    if not uploaded:
        return None
    shown = _shown(uploaded[-1].sha256, tray_owner())
    if isinstance(shown, str):
        raise PhotoError(shown)
    return shown


def _points_input(photo: Shown) -> list[PointPx | None]:
    st.markdown(
        "Set two points on one row of graduation marks (or at both ends of a known length). Then "
        "set two on the plain background on either side of the rope, in a line square across it. "
        "Click or tap to set the selected point; drag it or use the arrow keys to move it."
    )
    send_photograph(photo.sha256, photo.preview, key=f"scale sent {photo.sha256}")
    points = mark_points(
        photo.sha256,
        photo.size,
        LABELS,
        key="scale points",
        pairs=PAIRS,
        words="Photograph: set two points on the rule and two beside the rope.",
    )
    with st.expander("Enter the points as numbers"), st.form("scale typed"):
        shown = ["" if p is None else f"{p[0]:g}, {p[1]:g}" for p in points]
        columns = st.columns(len(LABELS))
        for i, (column, label) in enumerate(zip(columns, LABELS, strict=True)):
            column.text_input(
                f"{label}: x, y (px)",
                shown[i],
                key=f"scale typed {i} {shown[i]} {photo.sha256}",
                placeholder="812, 440",
                help="Measured from the left and top edges of the photograph.",
            )
        keys = [f"scale typed {i} {shown[i]} {photo.sha256}" for i in range(len(LABELS))]
        st.form_submit_button(
            "Set these points", on_click=_set_typed_points, args=(photo.sha256, keys)
        )
    wrong = st.session_state.pop("scale wrong", None)
    if wrong:
        st.error(wrong, icon=":material/error:")
    return points


def _set_typed_points(picture: str, keys: list[str]) -> None:
    points: list[PointPx | None] = []
    for label, key in zip(LABELS, keys, strict=True):
        text = str(st.session_state.get(key, "")).replace(";", ",").strip()
        try:
            x, y = (float(part) for part in text.split(",")) if text else (None, None)
        except ValueError:
            st.session_state["scale wrong"] = (
                f"{label}: {as_typed(text)} is not a point. Type x, y in px, e.g. 812, 440."
            )
            return
        points.append(None if x is None or y is None else (x, y))
    set_points(picture, points, key="scale points")


def _measurement_inputs(points: list[PointPx | None]) -> ScaleRequest | None:
    left, middle, right = st.columns(3)
    length = left.text_input(
        "Length between the two points",
        placeholder="50 mm, 5 cm, 2 in",
        key="scale length",
        help="As read on the rule, or the known length of an object. A longer length reduces U.",
    )
    rule = left.toggle(
        "The points are on a rule or tape: find its marks",
        value=True,
        key="scale rule",
        help="The marks give the scale all along the rule, and its tilt. Off: only the two points "
        "are used.",
    )
    placed = middle.selectbox(
        "Position of the rope",
        [placement.value for placement in Placement],
        format_func=lambda value: PLACEMENT_WORDS[Placement(value)],
        key="scale lies",
        help="Anything nearer to the camera than the rule appears larger. If not known, U allows "
        "for it.",
    )
    height = 0.0
    placement = Placement(placed)
    if placement is Placement.AT_HEIGHT:
        height = middle.number_input(
            "Height of the rope axis above the rule's face, mm",
            -500.0,
            500.0,
            0.0,
            key="scale height",
            help="Positive towards the camera.",
        )
    station = right.number_input(
        "Station",
        1,
        999,
        1,
        key="scale station",
        help="Position along the rope, as under 3 Stations.",
    )
    view = right.number_input(
        "Direction, °",
        0,
        359,
        0,
        key="scale view",
        help="0 from the front, 90 from the side; estimate any other by eye.",
    )
    missing = [label for label, point in zip(LABELS, points, strict=True) if point is None]
    if missing or not length.strip():
        needed = [*missing, *([] if length.strip() else ["the length itself"])]
        st.info(f"Still missing: {', '.join(needed)}.", icon=":material/edit:")
        return None
    one, other, side, far = (point for point in points if point is not None)
    return ScaleRequest(
        (one, other),
        parse_length(length),
        graduations=rule,
        across_px=(side, far),
        placement=placement,
        height_mm=height,
        station=int(station),
        view_deg=int(view),
    )


def _show(opened: OpenInspection, photo: Shown, result: Result, drawn: bytes) -> None:
    name = f"{photo.sha256} {hashlib.sha256(repr(result).encode()).hexdigest()}"
    send_photograph(name, drawn, key=f"scale drawn {name}")
    if isinstance(result, Estimate):
        st.metric(
            "Diameter",
            diameter_words(result.diameter_mm, result.u_mm, opened.rope.units),
            help="± is the expanded uncertainty U (k = 2).",
        )
        listed = ", ".join(
            f"{term.quantity} ({100 * share:.0f} %)" for term, share in shares(result.budget)[:4]
        )
        st.markdown(f"Main sources of U: {listed}.")
    for finding in result.findings:
        show = st.warning if isinstance(result, Estimate) else st.error
        show(as_typed(sentence(finding)))
    mark_points(
        name,
        photo.size,
        (),
        key="scale seen",
        words="Photograph with the rule marks and rope edges that were found.",
    )
    if isinstance(result, Estimate) and st.button(
        "Add to this inspection", type="primary", key="scale keep"
    ):
        identity = opened.inspection.identity
        add_figure(get_record(), identity, photo, result, by=entering(identity))
        rescreen(identity)
        empty_tray(tray_owner(), "archive")
        st.session_state.pop("scale answer", None)
        flash_success(
            f"{photo.name} was added to station {result.station}, {result.view_deg}°: "
            f"{diameter_words(result.diameter_mm, result.u_mm, opened.rope.units)}, without the "
            "card."
        )
        st.rerun()


def _screen(opened: OpenInspection) -> None:
    st.caption(
        "For old photographs taken without the card. The figure is less certain than one with the "
        "card, and is marked so wherever it is shown."
    )
    photo = _uploaded_photo()
    if photo is None:
        return
    points = _points_input(photo)
    request = _measurement_inputs(points)
    if request is None:
        return
    if st.button("Measure", type="primary", key="scale measure"):
        with st.spinner("Finding the rule marks and the rope edges ..."):
            answer = apart(photo.name, archive_measured, photo.data, photo.name, request)
            st.session_state["scale answer"] = (request, *answer)
    before, result, drawn = st.session_state.get("scale answer", (None, None, None))
    if before == request and result.photo_sha256 == photo.sha256:
        _show(opened, photo, result, drawn)


inspection = page_header("Without the card")
if inspection is not None:
    with show_errors():
        _screen(inspection)
