"""The fitted step against pictures made by other means, and against another solver."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares

from vision.rope import step_edge_model
from vision.rope.rectify import LIGHT_OF, code_of
from vision.rope.step_edge_model import fit_steps

BLUE, BLACK = (0.025, 0.04, 0.25), (0.013, 0.013, 0.013)
GREASE, RUST, STEEL = (0.05, 0.047, 0.045), (0.16, 0.065, 0.035), (0.3, 0.31, 0.33)
OFFSETS = np.arange(-8.0, 6.0)
FINE = 40  # samples a pixel of the profiles that are made


def _picture(band, rope, place_px, *, blur_px, rows=64, columns=64):
    """Return a picture (rows, columns, 3), uint8, whose upper part is band, as a camera makes it.

    The step is blurred and summed over pixels in light, then coded: nothing of the fit is used.
    """
    y = (np.arange(rows * FINE) + 0.5) / FINE - 0.5
    light = np.where((y < place_px)[:, None], band, rope)
    light = gaussian_filter1d(light, blur_px * FINE, axis=0, mode="nearest")
    light = light.reshape(rows, FINE, 3).mean(axis=1)
    return np.rint(255 * code_of(light))[:, None].repeat(columns, axis=1).astype(np.uint8)


def _as_jpeg(picture, quality=92):
    """Send the picture through JPEG with its colour at half the resolution (libjpeg)."""
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=quality, subsampling="4:2:0")
    return np.asarray(Image.open(file))


@pytest.mark.parametrize("band", [BLUE, BLACK])
@pytest.mark.parametrize("rope", [GREASE, RUST, STEEL])
@pytest.mark.parametrize("part", [0.0, 0.3, 0.5, 0.8])
def test_a_plain_step_is_found_where_it_is(band, rope, part):
    picture = _picture(band, rope, 32 + part, blur_px=0.8)
    profile = LIGHT_OF[picture[24:38, 20]][None].astype(float)
    blur = float(np.hypot(0.8, 12**-0.5))  # a pixel adds up the light on its own width
    found = fit_steps(
        profile, OFFSETS, np.array([0.2]), light_px=blur, colour_px=0.05, shadows=True
    )
    # 8 bit of a contrast of 20 codes place an edge to some hundredths of a pixel
    assert abs(found[0] - part) < 0.06


@pytest.mark.parametrize("rope", [GREASE, RUST, STEEL])
def test_halved_colour_moves_no_edge(rope):
    errors = []
    for part in np.arange(0, 2, 0.125):  # colour is stored for pairs of rows
        picture = _as_jpeg(_picture(BLUE, rope, 32 + part, blur_px=0.9))
        profile = LIGHT_OF[picture[25:39, 16:48].reshape(14, -1, 3)].mean(axis=1)[None]
        found = fit_steps(
            profile.astype(float),
            OFFSETS,
            np.array([-0.3]),
            light_px=0.95,
            colour_px=1.2,
            shadows=True,
        )
        errors.append(found[0] - (part - 1))
    assert abs(np.mean(errors)) < 0.12  # px; half-way in the blue channel alone is up to 0.4 off
    assert np.std(errors) < 0.15


def test_noise_scatters_the_place_but_does_not_shift_it():
    rng = np.random.default_rng(7)
    picture = _picture(BLUE, RUST, 32.25, blur_px=0.8).astype(float)
    noisy = np.clip(
        picture[24:38, :1].transpose(1, 0, 2) + rng.normal(0, 2.0, (300, 14, 3)), 0, 255
    )
    profiles = LIGHT_OF[np.rint(noisy).astype(int)].astype(float)
    found = fit_steps(profiles, OFFSETS, np.zeros(300), light_px=0.85, colour_px=0.05, shadows=True)
    scatter = found.std(ddof=1)
    assert 0.01 < scatter < 0.2
    assert abs(found.mean() - 0.25) < 3 * scatter / np.sqrt(300) + 0.02


def test_another_solver_finds_the_same_place():
    """SciPy's trust-region solver on the same misfit, from another start."""
    picture = _as_jpeg(_picture(BLUE, GREASE, 32.4, blur_px=0.9))
    profile = LIGHT_OF[picture[24:38, 16:48].reshape(14, -1, 3)].mean(axis=1)[None].astype(float)
    ours = fit_steps(profile, OFFSETS, np.zeros(1), light_px=0.95, colour_px=1.2, shadows=False)[0]
    seen = code_of(profile) @ step_edge_model.TO_BRIGHTNESS_COLOUR.T
    start = step_edge_model._first_guess(profile, OFFSETS, np.array([0.8]))[0]
    blurs = (0.95, float(np.hypot(0.95, 1.2)))
    theirs = least_squares(
        lambda p: step_edge_model._misfit(p[None], seen, OFFSETS, blurs)[0], start, x_scale="jac"
    )
    assert ours == pytest.approx(theirs.x[step_edge_model.PLACE], abs=0.02)


def test_the_steps_of_brightness_and_colour_are_those_of_the_standard():
    """ITU-T T.871 as Pillow's own conversion has it."""
    colours = np.random.default_rng(1).integers(0, 256, (40, 1, 3), dtype=np.uint8)
    theirs = np.asarray(Image.fromarray(colours).convert("YCbCr"), float) - [0, 128, 128]
    ours = colours @ step_edge_model.TO_BRIGHTNESS_COLOUR.T
    assert np.abs(ours - theirs).max() < 1.01  # Pillow rounds, and cuts off at 255
