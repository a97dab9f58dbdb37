"""Calibration of a phone's lens from several photographs of ropes with the card.

One card that is seen nearly squarely says little about the focal length: a principal point off the
picture's middle looks like a tilt, and its offset is not known in advance. But both are properties
of the phone, not of the photograph. So each photograph contributes its information about the lens
and the print's scale, with the pose and everything else of its own eliminated (the reduced system
of a bundle adjustment; Triggs et al. 2000, section 6). The sum over several photographs, with the
priors, gives both. A photograph that contradicts the others was zoomed or taken with another lens:
it is left out and reported.
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

LENS = ("log_focal", "k1", "centre_x_px", "centre_y_px")  # shared by photographs of one phone
SHARED = (*LENS, "scale_along", "scale_across")  # shared if they are also of one print
LEAST_PHOTOGRAPHS = 4
MOST_U_FOCAL = 0.025  # above this, they add little to the focal length the camera recorded (4 %)
SIGNIFICANT = 3.0  # deviation over u: one valid photograph in 400 is left out


@dataclass(frozen=True, slots=True, eq=False)
class CardSight:
    """Information about the phone and the print from one photograph's card alone.

    Parameters
    ----------
    name, key : str
        The photograph; its camera, picture size and lens.
    size : tuple of int
        Width and height as the sensor is read, px.
    print_of : str
        The print; its cards share one scale.
    lens : Lens
        The stated lens, in the frame in which the sensor is read.
    u_scales : ndarray of shape (2,)
        Standard uncertainty of the print's scale along and across, 1.
    information : ndarray of shape (6, 6)
        Inverse covariance of the parameters of `SHARED`, from the photograph alone.
    pull : ndarray of shape (6,)
        The product of `information` and the parameters' values.
    tilt_deg, rms_px : float
        Tilt of the card, and root mean square of the residuals of its fit.
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
    """A camera, its uncertainty, the photographs used, and the others with the reasons.

    Parameters
    ----------
    camera : CalibratedCamera
        The camera.
    u_log_focal, u_centre_px : float
        Relative standard uncertainty of its focal length; of its principal point, px.
    stated_px : float or None
        Focal length recorded by the camera.
    tilts_deg : tuple of float
        Tilt of the card in each photograph used.
    used, left_out : tuple of str
        The photographs used; sentences about the others.
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
        Readings of the printed bars; without them the print's scale is known to 1 % only, and is
        also determined from the photographs.
    on : date, optional
        Date of the calibration.

    Raises
    ------
    CalibrationError
        If there are too few photographs, they are of several cameras, or all were taken from much
        the same direction.
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
    """Return the information from a photograph's card, or a sentence that says why there is none.

    Parameters
    ----------
    photo : Photo
        A photograph of a rope with the card.
    print_check : PrintCheck, optional
        Readings of the printed bars.
    """
    key, stated = camera_key(photo), stated_lens(photo)
    if not key:
        return f"{photo.name} does not say which camera took it"
    if stated.cropped is not None:
        return f"{photo.name} may have been cropped: no known camera writes pictures of its size"
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
    back = np.eye(len(SHARED))  # from parameters of the upright picture to those as stored
    centre = slice(SHARED.index("centre_x_px"), SHARED.index("centre_y_px") + 1)
    back[centre, centre] = turn.T
    values = np.concatenate([pose.camera.values(LENS), pose.scales])
    values[centre] -= shift
    u_scales = np.array([card.u_scale_x, card.u_scale_y])
    lens = pose.lens
    known = np.array([lens.u_log_focal, lens.u_k1, lens.u_centre_px, lens.u_centre_px, *u_scales])
    before = np.array([math.log(lens.focal_px), lens.k1, *(lens.centre_px - shift), 0.0, 0.0])
    whole = np.linalg.inv(pose.joint.ordered(SHARED))
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
    """Return the camera from the information of several photographs.

    Parameters
    ----------
    sights : sequence of CardSight
        The information from each photograph.
    on : date, optional
        Date of the calibration.
    left_out : sequence of str, optional
        Sentences about photographs without information, for the error message.

    Raises
    ------
    CalibrationError
        As `calibrate_from_cards` does.
    """
    _refuse_mixed(sights)
    stored = Counter(sight.size for sight in sights).most_common(1)
    used = [sight for sight in sights if sight.size == stored[0][0]] if stored else []
    unused = [
        f"{sight.name} was turned by another program" for sight in sights if sight not in used
    ]
    while len(used) > LEAST_PHOTOGRAPHS:
        apart = [_off_the_others(used, at) for at in range(len(used))]
        worst = max(range(len(used)), key=lambda at: abs(apart[at][0]) / apart[at][1])
        off, u = apart[worst]
        if abs(off) <= max(ZOOM_OFF, SIGNIFICANT * u):
            break
        unused.append(
            f"{used[worst].name} shows a different focal length from the others "
            f"({100 * math.expm1(off):+z.0f} %): it was zoomed, cropped or taken with another lens"
        )
        del used[worst]
    if len(used) < LEAST_PHOTOGRAPHS:
        why = f" ({'; '.join([*left_out, *unused])})" if left_out or unused else ""
        raise CalibrationError(
            f"the lens can be calibrated from the card in {len(used)} photographs; at least "
            f"{LEAST_PHOTOGRAPHS} are needed{why}: give more original files of one phone."
        )
    values, covariance = _solved(used)
    tilts = tuple(sight.tilt_deg for sight in used)
    u_log_focal = float(np.sqrt(covariance[0, 0]))
    if u_log_focal > MOST_U_FOCAL:
        raise CalibrationError(
            f"the photographs determine the focal length to {100 * u_log_focal:.1f} % only (the "
            f"limit is {100 * MOST_U_FOCAL:.1f} %; tilts {min(tilts):.0f} to {max(tilts):.0f} "
            "degrees): add some tilted by 10 to 30 degrees to each side, upwards and downwards."
        )
    order = [LENS.index(name) for name in ("log_focal", "centre_x_px", "centre_y_px", "k1")]
    matrix = np.diag(np.full(len(Intrinsics._fields), 1e-12))  # u of k2, p1 and p2 is in k1's
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
    return CardCalibration(camera, u_log_focal, u_centre, stated, tilts, names, tuple(unused))


def _refuse_mixed(sights: Sequence[CardSight]) -> None:
    by_key = Counter(sight.key for sight in sights)
    if len(by_key) > 1:
        listed = "; ".join(f"{key} ({count})" for key, count in by_key.most_common())
        raise CalibrationError(
            f"the photographs are of {len(by_key)} cameras, sizes or lenses: {listed}. Give those "
            "of one only, without zoom."
        )


def _solved(sights: Sequence[CardSight], without: int | None = None) -> tuple[Array, Array]:
    """Return lens and print scales, and their covariance: LENS first, then two for each print.

    The information of photograph `without` is left out, if given; the priors are always used.
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
    # refocusing and stabilisation move the lens between photographs
    moves = np.zeros(len(SHARED))
    moves[[0, 2, 3]] = U_REFOCUS, *[U_SHIFT_SHARE * max(sights[0].size)] * 2
    for number, sight in enumerate(sights):
        if number == without:
            continue
        at = len(LENS) + 2 * prints.index(sight.print_of)
        own = np.array([*range(len(LENS)), at, at + 1])
        part = np.linalg.inv(np.eye(len(SHARED)) + sight.information @ np.diag(moves**2))
        information[np.ix_(own, own)] += part @ sight.information
        pull[own] += part @ sight.pull
    covariance = np.asarray(np.linalg.inv(information), float)
    return covariance @ pull, covariance


def _off_the_others(sights: Sequence[CardSight], at: int) -> tuple[float, float]:
    """Return the deviation of a photograph's ln(focal length) from the others', and its u.

    Its own focal length is determined with the others' principal point and print scale.
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
