"""Jaws on the true outlines of meshes, traced in windows with noise: no picture is rendered.

    python tests/benchmarks/bench_jaws.py [--first NUMBER] [--ropes COUNT]

World one's meshes are looked at from far away, each from its own direction. Their outlines get what
the tracer's windows and noise do to them, and the jaws' width is compared with the meshes' caliper
width. What is left is due to the jaws alone: which crown they bear on, their direction, what
windows hide, and the noise.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "vision"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from outlines import outline_of
from range_list import protocol_station
from rope_caliper import caliper_width_mm
from rope_mesh import RopeShape, outer_mesh

from vision.findings import RefusedError
from vision.rope.crowns import as_traced
from vision.rope.jaws import fit_jaws, on_wires

Array = NDArray[np.float64]

FINE = 400  # samples of the true outline per diameter
SEEN = ((100, 0.07, 0.1), (150, 0.055, 0.1), (300, 0.045, 0.15), (150, 0.055, 0.4))
"""px across the rope; the window's sigma, diameters; noise of the outline, px."""


@dataclass(frozen=True, slots=True, eq=False)
class Rope:
    """A rope's shape, its two outlines (2, N), mm, at `along_mm` (N,), and its caliper width."""

    number: int
    shape: RopeShape
    along_mm: Array
    outlines_mm: Array
    true_mm: float


def ropes(first: int, count: int) -> Iterator[Rope]:
    """Yield ropes of world one's list, each seen from a direction and place of its own."""
    number = first
    while count:
        shape = protocol_station(number, name="jaws")[number % 2].shape
        if shape.strands:
            count -= 1
            yield seen_from_afar(number, shape)
        number += 1


def seen_from_afar(number: int, shape: RopeShape) -> Rope:
    """Return a rope's outlines and its caliper width between jaws of two diameters."""
    d, rng = shape.diameter_mm, np.random.default_rng(number)
    mesh = outer_mesh(shape, length_mm=9 * d)
    turn, at_mm = rng.uniform(0, 2 * np.pi), rng.uniform(-0.5, 0.5) * d
    x = mesh.vertices_mm[:, 0] - at_mm
    across = mesh.vertices_mm[:, 1:] @ [np.cos(turn), np.sin(turn)]
    step = d / FINE
    places = np.arange(-3.2 * d, 3.2 * d, step)
    # the outline of a polyhedron lies on its edges
    ends = np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    ends = ends[(ends[:, 0] < ends[:, 1]) & (np.abs(x[ends[:, 0]]) < 3.3 * d)]
    outlines = []
    for sign in (1, -1):
        y = sign * across
        begin, end = ends[(y[ends] > 0.3 * d).all(axis=1)].T
        pieces = int(np.ceil(np.percentile(np.abs(x[end] - x[begin]), 99.9) / step)) + 1
        highest = np.full(len(places), -np.inf)
        for part in np.linspace(0, 1, pieces + 1):
            column = np.rint((x[begin] + part * (x[end] - x[begin]) - places[0]) / step).astype(int)
            inside = (column >= 0) & (column < len(places))
            np.maximum.at(highest, column[inside], (y[begin] + part * (y[end] - y[begin]))[inside])
        outlines.append(highest)
    true = caliper_width_mm(
        mesh.vertices_mm,
        axis=np.array([1.0, 0.0, 0.0]),
        point_mm=np.array([at_mm, 0.0, 0.0]),
        view=np.array([0.0, -np.sin(turn), np.cos(turn)]),
        jaw_mm=2 * d,
    )
    return Rope(number, shape, places, np.array(outlines), true)


def off_and_u(rope: Rope, px: int, window: float, noise_px: float, lay: str) -> tuple[float, float]:
    """Return the error of the jaws' width and its standard uncertainty, %; NaN if refused."""
    d = rope.shape.diameter_mm
    step = d / px
    along = np.arange(-3 * d, 3 * d, step)
    rng = np.random.default_rng([rope.number, px])
    sides = []
    for outline in rope.outlines_mm:
        noise = as_traced(rng.standard_normal((1, len(along))), window * px)[0]
        seen = as_traced(np.interp(along, rope.along_mm, outline)[None], window * px)[0]
        sides.append((along, seen + noise_px * step * noise / noise.std()))
    found = outline_of(*sides, d_mm=d, px_mm=step, window_mm=window * d, noise_px=noise_px)
    try:
        bare = fit_jaws(found)
    except RefusedError:
        return np.nan, np.nan
    jaws = on_wires(bare, lay)
    turned_mm = jaws.u_slope * jaws.lever_mm
    parts = jaws.left.u_mm, jaws.right.u_mm, turned_mm
    width = jaws.left.offset_mm + jaws.right.offset_mm
    return 100 * (width / rope.true_mm - 1), 100 * float(np.linalg.norm(parts)) / d


KINDS: dict[str, Callable[[RopeShape], bool]] = {
    "all": lambda shape: True,
    "ordinary lay": lambda shape: not shape.lang,
    "lang lay": lambda shape: shape.lang,
    "up to 8 strands": lambda shape: shape.strands <= 8,
    "more strands": lambda shape: shape.strands > 8,
    "thinned here": lambda shape: shape.thin > 0.01,
    "worn crowns": lambda shape: shape.worn > 0.001,
}


def main() -> None:
    """Print a table for each size and noise."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--first", type=int, default=1, help="number of the first rope")
    parser.add_argument("--ropes", type=int, default=80, help="how many ropes")
    options = parser.parse_args()
    every = list(ropes(options.first, options.ropes))
    for seen in SEEN:
        print("\n{} px, windows of {} diameters, noise {} px".format(*seen))
        print("| | ropes | bias % | median % | 95 % | worst % | inside U, % | usual U % | z² |")
        print("|---|---|---|---|---|---|---|---|---|")
        for known in (True, False):
            found = {
                rope: off_and_u(rope, *seen, ("lang" if rope.shape.lang else "ordinary") * known)
                for rope in every
            }
            for kind, of in KINDS.items():
                rows = [value for rope, value in found.items() if of(rope.shape)]
                off, u = np.array([row for row in rows if np.isfinite(row[0])]).T
                size, z = np.abs(off), off / u
                print(
                    f"| {kind}{'' if known else ', lay unknown'} | {len(off)} of {len(rows)} "
                    f"| {off.mean():+.2f} | {np.median(size):.2f} | {np.percentile(size, 95):.2f} "
                    f"| {off[size.argmax()]:+.2f} | {100 * np.mean(np.abs(z) <= 2):.0f} "
                    f"| {2 * np.median(u):.2f} | {np.mean(z**2):.2f} |"
                )
                if not known:
                    break


if __name__ == "__main__":
    main()
