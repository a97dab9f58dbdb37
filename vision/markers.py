"""Find printed cards in a photograph: which card, and where it lies.

Markers say which card it is and where to look; its chess corners (`vision.chess`) are what is
measured.

Pixel (0, 0) is the centre of the top left pixel; points are (x, y).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.camera import Lens
from vision.card import (
    LAYOUT_WORD,
    LAYOUTS,
    NUMBER_WORD,
    Layout,
)
from vision.card_pattern import (
    marker_corners_mm,
)
from vision.chess import find_chess_corners, project
from vision.findings import RefusedError, finding

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

QUICK_PX, WORKING_PX, FINE_PX = 1000, 1800, 3600  # long sides at which markers are looked for
ENOUGH_MARKERS = 8
ENOUGH_OF_ANOTHER = 2
MIN_CORNERS = 8


@dataclass(frozen=True, slots=True, eq=False)
class FoundCard:
    """A card in the photograph.

    Parameters
    ----------
    layout : Layout
        Which layout, from its own markers.
    number : int or None
        Card number; None where no number marker could be read.
    corners_mm, corners_px : ndarray of shape (N, 2)
        Chess corners that were found: as drawn on the card, mm, and in the photograph, px.
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


def find_cards(grey: Grey, lens: Lens | None = None) -> tuple[FoundCard, ...]:
    """Return every card in the photograph, the one with most corners first.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph in grey.
    lens : Lens, optional
        A calibrated lens; corners are then looked for through its distortion.

    Raises
    ------
    RefusedError
        If there is no card, only its mirror image, or too little of it.
    """
    markers: list[_Marker] = []
    cards: tuple[FoundCard, ...] = ()
    for scale in _scales(grey):  # coarse to fine, until enough markers and all of them are told
        seen = _detect_at(grey, scale)
        if len(seen) <= len(markers):
            continue
        markers = seen
        if len(markers) >= ENOUGH_MARKERS:
            cards = _cards_of(grey, markers, lens)
        if cards and _outside(markers, cards) < ENOUGH_OF_ANOTHER:
            break
    if not cards and markers:
        cards = _cards_of(grey, markers, lens)
    if cards:
        return cards
    if _is_mirrored(grey):
        raise RefusedError(finding("mirrored"))
    if any(marker.word < NUMBER_WORD for marker in markers):
        raise RefusedError(finding("too-few-markers", 0.0, limit=MIN_CORNERS))
    raise RefusedError(finding("no-card"))


def _scales(grey: Grey) -> list[float]:
    """Return the sizes, over the photograph's, at which markers are looked for."""
    long_side = max(grey.shape)
    sizes = [px / long_side for px in (QUICK_PX, WORKING_PX, FINE_PX) if px < 1.6 * long_side]
    return sizes or [1.0]


def _outside(markers: list[_Marker], cards: tuple[FoundCard, ...]) -> int:
    """Count the markers that lie on none of the cards: another card may be in view."""
    outlines = []
    for card in cards:
        x, y = card.layout.length_mm / 2, card.layout.half_height_mm
        corners = np.array([[-x, y], [x, y], [x, -y], [-x, -y]])
        outlines.append(project(card.homography, corners).astype(np.float32))
    return sum(
        all(cv2.pointPolygonTest(outline, centre, False) < 0 for outline in outlines)
        for centre in (tuple(marker.corners_px.mean(axis=0).tolist()) for marker in markers)
    )


def _detect_at(grey: Grey, scale: float) -> list[_Marker]:
    quick = scale * max(grey.shape) < 1.2 * QUICK_PX
    mode = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    picture = (
        grey if scale == 1.0 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=mode)
    )
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = 23 if quick else 5
    parameters.adaptiveThreshWinSizeMax = 23 if quick else 45
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.minMarkerPerimeterRate = 0.04 if quick else 0.02
    parameters.errorCorrectionRate = 0.3  # one wrong bit of 25 at most
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    corners, words, _ = detector.detectMarkers(picture)
    if words is None or len(corners) == 0:
        return []
    # resize keeps the outer edges of the picture: centres of pixels move by half a step
    shift = 0.5 / scale - 0.5
    return [
        _Marker(int(word), np.asarray(quad, float).reshape(4, 2) / scale + shift)
        for quad, word in zip(corners, np.asarray(words).ravel(), strict=True)
    ]


