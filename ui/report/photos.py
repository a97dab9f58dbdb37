"""Photographs for the report: cropped to the rope and its card, reduced, with the marks drawn.

The logged reading is drawn beside the photograph's own jaws, centred on the same axis: where the
lines separate, the figures differ.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from inspection.comparison.crosscheck import Comparison
from ui.presenters.photographs.edge_views import edge_places, jaw_scale
from ui.report.blocks import ReportPicture
from ui.text import capitalised, place
from vision.apart import apart
from vision.overlay import SHADE, draw_results
from vision.photo.photo import open_photo
from vision.results import Estimate, Finding, Marks, Place, PointPx, Refusal, Result

WIDTH_PX = 1000  # two side by side are printed about 85 mm wide: 300 px per inch
QUALITY = 82
ROOM = 0.9  # of the rope's width, left around what was traced
NEAR_ROOM = 0.35
BROADEST = 1.9  # width over height of a picture; a narrower crop is made taller


LOGGED = "#FF9DE2"  # as the pages draw it, dashed


@dataclass(frozen=True, slots=True)
class PictureSource:
    """A photograph's bytes, and its scale relative to the picture that was measured.

    Parameters
    ----------
    data : bytes
        The original, or a smaller picture of it.
    scale : float
        Pixels of this picture to one of the original.
    """

    data: bytes
    scale: float = 1.0


Find = Callable[[Result], PictureSource]


def pictures_of(
    results: Sequence[Result],
    find: Find,
    comparisons: Sequence[Comparison] = (),
    *,
    near: bool = False,
) -> tuple[tuple[ReportPicture, ...], list[str]]:
    """Return a picture for every photograph, and a sentence for each that is missing.

    Parameters
    ----------
    results : sequence of Estimate or Refusal
        The photographs' results; several of one photograph are drawn on one picture.
    find : callable
        Returns the file of a result's photograph, or raises ValueError with a sentence.
    comparisons : sequence of Comparison, optional
        The readings of the same places, to be drawn on it.
    near : bool, optional
        Whether to show a close-up of the jaws instead of everything traced.
    """
    logged: dict[tuple[Place | None, str, float], Comparison] = {
        (one.place, one.photo_name, one.photo_mm): one for one in comparisons
    }
    by_photo: dict[str, list[Result]] = {}
    for result in sorted(results, key=in_order):
        by_photo.setdefault(result.photo_sha256 or result.photo_name, []).append(result)
    made, missing = [], []
    for group in by_photo.values():
        name = group[0].photo_name or "a photograph without a name"
        try:
            file = find(group[0])
            known = {i: one for i, one in enumerate(group) if isinstance(one, Estimate)}
            beside = {
                i: (found.gauge_mm, found.typed)
                for i, one in known.items()
                if (found := logged.get((one.place, one.photo_name, one.diameter_mm)))
            }
            drawn = apart(name, _drawn, file, name, tuple(group), beside, near=near)
        except ValueError as unreadable:
            missing.append(f"The picture of {name} is not shown: {unreadable}")
            continue
        places = tuple(one.place for one in known.values() if one.place is not None)
        made.append(ReportPicture(*drawn, places=places))
    return tuple(made), missing


def _drawn(
    file: PictureSource,
    name: str,
    results: tuple[Result, ...],
    logged: dict[int, tuple[float, str]],
    *,
    near: bool,
) -> tuple[bytes, int, int, str]:
    """Return the fields of a `ReportPicture` of a photograph's file."""
    scaled = tuple(_moved(result, 0, 0, file.scale) for result in results)
    drawn = annotated(open_photo(file.data, name=name).pixels, scaled, logged, near=near)
    return drawn.jpeg, drawn.width_px, drawn.height_px, drawn.caption


def in_order(result: Result) -> tuple[bool, bool, int, int, float]:
    """Return the sort key of results: by place, those without a figure last."""
    return (
        isinstance(result, Refusal),
        result.station is None,
        result.station or 0,
        result.view_deg or 0,
        result.at_mm,
    )


def annotated(
    pixels: NDArray[np.uint8],
    results: tuple[Result, ...],
    logged: Mapping[int, tuple[float, str]] | None = None,
    *,
    near: bool = False,
) -> ReportPicture:
    """Return a photograph cropped to what was traced in it, with the results drawn on it.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3), uint8
        The upright photograph, RGB.
    results : tuple of Estimate or Refusal
        What was measured in it.
    logged : mapping, optional
        Number of a result -> the reading of its place, mm, and as it was typed.
    near : bool, optional
        As in `pictures_of`.
    """
    logged = logged or {}
    height, width = pixels.shape[:2]
    left, top, right, bottom = _cut(results, width, height, near=near)
    scale = WIDTH_PX / (right - left)
    scale = scale if near else min(scale, 1.0)  # keeps lines fine on the few pixels of a jaw
    size = (round((right - left) * scale), round((bottom - top) * scale))
    part = Image.fromarray(pixels[top:bottom, left:right]).resize(size, Image.Resampling.LANCZOS)
    moved = tuple(_moved(result, left, top, scale) for result in results)
    weight = 2.4 if near else 1.8
    picture = Image.fromarray(draw_results(np.asarray(part), moved, caption=False, weight=weight))
    for number, (mm, _) in logged.items():
        _draw_logged(picture, moved[number], mm, weight)
    for one in moved:
        for number, finding in enumerate(one.findings, start=1):
            _ring(picture, finding, number)
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=QUALITY)
    return ReportPicture(
        buffer.getvalue(), picture.width, picture.height, _caption(results, logged)
    )


