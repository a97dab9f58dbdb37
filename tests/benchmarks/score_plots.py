"""The scoreboard's pictures: error by factor, U against error, and the reliability diagram."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np
from scipy.stats import beta, norm
from score_figures import FACTORS, Scored
from score_report import GROUPS

mpl.use("Agg")

from matplotlib import pyplot as plt

COLOURS = {"protocol": "#1f5f8b", "stress": "#c46a1b"}


def save_plots(folder: Path, rows: list[Scored]) -> list[Path]:
    """Write the plots as PNG and SVG and return their paths; none if nothing was answered."""
    done = [row for row in rows if row.answered and row.group in GROUPS]
    if not done:
        return []
    written = []
    for name, draw in (
        ("errors", _errors),
        ("uncertainty", _uncertainty),
        ("reliability", _reliability),
    ):
        figure = draw(done)
        for kind in ("png", "svg"):
            path = folder / f"{name}.{kind}"
            figure.savefig(path, dpi=130, bbox_inches="tight")
            written.append(path)
        plt.close(figure)
    return written


def _errors(rows: list[Scored]) -> plt.Figure:
    """Return a panel for each factor: every error by level, and the median of each level."""
    shown = {name: f for name, f in FACTORS.items() if len({f(r.truth) for r in rows} - {""}) > 1}
    columns = 4
    lines = max(1, -(-len(shown) // columns))  # a single photograph has no factor that varies
    figure, axes = plt.subplots(
        lines, columns, figsize=(4.2 * columns, 3.1 * lines), squeeze=False, layout="constrained"
    )
    rng = np.random.default_rng(0)
    for axis, (name, level_of) in zip(axes.flat, shown.items(), strict=False):
        levels = sorted({level_of(row.truth) for row in rows} - {""})
        for group in GROUPS:
            at = [r for r in rows if r.group == group and level_of(r.truth)]
            x = [levels.index(level_of(row.truth)) for row in at]
            x = np.array(x) + rng.uniform(-0.25, 0.25, len(x))
            axis.plot(x, [r.error_pct for r in at], ".", color=COLOURS[group], ms=4, alpha=0.7)
        for place, level in enumerate(levels):
            middle = np.median([r.error_pct for r in rows if level_of(r.truth) == level])
            axis.plot([place - 0.35, place + 0.35], [middle, middle], color="black", lw=1.4)
        axis.axhline(0, color="grey", lw=0.6)
        axis.set_xticks(range(len(levels)), levels, rotation=25, ha="right", fontsize=7)
        axis.set_title(name, fontsize=9)
        axis.set_ylabel("error, %", fontsize=8)
    for axis in axes.flat[len(shown) :]:
        axis.axis("off")
    figure.suptitle("Error by factor (blue: protocol, orange: stress; bar: median)", fontsize=11)
    return figure


def _uncertainty(rows: list[Scored]) -> plt.Figure:
    figure, axis = plt.subplots(figsize=(6, 5))
    for group in GROUPS:
        at = [row for row in rows if row.group == group]
        axis.plot(
            [row.expanded_pct for row in at],
            [abs(row.error_pct) for row in at],
            "o",
            color=COLOURS[group],
            ms=4,
            alpha=0.7,
            label=f"{group} ({len(at)})",
        )
    end = 1.05 * max(max(r.expanded_pct, abs(r.error_pct)) for r in rows)
    axis.plot([0, end], [0, end], color="black", lw=0.8, label="error = U")
    axis.set(xlabel="stated U (k = 2), %", ylabel="size of the error, %", xlim=(0, None))
    axis.legend()
    return figure


def _reliability(rows: list[Scored]) -> plt.Figure:
    """Return how often the truth was inside an interval, against the stated probability."""
    said = np.linspace(0.02, 0.995, 60)
    figure, axis = plt.subplots(figsize=(5.4, 5))
    for group in GROUPS:
        z = np.array([abs(2 * r.error_pct / r.expanded_pct) for r in rows if r.group == group])
        if not len(z):
            continue
        inside = (z[None] <= norm.ppf((1 + said) / 2)[:, None]).sum(axis=1)
        axis.plot(said, inside / len(z), color=COLOURS[group], label=f"{group} ({len(z)})")
        low, high = beta.ppf([[0.025], [0.975]], inside + 0.5, len(z) - inside + 0.5)  # Jeffreys
        axis.fill_between(said, low, high, color=COLOURS[group], alpha=0.15, lw=0)
    axis.plot([0, 1], [0, 1], color="black", lw=0.8)
    axis.set(xlabel="stated probability", ylabel="share of truths inside", xlim=(0, 1), ylim=(0, 1))
    axis.legend()
    return figure
