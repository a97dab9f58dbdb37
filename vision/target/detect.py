"""Find printed cards in a photograph: which card each is, and where it lies.

Markers identify the card and its rough position; the measurement uses its chess corners
(`vision.target.corners`).

Pixel (0, 0) is the centre of the top left pixel; points are (x, y).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens
from vision.findings import RefusedError, finding
from vision.medians import median_of
from vision.target.artwork import DICTIONARY, MARKER_CELLS
from vision.target.corners import find_chess_corners, project
from vision.target.layout import (
    LAYOUT_OF_WORD,
    LAYOUTS,
    NUMBER_WORD,
    PLAIN_LAYOUTS,
    PLAIN_WORD,
    WORD_OF_LAYOUT,
    Layout,
    marker_corners_mm,
    marker_words,
)

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
Pixels = NDArray[np.uint8]

QUICK_PX, WORKING_PX, FINE_PX = 1000, 1800, 3600  # long sides at which markers are searched for
CELL_PX, LEAST_LIGHT = 8, 12  # reading a number's marker: size of a cell; least white over black
ABOUT = 1.2  # times the size of strips and band: the region converted to grey
ENOUGH_MARKERS = 8
ENOUGH_OF_ANOTHER = 2
# Marker dictionaries used by boards and labels; fewer than 3 different markers may be chance.
OTHER_KINDS = (
    cv2.aruco.DICT_4X4_250,
    cv2.aruco.DICT_6X6_250,
    cv2.aruco.DICT_7X7_250,
    cv2.aruco.DICT_ARUCO_ORIGINAL,
    cv2.aruco.DICT_APRILTAG_36H11,
)
ENOUGH_OTHERS = 3
MIN_CORNERS = 8
# All words on cards except their numbers. Every candidate shape is compared with each of them.
CARD_WORDS = tuple(
    sorted(
        {
            word
            for layout in LAYOUTS + PLAIN_LAYOUTS
            for _, _, word in marker_words(layout, 0)
            if word < NUMBER_WORD
        }
    )
)


@dataclass(frozen=True, slots=True, eq=False)
class FoundCard:
    """A card in the photograph.

    Parameters
    ----------
    layout : Layout
        The layout, read from its markers; one of `PLAIN_LAYOUTS` for an old card without
        stripes.
    number : int or None
        Card number; None where no number marker could be read.
    corners_mm, corners_px : ndarray of shape (N, 2)
        The chess corners found: as drawn on the card, mm, and in the photograph, px.
    homography : ndarray of shape (3, 3)
        From drawn mm to px.
    """

    layout: Layout
    number: int | None
    corners_mm: Array
    corners_px: Array
    homography: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Marker:
    word: int
    corners_px: Array  # (4, 2)


def find_cards(
    pixels: Pixels, lens: Lens | None = None, grey: Grey | None = None
) -> tuple[FoundCard, ...]:
    """Return every card in the photograph, the one with the most corners first.

    Parameters
    ----------
    pixels : ndarray of shape (H, W, 3) or (H, W), uint8
        The upright photograph, RGB or grey.
    lens : Lens, optional
        The lens, where it is known; its distortion is included in the search for corners.
    grey : ndarray of shape (H, W), uint8, optional
        Array that receives the grey photograph, filled only around each card: converting the rest
        of a large photograph would take longer than finding the card.

    Raises
    ------
    RefusedError
        If there is no card, only its mirror image, or too little of it.
    """
    if grey is None:
        grey = np.zeros(pixels.shape[:2], np.uint8)
    markers: list[_Marker] = []
    cards: tuple[FoundCard, ...] = ()
    for scale in _scales(grey):  # coarse to fine, until enough markers all belong to cards
        seen = _detect_at(_scaled(pixels, scale), scale)
        if len(seen) <= len(markers):
            continue
        markers = seen
        if len(markers) >= ENOUGH_MARKERS:
            cards = _cards_of(pixels, grey, markers, lens)
        if cards and _outside(markers, cards) < ENOUGH_OF_ANOTHER:
            break
    if not cards and markers:
        cards = _cards_of(pixels, grey, markers, lens)
    if cards:
        return cards
    small = _scaled(pixels, min(1.0, WORKING_PX / max(grey.shape)))
    if _is_mirrored(small):
        raise RefusedError(finding("mirrored"))
    if any(marker.word < NUMBER_WORD for marker in markers):
        raise RefusedError(finding("too-few-markers", 0.0, limit=MIN_CORNERS))
    others = _other_markers(small)
    raise RefusedError(finding("other-markers", others) if others else finding("no-card"))


def _scales(grey: Grey) -> list[float]:
    """Return the scales, relative to the photograph, at which markers are searched for.

    Reductions are by a whole number, so that all pixels are interpolated alike.
    """
    long_side = max(grey.shape)
    scales = [px / long_side for px in (QUICK_PX, WORKING_PX, FINE_PX) if px < 1.6 * long_side]
    return [1 / round(1 / scale) if scale < 1 / 1.5 else scale for scale in scales] or [1.0]


def _scaled(pixels: Pixels, scale: float) -> Grey:
    """Return a picture in grey, rescaled; each pixel is interpolated from the nearest ones only."""
    mode = cv2.INTER_LINEAR if scale < 1 else cv2.INTER_CUBIC
    scaled = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=mode)
    if scaled.ndim == 3:
        scaled = cv2.cvtColor(scaled, cv2.COLOR_RGB2GRAY)
    return np.asarray(scaled, np.uint8)


def _fill(grey: Grey, pixels: Pixels, layout: Layout, homography: Array) -> None:
    """Fill `grey` where a card's strips and band lie, with a margin around them."""
    x, y = ABOUT * layout.length_mm / 2, ABOUT * layout.half_height_mm
    card = np.array([[-x, -y], [x, -y], [x, y], [-x, y]])
    low, high = np.zeros(2, int), np.array(grey.shape[::-1])
    if (card @ homography[2, :2] + homography[2, 2] > 0).all():  # all of it is in front
        corners = project(homography, card)
        low, high = (
            np.clip(np.rint(end), 0, high).astype(int)
            for end in (corners.min(axis=0), corners.max(axis=0))
        )
    part = slice(low[1], high[1]), slice(low[0], high[0])
    if pixels.ndim == 2:
        grey[part] = pixels[part]
    elif grey[part].size:
        cv2.cvtColor(pixels[part], cv2.COLOR_RGB2GRAY, dst=grey[part])


