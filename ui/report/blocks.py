"""What a report is made of: plain blocks that the PDF and the HTML writer both understand.

The report's figures are written into blocks once; two writers that only set type can't differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from ui.charts.data import AlongRope, Differences, Digits, History, Roundness, Share

Plot: TypeAlias = AlongRope | Differences | Digits | History | tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 1 is the report's title, 2 a chapter, 3 a part of one."""

    words: str
    level: Literal[1, 2, 3] = 2


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph. "strong" is what must be read first, "caution" is set in a box."""

    text: str
    kind: Literal["plain", "strong", "caution", "small"] = "plain"


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values, one pair a line."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Parameters
    ----------
    head : tuple of str
        Headings of the columns, with units.
    rows : tuple of tuple of str
        Cells.
    widths : tuple of float
        Widths of the columns in relation to each other.
    right : frozenset of int
        Columns that hold figures, set to the right.
    strong : frozenset of int
        Rows that deserve a look; their words say why, bold type only leads the eye.
    sums : frozenset of int
        Rows that close the group of rows above them, e.g. by their sum.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    right: frozenset[int] = frozenset()
    strong: frozenset[int] = frozenset()
    sums: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class ReportPicture:
    """A photograph as JPEG with its size in px and what it shows."""

    jpeg: bytes
    width_px: int
    height_px: int
    caption: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """Photographs, two beside each other."""

    shown: tuple[ReportPicture, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure, drawn from its data, with what it shows in words."""

    plot: Plot
    caption: str


@dataclass(frozen=True, slots=True)
class Rounds:
    """Stations seen along the rope, three beside each other."""

    shown: tuple[Roundness, ...]
    caption: str


@dataclass(frozen=True, slots=True)
class Signatures:
    """Room for signatures: role and name, and what a signature says."""

    people: tuple[tuple[str, str], ...]
    says: str


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows starts on a new page."""


Block: TypeAlias = Heading | Words | Facts | Grid | Pictures | Drawn | Rounds | Signatures | NewPage


def words_of(blocks: Iterable[Block]) -> Iterator[str]:
    """Yield every text of a report, to look for what a font can't show."""
    for block in blocks:
        match block:
            case Heading(words=words):
                yield words
            case Words(text=text):
                yield text
            case Facts(pairs=pairs):
                yield from (one for pair in pairs for one in pair)
            case Grid(head=head, rows=rows):
                yield from head
                yield from (cell for row in rows for cell in row)
            case Pictures(shown=shown):
                yield from (one.caption for one in shown)
            case Drawn(caption=caption) | Rounds(caption=caption):
                yield caption
            case Signatures(people=people, says=says):
                yield says
                yield from (one for pair in people for one in pair)
            case NewPage():
                pass


def without_empty(grid: Grid) -> Grid:
    """Return a table without the columns in which nothing stands, the first one kept."""
    filled = [i for i in range(len(grid.head)) if i == 0 or any(row[i] for row in grid.rows)]
    return replace(
        grid,
        head=tuple(grid.head[i] for i in filled),
        rows=tuple(tuple(row[i] for i in filled) for row in grid.rows),
        widths=tuple(grid.widths[i] for i in filled),
        right=frozenset(new for new, old in enumerate(filled) if old in grid.right),
    )
