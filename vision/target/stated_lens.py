"""What a photograph's own words say of its focal length, and what else may be true.

A picture that was cropped or zoomed after the camera wrote its focal length has a longer one, in
px, than stated. Such accounts compete with the plain one (`Rival`): how large the picture is, how
large the camera said it was, and which sizes sensors have say how likely each is beforehand; the
card's own perspective decides between them as far as it can. A zoom leaves the picture's middle
where it was, so that its accounts melt into one figure (`settled`). A crop may be cut from
anywhere: it is a camera of its own (`cropped_lens`), and the pose is fitted for both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.camera import Lens, Rival, lens_of
from vision.photo.photo import Photo

Array = NDArray[np.float64]

# Long sides of pictures as cameras write them, px: sensors of 5 to 200 MP, their quarters and
# sixteenths where pixels are binned, and films' frames (from memory).
SENSOR_LONG_PX = (
    2560, 2592, 2688, 2880, 3072, 3200, 3264, 3840, 3968, 4000, 4032, 4048, 4056, 4080, 4096,
    4128, 4160, 4208, 4224, 4272, 4320, 4608, 4624, 4640, 4656, 4896, 5120, 5152, 5184, 5312,
    5344, 5472, 5712, 6000, 6016, 6048, 6240, 6528, 6720, 6928, 6944, 7296, 7680, 7728, 7952, 8000,
    8032, 8064, 8160, 8192, 8256, 8640, 9000, 9248, 9280, 10000, 10240, 11648, 12000, 12032, 12240,
    16000, 16320, 16384,
)  # fmt: skip
SHAPES = (4 / 3, 3 / 2, 16 / 9, 1.0, 2.0, 18.5 / 9, 20 / 9)  # long over short side, as phones offer
# Long sides that messengers, forms and mail programs bring pictures to, px (from memory).
SENT_LONG_PX = (800, 960, 1024, 1080, 1200, 1280, 1440, 1600, 1920, 2048, 2560)
SAME = 0.01  # of a size or shape: nearer is the same

# What people do with pictures before they hand them on, as shares of all (usage; no source, chosen
# beforehand and not by what any photograph gave). One in twenty is cropped, two in five of those to
# a usual shape: by a program that keeps it, or by chance. One in ten comes whole in a size that the
# lists lack, of a sensor or a program that nobody wrote down; all but one in twenty of these have a
# usual shape.
CROPPED, CROPPED_TO_SHAPE = 0.05, 0.4
UNLISTED, UNLISTED_OF_SHAPE = 0.1, 0.95
# Of pictures that are smaller than the camera wrote, in its shape: cropped or made smaller, nothing
# tells; but who sends them on makes them smaller, to a size that is known.
CROPPED_IF_SMALLER, CROPPED_IF_SENT = 0.5, 0.1
# That somebody zoomed, or enlarged a crop, and the camera's words do not say so; that they are
# wrong in some other way, either way (usage; no source).
ZOOMED_UNSAID = 0.05
WRONG, WRONG_IF_CALIBRATED = 0.01, 0.001
MOST_CROPPED, MOST_ZOOMED, MOST_WRONG = 2.5, 3.0, 1.5  # times
WIDE = 0.6  # of the fit that asks the card alone, as ln(focal length)
GRID = np.linspace(-2.0, 2.5, 2251)  # of ln(focal length / stated)
OFF_CENTRE = 1 / math.sqrt(3)  # of a crop's margin: it was cut from anywhere within


def stated_lens(photo: Photo) -> Lens:
    """Return what a photograph's own words say of its lens, with what else may be true.

    Parameters
    ----------
    photo : Photo
        A photograph, by a camera that is not calibrated.
    """
    height, width = photo.pixels.shape[:2]
    lens = lens_of(width, height, photo.focal_px, photo.u_focal_px)
    rivals = [Rival(1 / MOST_WRONG, MOST_WRONG, WRONG)] if lens.known else []
    if photo.taken_px is None:  # no camera's file: nothing is known of what was done to it
        return replace(lens, rivals=tuple(rivals))
    if lens.known:
        rivals.append(Rival(1.0, MOST_ZOOMED, ZOOMED_UNSAID))
    cropped = None
    long_px, taken_long = max(width, height), max(photo.taken_px)
    sent = any(abs(long_px / usual - 1) < SAME / 4 for usual in SENT_LONG_PX)
    if taken_long > (1 + SAME) * long_px:
        ratio, margin_px = taken_long / long_px, (taken_long - long_px) / 2
        weight = CROPPED_IF_SENT if sent else CROPPED_IF_SMALLER
        cropped = Rival(ratio, ratio, weight, OFF_CENTRE * margin_px)
    elif not (usual_size(width, height) or sent):
        margin_px = (math.sqrt(MOST_CROPPED) - 1) / 2 * long_px
        weight = cropped_if_unlisted(width, height)
        cropped = Rival(1.0, MOST_CROPPED, weight, OFF_CENTRE * margin_px)
    return replace(lens, rivals=tuple(rivals), cropped=cropped)


def cropped_lens(lens: Lens, crop: Rival) -> Lens:
    """Return the lens as it is if the picture was cropped.

    Parameters
    ----------
    lens : Lens
        What was stated.
    crop : Rival
        How it may have been cropped.
    """
    spread = math.log(crop.most / crop.least) / math.sqrt(12)
    return replace(
        lens,
        focal_px=lens.focal_px * math.sqrt(crop.least * crop.most),
        u_log_focal=math.hypot(lens.u_log_focal, spread),
        u_centre_px=math.hypot(lens.u_centre_px, crop.u_centre_px),
        rivals=(),
        cropped=None,
    )


def usual_size(width: int, height: int) -> bool:
    """Tell whether cameras write pictures of this size.

    Parameters
    ----------
    width, height : int
        Size of a picture, px.

    Examples
    --------
    >>> usual_size(3024, 4032), usual_size(2016, 1512), usual_size(2822, 2117)
    (True, True, False)
    """
    long_px = max(width, height)
    listed = any(long_px * binned in SENSOR_LONG_PX for binned in (1, 2, 4))
    return listed and _shaped(width, height)


def cropped_if_unlisted(width: int, height: int) -> float:
    """Return how likely a picture of a size that no sensor has was cropped (Bayes' theorem).

    Parameters
    ----------
    width, height : int
        Size of a picture, px.

    Examples
    --------
    >>> round(cropped_if_unlisted(2822, 2117), 2), round(cropped_if_unlisted(2822, 1500), 2)
    (0.18, 0.86)
    """
    shaped = _shaped(width, height)
    cut = CROPPED * (CROPPED_TO_SHAPE if shaped else 1 - CROPPED_TO_SHAPE)
    whole = (1 - CROPPED) * UNLISTED * (UNLISTED_OF_SHAPE if shaped else 1 - UNLISTED_OF_SHAPE)
    return cut / (cut + whole)


def _shaped(width: int, height: int) -> bool:
    ratio = max(width, height) / min(width, height)
    return any(abs(ratio / shape - 1) < SAME for shape in SHAPES)


@dataclass(frozen=True, slots=True)
class Settled:
    """What is known of a focal length once the card has been asked.

    Parameters
    ----------
    focal_px, u_log_focal : float
        The focal length, px, and its relative standard uncertainty.
    u_centre_px : float
        Standard uncertainty of the principal point, as far off as a zoom may have carried it, px.
    stated : float
        Share of the variance that stems from what was known beforehand, 0 to 1.
    log_evidence : float
        ln of the probability density of what the card shows, by all that was known beforehand.
    """

    focal_px: float
    u_log_focal: float
    u_centre_px: float
    stated: float
    log_evidence: float


def settled(lens: Lens, own_log: float, u_own: float) -> Settled:
    """Return what stated focal length and card say together.

    The stated focal length and its rivals are weighed by how well each fits what the card's
    perspective shows (a mixture; Bayes' theorem on a grid); what comes out is its mean and scatter.

    Parameters
    ----------
    lens : Lens
        What was stated, and its rivals.
    own_log, u_own : float
        ln of the focal length in px as the card alone shows it, and its standard uncertainty.
    """
    own, step = own_log - math.log(lens.focal_px), float(GRID[1] - GRID[0])
    grown = np.maximum(np.exp(GRID), 1.0)  # by a zoom
    off_px = max((rival.u_centre_px for rival in lens.rivals), default=0.0)
    # a principal point lies farther off by as much as a zoom enlarged, and what the card shows of
    # the focal length is as unsure as that
    centre_px = np.hypot(grown * lens.u_centre_px, (grown - 1) * off_px)
    unsure = np.maximum(u_own * centre_px / lens.u_centre_px, step)
    plainly = np.full(GRID.size, max(u_own, step))
    known = [plainly, *[unsure] * len(lens.rivals)]
    fits = [
        prior * np.exp(-0.5 * ((own - GRID) / u) ** 2) / (u * math.sqrt(2 * math.pi))
        for prior, u in zip(_accounts(lens), known, strict=True)
    ]
    whole = float(np.sum(fits))
    if not whole > 0:  # none fits: the card is believed
        return Settled(math.exp(own_log), u_own, lens.u_centre_px, 0.0, -math.inf)
    mean, variance = _moments(np.sum(fits, axis=0))
    zoomed = np.sum(fits[1:], axis=0) / whole
    spread = 1 - float(np.sum(zoomed)) + float(np.sum(zoomed * (centre_px / lens.u_centre_px) ** 2))
    return Settled(
        lens.focal_px * math.exp(mean),
        math.sqrt(variance),
        lens.u_centre_px * math.sqrt(spread),
        max(0.0, 1 - variance / (u_own**2 * spread)),
        math.log(whole * step),
    )


def unsettled(lens: Lens) -> Lens:
    """Return the lens as one figure where no card can be asked.

    Parameters
    ----------
    lens : Lens
        What was stated, and what else may be true.
    """
    rivals = (*lens.rivals, lens.cropped) if lens.cropped else lens.rivals
    if not rivals:
        return lens
    accounts = _accounts(replace(lens, rivals=rivals))
    mean, variance = _moments(np.sum(accounts, axis=0))
    focal_px = lens.focal_px * math.exp(mean)
    u = math.sqrt(variance)
    return replace(lens, focal_px=focal_px, u_log_focal=u, rivals=(), cropped=None)


def _accounts(lens: Lens) -> list[Array]:
    """Return on `GRID` how likely each account makes a focal length: the stated one, its rivals."""
    fine = math.hypot(lens.u_log_focal, float(GRID[1] - GRID[0]))

    def between(low: float, high: float) -> Array:
        """Each as likely, as unsure as the stated one."""
        if low == high:
            bell = np.exp(-0.5 * ((GRID - low) / fine) ** 2)
            return np.asarray(bell / (fine * math.sqrt(2 * math.pi)))
        return np.asarray(ndtr((GRID - low) / fine) - ndtr((GRID - high) / fine)) / (high - low)

    accounts = [(1 - sum(rival.weight for rival in lens.rivals)) * between(0.0, 0.0)]
    for rival in lens.rivals:
        accounts.append(rival.weight * between(math.log(rival.least), math.log(rival.most)))
    return accounts


def _moments(density: Array) -> tuple[float, float]:
    """Return mean and variance of what has a density on `GRID`."""
    share = density / density.sum()
    mean = float(GRID @ share)
    return mean, float((GRID - mean) ** 2 @ share)
