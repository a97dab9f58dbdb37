"""Style common to all charts: sizes, titles and legends that fit on a phone."""

from __future__ import annotations

import altair as alt

from inspection.model.rope import Units
from ui.lengths import unit_of

HEIGHT = 340  # px with title, axis and legend; fits on a phone screen
POINT = 90  # area of a mark, px²
# Longest line in characters: in a chart 328 px wide, 51 characters of a subtitle took 77 % of it.
WORDS_LETTERS = 56


def heading(title: str, *words: str) -> alt.TitleParams:
    """Return a chart's title with lines of text below it, each short enough for a phone."""
    return alt.TitleParams(title, subtitle=list(words), subtitlePadding=4)


def in_unit(words: str, units: Units) -> str:
    """Return the title of an axis or a tooltip with its unit."""
    return f"{words} ({unit_of(units)})"


def decimals(units: Units) -> str:
    """Return the format of lengths in tooltips: hundredths of a mm or thousandths of an inch."""
    return ".3f" if units == "inch" else ".2f"


def legend() -> alt.Legend:
    """Return a legend below the chart, two entries per row: a phone would cut off more."""
    return alt.Legend(
        title=None,
        orient="bottom",
        direction="horizontal",
        columns=2,
        columnPadding=16,
        rowPadding=2,
        offset=4,
    )
