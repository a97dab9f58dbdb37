"""Measure and score rendered photographs: tables and plots in the folder, a printed summary.

Example: ``python tests/benchmarks/scoreboard.py FOLDER --processes 2``. FOLDER is what
``render_set.py`` made (default: the development range in the user's cache). It can be stopped and
resumes where it was; photographs measured by other code are measured again. With ``--calibrated``
they are measured as if their phones had been calibrated, with tables of their own.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path

import platformdirs

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_images"))

import score_hough
import score_rows
from score_figures import Scored, scored
from score_plots import save_plots
from score_report import COLUMNS, GROUPS, difference_of_views, markdown, save_tables, tables

HERE = Path(__file__).resolve().parent
CALIBRATED = "-calibrated"  # suffix of file names


def main() -> None:
    """Score a folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    cache = Path(platformdirs.user_cache_dir("rope-photo-check")) / "renders" / "range"
    parser.add_argument("folder", nargs="?", type=Path, default=cache)
    parser.add_argument("--processes", type=int, default=1, help="photographs at once (1)")
    parser.add_argument("--full", action="store_true", help="print every table, not the summary")
    parser.add_argument(
        "--calibrated", action="store_true", help="as if the phones were calibrated"
    )
    options = parser.parse_args()
    if options.processes < 1:
        parser.error(f"--processes must be 1 or more; got {options.processes}.")
    if not (options.folder / "truth.csv").exists():
        parser.error(f"{options.folder} has no truth.csv; make the folder with render_set.py.")
    rows = score_folder(options.folder, processes=options.processes, calibrated=options.calibrated)
    board = options.folder / f"scoreboard{CALIBRATED * options.calibrated}"
    board.mkdir(exist_ok=True)
    save_tables(board, rows)
    save_plots(board, rows)
    print(markdown(rows) if options.full else _summary(rows))
    print(f"Tables and plots are in {board}.")


def score_folder(folder: Path, *, processes: int = 1, calibrated: bool = False) -> list[Scored]:
    """Return the score of every photograph in a folder, measuring those not measured yet."""
    truths = score_rows.read_table(folder / "truth.csv")
    say = partial(print, file=sys.stderr, flush=True)
    ours = score_rows.cached_rows(
        folder / f"measured{CALIBRATED * calibrated}.csv",
        truths,
        partial(score_rows.measured_row, folder, calibrated=calibrated),
        code=score_rows.fingerprint(
            *score_rows.product_files(), HERE / "score_rows.py", HERE / "score_settings.py"
        ),
        processes=processes,
        say=say,
    )
    hough = score_rows.cached_rows(
        folder / "hough.csv",
        truths,
        partial(score_rows.hough_row, folder),
        code=score_rows.fingerprint(Path(score_hough.__file__)),
        processes=processes,
        say=say,
    )
    return [scored(t, ours[t["file"]], hough[t["file"]]) for t in truths]


def _summary(rows: list[Scored]) -> str:
    lines = [f"{'':12s}" + "".join(f"{name[:12]:>14s}" for name in COLUMNS)]
    for line in tables(rows):
        if line["factor"] == "all":
            cells = [line.get(name) for name in COLUMNS]
            shown = [
                f"{cell:14.2f}" if isinstance(cell, float) else f"{cell or '':>14}"
                for cell in cells
            ]
            lines.append(f"{line['group']!s:12s}" + "".join(shown))
            lines += filter(None, [difference_of_views(rows, str(line["group"]))])
    hopeless = [row for row in rows if row.group not in GROUPS]
    taken = sum(row.answered for row in hopeless)
    lines.append(f"hopeless: {taken} of {len(hopeless)} answered")
    return "\n".join(lines)


if __name__ == "__main__":
    main()