def _outside(markers: list[_Marker], cards: tuple[FoundCard, ...]) -> int:
    """Count the markers outside all of the cards: another card may be in view."""
    outlines = []
    for card in cards:
        x, y = card.layout.length_mm / 2, card.layout.half_height_mm
        corners = np.array([[-x, y], [x, y], [x, -y], [-x, -y]])
        outlines.append(project(card.homography, corners).astype(np.float32))
    return sum(
        all(cv2.pointPolygonTest(outline, centre, False) < 0 for outline in outlines)
        for centre in (tuple(marker.corners_px.mean(axis=0).tolist()) for marker in markers)
    )


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    """Return the dictionary of `CARD_WORDS` only, without correction of wrong bits."""
    return cv2.aruco.Dictionary(DICTIONARY.bytesList[list(CARD_WORDS)], DICTIONARY.markerSize, 0)


def _detect_at(picture: Grey, scale: float) -> list[_Marker]:
    """Return the markers found in a rescaled picture, with corners in px of the photograph."""
    quick = max(picture.shape) < 1.2 * QUICK_PX
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = 23 if quick else 5
    parameters.adaptiveThreshWinSizeMax = 23 if quick else 45
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.minMarkerPerimeterRate = 0.04 if quick else 0.02
    detector = cv2.aruco.ArucoDetector(_dictionary(), parameters)
    corners, places, _ = detector.detectMarkers(picture)
    if places is None or len(corners) == 0:
        return []
    # resizing preserves the picture's outer edges, so pixel centres shift by half a step
    shift = 0.5 / scale - 0.5
    return [
        _Marker(CARD_WORDS[int(place)], np.asarray(quad, float).reshape(4, 2) / scale + shift)
        for quad, place in zip(corners, np.asarray(places).ravel(), strict=True)
    ]


