"""The report as a PDF: its blocks as data, typeset by typst with `report.typ`.

No text becomes markup: the template reads all text from a JSON file and sets it unchanged.
Nothing depends on the machine: only the shipped typefaces are used, and the document's date is
the report's, so that the same report is the same file, byte for byte.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, assert_never

from ui.report.blocks import (
    LONGEST_WORD,
    Block,
    Drawn,
    Facts,
    Front,
    Grid,
    Heading,
    NewPage,
    Pictures,
    ReportPicture,
    Rounds,
    Words,
    words_of,
)
from ui.report.writers.drawings import svg_of
from ui.report.writers.letters import (
    FAMILIES,
    FOLDER,
    clean,
    missing_letters,
    missing_words,
    spelled,
)

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, str] = {"A4": "a4", "Letter": "us-letter"}
TEMPLATE = Path(__file__).resolve().with_name("report.typ")
TYPESET = Path(__file__).resolve().with_name("typeset.py")
LONGEST_S = 120.0  # enough for hundreds of stations on a busy machine; longer means it is stuck
BARS_PCT = 72  # of the page's width, for bars with short labels
TALL = 1500  # letters of a cell; a longer one may not fit on one page, so its row can be divided
LIKELY_WIDEST = 3  # longest words of a column, one of which is its widest


def pdf_of(
    blocks: Sequence[Block],
    *,
    title: str,
    paper: Paper = "A4",
    edges: PageEdges | None = None,
    made_at: datetime | None = None,
) -> bytes:
    """Return the report as the bytes of a PDF.

    Parameters
    ----------
    blocks : sequence of Block
        The content.
    title : str
        Title of the document.
    paper : {"A4", "Letter"}, optional
        The paper.
    edges : PageEdges or None, optional
        Text at the top and the foot of every page; the title by default.
    made_at : datetime or None, optional
        The document's date; now by default.

    Raises
    ------
    ValueError
        If the paper is not known.
    """
    if paper not in PAPERS:
        raise ValueError(f"the report is printed on {' or '.join(PAPERS)}; got '{paper}'.")
    edges = edges or PageEdges((title,))
    files: dict[str, bytes] = {}
    made = (made_at or datetime.now(UTC)).astimezone(UTC)
    content = {
        "title": title,
        "made": made.timetuple()[:6],
        "paper": PAPERS[paper],
        "fonts": [*FAMILIES],
        "head": edges.head,
        "foot": edges.foot,
        "caution": edges.caution,
        "blocks": [
            _as_data(block, files) for block in _with_missing(blocks, (*edges.head, *edges.foot))
        ],
    }
    files["content.json"] = json.dumps(_cleaned(content), ensure_ascii=False).encode("utf-8")
    files[TEMPLATE.name] = TEMPLATE.read_bytes()
    with TemporaryDirectory() as folder:  # typst reads nothing outside it
        for name, data in files.items():
            (Path(folder) / name).write_bytes(data)
        return _set(folder)


@dataclass(frozen=True, slots=True)
class PageEdges:
    """Text at the top and the foot of every page.

    Parameters
    ----------
    head, foot : tuple of str
        Parts that share a line; if they do not all fit, each is shortened.
    caution : str
        A sentence at the foot.
    """

    head: tuple[str, ...] = ()
    foot: tuple[str, ...] = ()
    caution: str = ""


def _set(folder: str) -> bytes:
    """Return a folder's document, typeset in a separate process (`typeset` says why)."""
    command = [sys.executable, "-P", str(TYPESET), folder, TEMPLATE.name, str(FOLDER)]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=LONGEST_S, check=False
        )
    except subprocess.TimeoutExpired:
        raise ValueError(
            f"the report as PDF takes more than the {LONGEST_S:g} s allowed: is a text in it very "
            "long? Write it as HTML."
        ) from None
    if done.returncode:
        raise RuntimeError(f"the report could not be typeset:\n{done.stderr}")
    return (Path(folder) / f"{TEMPLATE.name}.pdf").read_bytes()


