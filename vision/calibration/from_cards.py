"""A phone's lens from photographs of ropes with the card: several solved together.

One card that is seen nearly squarely tells little of the focal length: a principal point off the
picture's middle looks like a tilt, and how far off it lies nobody knows beforehand. Both belong to
the phone, not to the photograph. So each photograph gives what its card shows of the lens and of
the print's scale, with the pose and all else that is its own summed out (the reduced system of a
bundle adjustment; Triggs et al. 2000, section 6), and the sum of several, with what was known
beforehand, gives both. A photograph that contradicts the others was zoomed, or taken with another
lens: it is left out, and said.
"""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from vision.calibration.adjustment import ZOOM_OFF, CalibrationError, Intrinsics
from vision.calibration.library import (
    U_REFOCUS,
    U_SHIFT_SHARE,
    CalibratedCamera,
    camera_key,
    turned,
)
from vision.calibration.opened import opened_once
from vision.camera import Lens, tilt_deg
from vision.findings import RefusedError
from vision.photo.photo import Photo
from vision.rope.measure import look_for_rope
from vision.target.detect import find_cards
from vision.target.layout import Card
from vision.target.locate import locate_card
from vision.target.pose import Pose
from vision.target.print_scale import PrintCheck, card_as_printed
from vision.target.stated_lens import WIDE, stated_lens

Array = NDArray[np.float64]

LENS = ("log_focal", "k1", "centre_x_px", "centre_y_px")  # what photographs of one phone share
SEEN = (*LENS, "scale_along", "scale_across")  # and of one print
LEAST_PHOTOGRAPHS = 4
MOST_U_FOCAL = 0.025  # above, they tell hardly more than the camera wrote (4 %)
SURELY = 3.0  # times its uncertainty off the others: one honest photograph in 400 is left out


@dataclass(frozen=True, slots=True, eq=False)
class CardSight:
    """What one photograph's card shows of the phone and the print, by itself.

    Parameters
    ----------
    name, key : str
        Which photograph, and which camera, picture size and lens took it.
    size : tuple of int
        Width and height as the sensor is read, px.
    print_of : str
        Which print: cards of one share its scale.
    lens : Lens
        What was stated of the lens, in the frame in which the sensor is read.
    u_scales : ndarray of shape (2,)
        Standard uncertainty of the print's scale along and across, 1.
    information : ndarray of shape (6, 6)
        Inverse covariance of the numbers of `SEEN`, by the photograph alone.
    pull : ndarray of shape (6,)
        The same times their values.
    tilt_deg, rms_px : float
        How far the card was tilted, and the root mean square of what its fit left.
    """

    name: str
    key: str
    size: tuple[int, int]
    print_of: str
    lens: Lens
    u_scales: Array
    information: Array
    pull: Array
    tilt_deg: float
    rms_px: float


@dataclass(frozen=True, slots=True, eq=False)
class CardCalibration:
    """A camera, how well it is known, which photographs it rests on, and which not and why.

    Parameters
    ----------
    camera : CalibratedCamera
        The camera.
    u_log_focal, u_centre_px : float
        Relative standard uncertainty of its focal length; of its principal point, px.
    stated_px : float or None
        Focal length as the camera wrote it.
    tilts_deg : tuple of float
        How far the card was tilted in each photograph used.
    used, left_out : tuple of str
        Photographs that were used; sentences about those that were not.
    """

    camera: CalibratedCamera
    u_log_focal: float
    u_centre_px: float
    stated_px: float | None
    tilts_deg: tuple[float, ...]
    used: tuple[str, ...]
    left_out: tuple[str, ...]


def calibrate_from_cards(
    sources: Iterable[str | os.PathLike[str]],
    print_check: PrintCheck | None = None,
    *,
    on: date | None = None,
) -> CardCalibration:
    """Return the camera that took photographs of ropes with the card.

    Parameters
    ----------
    sources : iterable of path
        The photographs: four or more, original files of one camera and one lens.
    print_check : PrintCheck, optional
        What was read on the printed bars; without it the print's scale is known to 1 % only, and
        told by the photographs as well.
    on : date, optional
        Day of the calibration.

    Raises
    ------
    CalibrationError
        If there are too few, of several cameras, or all taken from much the same direction.
    """
    sights: list[CardSight] = []
    left_out: list[str] = []
    for _, photo in opened_once(sources, left_out):
        sight = card_sight(photo, print_check)
        if isinstance(sight, str):
            left_out.append(sight)
        else:
            sights.append(sight)
    together = solve_together(sights, on=on, left_out=left_out)
    return replace(together, left_out=(*left_out, *together.left_out))


