"""The card's PDF, rasterised by an independent renderer and measured."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped]
import pytest
from numpy.typing import NDArray

from vision.target.artwork import (
    MARKER_CELLS,
    bar_across_mm,
    bar_along_mm,
    black_squares_mm,
    graduations,
    pointers_mm,
    strap_marks_mm,
)
from vision.target.layout import (
    LAYOUTS,
    PAGE_MARGIN_MM,
    PAPERS_MM,
    BandMm,
    Layout,
    card_number,
    layout_named,
    marker_box_mm,
    marker_corners_mm,
    marker_words,
    stripe_phase,
)
from vision.target.pdf import card_pdf

MM_PER_PT = 25.4 / 72
ALLOWED_MM = 0.02  # the promise of the card


@pytest.fixture(scope="module", params=LAYOUTS, ids=lambda layout: layout.name)
def layout(request: pytest.FixtureRequest) -> Layout:
    """Return one layout after the other, so that all look at one before the next is rendered."""
    one: Layout = request.param
    return one


@dataclass(frozen=True, slots=True, eq=False)
class Print:
    """A page as a picture: darkness 0 to 1, and where its pixels lie in the card's frame."""

    grey: NDArray[np.uint8]
    width_mm: float
    height_mm: float

    @property
    def px_per_mm(self) -> tuple[float, float]:
        return self.grey.shape[1] / self.width_mm, self.grey.shape[0] / self.height_mm

    def across(self, x: float, y: float, reach: float, width: float) -> float:
        """Return where dark begins or ends on a line along x through (x, y): by its area."""
        fx, fy = self.px_per_mm
        rows = slice(
            round((self.height_mm / 2 - y - width) * fy),
            round((self.height_mm / 2 - y + width) * fy) + 1,
        )
        first = round((x - reach + self.width_mm / 2) * fx)
        last = round((x + reach + self.width_mm / 2) * fx)
        line = 1 - self.grey[rows, first:last].mean(axis=0) / 255
        assert {round(line[0]), round(line[-1])} == {0, 1}, "no edge here"
        dark_px = line.sum()
        edge_px = first + dark_px if line[0] > 0.5 else last - dark_px
        return float(edge_px / fx - self.width_mm / 2)

    def turned(self) -> Print:
        """Return the same page with its y lying along the rows, its x downwards."""
        return Print(self.grey.T[:, ::-1], self.height_mm, self.width_mm)


def deviation_mm(page: Print, turned: Print, box: BandMm, *, reach: float, width: float) -> float:
    """Return how far the four sides of a dark box lie from where they should."""
    x0, y0, x1, y1 = box
    xm, ym = (x0 + x1) / 2, (y0 + y1) / 2
    return max(
        abs(page.across(x0, ym, reach, width) - x0),
        abs(page.across(x1, ym, reach, width) - x1),
        abs(turned.across(y0, -xm, reach, width) - y0),
        abs(turned.across(y1, -xm, reach, width) - y1),
    )


@cache
def document(layout: Layout) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(card_pdf(layout, stations=[27]))


@lru_cache(maxsize=2)
def printed(layout: Layout, dpi: float = 600.0) -> Print:
    page = document(layout)[1]
    grey = page.render(scale=dpi / 72, grayscale=True).to_numpy()
    width, height = page.get_size()
    return Print(grey.reshape(grey.shape[:2]), width * MM_PER_PT, height * MM_PER_PT)


def largest_deviation_mm(page: Print, layout: Layout, number: int) -> float:
    cell, turned = layout.marker_mm / MARKER_CELLS, page.turned()
    boxes = [marker_box_mm(layout, strip, col) for strip, col, _ in marker_words(layout, number)]
    found = [deviation_mm(page, turned, box, reach=0.7 * cell, width=0.2 * cell) for box in boxes]
    for bar in (bar_along_mm(layout), bar_across_mm(layout)):
        found.append(deviation_mm(page, turned, bar, reach=0.5, width=0.3))
    return max(found)


def test_every_bar_and_marker_lies_within_0_02_mm_of_the_model(layout: Layout) -> None:
    assert largest_deviation_mm(printed(layout), layout, card_number(27, 90)) < ALLOWED_MM


