"""What phones and people do to a picture, tried on photographs whose truth is known.

    python -m tests.benchmarks.phone_bench [--with FOLDER ...] [--every N] [--only WORD ...]
        [--together]

Each effect of `phone_effects` is applied to the samples (and to other photographs, if given); the
results are measured and compared with the truth and with the original's figure. Tables, every row
and a plot go to the folder of `--to`. Answered rows whose truth is outside U are listed last.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import platformdirs

from tests.benchmarks.phone_effects import Effect, all_effects, applied
from tests.benchmarks.score_settings import U_BARS_MM, settings_of
from vision.calibration.from_cards import CardSight, card_sight, solve_together
from vision.photo.photo import PhotoError, open_photo
from vision.pipeline import Settings, measure_photo
from vision.results import Estimate
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
WORST = 25  # rows listed at the end


@dataclass(frozen=True, slots=True)
class Original:
    """A photograph, its truth, and its figure before anything is done to it."""

    path: Path
    truth_mm: float
    settings: Settings
    diameter_mm: float = np.nan
    expanded_mm: float = np.nan


@dataclass(frozen=True, slots=True)
class Row:
    """What one effect does to one photograph: errors, U and shifts in % of the truth."""

    group: str
    effect: str
    photo: str
    off_pct: float
    u_pct: float
    moved_pct: float
    moved_over_u: float
    reason: str

    @property
    def answered(self) -> bool:
        """Whether there is a figure."""
        return not self.reason

    @property
    def inside(self) -> bool:
        """Whether the truth lies inside the figure's U."""
        return abs(self.off_pct) <= self.u_pct


def originals(folder: Path) -> Iterator[Original]:
    """Yield the photographs of a folder that have a true diameter (truth.csv or truth.json)."""
    if (folder / "truth.csv").exists():
        with (folder / "truth.csv").open(newline="") as file:
            for row in csv.DictReader(file):
                if row.get("answerable", "yes") == "yes" and (folder / row["file"]).exists():
                    truth_mm = float(row["truth_2d_mm"])
                    yield Original(folder / row["file"], truth_mm, settings_of(row))
        return
    for one in json.loads((folder / "truth.json").read_text()):
        layout = layout_named(one["layout"])
        if (
            one["stripe_period_mm"] != layout.stripe_mm
            and abs(one["stripe_period_mm"] / layout.stripe_mm - 1) > 0.001
        ):
            continue  # an older pattern, not one of the product's cards
        check = PrintCheck(
            one["file"],
            layout,
            layout.along_bar_mm * one["print_scale_x"],
            layout.across_bar_mm * one["print_scale_y"],
            U_BARS_MM,
        )
        yield Original(
            folder / one["file"], one["truth_caliper_2d_mm"], Settings(print_check=check)
        )


def calibrated(found: list[Original]) -> list[Original]:
    """Return each photograph with its phone calibrated by the others, all of one print."""
    sights = [card_sight(open_photo(one.path), one.settings.print_check) for one in found]
    known = []
    for at, original in enumerate(found):
        others = [
            sight
            for number, sight in enumerate(sights)
            if number != at and isinstance(sight, CardSight)
        ]
        camera = solve_together(others).camera
        settings = replace(original.settings, cameras={camera.key: camera})
        known.append(replace(original, settings=settings))
    return known


def rows_of(original: Original, effects: list[Effect]) -> Iterator[Row]:
    """Yield a row for each effect; none for a photograph that is refused as taken."""
    file = original.path.read_bytes()
    before = measure_photo(open_photo(file), original.settings)[0]
    if not isinstance(before, Estimate):
        return
    original = replace(original, diameter_mm=before.diameter_mm, expanded_mm=before.expanded_mm())
    yield _row(Effect("as taken", "as taken", lambda pixels: pixels), original, file)
    for effect in effects:
        yield _row(effect, original, applied(effect, file))


def _row(effect: Effect, original: Original, file: bytes) -> Row:
    try:
        result = measure_photo(open_photo(file), original.settings)[0]
    except PhotoError as unreadable:
        nothing = (np.nan,) * 4
        return Row(effect.group, effect.name, original.path.name, *nothing, str(unreadable))
    if not isinstance(result, Estimate):
        reason = "+".join(item.code for item in result.findings if item.severity == "refuse")
        return Row(effect.group, effect.name, original.path.name, *(np.nan,) * 4, reason)
    percent = 100 / original.truth_mm
    moved_mm = result.diameter_mm - original.diameter_mm
    return Row(
        effect.group,
        effect.name,
        original.path.name,
        percent * (result.diameter_mm - original.truth_mm),
        percent * result.expanded_mm(),
        percent * moved_mm,
        moved_mm / original.expanded_mm,
        "",
    )


