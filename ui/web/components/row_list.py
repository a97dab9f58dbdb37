"""Rows that open something: a table on a desktop, one card per row on a phone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from ui.text import as_plain
from ui.web.components.made import component

_component = component("row_list", '<div class="list"></div>')


@dataclass(frozen=True, slots=True)
class ListColumn:
    """A column of the list.

    Parameters
    ----------
    title : str
        Its heading.
    figures : bool
        Whether it holds figures, which are right-aligned.
    """

    title: str
    figures: bool = False


def open_row(
    title: str,
    columns: Sequence[ListColumn],
    rows: Sequence[tuple[str, Sequence[str]]],
    *,
    key: str,
) -> str | None:
    """Show rows, and return the name of the one that was just opened.

    Parameters
    ----------
    title : str
        Name of the list for screen readers.
    columns : sequence of ListColumn
        The first column holds the row's title, which opens the row.
    rows : sequence of (str, sequence of str)
        Name of a row, and the contents of its cells as plain text.
    key : str
        Key of this mount.
    """
    shown = _component(
        data={
            "title": title,
            "columns": [asdict(one) for one in columns],
            "rows": [(name, [as_plain(cell) for cell in cells]) for name, cells in rows],
        },
        key=key,
        on_opened_change=lambda: None,
    )
    opened: str | None = shown.get("opened")
    return opened