def test_a_page_printed_0_1_percent_too_large_would_be_noticed() -> None:
    layout = layout_named("A5 middle")
    true = printed(layout)
    grown = Print(true.grey, true.width_mm * 1.001, true.height_mm * 1.001)
    assert largest_deviation_mm(grown, layout, card_number(27, 90)) > ALLOWED_MM


def test_bars_are_as_long_as_they_say(layout: Layout) -> None:
    page = printed(layout)
    x0, y0, x1, y1 = bar_along_mm(layout)
    ends = [page.across(x, (y0 + y1) / 2, 0.5, 0.3) for x in (x0, x1)]
    assert ends[1] - ends[0] == pytest.approx(layout.along_bar_mm, abs=ALLOWED_MM)
    turned = page.turned()
    x0, y0, x1, y1 = bar_across_mm(layout)
    ends = [turned.across(y, -(x0 + x1) / 2, 0.5, 0.3) for y in (y0, y1)]
    assert ends[1] - ends[0] == pytest.approx(layout.across_bar_mm, abs=ALLOWED_MM)
    words = document(layout)[1].get_textpage().get_text_bounded()
    assert f"Bar along: {layout.along_bar_mm:.0f} mm" in words
    assert f"Bar across: {layout.across_bar_mm:.0f} mm" in words


def test_graduations_stand_on_whole_millimetres_from_the_middle(layout: Layout) -> None:
    page = printed(layout)
    fx, fy = page.px_per_mm
    for tick in graduations(layout):
        x0, y0, x1, y1 = tick.box_mm
        row = round((page.height_mm / 2 - (y0 + y1) / 2) * fy)
        first = round((tick.at_mm - 0.4 + page.width_mm / 2) * fx)
        dark = 1 - page.grey[row, first : first + round(0.8 * fx)] / 255.0
        centre = first + 0.5 + (dark * np.arange(dark.size)).sum() / dark.sum()
        assert centre / fx - page.width_mm / 2 == pytest.approx(tick.at_mm, abs=ALLOWED_MM)
        assert dark.sum() / fx == pytest.approx(x1 - x0, abs=ALLOWED_MM)


def test_opencv_reads_every_marker_with_its_word_in_its_place(layout: Layout) -> None:
    page = printed(layout, dpi=200)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    plain = cv2.aruco.DetectorParameters()  # no light to allow for: one window of its three
    plain.adaptiveThreshWinSizeMin = plain.adaptiveThreshWinSizeMax = 23
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, plain).detectMarkers(page.grey)
    fx, fy = page.px_per_mm
    seen: set[tuple[int, float, float]] = set()
    for quad, found in zip(corners, np.asarray(ids).ravel().tolist(), strict=True):
        xy = (np.asarray(quad).reshape(4, 2) + 0.5) / [fx, fy]
        first = xy[0] - [page.width_mm / 2, page.height_mm / 2]
        seen.add((int(found), float(first[0]), float(-first[1])))
    number = card_number(27, 90)
    for strip, column, word in marker_words(layout, number):
        x, y = marker_corners_mm(layout, strip, column)[0]
        places = [(px, py) for w, px, py in seen if w == word]
        # half a millimetre: at 200 dpi OpenCV's raw corners are good to a few px of 0.127 mm
        assert any(np.hypot(px - x, py - y) < 0.5 for px, py in places), f"word {word} at {x:.1f}"
    assert len(seen) == 2 * layout.columns


def dark_at(page: Print, box: BandMm) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the drawn places (N, M, 2), mm, of a box's pixels, and how dark each is, 0 to 1."""
    fx, fy = page.px_per_mm
    x0, y0, x1, y1 = box
    columns = np.arange(round((x0 + page.width_mm / 2) * fx), round((x1 + page.width_mm / 2) * fx))
    rows = np.arange(round((page.height_mm / 2 - y1) * fy), round((page.height_mm / 2 - y0) * fy))
    x = (columns + 0.5) / fx - page.width_mm / 2
    y = page.height_mm / 2 - (rows + 0.5) / fy
    return np.stack(np.meshgrid(x, y), axis=-1), 1 - page.grey[np.ix_(rows, columns)] / 255.0