def _cleaned(value: Any) -> Any:
    """Return the content with every text made printable."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {name: _cleaned(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_cleaned(one) for one in value]
    return value


def _as_data(block: Block, files: dict[str, bytes]) -> dict[str, Any]:
    """Return a block as data for the template; its pictures are added to the files."""
    match block:
        case Heading(words=words, level=level):
            return {"kind": "heading", "words": words, "level": level}
        case Words(text=text, kind=kind):
            return {"kind": "words", "text": text, "style": kind}
        case Facts(pairs=pairs):
            tall = any(len(value) > TALL for _, value in pairs)
            return {"kind": "facts", "pairs": pairs, "high": tall}
        case Grid():
            return {"kind": "grid", **_grid(block)}
        case Pictures(shown=shown):
            return {"kind": "pictures", "shown": [_picture(one, files) for one in shown]}
        case Drawn(plot=plot, caption=caption, units=units):
            file = _drawing(svg_of(plot, units), files)
            wide = BARS_PCT if isinstance(plot, tuple) else 100
            return {"kind": "drawn", "file": file, "caption": caption, "wide": wide}
        case Rounds(shown=rounds, caption=caption, units=units):
            discs = [
                {"file": _drawing(svg_of(one, units), files), "caption": one.words(units)}
                for one in rounds
            ]
            return {"kind": "rounds", "shown": discs, "caption": caption}
        case Front():
            return {"kind": "front", **_front(block, files)}
        case NewPage():
            return {"kind": "new page"}
        case _:
            assert_never(block)


def _front(front: Front, files: dict[str, bytes]) -> dict[str, Any]:
    letterhead, decision = front.letterhead, front.decision
    return {
        "company": letterhead.company,
        "lines": letterhead.lines,
        "logo": _file(letterhead.logo_png, "png", files) if letterhead.logo_png else "",
        "number": front.number,
        "title": front.title,
        "job": front.job,
        "alarms": front.alarms,
        "headline": front.headline,
        "words": front.words,
        "shown": [_picture(one, files) for one in front.pictures],
        "facts": front.facts,
        "open-title": front.open_title,
        "open-order": front.open_order,
        "open-entries": front.open_entries,
        "choices": decision.choices,
        "remarks": decision.remarks,
        "next-due": decision.next_due,
        "signers": front.signers,
        "says": front.says,
    }


def _grid(grid: Grid) -> dict[str, Any]:
    high = [number for number, row in enumerate(grid.rows) if any(len(cell) > TALL for cell in row)]
    return {
        "head": grid.head,
        "rows": grid.rows,
        "widths": grid.widths,
        "right": sorted(grid.right),
        "strong": sorted(grid.strong),
        "sums": sorted(grid.sums),
        "high": high,
        "longest": [[*_longest(grid, column)] for column in range(len(grid.head))],
    }


def _longest(grid: Grid, column: int) -> Iterator[str]:
    """Yield the longest words of a column that must not be broken."""
    words = {word for row in grid.rows for word in row[column].split()}
    fitting = [word for word in words if len(word) <= LONGEST_WORD]
    yield from sorted(fitting, key=lambda word: (-len(word), word))[:LIKELY_WIDEST]


def _picture(picture: ReportPicture, files: dict[str, bytes]) -> dict[str, Any]:
    return {"file": _file(picture.jpeg, "jpg", files), "caption": picture.caption}


def _drawing(svg: str, files: dict[str, bytes]) -> str:
    return _file(svg.encode("utf-8"), "svg", files)


def _file(data: bytes, kind: str, files: dict[str, bytes]) -> str:
    """Return the name by which the template finds a picture; equal pictures share one file."""
    for name, existing in files.items():
        if existing == data:
            return name
    name = f"{len(files)}.{kind}"
    files[name] = data
    return name


def _with_missing(blocks: Sequence[Block], edges: Sequence[str]) -> Sequence[Block]:
    """Return the content with a note on characters that no typeface has, and a list of them."""
    lacking = {
        text: missing for text in (*edges, *words_of(blocks)) if (missing := missing_letters(text))
    }
    if not lacking:
        return blocks
    note = Words(missing_words(sign for missing in lacking.values() for sign in missing), "strong")
    rows = {
        (word, spelled(word)): None
        for text in lacking
        for word in (one.strip(".,;:()") for one in text.split())
        if missing_letters(word)
    }
    table = Grid(("Word", "Unicode numbers of its letters"), tuple(rows), (1, 4))
    named = Heading("Words with letters that the typefaces of this PDF lack", 3)
    place = next((i for i, one in enumerate(blocks) if isinstance(one, Facts)), -1) + 1
    return [*blocks[:place], note, *blocks[place:], named, table]
