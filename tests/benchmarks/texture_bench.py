"""Real textures laid on the drawn card at a known width, in shadow and out of focus.

    python -m tests.benchmarks.texture_bench [--only WORD ...] [--to FOLDER]

The rope's face is cut from a photograph: scikit-image's brick, gravel and grass (CC0), and, if
`shared/real` is available, a screw's thread and a scratched steel rule. Its outline is drawn:
crowns of six strands, a smooth bar, or smooth strands of round wires, whose outline swings by 0.5 %
of the diameter without a period. So the width between the jaws is known, and no renderer is used.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from pathlib import Path

import cv2
import numpy as np
import platformdirs
import skimage.data
from numpy.typing import NDArray

from tests.photo_arrays import photo_from_array
from tests.real_photographs import REAL
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.rope.tangent_cylinder import Hold
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck
from vision.tones import LIGHT_OF

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "vision"))

from bars import Bar, silhouette_mm
from studio import CODE, look, photograph, pinhole

Array = NDArray[np.float64]
Linear = NDArray[np.float32]

D = 22.0  # mm
A5 = layout_named("A5 middle")
SETTINGS = Settings(
    print_check=PrintCheck("drawn", A5, 180.0, 110.0, 0.02), hold=Hold(u_offset_mm=0.15)
)
DISTANCE_MM = 300.0
FINE = 2  # squared: samples a pixel
SIZES_PX = (80, 120, 190)
SHADE_MM = 7.0  # width of a soft shadow
BLACK = 0.08  # of the light that falls into a hard shadow


@dataclass(frozen=True, slots=True)
class Face:
    """A piece of a photograph used as a texture: its file, ends and width, px.

    `per_mm` is its pixels per millimetre of rope; 0 fits its width to the rope's.
    """

    path: Path
    begin: tuple[float, float]
    end: tuple[float, float]
    width: float
    per_mm: float = 0.0
    light: float = 1.0


SCIKIT = Path(skimage.data.__file__).parent
FACES = {
    "brick": Face(SCIKIT / "brick.png", (0, 256), (511, 256), 500, 8.0, 0.5),
    "gravel": Face(SCIKIT / "gravel.png", (0, 256), (511, 256), 500, 10.0, 0.6),
    "grass": Face(SCIKIT / "grass.png", (0, 256), (511, 256), 500, 10.0, 1.4),
    # by eye: the middle of the thread from under the head to its end, as wide as its roots
    "thread": Face(REAL / "rule" / "screw_M6x25_10.jpg", (304, 569), (467, 693), 40, light=2.0),
    # between the rows of graduations: figures and scratches
    "steel": Face(REAL / "rule" / "screw_M6x25_10.jpg", (30, 925), (880, 928), 110, 6.0, 3.0),
}


def crowned(s: Array, side: int) -> Array:
    """Return the outline of six strands, lay 6.5 diameters, valleys 7 % of the diameter deep."""
    pitch = 6.5 * D / 6
    off = s / pitch + side / 4
    return np.asarray(-0.07 * D * (1 - np.abs(np.cos(np.pi * off))))


def smooth_wires(s: Array, side: int) -> Array:
    """Return the outline of smooth strands of round wires: tops up to 0.3 % of the diameter."""
    rng = np.random.default_rng(5 + side)
    tops = np.cumsum(rng.uniform(0.05, 0.22, 160)) * D - 65.0
    heights = rng.uniform(0.0, 0.003, tops.size) * D
    dip = np.minimum(np.abs(s[:, None] - tops).min(axis=1) ** 2 / (0.1 * D), 0.002 * D)
    return np.asarray(np.interp(s, tops, heights) - dip)


def plain(s: Array, side: int) -> Array:
    """Return the outline of a bar."""
    return np.zeros_like(s)


OUTLINES: dict[str, Callable[[Array, int], Array]] = {
    "six strands": crowned,
    "smooth wires": smooth_wires,
    "bar": plain,
}


@dataclass(frozen=True, slots=True)
class Light:
    """Light and lens: a shadow beside the rope, blur before and after the tone curve, px."""

    name: str
    shade: float = 0.0
    hard_px: float = 0.0
    blur_px: float = 0.7
    software_px: float = 0.0


LIGHTS = (
    Light("even"),
    Light("soft shadow", shade=0.6),
    Light("hard shadow", hard_px=3.0),
    Light("soft focus", blur_px=1.2),
    Light("hard shadow, soft focus", hard_px=3.0, blur_px=1.2),
    Light("smoothed by software", blur_px=0.5, software_px=0.9),
)


@lru_cache(maxsize=8)
def texture(name: str) -> Linear:
    """Return a face (rows across, columns along) in linear light."""
    face = FACES[name]
    picture = cv2.imread(str(face.path), cv2.IMREAD_GRAYSCALE)
    if picture is None:
        raise FileNotFoundError(face.path)
    begin, end = np.array(face.begin, float), np.array(face.end, float)
    along = (end - begin) / np.linalg.norm(end - begin)
    across = np.array([-along[1], along[0]])
    columns = np.arange(int(np.linalg.norm(end - begin)))
    rows = np.arange(int(face.width)) - (face.width - 1) / 2
    x, y = (
        (begin[i] + columns * along[i] + rows[:, None] * across[i]).astype(np.float32)
        for i in (0, 1)
    )
    codes = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(LIGHT_OF[codes] * face.light, np.float32)


def _mirrored(places: Array, size: int) -> Linear:
    """Return places reflected so that they are within a texture."""
    turn = np.mod(places, 2 * (size - 1))
    return np.asarray(np.minimum(turn, 2 * (size - 1) - turn), np.float32)


def true_mm(outline: Callable[[Array, int], Array]) -> float:
    """Return the width between jaws of two diameters about the station, mm."""
    s = np.linspace(-D, D, 8001)
    return D + sum(float(outline(s, side).max()) for side in (1, -1))


@lru_cache(maxsize=4)
def _card(across_px: int) -> tuple[Linear, Array, Array, float]:
    """Return the card in linear light, enlarged by FINE, with its true camera and focal length."""
    distance = DISTANCE_MM - D / 2
    focal = across_px / D * distance
    size = (int(focal / DISTANCE_MM * 232), int(focal / DISTANCE_MM * 166))
    shot = photograph(
        A5, 6, tilt_deg=5.0, azimuth_deg=40.0, roll_deg=2.0, distance_mm=DISTANCE_MM, blur_px=0.0,
        size=(FINE * size[0], FINE * size[1]), focal_px=FINE * focal, noise=0.0, fine=1,
    )  # fmt: skip
    R, t = look(5.0, 40.0, 2.0, DISTANCE_MM)
    return LIGHT_OF[shot.pixels], R, t, focal


@lru_cache(maxsize=2)
def _lie(across_px: int, outline: str) -> tuple[Linear, Linear, Linear, Linear]:
    """Return each sample's place: along, mm, across (-1 to 1), outside left and right, mm."""
    paper, R, t, focal = _card(across_px)
    rows, columns = paper.shape[:2]
    eye = -R.T @ t
    # the plane of both silhouettes: a point in it is s along the rope and c outwards, mm
    bar = Bar(D, D / 2, turn_deg=1.5)
    ends = [silhouette_mm(bar, eye, np.array([-90.0, 90.0]), side) for side in (1, -1)]
    half = float(np.linalg.norm(ends[0][0] - ends[1][0])) / 2
    plane = np.array([[-90, half], [90, half], [-90, -half], [90, -half]], np.float32)
    seen = pinhole(np.concatenate(ends), R, t, FINE * focal, (columns, rows)).astype(np.float32)
    back = np.linalg.inv(cv2.getPerspectiveTransform(plane, seen))
    u, v = np.meshgrid(np.arange(columns), np.arange(rows))
    x, y, w = (back[i, 0] * u + back[i, 1] * v + back[i, 2] for i in range(3))
    s, c = x / w, y / w
    along = np.linspace(-130, 130, 26001)
    left, right = (np.interp(s, along, OUTLINES[outline](along, side)) for side in (1, -1))
    part = np.clip(c / (half + np.where(c > 0, left, right)), -1, 1)
    found = s, part, c - half - left, -c - half - right
    return tuple(np.asarray(one, np.float32) for one in found)


