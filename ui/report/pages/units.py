"""The annex in the rope's own units: text written in millimetres is converted once, here.

Figures in tables are already in the rope's units; headings and the program's sentences are not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from inspection.model.rope import Units
from ui.lengths import heads_in_units, in_units
from ui.report.blocks import Block, Drawn, Facts, Grid, Pictures, Rounds, Words

# Columns that quote people, gauges and files: a quotation keeps its units.
QUOTED = frozenset({
    "As typed", "Gauge", "Read by", "By", "Why", "Was", "Now", "Content", "Photograph", "Camera",
    "Card set", "Note", "Review", "How it was closed", "Entries", "Groove", "Reading no.",
})  # fmt: skip


def in_rope_units(blocks: Iterable[Block], units: Units) -> Iterator[Block]:
    """Yield blocks with headings, sentences and captions in the rope's own units."""
    for block in blocks:
        match block:
            case Words(text=text):
                yield replace(block, text=in_units(text, units))
            case Facts(pairs=pairs):
                shown = tuple((name, in_units(value, units)) for name, value in pairs)
                yield replace(block, pairs=shown)
            case Grid():
                yield _grid(block, units)
            case Pictures(shown=pictures):
                captioned = (replace(one, caption=in_units(one.caption, units)) for one in pictures)
                yield replace(block, shown=tuple(captioned))
            case Drawn(caption=caption) | Rounds(caption=caption):
                yield replace(block, caption=in_units(caption, units), units=units)
            case _:
                yield block


def _grid(grid: Grid, units: Units) -> Grid:
    quoted = [head in QUOTED for head in grid.head]
    rows = tuple(
        tuple(
            cell if kept else in_units(cell, units) for cell, kept in zip(row, quoted, strict=True)
        )
        for row in grid.rows
    )
    return replace(grid, head=tuple(heads_in_units(grid.head, units)), rows=rows)