def _cut(
    results: Sequence[Result], width: int, height: int, *, near: bool
) -> tuple[int, int, int, int]:
    """Return left, top, right, bottom of the part to show: all marks with a margin."""
    points: list[PointPx] = []
    rope_px = 0.0
    for result in results:
        if isinstance(result, Estimate) and result.marks is not None:
            marks = result.marks
            points += [*marks.crown_left_px, *marks.crown_right_px]
            points += [] if near else [*marks.left_px, *marks.right_px]
            rope_px = max(rope_px, result.diameter_mm * result.px_per_mm)
    if not points or rope_px <= 0:
        return 0, 0, width, height
    xs, ys = [x for x, _ in points], [y for _, y in points]
    room = (NEAR_ROOM if near else ROOM) * rope_px
    box = [min(xs) - room, min(ys) - room, max(xs) + room, max(ys) + room]
    wanted = (box[2] - box[0]) / BROADEST - (box[3] - box[1])
    if wanted > 0:
        box[1], box[3] = box[1] - wanted / 2, box[3] + wanted / 2
    wanted = (box[3] - box[1]) / BROADEST - (box[2] - box[0])
    if wanted > 0:
        box[0], box[2] = box[0] - wanted / 2, box[2] + wanted / 2
    wide, high = box[2] - box[0], box[3] - box[1]
    if near and wide > high:  # two side by side have the same shape
        more = max(0.0, BROADEST * high - wide) / 2
        box[0], box[2] = box[0] - more, box[2] + more
    left, top = max(0, int(box[0])), max(0, int(box[1]))
    right, bottom = min(width, int(box[2]) + 1), min(height, int(box[3]) + 1)
    if right - left < 16 or bottom - top < 16:  # marks of another picture: show it whole
        return 0, 0, width, height
    return left, top, right, bottom


def _moved(result: Result, left: int, top: int, scale: float) -> Result:
    """Return a result with its coordinates moved into the cropped picture."""

    def at(point: PointPx) -> PointPx:
        return (point[0] - left) * scale, (point[1] - top) * scale

    findings = tuple(
        finding if finding.spot_px is None else replace(finding, spot_px=at(finding.spot_px))
        for finding in result.findings
    )
    if isinstance(result, Refusal) or result.marks is None:
        return replace(result, findings=findings)
    marks = result.marks
    moved = Marks(
        left_px=tuple(at(point) for point in marks.left_px),
        right_px=tuple(at(point) for point in marks.right_px),
        crown_left_px=(at(marks.crown_left_px[0]), at(marks.crown_left_px[1])),
        crown_right_px=(at(marks.crown_right_px[0]), at(marks.crown_right_px[1])),
        station_px=at(marks.station_px),
        card_px=tuple(at(point) for point in marks.card_px),
    )
    return replace(result, findings=findings, marks=moved, px_per_mm=result.px_per_mm * scale)


def _draw_logged(picture: Image.Image, result: Result, logged_mm: float, weight: float) -> None:
    """Draw the jaws at the logged reading's width, dashed."""
    if not isinstance(result, Estimate) or result.marks is None:
        return
    marks, unit = result.marks, max(picture.size) / 1000
    push = (logged_mm - result.diameter_mm) / 2 * jaw_scale(result, marks)
    draw = ImageDraw.Draw(picture)
    jaws = (marks.crown_left_px, marks.crown_right_px)
    for line, edge in zip(jaws, edge_places(result, marks), strict=True):
        begin, end = (np.add(point, push * np.array(edge.out)) for point in line)
        count = 2 * max(3, round(float(np.hypot(*(end - begin))) / (26 * unit))) + 1
        steps = [begin + (end - begin) * i / count for i in range(count + 1)]
        for colour, wide in ((SHADE, 4.5), (LOGGED, 2.2)):
            for i in range(0, count, 2):
                dash = (*map(float, steps[i]), *map(float, steps[i + 1]))
                draw.line(dash, fill=colour, width=max(2, round(wide * weight * unit)))


def _ring(picture: Image.Image, finding: Finding, number: int) -> None:
    """Draw a ring where a finding says to look."""
    if finding.spot_px is None:
        return
    draw = ImageDraw.Draw(picture)
    x, y = finding.spot_px
    r = max(picture.size) / 28
    for radius, colour in ((r + 2, "#000000"), (r, "#F0E442")):
        draw.ellipse((x - radius, y - radius, x + radius, y + radius), outline=colour, width=4)
    draw.text(
        (x + r + 6, y - 8), str(number), fill="#F0E442", stroke_width=2, stroke_fill="#000000"
    )


def _caption(results: Sequence[Result], logged: Mapping[int, tuple[float, str]]) -> str:
    words = []
    for number, result in enumerate(results):
        if isinstance(result, Estimate):
            figure = f"{result.diameter_mm:.2f} mm, U (k = 2) {result.expanded_mm():.2f} mm"
            read = f" Logged: {logged[number][1]}." if number in logged else ""
            hand = " An edge was set by hand." if result.by_hand else ""
            bare = " Measured without the card." if result.without_card else ""
            words.append(f"{place(result)}: {figure}.{read}{hand}{bare}")
        else:
            reasons = " ".join(finding.seen for finding in result.findings)
            words.append(f"{place(result)}: no diameter. {reasons}")
    name = results[0].photo_name
    said = " ".join(words)
    said = capitalised(said)
    return f"{said} ({name})" if name else said