def laid(face: str, outline: str, across_px: int, light: Light) -> NDArray[np.uint8]:
    """Return the photograph of a face within an outline on the card."""
    paper = _card(across_px)[0]
    s, part, left_mm, right_mm = _lie(across_px, outline)
    per_mm = across_px / D
    cover = np.clip(0.5 - np.maximum(left_mm, right_mm) * FINE * per_mm, 0, 1)
    lit, beside = np.ones_like(s), right_mm > -D / 2
    if light.shade:
        lit *= 1 - light.shade * np.exp(-np.maximum(right_mm, 0) / SHADE_MM) * beside
    if light.hard_px:
        lit[beside & (right_mm * per_mm < light.hard_px)] *= BLACK
    cut = texture(face)
    scale = FACES[face].per_mm
    if scale:
        at_row = np.arcsin(part) * D / 2 * scale + cut.shape[0] / 2
        shading = 0.3 + 0.7 * np.sqrt(1 - part**2)
    else:  # the photograph's own limb becomes the rope's
        scale = cut.shape[0] / D
        at_row, shading = (part + 1) / 2 * (cut.shape[0] - 1), np.ones_like(part)
    at_column = _mirrored((s + 60) * scale, cut.shape[1])
    rope = shading * cv2.remap(cut, at_column, _mirrored(at_row, cut.shape[0]), cv2.INTER_LINEAR)
    picture = ((1 - cover) * lit)[..., None] * paper + (cover * rope)[..., None]
    size = s.shape[1] // FINE, s.shape[0] // FINE
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    small = np.clip(cv2.GaussianBlur(small, (0, 0), light.blur_px), 0, 1)
    codes = CODE[(65535 * small).astype(np.uint16)]
    if light.software_px:
        codes = cv2.GaussianBlur(codes, (0, 0), light.software_px)
    noise = np.random.default_rng(across_px).standard_normal(codes.shape, np.float32)
    return np.asarray(np.clip(np.rint(codes + 1.5 * noise), 0, 255), np.uint8)