def _is_mirrored(small: Grey) -> bool:
    markers = _detect_at(np.ascontiguousarray(small[:, ::-1]), 1.0)
    return bool(_layouts_seen(markers)) and len(markers) >= 4


def _other_markers(small: Grey) -> int:
    """Return the number of markers of another kind; 0 where so few may be chance."""
    most = 0
    for kind in OTHER_KINDS:
        dictionary = cv2.aruco.getPredefinedDictionary(kind)
        words = cv2.aruco.Dictionary(dictionary.bytesList, dictionary.markerSize, 0)
        _, found, _ = cv2.aruco.ArucoDetector(words).detectMarkers(small)
        most = max(most, 0 if found is None else len(set(np.asarray(found).ravel().tolist())))
    return most if most >= ENOUGH_OTHERS else 0


def _layouts_seen(markers: Iterable[_Marker]) -> list[Layout]:
    words = Counter(m.word for m in markers if m.word in LAYOUT_OF_WORD)
    return [LAYOUT_OF_WORD[word] for word, _ in words.most_common()]


def _cards_of(
    pixels: Pixels, grey: Grey, markers: list[_Marker], lens: Lens | None
) -> tuple[FoundCard, ...]:
    cards: list[FoundCard] = []
    for layout in _layouts_seen(markers):
        unused = [m for m in markers if m.word < PLAIN_WORD and m.word % 50 < layout.columns]
        while len(unused) >= 3:
            homography, used = _best_homography(layout, unused)
            if homography is None or len(used) < 3:
                break
            _fill(grey, pixels, layout, homography)
            corners = find_chess_corners(grey, layout, homography, lens)
            # Places are numbered alike on every layout, and a homography can map one layout to
            # another: only a layout marker in its proper place identifies the card.
            if (
                corners is not None
                and _votes_at(1, layout, corners[2], markers)[WORD_OF_LAYOUT[layout]]
            ):
                number = _read_number(grey, layout, corners[2])
                cards.append(FoundCard(layout, number, *corners))
            unused = [m for m in unused if m not in used and not _belongs(m, layout, homography)]
    return tuple(sorted(cards, key=lambda card: -len(card.corners_px)))


