"""What all charts of the pages share: sizes, titles and legends that a phone has room for."""

from __future__ import annotations

import altair as alt

from inspection.model.rope import Units
from ui.lengths import unit_of

HEIGHT = 340  # px with title, axis and legend; a phone in the hand shows all of it
POINT = 90  # area of a mark, px²
# Most letters of one line: at a chart of 328 px, 51 letters of words took 77 % of the width.
TITLE_LETTERS, WORDS_LETTERS = 36, 56


def heading(title: str, *words: str) -> alt.TitleParams:
    """Return a chart's title with lines of words below it, each short enough for a phone."""
    return alt.TitleParams(title, subtitle=list(words), subtitlePadding=4)


def in_unit(words: str, units: Units) -> str:
    """Return the title of an axis or a tooltip with its unit."""
    return f"{words} ({unit_of(units)})"


def decimals(units: Units) -> str:
    """Return how a length is written in a tooltip: hundredths of a mm, thousandths of an inch."""
    return ".3f" if units == "inch" else ".2f"


def legend() -> alt.Legend:
    """Return a legend below the chart, two signs a row: a phone cuts off a third or fourth."""
    return alt.Legend(
        title=None,
        orient="bottom",
        direction="horizontal",
        columns=2,
        columnPadding=16,
        rowPadding=2,
        offset=4,
    )