@dataclass(frozen=True, slots=True)
class Row:
    """The result of one picture: error and U in % of the truth, and the error in px."""

    across_px: int
    light: str
    outline: str
    face: str
    off_pct: float
    u_pct: float
    off_px: float
    reason: str


def measured(face: str, outline: str, across_px: int, light: Light) -> Row:
    """Measure one picture and compare it with the true width."""
    pixels = laid(face, outline, across_px, light)
    focal = across_px / D * (DISTANCE_MM - D / 2)
    (result,) = measure_photo(photo_from_array(pixels, focal_px=focal), SETTINGS)
    what = (across_px, light.name, outline, face)
    if not isinstance(result, Estimate):
        reason = "+".join(item.code for item in result.findings if item.severity == "refuse")
        return Row(*what, np.nan, np.nan, np.nan, reason)
    truth = true_mm(OUTLINES[outline])
    off = result.diameter_mm - truth
    return Row(
        *what, 100 * off / truth, 100 * result.expanded_mm() / truth, off / D * across_px, ""
    )


def faces_at_hand() -> list[str]:
    """Return the faces whose photographs are available."""
    return [name for name, face in FACES.items() if face.path.exists()]


def all_rows(only: list[str]) -> Iterator[Row]:
    """Yield the result of every picture whose description contains one of `only`."""
    for across_px, light, outline, face in product(SIZES_PX, LIGHTS, OUTLINES, faces_at_hand()):
        words = f"{across_px} px {light.name} {outline} {face}"
        if not only or any(word in words for word in only):
            yield measured(face, outline, across_px, light)


def table(rows: list[Row]) -> str:
    """Return a line for each size, light, outline and face, and one for all, as Markdown."""
    lines = [
        "| | answered | bias % | bias px | median % | 95 % | worst % | inside U | usual U % |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for field in ("across_px", "light", "outline", "face"):
        for name in dict.fromkeys(getattr(row, field) for row in rows):
            these = [row for row in rows if getattr(row, field) == name]
            lines.append(_line(f"{name} px" if field == "across_px" else name, these))
    return "\n".join([*lines, _line("all", rows)])


def _line(name: str, rows: list[Row]) -> str:
    done = [row for row in rows if not row.reason]
    if not done:
        return f"| {name} | 0 of {len(rows)} | | | | | | | |"
    off = np.array([row.off_pct for row in done])
    size = np.abs(off)
    inside = sum(abs(row.off_pct) <= row.u_pct for row in done)
    return (
        f"| {name} | {len(done)} of {len(rows)} | {off.mean():+.2f} "
        f"| {np.mean([row.off_px for row in done]):+.2f} | {np.median(size):.2f} "
        f"| {np.percentile(size, 95):.2f} | {off[size.argmax()]:+.2f} | {inside} "
        f"| {np.median([row.u_pct for row in done]):.2f} |"
    )


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", nargs="*", default=[], help="pictures with one of these words")
    cache = Path(platformdirs.user_cache_dir("rope-photo-check")) / "texture_bench"
    parser.add_argument("--to", type=Path, default=cache, help="folder for the table of all rows")
    options = parser.parse_args()
    rows = list(all_rows(options.only))
    if not rows:
        parser.error("no picture's description contains one of these words.")
    options.to.mkdir(parents=True, exist_ok=True)
    with (options.to / "rows.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(Row.__slots__)
        writer.writerows([getattr(row, name) for name in Row.__slots__] for row in rows)
    print(table(rows))
    for row in rows:
        if row.reason or abs(row.off_pct) > row.u_pct:
            print(row)
    print(f"Every row is in {options.to}.")


if __name__ == "__main__":
    main()
