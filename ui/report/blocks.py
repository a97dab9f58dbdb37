"""The parts of a report: plain blocks that the PDF and the HTML writer both understand.

The report's figures are written into blocks once, so that the two writers can't differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from inspection.model.rope import Units
from ui.charts.data import AlongRope, Differences, Digits, History, Roundness, Share
from vision.results import Place

LONGEST_WORD = 20  # letters; a longer word may be broken to fit its column
Plot: TypeAlias = AlongRope | Differences | Digits | History | tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 1 is the report's title, 2 a chapter, 3 a part of one."""

    words: str
    level: Literal[1, 2, 3] = 2


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; "strong" for what must be read first, "caution" for a box."""

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
        Relative widths of the columns.
    right : frozenset of int
        Columns that hold figures, set to the right.
    strong : frozenset of int
        Rows to notice; their text says why, bold type only draws attention.
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
    """A photograph as JPEG with its size in px, what it shows, and the places measured in it."""

    jpeg: bytes
    width_px: int
    height_px: int
    caption: str
    places: tuple[Place, ...] = ()


@dataclass(frozen=True, slots=True)
class Pictures:
    """Photographs, two side by side."""

    shown: tuple[ReportPicture, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure, drawn from its data in the rope's units, with what it shows in words."""

    plot: Plot
    caption: str
    units: Units = "mm"


@dataclass(frozen=True, slots=True)
class Rounds:
    """Stations as seen along the rope, three side by side."""

    shown: tuple[Roundness, ...]
    caption: str
    units: Units = "mm"


@dataclass(frozen=True, slots=True)
class Letterhead:
    """The letterhead: company, lines below its name, and its logo as PNG (empty for none)."""

    company: str = ""
    lines: tuple[str, ...] = ()
    logo_png: bytes = b""


NO_LETTERHEAD = Letterhead()


@dataclass(frozen=True, slots=True)
class FrontDecision:
    """What the competent person decided, or space to write it in.

    Parameters
    ----------
    choices : tuple of (str, bool)
        Each possible decision, and whether it was taken.
    remarks, next_due : str
        Their remarks and the date of the next inspection; empty to be written in.
    """

    choices: tuple[tuple[str, bool], ...]
    remarks: str = ""
    next_due: str = ""


@dataclass(frozen=True, slots=True)
class Front:
    """The page to sign; it fits on one page whatever it holds.

    Parameters
    ----------
    letterhead : Letterhead
        The company.
    number : str
        The report's number.
    title : str
        The title, with the rope's name.
    job : tuple of (str, str)
        Inspection, date, place and people.
    alarms : tuple of str
        Limits exceeded, possible loss of section: before everything else.
    headline, words : str
        The worst station: its figure, and how far it is towards discard.
    pictures : tuple of ReportPicture
        Its photographs, at most two.
    facts : tuple of (str, str)
        Further facts, in two columns; an empty value is a line to write on.
    open_title : str
        How many entries are open.
    open_entries : tuple of str
        The first of them.
    decision : FrontDecision
        What the competent person decided.
    signers : tuple of (str, str)
        Roles and names.
    says : str
        What a signature means.
    open_order : str
        The order of the open entries; empty where it says nothing.
    """

    letterhead: Letterhead
    number: str
    title: str
    job: tuple[tuple[str, str], ...]
    alarms: tuple[str, ...]
    headline: str
    words: str
    pictures: tuple[ReportPicture, ...]
    facts: tuple[tuple[str, str], ...]
    open_title: str
    open_entries: tuple[str, ...]
    decision: FrontDecision
    signers: tuple[tuple[str, str], ...]
    says: str
    open_order: str = ""


@dataclass(frozen=True, slots=True)
class NewPage:
    """A page break."""


Block: TypeAlias = Front | Heading | Words | Facts | Grid | Pictures | Drawn | Rounds | NewPage


def words_of(blocks: Iterable[Block]) -> Iterator[str]:
    """Yield every text of a report, to look for characters that a font lacks."""
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
            case Front():
                yield from _front_words(block)
            case NewPage():
                pass


def _front_words(front: Front) -> Iterator[str]:
    yield from (front.letterhead.company, *front.letterhead.lines, front.number, front.title)
    yield from (front.headline, front.words, front.open_title, front.open_order, front.says)
    yield from (*front.alarms, *front.open_entries, front.decision.remarks, front.decision.next_due)
    for name, value in (*front.job, *front.facts, *front.signers):
        yield name
        yield value
    yield from (name for name, _ in front.decision.choices)
    yield from (picture.caption for picture in front.pictures)


def without_empty(grid: Grid) -> Grid:
    """Return a table without its empty columns; the first column always stays."""
    filled = [i for i in range(len(grid.head)) if i == 0 or any(row[i] for row in grid.rows)]
    return replace(
        grid,
        head=tuple(grid.head[i] for i in filled),
        rows=tuple(tuple(row[i] for i in filled) for row in grid.rows),
        widths=tuple(grid.widths[i] for i in filled),
        right=frozenset(new for new, old in enumerate(filled) if old in grid.right),
    )