def _belongs(marker: _Marker, layout: Layout, homography: Array) -> bool:
    drawn = marker_corners_mm(layout, marker.word // 50, marker.word % 50)
    return bool(_fits(homography, drawn[None], marker.corners_px[None], 1.0)[0])


def _best_homography(layout: Layout, markers: list[_Marker]) -> tuple[Array | None, list[_Marker]]:
    """Fit one card to the place markers; if two are in view, the one with more markers."""
    drawn = np.array([marker_corners_mm(layout, m.word // 50, m.word % 50) for m in markers])
    corners_px = np.array([m.corners_px for m in markers])
    words = [m.word for m in markers]
    centres = corners_px.mean(axis=1)
    best: list[int] = []
    # Usually all markers fit at once; seeds of four neighbours separate two cards in view.
    seeds = [list(range(len(markers)))] if len(set(words)) == len(words) else []
    seeds += [list(np.argsort(np.linalg.norm(centres - centre, axis=1))[:4]) for centre in centres]
    for used in seeds:
        fitted: list[int] = []
        for tolerance in (1.0, 0.6, 0.3, 0.15, 0.15):  # a fit to neighbours is poor far away
            if used != fitted:
                model, fitted = _fit_robustly(corners_px[used], drawn[used]), used
            if model is None:
                break
            used = list(np.flatnonzero(_fits(model, drawn, corners_px, tolerance)))
            if len(used) < 3:
                break
        used = list({words[i]: i for i in reversed(used)}.values())  # one for each word
        if len(used) > len(best):
            best = used
        if len(best) >= 0.8 * len(markers):
            break
    chosen = [markers[i] for i in best]
    return (None if len(best) < 3 else _fit_robustly(corners_px[best], drawn[best])), chosen


def _fit_robustly(seen_px: Array, drawn_mm: Array) -> Array | None:
    if len(seen_px) < 2:
        return None
    side = float(median_of(np.linalg.norm(seen_px[:, 1] - seen_px[:, 0], axis=1)))
    model, _ = cv2.findHomography(
        drawn_mm.reshape(-1, 1, 2), seen_px.reshape(-1, 1, 2), cv2.RANSAC, max(2.5, 0.3 * side)
    )
    return None if model is None else np.asarray(model, float)


def _fits(model: Array, drawn_mm: Array, seen_px: Array, tolerance: float) -> NDArray[np.bool_]:
    """Return which markers (N, 4, 2) lie where a card with this homography has them."""
    side = np.linalg.norm(seen_px[:, 2] - seen_px[:, 0], axis=1)
    off = np.linalg.norm(
        project(model, drawn_mm.reshape(-1, 2)).reshape(seen_px.shape) - seen_px, axis=2
    ).max(axis=1)
    return np.asarray(off < np.maximum(2.5, tolerance * side))


def _read_number(grey: Grey, layout: Layout, homography: Array) -> int | None:
    """Read the card's number at its markers' places until two agree and outvote all others."""
    votes: Counter[int] = Counter()
    ranked: list[tuple[int, int]] = []
    for slot in _slots(3, layout, homography):
        word = _word_at(grey, slot)
        if word is None or word < NUMBER_WORD:
            continue
        votes[word - NUMBER_WORD] += 1
        ranked = votes.most_common(2)
        if ranked[0][1] >= 2 and (len(ranked) == 1 or ranked[1][1] < ranked[0][1]):
            return ranked[0][0]
    return ranked[0][0] if len(ranked) == 1 else None


def _word_at(grey: Grey, corners_px: Array) -> int | None:
    """Return the word of the marker with these corners (4, 2); None where it is unreadable."""
    side = MARKER_CELLS * CELL_PX
    square = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - 0.5
    to_photo = cv2.getPerspectiveTransform(square, corners_px.astype(np.float32))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    flat = cv2.warpPerspective(grey, to_photo, (side, side), flags=flags)
    inner = slice(CELL_PX // 4, -(CELL_PX // 4))
    cells = flat.reshape(MARKER_CELLS, CELL_PX, MARKER_CELLS, CELL_PX)[:, inner, :, inner]
    light = cells.mean(axis=(1, 3))
    if np.ptp(light) < LEAST_LIGHT:
        return None
    white = light > (light.min() + light.max()) / 2
    bits = white[1:-1, 1:-1]
    if white.sum() > bits.sum():  # a marker's rim is black
        return None
    known, word, turned = DICTIONARY.identify(bits.astype(np.uint8), 0.0)
    return word if known and not turned else None


def _slots(first: int, layout: Layout, homography: Array) -> Array:
    """Return the corners (N, 4, 2), px, of the markers in every fifth column from `first`."""
    corners = [
        marker_corners_mm(layout, strip, column)
        for column in range(first, layout.columns, 5)
        for strip in (0, 1)
    ]
    return project(homography, np.concatenate(corners)).reshape(-1, 4, 2)


def _votes_at(
    first: int, layout: Layout, homography: Array, markers: list[_Marker]
) -> Counter[int]:
    """Count the words of the markers in every fifth column from `first`."""
    slots = _slots(first, layout, homography).mean(axis=1)
    seen_px = np.array([marker.corners_px for marker in markers])
    side = np.linalg.norm(seen_px[:, 1] - seen_px[:, 0], axis=1)
    apart = np.linalg.norm(seen_px.mean(axis=1)[:, None] - slots, axis=2).min(axis=1)
    return Counter(markers[i].word for i in np.flatnonzero(apart < 0.4 * side).tolist())
