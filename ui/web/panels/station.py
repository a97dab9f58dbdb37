"""The parts of a screen that show one station: photograph, edges, figures and entries."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from inspection.assessment import Assessment
from inspection.model.rope import Units
from inspection.record.views import OpenInspection, Photograph
from ui.lengths import diameter_words, heads_in_units, length_text, signed_length
from ui.presenters.photographs.edge_views import EDGE_PX, edge_places
from ui.presenters.review.queue import ReviewItem
from ui.presenters.review.station import (
    StationView,
    earlier_rows,
    edge_shapes,
    gauge_words,
    legend_of,
    neighbour_rows,
    refused_spots,
    shapes_of,
)
from ui.presenters.review.station_finding import figure_line
from ui.text import WORD_MARKS, as_minus, as_typed
from ui.web.components.rope_view import PhotoView, send_pictures, show_view
from ui.web.page import pictures
from ui.web.page.layout import show_errors
from ui.web.page.units import U_HELP, in_page_units, page_text, page_units
from vision.results import Estimate, Refusal, Result

SIDES = ("left edge", "right edge")


def photograph_of(opened: OpenInspection, result: Result) -> Photograph | None:
    """Return the photograph of a result; None if it does not belong to the inspection."""
    sha256 = result.photo_sha256
    return next(
        (photograph for photograph in opened.photographs if photograph.sha256 == sha256), None
    )


def show_photograph(photograph: Photograph, view: StationView, *, key: str) -> None:
    """Show a photograph with the measured edges, and the logged reading drawn to scale."""
    whole, edges = _drawn(photograph, view, "The rope on its card", key=key)
    if isinstance(view.result, Refusal) or not edges:
        show_view(whole, key=f"{key} photograph")
        return
    left, right = st.columns([3, 2])
    with left:
        legend = legend_of(view.result, view.comparison, page_units())
        show_view(replace(whole, legend=legend), key=f"{key} photograph")
    with right:
        for name, edge in zip(SIDES, edges, strict=True):
            st.markdown(f"**{name.capitalize()}**, magnified; rope at the bottom")
            show_view(edge, key=f"{key} {name}")


def show_side_by_side(opened: OpenInspection, views: Sequence[StationView], *, key: str) -> None:
    """Show the photographs of a station side by side with their figures and logged readings.

    Below each are its two edges, magnified enough to see a tenth of a millimetre.
    """
    for begin in range(0, len(views), 2):
        for column, view in zip(st.columns(2), views[begin : begin + 2], strict=False):
            with column, show_errors():
                show_one_side(opened, view, key=f"{key} {view.view_deg} {view.result.at_mm}")


def show_one_side(opened: OpenInspection, view: StationView, *, key: str) -> None:
    """Show one photograph with its figure and the logged reading, and both edges below."""
    photograph = photograph_of(opened, view.result)
    figure, logged = figure_line(view, page_units())
    if photograph is None:
        st.info(f"{figure}, {logged}. The photograph itself is not in the record.")
        return
    disagrees = view.comparison is not None and view.comparison.word == "disagrees"
    title = f"The rope on its card, {view.view_deg} degrees"
    whole, edges = _drawn(photograph, view, title, key=key, aspect=WIDE)
    over = ((figure, False), (logged, disagrees))
    show_view(replace(whole, over=over), key=f"{key} photograph")
    if edges:
        with st.container(key=f"edges-{view.view_deg}-{view.result.at_mm:g}", horizontal=True):
            for name, edge in zip(SIDES, edges, strict=True):
                with st.container():
                    show_view(edge, key=f"{key} {name}")


def _drawn(
    photograph: Photograph, view: StationView, title: str, *, key: str, aspect: float = 4 / 3
) -> tuple[PhotoView, list[PhotoView]]:
    """Send a photograph to the page; return it and its magnified edges, none without a diameter."""
    result = view.result
    name, data, size = pictures.preview(photograph)
    if isinstance(result, Refusal) or result.marks is None:
        send_pictures({name: data}, key=f"{key} pictures")
        shapes = refused_spots(result) if isinstance(result, Refusal) else []
        return PhotoView(name, size, f"Photograph {result.photo_name}: no diameter.", shapes), []
    marks, logged = result.marks, view.comparison.gauge_mm if view.comparison else None
    places = edge_places(result, marks)
    cuts = pictures.edges(photograph, places)
    send_pictures({name: data, **dict(cuts)}, key=f"{key} pictures")
    line = _legend_line(view)
    whole = PhotoView(
        name,
        size,
        f"{title}. {line}",
        shapes_of(result, marks, logged),
        home=pictures.home_of(marks, size, aspect=aspect),
    )
    edges = [
        PhotoView(
            cut,
            EDGE_PX,
            f"The {SIDES[side]}, magnified. {line}",
            edge_shapes(result, marks, place, side, logged, page_units()),
            zoom=False,
            pixels=True,
        )
        for side, (place, (cut, _)) in enumerate(zip(places, cuts, strict=True))
    ]
    return whole, edges


def show_before(before: OpenInspection, station: int, units: Units, *, key: str) -> None:
    """Show the station at the previous inspection: its photographs with their figures."""
    st.caption(f"Last time, {before.inspection.on:%Y-%m-%d}")
    mine = [one for one in before.results if isinstance(one, Estimate) and one.station == station]
    for result in sorted(mine, key=lambda one: one.view_deg or 0)[:2]:
        photograph = photograph_of(before, result)
        figure, _ = figure_line(StationView(result.view_deg or 0, result, None), units)
        if photograph is None or result.marks is None:
            st.caption(figure)
            continue
        name, data, size = pictures.preview(photograph)
        at = f"{key} before {result.view_deg}"
        send_pictures({name: data}, key=f"{at} pictures")
        view = PhotoView(
            name,
            size,
            f"Station {station} last time, {result.view_deg} degrees: {figure}.",
            shapes_of(result, result.marks, None),
            home=pictures.home_of(result.marks, size, aspect=WIDE),
            over=((figure, False),),
            zoom=False,
        )
        show_view(view, key=f"{at} photograph")


def show_lone(opened: OpenInspection, item: ReviewItem) -> None:
    """Show the photographs concerned by a finding that belongs to no single station."""
    finding = item.findings[0].finding
    named = {*finding.about, *finding.where}
    for photograph in opened.photographs:
        mine = [result for result in opened.results if result.photo_sha256 == photograph.sha256]
        if mine and named & {photograph.sha256, photograph.name}:
            with show_errors():
                view = StationView(mine[0].view_deg or 0, mine[0], None)
                show_one_side(opened, view, key=f"lone {photograph.sha256}")


WIDE = 16 / 9  # aspect ratio of a photograph shown beside another


def _legend_line(view: StationView) -> str:
    if view.comparison is not None:
        return in_page_units(view.comparison.words)
    if isinstance(view.result, Estimate):
        figure = diameter_words(view.result.diameter_mm, view.result.u_mm, page_units())
        return f"Photograph {figure}; no gauge reading here."
    return ""


def show_refusal(result: Refusal) -> None:
    """Show why a photograph gives no diameter, and how to take a better one."""
    for finding in result.findings:
        words = page_text(f"{finding.seen} {finding.remedy}")
        st.warning(words, icon=":material/no_photography:")


def show_entries(opened: OpenInspection, view: StationView | None, station: int) -> None:
    """Show the findings about the photograph's figure, and who read what with which gauge.

    Without a view, all readings of the station are shown.
    """
    if view is not None and isinstance(view.result, Estimate):
        for finding in view.result.findings:
            st.markdown(f":material/info: {page_text(finding.seen)} {page_text(finding.remedy)}")
    for logged in opened.logged:
        reading = logged.reading
        here = reading.station == station and (view is None or reading.view_deg == view.view_deg)
        if not here or logged.withdrawn:
            continue
        gauge = next((item for item in opened.gauges if item.identity == reading.gauge), None)
        at = f", {reading.at:%Y-%m-%d %H:%M}" if reading.at else ""
        changed = f", corrected by {logged.corrected_by}" if logged.corrected_by else ""
        changed += ", before the photograph's figure was shown" if reading.blind else ""
        st.markdown(
            f":material/straighten: **{as_typed(reading.typed)}** at {reading.view_deg}°, read by "
            f"{as_typed(reading.person)}{at}{as_typed(changed)}  \n"
            f"{as_typed(gauge_words(gauge, opened))}"
        )


def show_places(opened: OpenInspection, assessment: Assessment, station: int) -> None:
    """Show the neighbouring stations, and the readings taken here at earlier inspections."""
    left, right = st.columns(2, gap="large")
    rows = neighbour_rows(opened, assessment, station)
    if rows:
        heads = ["station", "distance", "mean by photographs ± U mm", "mean by gauge ± U mm"]
        left.html(table(heads, rows, "Neighbouring stations"))
    rows = earlier_rows(assessment, station)
    if rows:
        right.html(
            table(["date", "direction", "reading mm"], rows, "Earlier inspections of this station")
        )


def show_comparison(view: StationView, result: Estimate) -> None:
    """Show photograph, reading and their difference, each with its uncertainty."""
    one = view.comparison
    if one is None:
        st.markdown(
            f"Photograph **{diameter_words(result.diameter_mm, result.u_mm, page_units())}**; "
            "no gauge reading in this direction."
        )
        return
    units = page_units()

    def plain(mm: float) -> str:
        return length_text(mm, units=units)

    cells = (
        ("Photograph", plain(one.photo_mm), f"± {plain(2 * one.u_photo_mm)}"),
        ("Gauge reading", plain(one.gauge_mm), f"± {plain(2 * one.u_gauge_mm)}"),
        (
            "Difference",
            signed_length(one.difference_mm, units),
            f"± {plain(2 * one.u_difference_mm)}, {WORD_MARKS[one.word]}",
        ),
    )
    st.html(figures(cells))
    st.caption(
        "Difference is photograph minus gauge. They agree if it does not exceed its own U, shown "
        f"after ±. {in_page_units(one.needed)}",
        help=U_HELP,
    )


def figures(cells: Sequence[tuple[str, str, str]]) -> str:
    """Return figures side by side as escaped HTML: name above, uncertainty below."""
    return (
        f"<style>{_FIGURES_STYLE}</style><div class='rope-figures' role='list'>"
        + "".join(
            f"<div role='listitem'>{html.escape(name)}<b>{html.escape(as_minus(figure))}</b>"
            f"<span>{html.escape(as_minus(more))}</span></div>"
            for name, figure, more in cells
        )
        + "</div>"
    )


_FIGURES_STYLE = """
.rope-figures{display:flex;flex-wrap:wrap;gap:.4rem 2.2rem;font-size:.9rem}
.rope-figures b{display:block;font-size:1.5rem;font-weight:600;white-space:nowrap}
@media (max-width:640px){.rope-figures{gap:.4rem 1rem}.rope-figures b{font-size:1.1rem}}
"""


def table(
    heads: list[str], rows: list[list[str]], title: str, *, units: Units | None = None
) -> str:
    """Return a plain table as escaped HTML; on a phone a wide one becomes running text.

    Parameters
    ----------
    heads, rows : list
        Headings, in which "mm" is replaced by the units, and cells already in these units.
    title : str
        Caption of the table.
    units : {"mm", "inch"}, optional
        The rope's units; the page's units by default.
    """
    heads = heads_in_units(heads, units or page_units())
    rows = [[as_minus(cell) for cell in row] for row in rows]
    wide = " wide" if _too_wide_for_a_phone(heads, rows) else ""
    head = "".join(f"<th scope='col'>{html.escape(text)}</th>" for text in heads)
    body = "".join(
        "<tr>"
        + "".join(
            f"<td data-head='{html.escape(name)}'>{html.escape(text)}</td>"
            for name, text in zip(heads, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return (
        f"<style>{_TABLE_STYLE}</style><div style='overflow-x:auto'>"
        f"<table class='rope-table{wide}'><caption>{html.escape(title)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


PHONE_LETTERS = 40  # characters of table text in 328 px, less the gaps between five columns
LONG_CELL = 34  # characters; in a narrow column they would wrap over many lines


def _too_wide_for_a_phone(heads: list[str], rows: list[list[str]]) -> bool:
    columns = list(zip(heads, *rows, strict=True))
    least = sum(
        max(len(word) for cell in column for word in [*cell.split(), ""]) for column in columns
    )
    longest = max(len(cell) for row in rows for cell in row) if rows else 0
    return len(heads) > 5 or least > PHONE_LETTERS or longest > LONG_CELL


_TABLE_STYLE = """
.rope-table{border-collapse:collapse;width:100%;font-size:.9rem}
.rope-table caption{text-align:left;font-weight:600;padding:.3rem 0}
.rope-table th,.rope-table td{text-align:left;padding:.25rem .6rem .25rem 0;
border-bottom:1px solid #8885;vertical-align:top}
@media (max-width:640px){
.rope-table.wide thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.rope-table.wide tr{display:block;border-bottom:1px solid #8888;padding:.35rem 0}
.rope-table.wide td{display:inline-block;border:0;padding:.05rem 1rem .05rem 0;font-weight:600}
.rope-table.wide td:empty{display:none}
.rope-table.wide td::before{content:attr(data-head)" ";font-weight:400;
color:light-dark(#4A4C57,#B9BAC4)}}
"""
