"""Where the rope ends beside a shadow's rim, by the paper's light and by the rope's own.

What lies in step with the stripes is paper, lit or shaded; what is left of the mean once the paper
has its share is the rope's own light. So the rope ends where there is no light of its own farther
out and none of the paper farther in. Either light may be smooth up to there, or be crossed by a
shadow's rim: a random walk, and one jump. For each place it follows how likely the two lights are,
as the lens blurs them: normal distributions, whose covariances are those of blurred steps (a
Gaussian process: Rasmussen and Williams 2006, chapter 2; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg.lapack import dtrtri
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from vision.least_squares import NORMAL_QUARTILE
from vision.medians import median_of
from vision.rope.constants import (
    CLEAR_SIGMAS,
    CORRELATED,
    DARK_CHANCE,
    LIGHT_NOISE,
    RIM_CHANCE,
    RIM_WALK,
    SMOOTH_WALK,
)
from vision.tones import Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PLACE_PX, FINE_PX = 0.25, 0.0625  # between places that are weighed, and those they stand for
WALK_PX = 0.25  # between the steps of a random walk
JUMPS_PX = np.arange(0.25, 5.25, 0.25)  # from the place to where the rim may be
LEAST_FORM, LEAST_LOG = 1e-20, -80.0  # of forms, whose largest are 1 and more; of odds
MOST_UNTHREADED = 900_000  # products of a matrix product that the library does by itself
LEAST_LIGHT = 0.02  # of the paper's: a rope whose own is less says nothing


@dataclass(frozen=True, slots=True, eq=False)
class Rims:
    """What the two lights say of each place along the rope; all of shape (columns,).

    Parameters
    ----------
    place_px : ndarray
        Where the rope ends, px outwards, if a rim lies beside it.
    u_px : ndarray
        Standard uncertainty of that.
    chance : ndarray
        How likely a rim lies there, 0 to 1.
    """

    place_px: Array
    u_px: Array
    chance: Array


@dataclass(frozen=True, slots=True, eq=False)
class Lights:
    """The paper's light and the rope's own across a side, each over its own level.

    Parameters
    ----------
    paper, rope : ndarray of shape (samples, windows)
        The two.
    paper_noise, rope_noise : tuple of float
        Their standard deviations on the rope and on the paper.
    every, sigma : int and float
        Columns from one window to the next, and a window (one sigma) in these.
    """

    paper: Light
    rope: Light
    paper_noise: tuple[float, float]
    rope_noise: tuple[float, float]
    every: int
    sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class Accounts:
    """What is needed to weigh each place where a light may end, for one blur.

    First of the paper's light, then of the rope's own. How badly N samples suit a place is half of
    a quadratic form, so it is linear in their M = N (N + 1) / 2 products.

    Parameters
    ----------
    fine_px : ndarray of shape (F,)
        Places, px outwards.
    between : ndarray of shape (F, P)
        Takes a spline to them through the P places that are weighed.
    forms : ndarray of shape (2, 2 P, M)
        Misfit of each product: of a light that is smooth, and of one with a rim.
    constant : ndarray of shape (2, 2, P, 1)
        What does not hang on the light: how often, and the normal distribution's own size.
    jumps, rare : ndarray of shape (2, P J, N) and (2, P, J, 1)
        Of rims at `JUMPS_PX` beyond each place: what takes the samples to the root of half the
        squared height over its variance, and what does not hang on the light.
    """

    fine_px: Light
    between: Light
    forms: Light
    constant: Light
    jumps: Light
    rare: Light


def two_lights(
    stripes: tuple[Light, Light], mean: Light, t: Array, first: int, blur_px: float, sigma: float
) -> Lights:
    """Return the paper's light and the rope's own.

    Parameters
    ----------
    stripes : tuple of ndarray of shape (columns, samples)
        Amplitude in step with the stripes, and that out of step.
    mean : ndarray of shape (columns, samples)
        The light's mean.
    t : ndarray of shape (samples,)
        Places, px outwards; open paper from number `first` on.
    first : int
        See `t`.
    blur_px, sigma : float
        Blur, px, and the window along the rope, in columns.
    """
    every = max(1, int(sigma / 2))
    amplitude, noise, mean = (one[::every] for one in (*stripes, mean))
    sigma /= every
    level = np.maximum(amplitude[:, first:].mean(axis=1), 1e-4)
    level = gaussian_filter1d(level, 3 * sigma, mode="nearest")[:, None]
    per_stripe = median_of(mean[:, first:] / np.maximum(amplitude[:, first:], 1e-4))
    paper, off = amplitude / level, noise / level
    own = mean / (per_stripe * level) - paper
    off = np.abs(off - median_of(off, axis=0))
    clear = 1.5 * blur_px
    on_rope, on_paper = (
        float(np.hypot(CORRELATED * median_of(off[:, part]) / NORMAL_QUARTILE, LIGHT_NOISE))
        for part in (t < -clear, t > clear)
    )
    brightest = np.maximum(LEAST_LIGHT, own.max(axis=1))
    brightest = gaussian_filter1d(brightest, 3 * sigma, mode="nearest")
    over = float(median_of(brightest))
    return Lights(
        np.ascontiguousarray(paper.T, np.float32),
        np.ascontiguousarray((own / brightest[:, None]).T, np.float32),
        (on_rope, on_paper),
        (on_rope / over, on_paper / over),
        every,
        sigma,
    )


def accounts_of(lights: Lights, t: Array, blur_px: float) -> Accounts:
    """Return what weighs the places where two lights may end, for a blur of so many px."""
    reach = CLEAR_SIGMAS * blur_px
    places = np.arange(t[0] + reach, t[-1] - reach + PLACE_PX / 2, PLACE_PX)
    fine = np.arange(places[0], places[-1], FINE_PX)
    # from each place to each sample it is one of few distances: a sample is so many places
    apart = round((t[1] - t[0]) / PLACE_PX)
    far = apart * np.arange(len(t)) + np.arange(len(places))[::-1, None]
    outwards = t[0] - places[-1] + PLACE_PX * np.arange(far.max() + 1)
    one, other = np.tril_indices(len(t))
    doubled = np.where(one == other, 0.5, 1.0)
    forms, constant, jumps, rare = [], [], [], []
    for noise, chance, light_at in (
        (lights.paper_noise, RIM_CHANCE, outwards),
        (lights.rope_noise, DARK_CHANCE, -outwards),
    ):
        walk = np.arange(0, float(light_at.max()) + reach, WALK_PX)
        blurred = ndtr((light_at[:, None] - walk) / blur_px)
        variance = np.where(outwards < 0, *noise) ** 2
        for per_px, often in ((SMOOTH_WALK, 1 - chance), (RIM_WALK, chance)):
            steps = np.full(len(walk), per_px * WALK_PX)
            steps[0] = 1.0  # the level that it begins with, more or less
            covariance = (blurred * steps) @ blurred.T + np.diag(variance)
            inverse, size = _inverses(covariance[far[:, :, None], far[:, None]])
            forms.append(inverse[:, one, other] * doubled)
            constant.append(np.log(often) - size)
        jump = ndtr((light_at[:, None] - JUMPS_PX) / blur_px)[far]
        seen = inverse @ jump
        height = 1 + (jump * seen).sum(axis=1)
        jumps.append((seen / np.sqrt(2 * height)[:, None]).swapaxes(1, 2))
        rare.append(-np.log(height) / 2 - np.log(len(JUMPS_PX)))
    between = CubicSpline(places, np.eye(len(places)))(fine)
    return Accounts(
        np.asarray(fine, np.float32),
        np.asarray(between, np.float32),
        _single(forms).reshape(2, 2 * len(places), -1),
        np.asarray(constant, np.float32).reshape(2, 2, len(places), 1),
        _single(jumps).reshape(2, -1, len(t)),
        np.asarray(rare, np.float32)[..., None],
    )


def _single(values: list[Array]) -> Light:
    """Return values in single precision, nothing for next to nothing.

    A processor multiplies what is nearly below its least number ten times as slowly.
    """
    whole = np.asarray(values, np.float32)
    whole[np.abs(whole) < LEAST_FORM] = 0.0
    return whole


def _inverses(covariances: Array) -> tuple[Array, Array]:
    """Return each matrix's inverse (P, N, N), and half of its determinant's logarithm (P, 1)."""
    lower = np.linalg.cholesky(covariances)
    root = np.array([dtrtri(one, lower=True)[0] for one in lower])
    size = np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1, keepdims=True)
    return root.swapaxes(1, 2) @ root, size


def rims_of(lights: Lights, accounts: Accounts, columns: int) -> Rims:
    """Return where the rope ends beside a rim, and how likely one is.

    Parameters
    ----------
    lights : Lights
        The two lights.
    accounts : Accounts
        What weighs the places where they may end.
    columns : int
        How many there are along the rope.
    """
    size = (2 * int(4 * lights.sigma + 0.5) + 1, 1)

    def along(values: Light) -> Light:
        smooth = cv2.GaussianBlur(values, size, lights.sigma, borderType=cv2.BORDER_REPLICATE)
        return np.asarray(smooth, np.float32)

    one, other = np.tril_indices(len(lights.paper))
    both = []
    for light, form, constant, jumps, rare in zip(
        (lights.paper, lights.rope),
        accounts.forms,
        accounts.constant,
        accounts.jumps,
        accounts.rare,
        strict=True,
    ):
        misfit = _product(form, along(light[one] * light[other]))
        smooth, rim = constant - misfit.reshape(2, -1, misfit.shape[-1])
        jump = _product(jumps, light)
        jump = along(np.square(jump, out=jump)).reshape(*rare.shape[:2], -1)
        jump += rare
        most = jump.max(axis=1)
        rim += most + np.log(_exp(jump - most[:, None]).sum(axis=1))
        both.append((smooth, rim))
    (paper, shaded), (rope, dark) = both
    smooth = _product(accounts.between, paper + rope)
    every = _product(accounts.between, np.logaddexp(paper, shaded) + np.logaddexp(rope, dark))
    most = every.max(axis=0)
    odds = _exp(every - most)
    total = odds.sum(axis=0)
    chance = 1 - np.minimum(_exp(smooth - most).sum(axis=0) / total, 1)
    odds /= total
    place = (accounts.fine_px[:, None] * odds).sum(axis=0)
    u = np.sqrt((odds * (accounts.fine_px[:, None] - place) ** 2).sum(axis=0))
    seen = lights.every * np.arange(len(place))
    return Rims(*(np.interp(np.arange(columns), seen, one) for one in (place, u, chance)))


def _exp(values: Light) -> Light:
    """Return the exponential of values of 0 at most, of some at least; in their place."""
    return np.asarray(np.exp(np.maximum(values, LEAST_LOG, out=values), out=values))


def _product(left: Light, right: Light) -> Light:
    """Return a matrix product, in pieces so small that no threads wake: they cost many times it."""
    product = np.empty((len(left), right.shape[1]), np.float32)
    piece = max(1, MOST_UNTHREADED // right.size)
    for i in range(0, len(left), piece):
        np.matmul(left[i : i + piece], right, out=product[i : i + piece])
    return product
