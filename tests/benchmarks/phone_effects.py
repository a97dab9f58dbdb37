"""What phones, messengers and people do to a photograph after the lens, one thing at a time.

Each effect takes the picture as stored (before it is turned upright) and returns the bytes of a new
file. Nothing here uses `vision`, and nothing in `vision` was fitted to these effects.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Pixels = NDArray[np.uint8]
Change = Callable[[Pixels], Pixels]
SIZE_TAGS = (0xA002, 0xA003)  # Exif: width and height of the picture as taken


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing that happens to a photograph.

    Parameters
    ----------
    group, name : str
        Kind of effect, and its name.
    change : callable
        Function of RGB pixels (H, W, 3), uint8, that returns new ones.
    exif : {"kept", "resized", "none"}
        What happens to the Exif data: unchanged, updated with the picture's new size, or lost.
    quality : int
        JPEG quality of the new file.
    """

    group: str
    name: str
    change: Change
    exif: str = "kept"
    quality: int = 92


def applied(effect: Effect, file: bytes) -> bytes:
    """Return the file of a photograph after an effect.

    Parameters
    ----------
    effect : Effect
        The effect to apply.
    file : bytes
        The original JPEG.
    """
    with Image.open(io.BytesIO(file)) as picture:
        exif = picture.getexif()
        before = np.asarray(picture.convert("RGB"))
    after = effect.change(before)
    if effect.exif == "resized":
        for tag, value in zip(SIZE_TAGS, after.shape[1::-1], strict=True):
            exif.get_ifd(0x8769)[tag] = value
    out = io.BytesIO()
    words = {} if effect.exif == "none" else {"exif": exif.tobytes()}
    Image.fromarray(after).save(out, "JPEG", quality=effect.quality, **words)
    return out.getvalue()


def to_light(codes: Pixels) -> NDArray[np.float32]:
    """Return linear light, 0 to 1, of code values (IEC 61966-2-1)."""
    v = np.arange(256) / 255
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return table[codes]


def to_codes(light: NDArray[np.floating]) -> Pixels:
    """Return code values of linear light, clipped at white."""
    v = np.clip(light, 0, 1)
    code = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * code), np.uint8)


def _by_code(curve: Callable[[NDArray[np.float64]], NDArray[np.float64]], pixels: Pixels) -> Pixels:
    """Apply one curve to the code values, 0 to 1, of every channel."""
    table = np.rint(255 * np.clip(curve(np.arange(256) / 255), 0, 1)).astype(np.uint8)
    return np.asarray(cv2.LUT(pixels, table), np.uint8)


def gamma(power: float, pixels: Pixels) -> Pixels:
    """Apply a gamma: below 1 it lifts the shadows, above 1 it darkens them."""
    return _by_code(lambda v: v**power, pixels)


def exposed(stops: float, pixels: Pixels) -> Pixels:
    """Multiply the light, clipped at white."""
    return to_codes(to_light(pixels) * 2.0**stops)


def times(factor: float, pixels: Pixels) -> Pixels:
    """Multiply the code values."""
    return _by_code(lambda v: factor * v, pixels)


def balanced(gains: tuple[float, float, float], pixels: Pixels) -> Pixels:
    """Change the white balance: multiply the light of each channel."""
    return to_codes(to_light(pixels) * np.array(gains, np.float32))


def veiled(share: float, pixels: Pixels) -> Pixels:
    """Add the veil of a misted lens: a share of the mean light everywhere."""
    light = to_light(pixels)
    return to_codes((1 - share) * light + share * light.mean(axis=(0, 1)))


def reduced(colours: int, pixels: Pixels) -> Pixels:
    """Reduce the picture to a number of colours, as a GIF does, without dithering."""
    picture = Image.fromarray(pixels).quantize(colours, dither=Image.Dither.NONE)
    return np.asarray(picture.convert("RGB"))


def colour_smoothed(sigma: float, pixels: Pixels) -> Pixels:
    """Blur the colour but not the brightness, as noise reduction does."""
    ycc = cv2.cvtColor(pixels, cv2.COLOR_RGB2YCrCb)
    ycc[..., 1:] = cv2.GaussianBlur(np.ascontiguousarray(ycc[..., 1:]), (0, 0), sigma)
    return np.asarray(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), np.uint8)


