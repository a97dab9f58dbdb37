"""The printed card as a PDF: vector graphics only, true to size, one page per card.

Geometry comes from `vision.target.layout` and `vision.target.artwork`; this module draws it and
adds the text.
"""

from __future__ import annotations

import io
from bisect import bisect_left
from collections.abc import Iterable, Sequence

from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from vision.target.artwork import (
    LABEL_TOP_MM,
    NUMBER_TOP_MM,
    PolygonMm,
    bar_across_mm,
    bar_along_mm,
    black_squares_mm,
    graduations,
    marker_runs_mm,
    pointers_mm,
    strap_marks_mm,
    stripes_mm,
    text_columns_mm,
)
from vision.target.layout import (
    PAGE_MARGIN_MM,
    BandMm,
    Layout,
    card_number,
    marker_words,
)

INSTRUCTIONS = (
    "Lay the rope along the band, card flat against it.",
    "Photograph square, from 300 to 500 mm.",
    "Measure both bars once with a caliper and enter what you read.",
)
CAUTION = (
    "Secure the load first. Never work near a moving rope.",
    "A photograph never clears a rope: the competent person decides.",
)
REGULAR, BOLD = "Helvetica", "Helvetica-Bold"
CAP_HEIGHT = 0.74  # of Helvetica including its degree sign, relative to the font size
LEADING = 1.22
SMALLEST_PT, LARGEST_PT, NUMBER_PT = 4.5, 8.5, 5.0
TITLE_RATIO = 1.75


def card_pdf(layout: Layout, *, stations: Sequence[int] | int) -> bytes:
    """Return the cards of an inspection as a PDF, one page for each station and view.

    Parameters
    ----------
    layout : Layout
        Paper and range of rope diameters, see `vision.target.layout.layout_for`.
    stations : int or sequence of int
        How many stations, counted from 1; or their numbers.

    Returns
    -------
    bytes
        The same bytes for the same arguments, so that a reprint can be recognised.

    Raises
    ------
    ValueError
        If no station is given, one is given twice, or one has no card.

    Examples
    --------
    >>> from vision.target.layout import layout_for
    >>> card_pdf(layout_for(24.0, "A5"), stations=4)[:5]
    b'%PDF-'
    """
    chosen = list(range(1, stations + 1)) if isinstance(stations, int) else list(stations)
    if not chosen:
        raise ValueError(f"`stations` must name at least one station; got {stations!r}.")
    if len(set(chosen)) < len(chosen):
        raise ValueError(f"name each station only once; got {', '.join(map(str, chosen))}.")
    numbers = [(s, view, card_number(s, view)) for s in chosen for view in (0, 90)]

    buffer = io.BytesIO()
    page = (layout.width_mm * mm, layout.height_mm * mm)
    canvas = Canvas(buffer, pagesize=page, invariant=True, pageCompression=1)
    canvas.setViewerPreference("PrintScaling", "None")  # otherwise viewers shrink to fit
    canvas.setTitle(f"Rope card {layout.name}, {_named(chosen)}")
    canvas.setSubject("Print at 100 %, never fit to page.")
    canvas.setAuthor("")
    canvas.setCreator("")
    for station, view_deg, number in numbers:
        canvas.translate(page[0] / 2, page[1] / 2)
        _draw_targets(canvas, layout, number)
        _draw_words(canvas, layout, f"Rope card · station {station} · view {view_deg}°")
        _draw_marks(canvas, layout)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _named(stations: Sequence[int]) -> str:
    if len(stations) == 1:
        return f"station {stations[0]}"
    if list(stations) == list(range(stations[0], stations[-1] + 1)):
        return f"stations {stations[0]} to {stations[-1]}"
    return f"stations {', '.join(map(str, stations))}"


def _fill(canvas: Canvas, boxes_mm: Iterable[BandMm]) -> None:
    """Fill boxes as one path, so that there is no hairline between neighbours."""
    path = canvas.beginPath()
    for x0, y0, x1, y1 in boxes_mm:
        path.rect(x0 * mm, y0 * mm, (x1 - x0) * mm, (y1 - y0) * mm)
    canvas.drawPath(path, stroke=0, fill=1)


def _fill_polygons(canvas: Canvas, polygons_mm: Iterable[PolygonMm]) -> None:
    path = canvas.beginPath()
    for (x0, y0), *others in polygons_mm:
        path.moveTo(x0 * mm, y0 * mm)
        for x, y in others:
            path.lineTo(x * mm, y * mm)
        path.close()
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_targets(canvas: Canvas, layout: Layout, number: int) -> None:
    canvas.setFillGray(0)
    _fill(canvas, black_squares_mm(layout))
    _fill_polygons(canvas, stripes_mm(layout))
    for strip, column, word in marker_words(layout, number):
        _fill(canvas, marker_runs_mm(layout, strip, column, word))


