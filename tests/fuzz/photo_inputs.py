"""Damaged photographs of a bar on a card: opened, and measured if the damage is not noticed."""

from __future__ import annotations

import random
import sys
import zlib
from functools import cache
from pathlib import Path

import numpy as np

from tests.fuzz.mutations import mutated
from tests.fuzz.watched import Outcome, Trial
from tests.real_photographs import REAL
from vision.photo.photo import Photo, PhotoError, open_photo
from vision.results import Estimate

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "vision"))  # as its own tests do

from photo_files import lossless, lossy, odd
from scenes import BAR, CHECKED, shot_of

from vision.pipeline import measure_photo

SIZE = (900, 625)  # px; small, because each is opened thousands of times
MEASURED = 24  # one in this many of those that open although changed is measured


@cache
def sources() -> dict[str, bytes]:
    """Return whole photographs by kind: half of the kinds show the card, half are small."""
    shot = shot_of(size=SIZE, focal_px=1250.0, noise=0.8)
    whole = {**lossless(shot.pixels), **lossy(shot.pixels)}
    # a HEIC can't be made with the tests' packages; a real one is used where available
    heic = REAL / "awkward" / "heif_example.heic"
    if heic.is_file():
        whole["HEIC"] = heic.read_bytes()
    return {**whole, **odd(shot.pixels[::4, ::4].copy())}


@cache
def _whole(kind: str) -> Photo:
    return open_photo(sources()[kind])


@cache
def _measures(kind: str) -> bool:
    (result, *_) = measure_photo(_whole(kind), CHECKED)
    return isinstance(result, Estimate)


def trial(seed: int) -> Trial:
    """Return the function that tries the photograph with a given number."""
    kinds = list(sources())

    def one(number: int) -> Outcome:
        chance = random.Random(f"photo {seed} {number}")
        kind = kinds[number % len(kinds)]
        data = mutated(sources()[kind], chance, sources()[chance.choice(kinds)])
        if kind.startswith("PNG") and chance.random() < 0.7:
            data = _with_right_sums(data)  # otherwise no decoder would see the damage
        try:
            photo = open_photo(data, name="rope.jpg")
        except PhotoError as reason:
            return Outcome(number, kind, *_as_sentence(str(reason)))
        wrong = _wrong(photo)
        if not wrong and np.array_equal(photo.pixels, _whole(kind).pixels):
            return Outcome(number, kind, "read", "the same pixels")
        if not wrong and chance.randrange(MEASURED) == 0 and photo.pixels.shape[1] >= SIZE[0]:
            wrong = _wrong_diameter(photo, kind)
        return Outcome(number, kind, "FAULT" if wrong else "read", wrong)

    return one


def _with_right_sums(data: bytes) -> bytes:
    """Return a PNG whose checksums (ISO/IEC 15948, 5.3) fit what its chunks hold now."""
    mended, at = bytearray(data), 8
    while at + 12 <= len(mended):
        end = at + 12 + int.from_bytes(mended[at : at + 4], "big")
        if end > len(mended):
            break
        mended[end - 4 : end] = zlib.crc32(mended[at + 4 : end - 4]).to_bytes(4, "big")
        at = end
    return bytes(mended)


def _as_sentence(words: str) -> tuple[str, str]:
    plain = words.startswith("rope.jpg ") and words.endswith(".") and words.isprintable()
    return ("sentence" if plain and len(words) < 400 else "FAULT"), words


def _wrong(photo: Photo) -> str:
    """Return what is wrong with an opened photograph; empty if nothing is."""
    pixels = photo.pixels
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.dtype != np.uint8 or not pixels.size:
        return f"pixels {pixels.shape} of {pixels.dtype}"
    if photo.focal_px is not None and not 0.2 < photo.focal_px / max(pixels.shape) < 10:
        return f"a focal length of {photo.focal_px} px"
    if not photo.camera.replace(" ", "x").isprintable():
        return "a camera's name that does not print"
    return ""


def _wrong_diameter(photo: Photo, kind: str) -> str:
    for result in measure_photo(photo, CHECKED):
        if isinstance(result, Estimate) and _measures(kind):
            off = abs(result.diameter_mm - BAR.diameter_mm)
            # 3 u: one undamaged photograph in 20 is farther off than 2 u by chance
            if not off <= 1.5 * result.expanded_mm():
                return (
                    f"{result.diameter_mm:.3f} mm, U {result.expanded_mm():.3f}, of a bar of "
                    f"{BAR.diameter_mm} mm"
                )
    return ""