def test_the_stripes_lie_where_their_phase_says(layout: Layout) -> None:
    x0, y0, x1, y1 = layout.stripe_box_mm
    places, dark = dark_at(printed(layout), (x0 + 0.2, y0 + 0.2, x1 - 0.2, y1 - 0.2))
    places, dark = places[::3], dark[::3]  # a row every 0.13 mm: stripes run on from row to row
    turn = np.exp(-1j * stripe_phase(layout, places))
    sine = -turn.imag
    far = np.abs(sine) > 2 * np.pi * 0.06 / layout.stripe_mm  # over 0.06 mm from an edge
    assert (dark[far] == (sine < 0)[far]).all()
    # The same by demodulation. A square wave that is dark in the second half of each turn has
    # the first harmonic -2/pi sin(phase), that is i/pi exp(i phase) + its conjugate (any table
    # of Fourier series). A thousandth of a turn is 0.001 to 0.006 mm here.
    for half in (np.s_[: len(dark) // 2], np.s_[len(dark) // 2 :]):
        first = (dark[half] * turn[half]).mean()
        assert abs(first) == pytest.approx(1 / np.pi, rel=0.02)
        assert np.angle(first / 1j) / (2 * np.pi) == pytest.approx(0, abs=0.001)
    assert dark.mean() == pytest.approx(0.5, abs=0.005)


def test_stripes_a_tenth_of_a_millimetre_aside_would_be_noticed() -> None:
    layout = layout_named("A5 middle")
    places, dark = dark_at(printed(layout), layout.stripe_box_mm)
    phase = stripe_phase(layout, places + np.array([0.1, 0.0]))
    first = (dark * np.exp(-1j * phase)).mean()
    assert abs(np.angle(first / 1j)) / (2 * np.pi) > 0.03


def test_white_parts_stripes_from_chess_squares_and_nothing_else_is_on_the_band(
    layout: Layout,
) -> None:
    page = printed(layout)
    x0, y0, x1, y1 = layout.band_box_mm
    _, low, _, high = layout.stripe_box_mm
    for gap in ((x0, y0 + 0.05, x1, low - 0.05), (x0, high + 0.05, x1, y1 - 0.05)):
        assert dark_at(page, gap)[1].max() == 0
    assert low - y0 == pytest.approx(y1 - high)
    assert y1 - high >= 1.0 - 1e-9  # two widths of the finest stripe and more
    for _, box in text_boxes_mm(layout):
        assert not overlap(box, layout.band_box_mm)


def test_everything_is_black_on_white_and_within_the_margins(layout: Layout) -> None:
    rgb = document(layout)[0].render(scale=300 / 72).to_numpy()
    assert (rgb == rgb[..., :1]).all()
    edges = (rgb[..., 0] > 0) & (rgb[..., 0] < 255)
    assert edges.mean() < 0.25  # grey is where an edge cuts a dot, and nowhere else
    margin = round((PAGE_MARGIN_MM - 0.2) * rgb.shape[1] / layout.width_mm)
    inner = rgb[margin:-margin, margin:-margin]
    assert int((rgb != 255).sum()) == int((inner != 255).sum())


def text_boxes_mm(layout: Layout) -> list[tuple[str, BandMm]]:
    page = document(layout)[1]
    width, height = (side * MM_PER_PT for side in page.get_size())
    text = page.get_textpage()
    boxes = []
    for i in range(text.count_rects()):
        rect = text.get_rect(i)
        x0, y0, x1, y1 = (value * MM_PER_PT for value in rect)
        box = (x0 - width / 2, y0 - height / 2, x1 - width / 2, y1 - height / 2)
        boxes.append((text.get_text_bounded(*rect).strip(), box))
    return boxes


def overlap(one: BandMm, two: BandMm) -> bool:
    return min(one[2], two[2]) > max(one[0], two[0]) and min(one[3], two[3]) > max(one[1], two[1])


def test_no_words_are_clipped_or_lie_on_anything_else(layout: Layout) -> None:
    boxes = text_boxes_mm(layout)
    x, y = layout.width_mm / 2 - PAGE_MARGIN_MM, layout.height_mm / 2 - PAGE_MARGIN_MM
    half = layout.half_height_mm
    things = [
        (-layout.length_mm / 2, -half, layout.length_mm / 2, half),
        bar_along_mm(layout),
        bar_across_mm(layout),
        *(tick.box_mm for tick in graduations(layout)),
        *(
            (x0 - 0.1, min(y0, y1), x0 + 0.1, max(y0, y1))
            for x0, y0, _, y1 in strap_marks_mm(layout)
        ),
    ]
    for corners in pointers_mm(layout):
        xs, ys = zip(*corners, strict=True)
        things.append((min(xs), min(ys), max(xs), max(ys)))
    assert len(boxes) > 20
    for i, (words, box) in enumerate(boxes):
        assert -x <= box[0] < box[2] <= x, words
        assert -y <= box[1] < box[3] <= y, words
        for thing in things:
            assert not overlap(box, thing), words
        for other, other_box in boxes[i + 1 :]:
            assert not overlap(box, other_box), f"{words} | {other}"


def test_the_card_says_in_plain_words_what_it_is_and_that_people_decide(layout: Layout) -> None:
    words = " ".join(document(layout)[1].get_textpage().get_text_bounded().split())
    assert "Rope card · station 27 · view 90°" in words
    assert f"{layout.name} · for ropes to {layout.rope_max_mm:.0f} mm" in words
    assert "Secure the load" in words
    assert "never clears a rope: the competent person decides" in words.replace("- ", "")
    assert "300 to 500 mm" in words
    smallest = min(item.get_font_size() for item in _text_objects(layout))
    assert smallest >= 4.5 - 1e-3


def _text_objects(layout: Layout) -> list[pypdfium2.PdfTextObj]:
    objects = document(layout)[1].get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_TEXT])
    return [item for item in objects if isinstance(item, pypdfium2.PdfTextObj)]