def card_sight(photo: Photo, print_check: PrintCheck | None = None) -> CardSight | str:
    """Return what a photograph's card shows of the phone; or why it shows nothing, in words.

    Parameters
    ----------
    photo : Photo
        A photograph of a rope with the card.
    print_check : PrintCheck, optional
        What was read on the printed bars.
    """
    key, stated = camera_key(photo), stated_lens(photo)
    if not key:
        return f"{photo.name} does not say which camera took it"
    if stated.cropped is not None:
        return f"{photo.name} may have been cropped: no camera is known that writes its size"
    free = replace(stated, u_log_focal=WIDE, rivals=())
    grey = np.zeros(photo.pixels.shape[:2], np.uint8)
    try:
        found = find_cards(photo.pixels, free, grey)[0]
        card = card_as_printed(found, print_check)
        rope = look_for_rope(photo, grey, locate_card(grey, found, card, free))
    except RefusedError as refused:
        seen = refused.findings[0].seen.rstrip(".")
        return f"{photo.name}: {seen[0].lower()}{seen[1:]}"
    return _sight(photo, key, stated, card, rope.located.pose)


def _sight(photo: Photo, key: str, stated: Lens, card: Card, pose: Pose) -> CardSight:
    height, width = photo.pixels.shape[:2]
    size = (height, width) if photo.orientation >= 5 else (width, height)
    turn, shift = turned(photo.orientation, *size)
    back = np.eye(len(SEEN))  # from the numbers of the upright picture to those of the stored one
    centre = slice(SEEN.index("centre_x_px"), SEEN.index("centre_y_px") + 1)
    back[centre, centre] = turn.T
    values = np.concatenate([pose.camera.values(LENS), pose.scales])
    values[centre] -= shift
    u_scales = np.array([card.u_scale_x, card.u_scale_y])
    lens = pose.lens
    known = np.array([lens.u_log_focal, lens.u_k1, lens.u_centre_px, lens.u_centre_px, *u_scales])
    before = np.array([math.log(lens.focal_px), lens.k1, *(lens.centre_px - shift), 0.0, 0.0])
    whole = np.linalg.inv(pose.joint.ordered(SEEN))
    information = whole - np.diag(known**-2)
    pull = whole @ values - before / known**2
    middle = (size[0] - 1) / 2, (size[1] - 1) / 2
    return CardSight(
        photo.name,
        key,
        size,
        card.print_set or f"unchecked {card.layout.name}",
        replace(stated, centre_px=middle),
        u_scales,
        back @ information @ back.T,
        back @ pull,
        tilt_deg(pose.camera, np.zeros(3)),
        pose.rms_px,
    )


def solve_together(
    sights: Sequence[CardSight], *, on: date | None = None, left_out: Sequence[str] = ()
) -> CardCalibration:
    """Return the camera behind what several photographs show.

    Parameters
    ----------
    sights : sequence of CardSight
        What each shows by itself.
    on : date, optional
        Day of the calibration.
    left_out : sequence of str, optional
        Sentences about photographs that show nothing, for a refusal.

    Raises
    ------
    CalibrationError
        As `calibrate_from_cards` does.
    """
    _refuse_mixed(sights)
    stored = Counter(sight.size for sight in sights).most_common(1)
    used = [sight for sight in sights if sight.size == stored[0][0]] if stored else []
    said = [f"{sight.name} was turned by another program" for sight in sights if sight not in used]
    while len(used) > LEAST_PHOTOGRAPHS:
        apart = [_off_the_others(used, at) for at in range(len(used))]
        worst = max(range(len(used)), key=lambda at: abs(apart[at][0]) / apart[at][1])
        off, u = apart[worst]
        if abs(off) <= max(ZOOM_OFF, SURELY * u):
            break
        said.append(
            f"{used[worst].name} shows another focal length than the rest "
            f"({100 * math.expm1(off):+z.0f} %): it was zoomed, cropped or taken with another lens"
        )
        del used[worst]
    if len(used) < LEAST_PHOTOGRAPHS:
        why = f" ({'; '.join([*left_out, *said])})" if left_out or said else ""
        raise CalibrationError(
            f"the card shows the lens in {len(used)} photographs; {LEAST_PHOTOGRAPHS} are the "
            f"least{why}: give more, original files of one phone."
        )
    values, covariance = _solved(used)
    tilts = tuple(sight.tilt_deg for sight in used)
    u_log_focal = float(np.sqrt(covariance[0, 0]))
    if u_log_focal > MOST_U_FOCAL:
        raise CalibrationError(
            f"the photographs leave the focal length open to {100 * u_log_focal:.1f} % "
            f"({100 * MOST_U_FOCAL:.1f} % is the most; tilts {min(tilts):.0f} to {max(tilts):.0f} "
            "degrees): add some tilted by 10 to 30 degrees to each side, upwards and downwards."
        )
    order = [LENS.index(name) for name in ("log_focal", "centre_x_px", "centre_y_px", "k1")]
    matrix = np.diag(np.full(len(Intrinsics._fields), 1e-12))  # k2, p1, p2: in k1, as all along
    matrix[:4, :4] = covariance[np.ix_(order, order)]
    camera = CalibratedCamera(
        key=used[0].key,
        size=used[0].size,
        focal_px=math.exp(values[0]),
        centre_px=(float(values[2]), float(values[3])),
        k1=float(values[1]),
        k2=0.0,
        p1=0.0,
        p2=0.0,
        covariance=tuple(tuple(row) for row in matrix.tolist()),
        photographs=len(used),
        rms_px=float(np.median([sight.rms_px for sight in used])),
        coverage=0.0,
        on=on,
    )
    u_centre = float(np.sqrt(max(covariance[2, 2], covariance[3, 3])))
    stated = used[0].lens.focal_px if used[0].lens.known else None
    names = tuple(sight.name for sight in used)
    return CardCalibration(camera, u_log_focal, u_centre, stated, tilts, names, tuple(said))