def smoothed(sigma: float, pixels: Pixels) -> Pixels:
    """Blur brightness and colour."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), sigma), np.uint8)


def denoised(strength: float, pixels: Pixels) -> Pixels:
    """Remove noise but keep edges (bilateral filter), as strong noise reduction does."""
    return np.asarray(cv2.bilateralFilter(pixels, 9, 12 * strength, 1.6 * strength), np.uint8)


def median_filtered(size: int, pixels: Pixels) -> Pixels:
    """Apply a median filter."""
    return np.asarray(cv2.medianBlur(pixels, size), np.uint8)


def portrait(sigma: float, pixels: Pixels) -> Pixels:
    """Blur all but the middle of the picture, with a soft transition, as portrait mode does."""
    height, width = pixels.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    away = np.abs((y - height / 2) / height), np.abs((x - width / 2) / width)
    share = np.clip((np.hypot(*away) - 0.10) / 0.05, 0, 1)[..., None]
    soft = cv2.GaussianBlur(pixels, (0, 0), sigma)
    return np.asarray(np.rint((1 - share) * pixels + share * soft), np.uint8)


def cropped(share: float, pixels: Pixels, towards: tuple[float, float] = (0.0, 0.0)) -> Pixels:
    """Crop to the middle, or `towards` a side (-1 to 1), keeping the aspect ratio."""
    height, width = pixels.shape[:2]
    h, w = 8 * round(share * height / 8), 8 * round(share * width / 8)
    top = round((height - h) / 2 * (1 + towards[1]))
    left = round((width - w) / 2 * (1 + towards[0]))
    return np.ascontiguousarray(pixels[top : top + h, left : left + w])


def zoomed(factor: float, pixels: Pixels) -> Pixels:
    """Enlarge the picture about its middle, equally in both directions, at the same size."""
    height, width = pixels.shape[:2]
    middle = np.array([width - 1, height - 1]) / 2
    enlarge = np.column_stack([factor * np.eye(2), (1 - factor) * middle])
    return np.asarray(
        cv2.warpAffine(pixels, enlarge, (width, height), flags=cv2.INTER_CUBIC), np.uint8
    )


def sent(long_px: int, pixels: Pixels) -> Pixels:
    """Reduce the picture and save it once in between, as a messenger does."""
    scale = long_px / max(pixels.shape[:2])
    size = round(pixels.shape[1] * scale), round(pixels.shape[0] * scale)
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    return resaved(70, np.asarray(small, np.uint8))


def resaved(quality: int, pixels: Pixels) -> Pixels:
    """Save the picture as JPEG and reopen it."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality)
    with Image.open(out) as picture:
        return np.asarray(picture.convert("RGB"))


def printed(ink: tuple[float, float, float], white: float, pixels: Pixels) -> Pixels:
    """Fade black to an `ink` of this reflectance, on paper that reflects `white`."""
    light = to_light(pixels)
    return to_codes(np.array(ink, np.float32) + light * (white - np.array(ink, np.float32)))


BALANCES = {
    "warm": (1.5, 1.0, 0.55),
    "very warm": (2.0, 0.9, 0.3),
    "cold": (0.65, 1.0, 1.5),
    "green": (0.75, 1.2, 0.75),
    "magenta": (1.2, 0.7, 1.2),
}


def all_effects() -> Iterator[Effect]:
    """Yield every effect of the bench."""
    for power in (0.4, 0.5, 0.6, 0.7, 0.85, 1.3, 1.6, 2.0):
        yield Effect("tones", f"gamma {power:g}", partial(gamma, power))
    for stops in (-3, -2, -1, 1, 2, 3):
        yield Effect("exposure", f"{stops:+d} EV", partial(exposed, stops))
    yield Effect("exposure", "codes x 3", partial(times, 3.0))
    for share in (0.02, 0.05, 0.1, 0.2, 0.3):
        yield Effect("veil", f"veil {share:g}", partial(veiled, share))
    for name, gains in BALANCES.items():
        yield Effect("white balance", name, partial(balanced, gains))
    yield Effect("colours", "256 colours", partial(reduced, 256))
    yield Effect("colours", "colour smoothed 1.5 px", partial(colour_smoothed, 1.5))
    yield Effect("colours", "colour smoothed 2 px", partial(colour_smoothed, 2.0))
    yield Effect("smoothing", "smoothed 1.5 px", partial(smoothed, 1.5))
    yield Effect("smoothing", "smoothed 2 px", partial(smoothed, 2.0))
    yield Effect("smoothing", "denoised", partial(denoised, 3.0))
    yield Effect("smoothing", "denoised strongly", partial(denoised, 6.0))
    yield Effect("smoothing", "median of 5 x 5", partial(median_filtered, 5))
    yield Effect("smoothing", "portrait 3 px", partial(portrait, 3.0))
    yield Effect("smoothing", "portrait 6 px", partial(portrait, 6.0))
    for share in (0.7, 0.5):
        cut = partial(cropped, share)
        yield Effect("cropped", f"{share:.0%}, size in Exif old", cut)
        yield Effect("cropped", f"{share:.0%}, size in Exif new", cut, exif="resized")
        yield Effect("cropped", f"{share:.0%}, no Exif", cut, exif="none")
    aside = partial(cropped, 0.8, towards=(0.7, -0.7))
    yield Effect("cropped", "80 % aside, size in Exif old", aside)
    for factor in (1.5, 2.0):
        yield Effect("zoomed", f"zoom {factor:g}, Exif unchanged", partial(zoomed, factor))
    yield Effect("sent on", "messenger 1600 px", partial(sent, 1600), "none", 75)
    yield Effect("sent on", "messenger 1600 px, Exif kept", partial(sent, 1600), quality=75)
    yield Effect("sent on", "saved twice, 70 and 85", partial(resaved, 70), quality=85)
    yield Effect("print", "faded", partial(printed, (0.25, 0.25, 0.25), 1.0))
    yield Effect("print", "pale", partial(printed, (0.12, 0.12, 0.12), 0.8))
    yield Effect("print", "cyan", partial(printed, (0.05, 0.35, 0.45), 1.0))