def _is_mirrored(grey: Grey) -> bool:
    scale = min(1.0, WORKING_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    flipped = np.ascontiguousarray(small[:, ::-1]).astype(np.uint8)
    markers = _detect_at(flipped, 1.0)
    return bool(_layouts_seen(markers)) and len(markers) >= 4


def _layouts_seen(markers: Iterable[_Marker]) -> list[Layout]:
    words = Counter(m.word for m in markers if LAYOUT_WORD <= m.word < LAYOUT_WORD + len(LAYOUTS))
    return [LAYOUTS[word - LAYOUT_WORD] for word, _ in words.most_common()]


def _cards_of(grey: Grey, markers: list[_Marker], lens: Lens | None) -> tuple[FoundCard, ...]:
    cards: list[FoundCard] = []
    for layout in _layouts_seen(markers):
        left = [m for m in markers if m.word < LAYOUT_WORD and m.word % 50 < layout.columns]
        while len(left) >= 3:
            homography, used = _best_homography(layout, left)
            if homography is None or len(used) < 3:
                break
            corners = find_chess_corners(grey, layout, homography, lens)
            # Places are numbered alike on every layout, and a homography makes one out of
            # another: only a layout marker in its own place tells which card it is.
            if (
                corners is not None
                and _votes_at(1, layout, corners[2], markers)[LAYOUT_WORD + LAYOUTS.index(layout)]
            ):
                number = _read_number(layout, corners[2], markers)
                cards.append(FoundCard(layout, number, *corners))
            left = [m for m in left if m not in used and not _belongs(m, layout, homography)]
    return tuple(sorted(cards, key=lambda card: -len(card.corners_px)))


def _belongs(marker: _Marker, layout: Layout, homography: Array) -> bool:
    drawn = marker_corners_mm(layout, marker.word // 50, marker.word % 50)
    return _fits(homography, drawn, marker.corners_px, 1.0)


def _best_homography(layout: Layout, markers: list[_Marker]) -> tuple[Array | None, list[_Marker]]:
    """Fit one card to the place markers; with two cards in view, the better shown one."""
    drawn = {m: marker_corners_mm(layout, m.word // 50, m.word % 50) for m in markers}
    centres = np.array([m.corners_px.mean(axis=0) for m in markers])
    best: list[_Marker] = []
    # All markers at once are the usual case; seeds of four neighbours part two cards in view.
    seeds = [list(range(len(markers)))] if len({m.word for m in markers}) == len(markers) else []
    seeds += [list(np.argsort(np.linalg.norm(centres - centre, axis=1))[:4]) for centre in centres]
    for seed in seeds:
        used = [markers[i] for i in seed]
        for tolerance in (1.0, 0.6, 0.3, 0.15, 0.15):  # neighbours say little of far markers
            model = _fit_robustly(used, drawn)
            if model is None:
                break
            used = [m for m in markers if _fits(model, drawn[m], m.corners_px, tolerance)]
            if len(used) < 3:
                break
        used = _one_per_word(used)
        if len(used) > len(best):
            best = used
        if len(best) >= 0.8 * len(markers):
            break
    if len(best) < 3:
        return None, best
    return _fit_robustly(best, drawn), best


def _fit_robustly(markers: list[_Marker], drawn: dict[_Marker, Array]) -> Array | None:
    if len(markers) < 2:
        return None
    seen = np.concatenate([m.corners_px for m in markers])
    side = float(np.median([np.linalg.norm(m.corners_px[1] - m.corners_px[0]) for m in markers]))
    model, _ = cv2.findHomography(
        np.concatenate([drawn[m] for m in markers]).reshape(-1, 1, 2),
        seen.reshape(-1, 1, 2),
        cv2.RANSAC,
        max(2.5, 0.3 * side),
    )
    return None if model is None else np.asarray(model, float)


def _one_per_word(markers: list[_Marker]) -> list[_Marker]:
    return list({m.word: m for m in reversed(markers)}.values())


def _fits(model: Array, drawn_mm: Array, seen_px: Array, tolerance: float) -> bool:
    side = np.linalg.norm(seen_px[2] - seen_px[0])
    off = np.linalg.norm(project(model, drawn_mm) - seen_px, axis=1)
    return bool(off.max() < max(2.5, tolerance * side))


def _read_number(layout: Layout, homography: Array, markers: list[_Marker]) -> int | None:
    """Let the number markers that lie where this card has them vote for its number."""
    votes = _votes_at(3, layout, homography, markers)
    numbers = [(word - NUMBER_WORD, count) for word, count in votes.most_common()]
    numbers = [(number, count) for number, count in numbers if number >= 0]
    if not numbers:
        return None
    (number, count), *others = numbers
    return None if others and others[0][1] == count else number


def _votes_at(turn: int, layout: Layout, homography: Array, markers: list[_Marker]) -> Counter[int]:
    """Count the words of the markers in the columns that are `turn` in each run of five."""
    slots = [
        project(homography, marker_corners_mm(layout, strip, column)).mean(axis=0)
        for strip in (0, 1)
        for column in range(layout.columns)
        if column % 5 == turn
    ]
    votes: Counter[int] = Counter()
    for marker in markers:
        centre = marker.corners_px.mean(axis=0)
        side = np.linalg.norm(marker.corners_px[1] - marker.corners_px[0])
        if min(np.linalg.norm(centre - slot) for slot in slots) < 0.4 * side:
            votes[marker.word] += 1
    return votes
