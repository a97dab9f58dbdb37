"""The letterhead: company, address lines and logo, from a small JSON file.

    {"company": "Port of Example", "lines": ["Quay 4"], "logo": "logo.png"}

The logo is a PNG or JPEG file; its name is relative to the JSON file's folder.
"""

from __future__ import annotations

import io
import json
import os
from pathlib import Path
from typing import Any

from PIL import Image, UnidentifiedImageError

from ui.environment import LETTERHEAD
from ui.report.blocks import NO_LETTERHEAD, Letterhead

MOST_BYTES = 5_000_000
MOST_PX = (1600, 600)  # more than 300 px per inch on paper
MOST_LINES, MOST_LETTERS = 4, 120


def read_letterhead(path: str | os.PathLike[str]) -> Letterhead:
    """Return the letterhead in a file.

    Parameters
    ----------
    path : path
        The JSON file.

    Raises
    ------
    ValueError
        If the file or its logo can't be read, or its content is not a letterhead.
    """
    file = Path(path)
    try:
        values: Any = json.loads(file.read_bytes().decode("utf-8"))
    except OSError as failed:
        raise ValueError(
            f"the letterhead {file.name} can't be read ({failed.strerror}); name another file."
        ) from failed
    except (ValueError, RecursionError) as failed:
        raise ValueError(
            f"the letterhead {file.name} is not a JSON file; write it like "
            '{"company": "Port of Example", "logo": "logo.png"}.'
        ) from failed
    if not isinstance(values, dict) or not set(values) <= {"company", "lines", "logo"}:
        named = ", ".join(sorted(map(str, values))) if isinstance(values, dict) else "no names"
        raise ValueError(
            f"the letterhead {file.name} holds {named:.120}; it can hold company, lines and logo."
        )
    company, lines, logo = (
        values.get("company", ""),
        values.get("lines", []),
        values.get("logo", ""),
    )
    texts = [company, logo, *lines] if isinstance(lines, list) else [lines]
    if not isinstance(lines, list) or not all(isinstance(text, str) for text in texts):
        raise ValueError(
            f"in the letterhead {file.name}, company and logo must be texts, and lines a list of "
            "texts."
        )
    if len(lines) > MOST_LINES or any(len(text) > MOST_LETTERS for text in texts):
        raise ValueError(
            f"the letterhead {file.name} has {len(lines)} lines, or one that is too long; at most "
            f"{MOST_LINES} lines of {MOST_LETTERS} characters fit."
        )
    return Letterhead(company, tuple(lines), _logo(file.parent / logo) if logo else b"")


def letterhead_of_server() -> Letterhead:
    """Return the letterhead that the server was started with; an empty one if none.

    Raises
    ------
    ValueError
        As in `read_letterhead`.
    """
    named = os.environ.get(LETTERHEAD)
    return read_letterhead(named) if named else NO_LETTERHEAD


def _logo(file: Path) -> bytes:
    """Return a logo as PNG, no larger than paper can show."""
    try:
        if file.stat().st_size > MOST_BYTES:
            raise ValueError(
                f"the logo {file.name} has {file.stat().st_size / 1e6:.1f} MB; at most "
                f"{MOST_BYTES / 1e6:g} MB are accepted. Save it smaller."
            )
        with Image.open(file, formats=("PNG", "JPEG")) as opened:
            opened.load()
            picture = opened.convert("RGBA")
    except FileNotFoundError as missing:
        raise ValueError(
            f"the letterhead's logo {file.name} was not found; put it beside the letterhead."
        ) from missing
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError) as damaged:
        raise ValueError(
            f"the logo {file.name} is not a PNG or JPEG picture; save it as one."
        ) from damaged
    picture.thumbnail(MOST_PX, Image.Resampling.LANCZOS)
    kept = io.BytesIO()
    picture.save(kept, "PNG")
    return kept.getvalue()