def _draw_marks(canvas: Canvas, layout: Layout) -> None:
    ticks = graduations(layout)
    _fill(canvas, [bar_along_mm(layout), bar_across_mm(layout)])
    _fill(canvas, [tick.box_mm for tick in ticks])
    _fill_polygons(canvas, pointers_mm(layout))

    canvas.setFont(REGULAR, NUMBER_PT)
    base = -(layout.half_height_mm + NUMBER_TOP_MM) * mm - CAP_HEIGHT * NUMBER_PT
    for tick in ticks:
        if tick.at_mm == 0:  # beside the pointer, which is in its place
            canvas.drawString(1.4 * mm, base, tick.number)
        elif tick.number:
            canvas.drawCentredString(tick.at_mm * mm, base, tick.number)

    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.2 * mm)
    canvas.setDash(1.2 * mm, 0.8 * mm)
    for x0, y0, x1, y1 in strap_marks_mm(layout):
        canvas.line(x0 * mm, y0 * mm, x1 * mm, y1 * mm)
        middle = (y0 + y1) / 2 * mm - 0.36 * NUMBER_PT
        if x0 < 0:
            canvas.drawRightString((x0 - 0.6) * mm, middle, "strap")
        else:
            canvas.drawString((x0 + 0.6) * mm, middle, "strap")
    canvas.setDash()


def _draw_words(canvas: Canvas, layout: Layout, title: str) -> None:
    subtitle = f"{layout.name} · for ropes to {layout.rope_max_mm:.0f} mm · print at 100 %"
    left, right = text_columns_mm(layout)
    width, height = (left[2] - left[0]) * mm, (left[3] - left[1]) * mm
    size, title_pt = _fitting_sizes(width, height, title, subtitle)

    top = left[3] * mm - CAP_HEIGHT * title_pt
    canvas.setFont(BOLD, title_pt)
    canvas.drawString(left[0] * mm, top, title)
    top -= 1.4 * size
    canvas.setFont(REGULAR, size)
    canvas.drawString(left[0] * mm, top, subtitle)
    top -= 0.4 * size
    canvas.setFont(BOLD, size)
    for line in _caution_lines(size, width):
        top -= LEADING * size
        canvas.drawString(left[0] * mm, top, line)

    canvas.setFont(REGULAR, size)
    top = right[3] * mm - CAP_HEIGHT * size
    for step, lines in enumerate(_instruction_lines(size, width), start=1):
        canvas.drawString(right[0] * mm, top, str(step))
        for line in lines:
            canvas.drawString(right[0] * mm + size, top, line)
            top -= LEADING * size

    _draw_bar_labels(canvas, layout, min(size, 7.0))


def _caution_lines(size: float, width: float) -> list[str]:
    """Start each sentence on a new line if that takes no more lines."""
    apart = [line for words in CAUTION for line in simpleSplit(words, BOLD, size, width)]
    joined: list[str] = simpleSplit(" ".join(CAUTION), BOLD, size, width)
    return apart if len(apart) <= len(joined) else joined


def _instruction_lines(size: float, width: float) -> list[list[str]]:
    return [simpleSplit(step, REGULAR, size, width - size) for step in INSTRUCTIONS]


def _fitting_sizes(width: float, height: float, title: str, subtitle: str) -> tuple[float, float]:
    """Return the largest font sizes of body and title, pt, at which both columns fit their box."""

    def title_pt(size: float) -> float:
        return min(TITLE_RATIO * size, size * width / stringWidth(title, BOLD, size))

    def fits(size: float) -> bool:
        caution = len(_caution_lines(size, width))
        lines = sum(map(len, _instruction_lines(size, width)))
        left = CAP_HEIGHT * title_pt(size) + (1.8 + LEADING * caution + 0.25) * size
        right = (LEADING * (lines - 1) + 1.0) * size
        return stringWidth(subtitle, REGULAR, size) <= width and max(left, right) <= height

    tenths = round(10 * (LARGEST_PT - SMALLEST_PT))
    sizes = [round(LARGEST_PT - tenth / 10, 1) for tenth in range(tenths)]
    # text that fits at one size fits at every smaller one; the smallest is used without a check
    size = [*sizes, SMALLEST_PT][bisect_left(sizes, True, key=fits)]
    return size, title_pt(size)


def _draw_bar_labels(canvas: Canvas, layout: Layout, size: float) -> None:
    """Label the bars with their drawn lengths, with space for the readings."""
    along = f"Bar along: {layout.along_bar_mm:.0f} mm, read: ________ mm"
    across = f"Bar across: {layout.across_bar_mm:.0f} mm, read: ________ mm"
    card_set, numbers = "card set: ____________", "numbers: mm from the middle"
    room = layout.length_mm * mm
    while sum(stringWidth(x, REGULAR, size) for x in (along, card_set, numbers)) > 0.94 * room:
        size -= 0.1
    canvas.setFont(REGULAR, size)
    base = -(layout.half_height_mm + LABEL_TOP_MM) * mm - CAP_HEIGHT * size
    canvas.drawString(-room / 2, base, along)
    free = stringWidth(along, REGULAR, size) - stringWidth(numbers, REGULAR, size)
    canvas.drawCentredString(free / 2, base, card_set)
    canvas.drawRightString(room / 2, base, numbers)

    _, y0, x1, _ = bar_across_mm(layout)
    free_mm = layout.width_mm / 2 - PAGE_MARGIN_MM - x1
    size = min(size, (free_mm - 0.5) * mm)
    canvas.setFont(REGULAR, size)
    canvas.saveState()
    canvas.translate((x1 + 0.6) * mm + CAP_HEIGHT * size, y0 * mm)
    canvas.rotate(90)
    canvas.drawString(0, 0, across)
    canvas.restoreState()
