"""The focal length that a photograph states, and alternative hypotheses about it.

A picture that was cropped or zoomed after the camera recorded its focal length has a longer one,
in px, than stated. Such hypotheses (`Rival`) compete with the stated focal length. Their prior
probabilities follow from the picture's size, the size that the camera recorded, and common sensor
sizes; the card's perspective decides between them as far as it can. A zoom leaves the picture's
middle unchanged, so its hypotheses are combined into one focal length (`settled`). A crop may be
taken from anywhere: it is treated as a different camera (`cropped_lens`), and the pose is fitted
for both.
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

# Long sides of pictures as cameras write them, px: sensors of 5 to 200 MP, a quarter or sixteenth
# of their pixels where these are binned, and video frames (from memory).
SENSOR_LONG_PX = (
    2560, 2592, 2688, 2880, 3072, 3200, 3264, 3840, 3968, 4000, 4032, 4048, 4056, 4080, 4096,
    4128, 4160, 4208, 4224, 4272, 4320, 4608, 4624, 4640, 4656, 4896, 5120, 5152, 5184, 5312,
    5344, 5472, 5712, 6000, 6016, 6048, 6240, 6528, 6720, 6928, 6944, 7296, 7680, 7728, 7952, 8000,
    8032, 8064, 8160, 8192, 8256, 8640, 9000, 9248, 9280, 10000, 10240, 11648, 12000, 12032, 12240,
    16000, 16320, 16384,
)  # fmt: skip
SHAPES = (4 / 3, 3 / 2, 16 / 9, 1.0, 2.0, 18.5 / 9, 20 / 9)  # long over short side, as on phones
# Long sides to which messengers, forms and mail programs resize pictures, px (from memory).
SENT_LONG_PX = (800, 960, 1024, 1080, 1200, 1280, 1440, 1600, 1920, 2048, 2560)
SAME = 0.01  # relative tolerance within which two sizes or shapes are the same

# What people do to pictures before passing them on, as shares of all (usage; no source, chosen
# beforehand, not fitted to the results of any photograph). One in twenty is cropped, two in five of
# those to a usual shape, by a program that keeps it or by chance. One in ten is uncropped but of a
# size missing from the lists, from an unlisted sensor or program; all but one in twenty of these
# have a usual shape.
CROPPED, CROPPED_TO_SHAPE = 0.05, 0.4
UNLISTED, UNLISTED_OF_SHAPE = 0.1, 0.95
# Share that is cropped of the pictures that are smaller than the camera recorded: nothing shows
# whether these were cropped or resized; but programs that send pictures resize them to known sizes.
CROPPED_IF_SMALLER, CROPPED_IF_SENT = 0.5, 0.1
# Share that was zoomed, or is an enlarged crop, without a record of it; share whose recorded focal
# length is wrong for another reason, too long or too short (usage; no source).
ZOOMED_UNSAID = 0.05
WRONG, WRONG_IF_CALIBRATED = 0.01, 0.001
MOST_CROPPED, MOST_ZOOMED, MOST_WRONG = 2.5, 3.0, 1.5  # largest factor of each
WIDE = 0.6  # prior standard uncertainty of ln(focal length) where the card alone is to show it
GRID = np.linspace(-2.0, 2.5, 2251)  # of ln(focal length / stated)
OFF_CENTRE = 1 / math.sqrt(3)  # of a crop's margin: a crop from anywhere within it (rectangular)


def stated_lens(photo: Photo) -> Lens:
    """Return the lens that a photograph states, with the alternative hypotheses.

    Parameters
    ----------
    photo : Photo
        A photograph by a camera that is not calibrated.
    """
    height, width = photo.pixels.shape[:2]
    lens = lens_of(width, height, photo.focal_px, photo.u_focal_px)
    rivals = [Rival(1 / MOST_WRONG, MOST_WRONG, WRONG)] if lens.known else []
    if photo.taken_px is None:  # not a camera's file: its history is unknown
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
    """Return the lens on the hypothesis that the picture was cropped.

    Parameters
    ----------
    lens : Lens
        The stated lens.
    crop : Rival
        How the picture may have been cropped.
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
    """Return whether cameras write pictures of this size.

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
    """Return the probability that a picture of an unlisted size was cropped (Bayes' theorem).

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
    """Knowledge of a focal length from the stated value and the card together.

    Parameters
    ----------
    focal_px, u_log_focal : float
        The focal length, px, and its relative standard uncertainty.
    u_centre_px : float
        Standard uncertainty of the principal point, including a shift by a zoom, px.
    stated : float
        Share of the variance that is due to the prior, 0 to 1.
    log_evidence : float
        ln of the probability density of the card's own focal length under the prior.
    """

    focal_px: float
    u_log_focal: float
    u_centre_px: float
    stated: float
    log_evidence: float


def settled(lens: Lens, own_log: float, u_own: float) -> Settled:
    """Return the focal length from the stated value and the card together.

    The stated focal length and its rivals are weighted by how well each agrees with the card's
    perspective (a mixture; Bayes' theorem on a grid). The result is the mixture's mean and
    standard deviation.

    Parameters
    ----------
    lens : Lens
        The stated lens and its rivals.
    own_log, u_own : float
        ln of the focal length in px as the card alone shows it, and its standard uncertainty.
    """
    own, step = own_log - math.log(lens.focal_px), float(GRID[1] - GRID[0])
    zoom = np.maximum(np.exp(GRID), 1.0)
    off_px = max((rival.u_centre_px for rival in lens.rivals), default=0.0)
    # a zoom enlarges the principal point's distance from the middle, and with it the uncertainty
    # of the focal length that the card shows
    centre_px = np.hypot(zoom * lens.u_centre_px, (zoom - 1) * off_px)
    u_if_zoomed = np.maximum(u_own * centre_px / lens.u_centre_px, step)
    u_as_stated = np.full(GRID.size, max(u_own, step))
    u_each = [u_as_stated, *[u_if_zoomed] * len(lens.rivals)]
    posteriors = [
        prior * np.exp(-0.5 * ((own - GRID) / u) ** 2) / (u * math.sqrt(2 * math.pi))
        for prior, u in zip(_priors(lens), u_each, strict=True)
    ]
    whole = float(np.sum(posteriors))
    if not whole > 0:  # no hypothesis agrees with the card, so the card alone is used
        return Settled(math.exp(own_log), u_own, lens.u_centre_px, 0.0, -math.inf)
    mean, variance = _moments(np.sum(posteriors, axis=0))
    zoomed = np.sum(posteriors[1:], axis=0) / whole
    spread = 1 - float(np.sum(zoomed)) + float(np.sum(zoomed * (centre_px / lens.u_centre_px) ** 2))
    return Settled(
        lens.focal_px * math.exp(mean),
        math.sqrt(variance),
        lens.u_centre_px * math.sqrt(spread),
        max(0.0, 1 - variance / (u_own**2 * spread)),
        math.log(whole * step),
    )


def unsettled(lens: Lens) -> Lens:
    """Return the lens with one focal length for all hypotheses, for a photograph without a card.

    Parameters
    ----------
    lens : Lens
        The stated lens and its rivals.
    """
    rivals = (*lens.rivals, lens.cropped) if lens.cropped else lens.rivals
    if not rivals:
        return lens
    priors = _priors(replace(lens, rivals=rivals))
    mean, variance = _moments(np.sum(priors, axis=0))
    focal_px = lens.focal_px * math.exp(mean)
    u = math.sqrt(variance)
    return replace(lens, focal_px=focal_px, u_log_focal=u, rivals=(), cropped=None)


def _priors(lens: Lens) -> list[Array]:
    """Return the prior density on `GRID` by each hypothesis: the stated one, then its rivals."""
    u = math.hypot(lens.u_log_focal, float(GRID[1] - GRID[0]))

    def between(low: float, high: float) -> Array:
        """Return a rectangular density, blurred by the stated value's uncertainty."""
        if low == high:
            bell = np.exp(-0.5 * ((GRID - low) / u) ** 2)
            return np.asarray(bell / (u * math.sqrt(2 * math.pi)))
        return np.asarray(ndtr((GRID - low) / u) - ndtr((GRID - high) / u)) / (high - low)

    densities = [(1 - sum(rival.weight for rival in lens.rivals)) * between(0.0, 0.0)]
    for rival in lens.rivals:
        densities.append(rival.weight * between(math.log(rival.least), math.log(rival.most)))
    return densities


def _moments(density: Array) -> tuple[float, float]:
    """Return the mean and variance of a density on `GRID`."""
    share = density / density.sum()
    mean = float(GRID @ share)
    return mean, float((GRID - mean) ** 2 @ share)
