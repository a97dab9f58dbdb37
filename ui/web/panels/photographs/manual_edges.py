"""Corrections by hand: an edge on its magnified picture, a station along the rope."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from inspection.record.views import OpenInspection, Photograph
from ui.lengths import diameter_words, length_text, signed_length
from ui.presenters.photographs.edge_views import EDGE_MM, EDGE_PX, edge_places
from ui.presenters.photographs.manual_edges import (
    at_mm_of,
    place_on_track,
    rope_track,
    with_edges_moved,
)
from ui.presenters.photographs.shapes import Handle
from ui.presenters.review.station import edge_shapes, shapes_of
from ui.services.cameras import known_cameras
from ui.services.measuring_queue import manner_of, measured
from ui.web.components.rope_view import PhotoView, send_pictures, show_view
from ui.web.page import pictures
from ui.web.page.layout import flash_success, reset_messages, show_errors
from ui.web.page.rescreen import rescreen
from ui.web.page.session import entering, get_record, user_name
from ui.web.page.units import page_units
from ui.web.panels.station import SIDES
from vision.apart import apart
from vision.pipeline import Settings
from vision.results import Estimate, Marks, Refusal, Result
from vision.rope.tangent_cylinder import Hold, HoldKind
from vision.target.print_scale import check_from_dict


def manual_corrections(opened: OpenInspection, photograph: Photograph, estimate: Estimate) -> None:
    """Offer the corrections that a person can make to one photograph."""
    marks = estimate.marks
    if marks is None:
        return
    key = f"{opened.inspection.identity} {estimate.photo_sha256} {estimate.at_mm} {opened.revision}"
    if st.toggle(
        "Correct an edge by hand",
        key=f"hand {key}",
        help="Where grease, a loose wire or a shadow was mistaken for the rope.",
    ):
        edges_by_hand(opened, photograph, estimate)
    if estimate.without_card:  # it can't be measured again at another place on a card
        return
    if st.toggle(
        "Move the station along the rope",
        key=f"place {key}",
        help="Drag the ring along the rope. The figure measured there replaces this one, which "
        "stays in the record's history.",
    ):
        _station(opened, photograph, estimate, marks, key)
    if estimate.by_hand and st.button("Undo: measure automatically again", key=f"undo {key}"):
        with show_errors():
            _measure(opened, [estimate], estimate.at_mm, why="back to the edges as measured")


@st.fragment
def edges_by_hand(opened: OpenInspection, photograph: Photograph, estimate: Estimate) -> None:
    """Draw both edges of a photograph with handles to move them, and a field for the reason."""
    reset_messages()  # this fragment can also be drawn on its own
    marks = estimate.marks
    if marks is None:
        return
    key = f"{opened.inspection.identity} {estimate.photo_sha256} {estimate.at_mm} {opened.revision}"
    places = edge_places(estimate, marks)
    cuts = pictures.edges(photograph, places)
    send_pictures(dict(cuts), key=f"hand pictures {key}")
    wide, high = EDGE_PX
    moves = []
    for side, (column, place, (cut, _)) in enumerate(zip(st.columns(2), places, cuts, strict=True)):
        with column:
            st.markdown(f"**{SIDES[side].capitalize()}**: drag the ring, or use the arrow keys")
            handle = Handle(
                f"{SIDES[side]} by hand",
                (0.88 * wide, high),
                (0.88 * wide, 0),
                0.5,
                step=0.01 / EDGE_MM[1],
                bar=True,
            )
            edge = PhotoView(
                cut,
                (wide, high),
                f"The {SIDES[side]}, magnified, to be corrected by hand.",
                edge_shapes(estimate, marks, place, side, None, page_units()),
                handles=[handle],
                zoom=False,
                pixels=True,
            )
            at = show_view(edge, key=f"hand {SIDES[side]} {key}")
            moves.append(((at[0] if at else 0.5) - 0.5) * EDGE_MM[1])
            st.caption(f"moved {signed_length(moves[-1], page_units())} (+ is outwards)")
    why = st.text_input(
        "What misled the measurement",
        key=f"hand why {key}",
        placeholder="a lump of grease on the upper edge",
        help="Recorded with the corrected figure.",
    )
    if abs(moves[0]) < 0.005 and abs(moves[1]) < 0.005:
        return
    with show_errors():
        moved = with_edges_moved(
            estimate, moves[0], moves[1], by=user_name(), why=why.strip() or "no reason yet"
        )
        before = diameter_words(estimate.diameter_mm, estimate.u_mm, page_units())
        after = diameter_words(moved.diameter_mm, moved.u_mm, page_units())
        st.markdown(f"Current **{before}**, with these edges **{after}**")
    if st.button("Save these edges", type="primary", key=f"hand keep {key}"):
        with show_errors():
            by = entering(opened.inspection.identity)
            moved = with_edges_moved(estimate, moves[0], moves[1], by=by, why=why)
            get_record().replace_result(
                opened.inspection.identity,
                estimate,
                moved,
                by=by,
                why=f"edge by hand: {why.strip()}",
                revision=opened.revision,
            )
            rescreen(opened.inspection.identity)
            flash_success(
                f"{estimate.photo_name} is now "
                f"{length_text(moved.diameter_mm, units=page_units())}, corrected by hand."
            )
            st.rerun()


@st.fragment
def _station(
    opened: OpenInspection, photograph: Photograph, estimate: Estimate, marks: Marks, key: str
) -> None:
    name, data, size = pictures.preview(photograph)
    send_pictures({name: data}, key=f"place pictures {key}")
    begin, end = rope_track(marks)
    handle = Handle("place along the rope", begin, end, place_on_track(marks), step=0.005)
    whole = PhotoView(
        name,
        size,
        "The whole photograph, with a ring that can be moved along the rope.",
        shapes_of(estimate, marks, None),
        handles=[handle],
        zoom=False,
    )
    at = show_view(whole, key=f"place view {key}")
    at_mm = at_mm_of(estimate, marks, at[0]) if at else estimate.at_mm
    st.caption(f"{_on_card(at_mm)} along the card from its centre")
    others = _other_directions(opened, estimate)
    both = bool(others) and st.checkbox(
        "Also measure the other direction there",
        value=True,
        key=f"place both {key}",
        help="A station mean needs both directions at the same place on the card.",
    )
    if st.button(
        "Measure here instead",
        type="primary",
        key=f"place keep {key}",
        disabled=abs(at_mm - estimate.at_mm) < 0.5,
    ):
        with show_errors():
            why = f"station moved to {_on_card(at_mm)} along the card"
            _measure(opened, [estimate, *(others if both else ())], at_mm, why=why)


def _on_card(at_mm: float) -> str:
    return signed_length(at_mm, page_units(), decimals=1)


def _other_directions(opened: OpenInspection, estimate: Estimate) -> list[Estimate]:
    """Return, for each other direction of the station, the figure nearest along the card."""
    nearest: dict[int | None, Estimate] = {}
    here = [
        one
        for one in opened.results
        if isinstance(one, Estimate) and not one.without_card and one.station is not None
    ]
    for one in sorted(here, key=lambda one: abs(one.at_mm - estimate.at_mm)):
        if one.station == estimate.station and one.view_deg != estimate.view_deg:
            nearest.setdefault(one.view_deg, one)
    return list(nearest.values())


def _place(result: Result) -> tuple[int | None, int | None]:
    return result.station, result.view_deg


def _measure(
    opened: OpenInspection, estimates: Sequence[Estimate], at_mm: float, *, why: str
) -> None:
    """Measure recorded photographs at another place on their cards; their filing is unchanged."""
    identity = opened.inspection.identity
    by, moved = entering(identity), [_measured_at(opened, one, at_mm) for one in estimates]
    with get_record().transaction() as batch:  # all or none
        for before, after in zip(estimates, moved, strict=True):
            revision = opened.revision if before is estimates[0] else None
            batch.replace_result(identity, before, after, by=by, why=why, revision=revision)
    rescreen(identity)
    figures = ", ".join(
        f"{one.view_deg}°: {diameter_words(one.diameter_mm, one.u_mm, page_units())}"
        for one in moved
    )
    flash_success(f"At {_on_card(at_mm)} on the card: {figures}.")
    st.rerun()


def _measured_at(opened: OpenInspection, estimate: Estimate, at_mm: float) -> Estimate:
    """Return the figure of a photograph at a place on its card, with the card held as before."""
    data = get_record().photographs.get(estimate.photo_sha256)
    values = get_record().print_checks().get(estimate.print_set)
    manner = manner_of(opened, estimate.photo_sha256)
    settings = Settings(
        at_mm=(at_mm,),
        hold=Hold(HoldKind(manner.hold), manner.offset_mm),
        print_check=check_from_dict(estimate.print_set, values) if values else None,
        cameras=known_cameras(),
    )
    results, *_ = apart(estimate.photo_name, measured, data, estimate.photo_name, settings)
    mine = [one for one in results if _place(one) == _place(estimate)]  # of several cards in view
    result = (mine or [*results])[0]
    if isinstance(result, Refusal):
        raise ValueError(
            f"{estimate.photo_name} gives no diameter at {_on_card(at_mm)}, so no figure was "
            f"changed: {result.findings[0].seen} {result.findings[0].remedy}"
        )
    return replace(result, station=estimate.station, view_deg=estimate.view_deg)