def _refuse_mixed(sights: Sequence[CardSight]) -> None:
    by_key = Counter(sight.key for sight in sights)
    if len(by_key) > 1:
        listed = "; ".join(f"{key} ({count})" for key, count in by_key.most_common())
        raise CalibrationError(
            f"the photographs are of {len(by_key)} cameras, sizes or lenses: {listed}. Give those "
            "of one, zoom untouched."
        )


def _solved(sights: Sequence[CardSight], without: int | None = None) -> tuple[Array, Array]:
    """Return lens and print scales, and their covariance: LENS first, two numbers for each print.

    Without one photograph's own part, if asked for; what was known beforehand stays.
    """
    prints = list(dict.fromkeys(sight.print_of for sight in sights))
    count = len(LENS) + 2 * len(prints)
    lens = sights[0].lens
    prior = np.zeros(count)
    prior[: len(LENS)] = math.log(lens.focal_px), lens.k1, *lens.centre_px
    u = np.ones(count)
    u[: len(LENS)] = lens.u_log_focal, lens.u_k1, lens.u_centre_px, lens.u_centre_px
    for sight in sights:
        at = len(LENS) + 2 * prints.index(sight.print_of)
        u[at : at + 2] = sight.u_scales
    information, pull = np.diag(u**-2), prior / u**2
    # refocusing and stabilisation move the lens from one photograph to the next
    moves = np.zeros(len(SEEN))
    moves[[0, 2, 3]] = U_REFOCUS, *[U_SHIFT_SHARE * max(sights[0].size)] * 2
    for number, sight in enumerate(sights):
        if number == without:
            continue
        at = len(LENS) + 2 * prints.index(sight.print_of)
        mine = np.array([*range(len(LENS)), at, at + 1])
        part = np.linalg.inv(np.eye(len(SEEN)) + sight.information @ np.diag(moves**2))
        information[np.ix_(mine, mine)] += part @ sight.information
        pull[mine] += part @ sight.pull
    covariance = np.asarray(np.linalg.inv(information), float)
    return covariance @ pull, covariance


def _off_the_others(sights: Sequence[CardSight], at: int) -> tuple[float, float]:
    """Return how far a photograph's focal length lies off the others', in ln, and the u of that.

    Its own is read with the principal point and the print's scale that the others show.
    """
    sight = sights[at]
    values, covariance = _solved(sights, without=at)
    prints = list(dict.fromkeys(one.print_of for one in sights))
    first = len(LENS) + 2 * prints.index(sight.print_of)
    mine = [*range(len(LENS)), first, first + 1]
    usual, u_usual = float(values[0]), float(np.sqrt(covariance[0, 0]))
    others, known = values[mine], covariance[np.ix_(mine, mine)].copy()
    known[0, :], known[:, 0] = 0.0, 0.0
    known[0, 0] = WIDE**2
    moves = np.array([U_REFOCUS, 0.0, *[U_SHIFT_SHARE * max(sight.size)] * 2, 0.0, 0.0])
    before = np.linalg.inv(known + np.diag(moves**2))
    after = np.linalg.inv(before + sight.information)
    own = after @ (before @ others + sight.pull)
    return float(own[0]) - usual, math.hypot(float(np.sqrt(after[0, 0])), u_usual)