def test_a_page_has_the_size_of_its_paper_and_holds_no_picture(layout: Layout) -> None:
    page = document(layout)[0]
    size_mm = sorted(side * MM_PER_PT for side in page.get_size())
    assert size_mm == pytest.approx(sorted(PAPERS_MM[layout.paper]), abs=0.01)
    kinds = {item.type for item in page.get_objects()}
    assert kinds == {pypdfium2.raw.FPDF_PAGEOBJ_PATH, pypdfium2.raw.FPDF_PAGEOBJ_TEXT}


def test_black_squares_and_markers_share_no_square() -> None:
    for layout in LAYOUTS:
        black = black_squares_mm(layout)
        assert len(black) == 2 * layout.columns
        for strip, column, _ in marker_words(layout, 0):
            box = marker_box_mm(layout, strip, column)
            assert not any(overlap(box, square) for square in black)


def test_there_is_one_page_for_each_station_and_view() -> None:
    layout = layout_named("A6 thin")
    pages = pypdfium2.PdfDocument(card_pdf(layout, stations=4))
    titles = [page.get_textpage().get_text_bounded().splitlines()[0] for page in pages]
    expected = [f"station {s} · view {v}°" for s in (1, 2, 3, 4) for v in (0, 90)]
    assert [title.removeprefix("Rope card · ") for title in titles] == expected
    assert len(pypdfium2.PdfDocument(card_pdf(layout, stations=[7, 3]))) == 4


def test_the_same_card_is_the_same_bytes_and_is_never_shrunk_by_the_viewer() -> None:
    layout = layout_named("A4 thin")
    pdf = card_pdf(layout, stations=[1, 5])
    assert pdf == card_pdf(layout, stations=[1, 5])
    assert b"/PrintScaling /None" in pdf


@pytest.mark.parametrize(
    ("stations", "words"),
    [(0, "at least one station"), ([], "at least one"), ([2, 2], "only once"), ([0], "must be 1")],
)
def test_stations_without_a_card_are_refused(stations: list[int] | int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        card_pdf(LAYOUTS[0], stations=stations)
