"""Find printed cards in a photograph: which card, and its chess corners to a part of a pixel.

Markers say where to look, chess corners are what is measured: where four squares meet the
picture has a saddle point, which blur and exposure do not move, while the outer corners of a
black square on white creep inwards. Each corner is predicted from the markers by a homography,
refined by the gradient method of Förstner and Gülch (1987) as OpenCV's `cornerSubPix` has it,
and kept only if its four quadrants alternate between dark and light.

Pixel (0, 0) is the centre of the top left pixel; points are (x, y).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.card import (
    LAYOUT_WORD,
    LAYOUTS,
    NUMBER_WORD,
    Layout,
)
from vision.card_pattern import (
    chess_corners_mm,
    marker_corners_mm,
)
from vision.findings import RefusedError, finding

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

QUICK_PX, WORKING_PX, FINE_PX = 1000, 1800, 3600  # long sides at which markers are looked for
ENOUGH_MARKERS = 8
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


def find_cards(grey: Grey) -> tuple[FoundCard, ...]:
    """Return every card in the photograph, the one with most corners first.

    Parameters
    ----------
    grey : ndarray of shape (H, W), uint8
        The upright photograph in grey.

    Raises
    ------
    RefusedError
        If there is no card, only its mirror image, or too little of it.
    """
    markers = _detect(grey)
    cards = _cards_of(grey, markers)
    if cards:
        return cards
    if _is_mirrored(grey):
        raise RefusedError(finding("mirrored"))
    if any(marker.word < NUMBER_WORD for marker in markers):
        raise RefusedError(finding("too-few-markers", 0.0, limit=MIN_CORNERS))
    raise RefusedError(finding("no-card"))


def _detect(grey: Grey) -> list[_Marker]:
    """Look for markers coarse to fine, and stop at the first size that shows enough of them."""
    long_side = max(grey.shape)
    sizes = [px / long_side for px in (QUICK_PX, WORKING_PX, FINE_PX) if px < 1.6 * long_side]
    best: list[_Marker] = []
    for scale in sizes or [1.0]:
        found = _detect_at(grey, scale)
        if len(found) > len(best):
            best = found
        if len(best) >= ENOUGH_MARKERS and _layouts_seen(best):
            break
    return best


def _detect_at(grey: Grey, scale: float) -> list[_Marker]:
    quick = scale * max(grey.shape) < 1.2 * QUICK_PX
    mode = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    picture = (
        grey if scale == 1.0 else cv2.resize(grey, None, fx=scale, fy=scale, interpolation=mode)
    )
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = 19 if quick else 5
    parameters.adaptiveThreshWinSizeMax = 19 if quick else 45
    parameters.adaptiveThreshWinSizeStep = 20
    parameters.minMarkerPerimeterRate = 0.02
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


def _cards_of(grey: Grey, markers: list[_Marker]) -> tuple[FoundCard, ...]:
    cards: list[FoundCard] = []
    for layout in _layouts_seen(markers):
        left = [m for m in markers if m.word < LAYOUT_WORD and m.word % 50 < layout.columns]
        while len(left) >= 3:
            homography, used = _best_homography(layout, left)
            if homography is None or len(used) < 3:
                break
            card = _refined(grey, layout, homography, markers)
            if card is not None:
                cards.append(card)
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


def project(homography: Array, points: Array) -> Array:
    """Return points (N, 2) sent through a homography (3, 3)."""
    sent = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(sent[:, :2] / sent[:, 2:])


def _refined(
    grey: Grey, layout: Layout, homography: Array, markers: list[_Marker]
) -> FoundCard | None:
    drawn = chess_corners_mm(layout)
    keep_mm, keep_px = np.empty((0, 2)), np.empty((0, 2))
    for _ in range(2):  # the second pass predicts from corners and gains those near the ends
        predicted = project(homography, drawn)
        seen = _refine_corners(grey, layout, homography, drawn, predicted)
        good = np.isfinite(seen[:, 0])
        if good.sum() < 4:
            return None
        keep_mm, keep_px = drawn[good], seen[good]
        sides = (keep_mm[:, 1] > 0).sum(), (keep_mm[:, 1] < 0).sum()
        if min(sides) < 2:
            break
        step = np.linalg.norm(_local_axes(homography, keep_mm)[0], axis=1).mean()
        model, inside = cv2.findHomography(
            keep_mm.reshape(-1, 1, 2),
            keep_px.reshape(-1, 1, 2),
            cv2.RANSAC,
            max(1.5, 0.15 * step),  # mm of card in px: lets lens and a wavy card pass
        )
        if model is None:
            return None
        chosen = np.asarray(inside).ravel().astype(bool)
        keep_mm, keep_px = keep_mm[chosen], keep_px[chosen]
        homography = np.asarray(model, float)
    number = _read_number(layout, homography, markers)
    return FoundCard(layout, number, keep_mm, keep_px, homography)


def _local_axes(homography: Array, drawn_mm: Array) -> tuple[Array, Array]:
    """Return how far 1 mm right and 1 mm up on the card go in the photograph, px (N, 2) each."""
    here = project(homography, drawn_mm)
    right = project(homography, drawn_mm + np.array([1.0, 0.0])) - here
    up = project(homography, drawn_mm + np.array([0.0, 1.0])) - here
    return right, up


def _refine_corners(
    grey: Grey, layout: Layout, homography: Array, drawn: Array, predicted: Array
) -> Array:
    """Return refined corners (N, 2), NaN where the picture shows no chess corner."""
    height, width = grey.shape
    right, up = _local_axes(homography, drawn)
    square_px = layout.square_mm * np.minimum(
        np.linalg.norm(right, axis=1), np.linalg.norm(up, axis=1)
    )
    refined = np.full_like(predicted, np.nan)
    for i, (x, y) in enumerate(predicted):
        half = int(np.clip(0.11 * square_px[i], 2, 9))
        reach = half + 3
        if not (reach < x < width - 1 - reach and reach < y < height - 1 - reach):
            continue
        point = np.array([[[x, y]]], np.float32)
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.003)
        cv2.cornerSubPix(grey, point, (half, half), (-1, -1), stop)
        found = point.reshape(2).astype(float)
        if np.hypot(*(found - [x, y])) > max(2.0, 0.12 * square_px[i]):
            continue
        if _is_saddle(grey, found, right[i], up[i], layout.square_mm):
            refined[i] = found
    return refined


def _is_saddle(grey: Grey, at: Array, right: Array, up: Array, square_mm: float) -> bool:
    """Tell whether the four quadrants about a corner alternate between dark and light."""
    step = 0.09 * square_mm
    signs = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)], float)
    spots = at + step * (signs[:, :1] * right + signs[:, 1:] * up)
    cols = np.clip(np.rint(spots[:, 0]).astype(int), 0, grey.shape[1] - 1)
    rows = np.clip(np.rint(spots[:, 1]).astype(int), 0, grey.shape[0] - 1)
    light = grey[rows, cols].astype(float)
    one, two = light[[0, 2]], light[[1, 3]]
    gap = abs(one.mean() - two.mean())
    return bool(gap > 12 and max(np.ptp(one), np.ptp(two)) < 0.7 * gap + 12)


def _read_number(layout: Layout, homography: Array, markers: list[_Marker]) -> int | None:
    """Let the number markers that lie where this card has them vote for its number."""
    votes: Counter[int] = Counter()
    slots = [
        project(homography, marker_corners_mm(layout, strip, column)).mean(axis=0)
        for strip in (0, 1)
        for column in range(layout.columns)
        if column % 5 == 3
    ]
    for marker in markers:
        if marker.word < NUMBER_WORD:
            continue
        centre = marker.corners_px.mean(axis=0)
        side = np.linalg.norm(marker.corners_px[1] - marker.corners_px[0])
        if min(np.linalg.norm(centre - slot) for slot in slots) < 0.4 * side:
            votes[marker.word - NUMBER_WORD] += 1
    if not votes:
        return None
    (number, count), *others = votes.most_common()
    return None if others and others[0][1] == count else number