def table(rows: list[Row]) -> str:
    """Return a line for each effect, as Markdown."""
    lines = [
        "| effect | answered | % off, least to most | median U % | truth inside U "
        "| most moved, in U of the original | refused as |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in dict.fromkeys((row.group, row.effect) for row in rows):
        these = [row for row in rows if (row.group, row.effect) == name]
        done = [row for row in these if row.answered]
        reasons = sorted({row.reason for row in these if row.reason})
        cells = [": ".join(dict.fromkeys(name)), f"{len(done)} of {len(these)}"]
        if done:
            off = [row.off_pct for row in done]
            cells += [
                f"{min(off):+.2f} to {max(off):+.2f}",
                f"{np.median([row.u_pct for row in done]):.2f}",
                f"{sum(row.inside for row in done)} of {len(done)}",
                f"{max(abs(row.moved_over_u) for row in done):.2f}",
            ]
        else:
            cells += ["", "", "", ""]
        lines.append("| " + " | ".join([*cells, ", ".join(reasons)]) + " |")
    return "\n".join(lines)


def worst(rows: list[Row]) -> str:
    """Return the answered rows whose truth is outside U, or that moved by more than U."""
    bad = [row for row in rows if row.answered and (not row.inside or abs(row.moved_over_u) > 1)]
    bad.sort(key=lambda row: abs(row.off_pct) / row.u_pct, reverse=True)
    listed = [
        f"{row.off_pct:+7.2f} %  U {row.u_pct:5.2f} %  moved {row.moved_over_u:+6.2f} U  "
        f"{row.effect}, {row.photo}"
        for row in bad[:WORST]
    ]
    return "\n".join([f"{len(bad)} rows outside U of the truth or of the original", *listed])


def save_plot(path: Path, rows: list[Row]) -> None:
    """Plot every answered row: % off with its U, one line for each effect."""
    import matplotlib as mpl  # from the extra `samples`: tests that use this module run without it

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    names = list(dict.fromkeys(row.effect for row in rows))
    figure, axis = plt.subplots(figsize=(9, 0.24 * len(names) + 1.2), layout="constrained")
    for place, name in enumerate(names):
        these = [row for row in rows if row.effect == name]
        done = [row for row in these if row.answered]
        shift = np.linspace(-0.3, 0.3, max(len(done), 2))
        for up, row in zip(shift, done, strict=False):
            colour = "#1f5f8b" if row.inside else "#b3261e"
            axis.errorbar(
                row.off_pct, place + up, xerr=row.u_pct, fmt=".", ms=4, lw=0.7, color=colour
            )
        refused = len(these) - len(done)
        if refused:
            axis.text(4.05, place, f"{refused} refused", va="center", fontsize=6)
    axis.axvline(0, color="grey", lw=0.6)
    axis.set(xlim=(-4, 4), ylim=(len(names), -1), xlabel="% off the truth, with U (k = 2)")
    axis.set_yticks(range(len(names)), names, fontsize=7)
    figure.savefig(path, dpi=130)
    plt.close(figure)


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--with", dest="more", nargs="*", type=Path, default=[], metavar="FOLDER")
    parser.add_argument("--without-samples", action="store_true")
    parser.add_argument("--every", type=int, default=1, help="use every N-th photograph (1)")
    parser.add_argument("--only", nargs="*", default=[], help="effects with one of these words")
    together = "first calibrate the phone by the folder's other photographs"
    parser.add_argument("--together", action="store_true", help=together)
    cache = Path(platformdirs.user_cache_dir("rope-photo-check")) / "phone_bench"
    parser.add_argument("--to", type=Path, default=cache, help="folder for the tables and the plot")
    options = parser.parse_args()
    folders = ([] if options.without_samples else [SAMPLES]) + options.more
    effects = [
        one
        for one in all_effects()
        if not options.only or any(word in f"{one.group} {one.name}" for word in options.only)
    ]
    rows: list[Row] = []
    for folder in folders:
        found = list(originals(folder))[:: options.every]
        for original in calibrated(found) if options.together else found:
            rows += rows_of(original, effects)
            print(original.path.name, len(rows), file=sys.stderr, flush=True)
    if not rows:
        parser.error("none of the photographs gives a diameter as taken.")
    options.to.mkdir(parents=True, exist_ok=True)
    with (options.to / "rows.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(Row.__slots__)
        writer.writerows([getattr(row, name) for name in Row.__slots__] for row in rows)
    text = f"{table(rows)}\n\n{worst(rows)}\n"
    (options.to / "table.md").write_text(text)
    save_plot(options.to / "phone_bench.png", rows)
    print(text)
    print(f"Tables and plot are in {options.to}.")


if __name__ == "__main__":
    main()
