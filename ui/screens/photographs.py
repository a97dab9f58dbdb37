"""Photographs: each is measured as it arrives, files itself by its card, and can be moved."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import streamlit as st

from inspection.case import Judgement
from inspection.record import OpenInspection
from ui.by_hand_screen import show_by_hand
from ui.page_parts import as_typed, begin, plainly, say_cautions, tell_later
from ui.record_log import look_over
from ui.sample import check_from, measure_into
from ui.session import judged, person, the_record
from ui.station_screen import has_photograph, show_facts, show_photograph
from ui.station_view import View, views_of
from ui.words import place, sentence
from vision.estimate import Estimate, Refusal, Result

UNCHECKED = "print not checked"
MOST_MB = 40
KINDS = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif"]


def _take_in(there: OpenInspection) -> None:
    checks = the_record().print_checks()
    names = [*checks, UNCHECKED]
    used = next((one.print_set for one in there.results if isinstance(one, Estimate)), "")
    card_set = st.selectbox(
        "Card set on these photographs", names, index=names.index(used) if used in names else 0,
        help="The print check of step 2; without one the card's scale counts as known to 1 %.",
    )  # fmt: skip
    turn = st.session_state.setdefault("uploads", 0)
    files = st.file_uploader(
        "Photographs", KINDS, accept_multiple_files=True, key=f"upload {turn}",
        max_upload_size=MOST_MB,
        help="Original files from the camera, as many as you like. Hold the phone square above "
        "the card, the rope sharp, both chequered strips in view; one photograph for each of "
        "the two directions.",
    )  # fmt: skip
    if not files:
        return
    known = {one.sha256 for one in there.photographs}
    check = None if card_set == UNCHECKED else check_from(card_set, checks[card_set])
    told: list[str] = []
    bar = st.progress(0.0, text="measuring")
    for done, file in enumerate(files):
        bar.progress(done / len(files), text=f"measuring {file.name}")
        data = file.getvalue()
        if hashlib.sha256(data).hexdigest() in known:
            told.append(f"{file.name} was here already.")
            continue
        try:
            measure_into(
                the_record(), there.inspection.identity, data, name=file.name, check=check,
                by=person(),
            )  # fmt: skip
        except ValueError as wrong:
            told.append(f"{file.name}: {wrong}")
    bar.progress(1.0, text="holding readings against photographs")
    look_over(the_record(), there.inspection.identity, by=person())
    st.session_state["uploads"] = turn + 1
    st.session_state["not taken"] = told
    tell_later(f"{len(files) - len(told)} of {len(files)} photographs were measured.")
    st.rerun()


def _line(result: Result) -> str:
    if isinstance(result, Refusal):
        return f"✕ {place(result)} · {result.photo_name} · no diameter"
    return (
        f"● {place(result)} · {result.photo_name} · {result.diameter_mm:.2f} ± "
        f"{result.expanded_mm():.2f} mm"
    )


def _show(there: OpenInspection, judgement: Judgement) -> None:
    refused = [one for one in there.results if isinstance(one, Refusal)]
    for one in refused:
        with st.container(border=True):
            st.markdown(f":material/no_photography: **{as_typed(one.photo_name)}**: no diameter")
            for finding in one.findings:
                st.markdown(as_typed(sentence(finding)))
    ordered = sorted(
        there.results, key=lambda one: (one.station or 10**6, one.view_deg or 0, one.at_mm)
    )
    at = st.selectbox(
        "Look at", range(len(ordered)), format_func=lambda i: _line(ordered[i]),
        key=f"photograph {there.inspection.identity}",
        help="● a diameter, ✕ refused.",
    )  # fmt: skip
    result = ordered[at]
    view = View(result.view_deg or 0, result, None)
    if result.station is not None:
        view = next(
            (
                one for one in views_of(there, judgement, result.station)
                if one.result is result or one.result == result
            ),
            view,
        )  # fmt: skip
    if has_photograph(there, result.photo_sha256):
        show_photograph(view, key=f"mine {result.photo_sha256} {result.at_mm}")
    show_facts(there, judgement, view, result.station or 0)
    if isinstance(result, Estimate) and has_photograph(there, result.photo_sha256):
        with plainly():
            show_by_hand(there, result)
    _move(there, result)


def _move(there: OpenInspection, result: Result) -> None:
    with st.expander("File this photograph elsewhere", icon=":material/drive_file_move:"):
        st.caption("Its card says where it belongs; move it where the wrong card was used.")
        left, right = st.columns(2)
        station = left.number_input("Station", 1, 999, result.station or 1,
                                    key=f"to {result.photo_sha256}")  # fmt: skip
        view = right.selectbox("Direction", [0, 90], index=1 if result.view_deg == 90 else 0,
                               key=f"view {result.photo_sha256}",
                               format_func=lambda deg: f"{deg}°")  # fmt: skip
        why = st.text_input("Reason", key=f"why moved {result.photo_sha256}",
                            placeholder="the cards of stations 2 and 3 were mixed up")  # fmt: skip
        if st.button("Move it", key=f"move {result.photo_sha256}"):
            with plainly():
                if not why.strip():
                    raise ValueError("a photograph is moved with a reason: say why.")
                moved = replace(result, station=int(station), view_deg=int(view))
                the_record().add_results(
                    there.inspection.identity, [moved], by=person(), why=why.strip(),
                    revision=there.revision,
                )  # fmt: skip
                look_over(the_record(), there.inspection.identity, by=person())
                tell_later(f"{result.photo_name} is at station {station}, {view}° now.")
                st.rerun()


inspection = begin("3 Photographs")
if inspection is not None:
    with plainly():
        _take_in(inspection)
    for words in st.session_state.pop("not taken", []):
        st.error(words, icon=":material/error:")
    with plainly():
        if inspection.results:
            _show(inspection, judged(inspection))
        else:
            st.info(
                "No photographs yet. Fix the card to the rope, photograph it from two directions "
                "at right angles, and give the files here.",
                icon=":material/add_a_photo:",
            )
    st.page_link("screens/stations.py", label="Go on: stations", icon=":material/arrow_forward:")
    say_cautions()
