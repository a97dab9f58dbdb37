"""Without the card: a rule, a tape or a known length in an old photograph gives its scale."""

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
    "The original file, if there is one: it says its focal length, and U is smaller.",
    "Drop the photograph here",
)
LABELS = ("begin of length", "end of length", "one side of rope", "other side of rope")
PAIRS = ((0, 1), (2, 3))
PLACEMENT_WORDS: dict[Placement, str] = {
    Placement.UNSAID: "not known",
    Placement.BESIDE: "beside the rule, on the same ground",
    Placement.ON: "on the rule's face",
    Placement.LEVEL: "with its middle level with the rule's face",
    Placement.AT_HEIGHT: "with its middle at a known height",
}


@st.cache_data(max_entries=3, show_spinner=False)
def _shown(sha256: str, owner: str) -> Shown | str:
    """Return a photograph with its preview; a sentence where it can't be read."""
    file = read_from_tray(owner, "archive", sha256)
    try:
        shown = apart(file.name, preview_of, file.data, file.name)
    except PhotoError as refused:
        return str(refused)
    return Shown(file.name, sha256, file.data, *shown)


def _given_photo() -> Shown | None:
    there = tray_field("archive", WORDS)
    if not there:
        return None
    shown = _shown(there[-1].sha256, tray_owner())
    if isinstance(shown, str):
        raise PhotoError(shown)
    return shown


def _points_input(photo: Shown) -> list[PointPx | None]:
    st.markdown(
        "Set two points on one row of the rule's marks (or at both ends of a known length), then "
        "two on plain ground to both sides of the rope, in a line square across it. A click or "
        "tap sets the point that is chosen; drag it, or move it with the arrow keys."
    )
    send_photograph(photo.sha256, photo.preview, key=f"scale sent {photo.sha256}")
    points = mark_points(
        photo.sha256,
        photo.size,
        LABELS,
        key="scale points",
        pairs=PAIRS,
        words="The photograph; set two points on the rule and two beside the rope.",
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
                help="From the photograph's left and upper edge.",
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
                f"{label}: {as_typed(text)} is no point; type x, y in px, e.g. 812, 440."
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
        help="As read off the rule's figures, or of a thing whose length is known. The longer, "
        "the surer.",
    )
    rule = left.toggle(
        "They lie on a rule or tape: find its marks",
        value=True,
        key="scale rule",
        help="Its marks tell the scale all along the rule, and how it is tilted. Off: the two "
        "points alone count.",
    )
    placed = middle.selectbox(
        "Position of the rope",
        [placement.value for placement in Placement],
        format_func=lambda value: PLACEMENT_WORDS[Placement(value)],
        key="scale lies",
        help="What lies nearer to the camera than the rule looks larger. Not known: U allows "
        "for it.",
    )
    height = 0.0
    placement = Placement(placed)
    if placement is Placement.AT_HEIGHT:
        height = middle.number_input(
            "Height of its middle over the rule's face, mm",
            -500.0,
            500.0,
            0.0,
            key="scale height",
            help="Towards the camera is more than 0.",
        )
    station = right.number_input(
        "Station",
        1,
        999,
        1,
        key="scale station",
        help="Place along the rope, as under 4 Stations.",
    )
    view = right.number_input(
        "Direction, °",
        0,
        359,
        0,
        key="scale view",
        help="0 from the front, 90 from the side; any other by eye.",
    )
    missing = [label for label, point in zip(LABELS, points, strict=True) if point is None]
    if missing or not length.strip():
        left_out = [*missing, *([] if length.strip() else ["the length itself"])]
        st.info(f"Still missing: {', '.join(left_out)}.", icon=":material/edit:")
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
            help="± is U, expanded, k = 2",
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
        words="The photograph with the rule's marks and the rope's edges as found.",
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
            f"{photo.name} stands at station {result.station}, {result.view_deg}°: "
            f"{diameter_words(result.diameter_mm, result.u_mm, opened.rope.units)}, without the "
            "card."
        )
        st.rerun()


def _screen(opened: OpenInspection) -> None:
    st.caption(
        "For photographs from before, where no card was there. The figure is less sure than one "
        "with the card, and says so wherever it is shown."
    )
    photo = _given_photo()
    if photo is None:
        return
    points = _points_input(photo)
    asked = _measurement_inputs(points)
    if asked is None:
        return
    if st.button("Measure", type="primary", key="scale measure"):
        with st.spinner("finding the marks of the rule and the edges of the rope"):
            answer = apart(photo.name, archive_measured, photo.data, photo.name, asked)
            st.session_state["scale answer"] = (asked, *answer)
    before, result, drawn = st.session_state.get("scale answer", (None, None, None))
    if before == asked and result.photo_sha256 == photo.sha256:
        _show(opened, photo, result, drawn)


inspection = page_header("Without the card")
if inspection is not None:
    with show_errors():
        _screen(inspection)
