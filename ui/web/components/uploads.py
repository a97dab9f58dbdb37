"""Photographs on their way: the field that takes them, and the line on every page that says so.

Two mounts of one component share what the browser's window keeps, so that photographs go on their
way whatever screen is open; where they go is `ui.web.page.upload_routes`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ui.web.components.made import component

_component = component("uploads", "<section></section>", after=("still.js",))


@dataclass(frozen=True, slots=True)
class UploadField:
    """A field for photographs.

    Parameters
    ----------
    owner, by : str
        Whose they are (`ui.web.page.upload_routes.owner_of`), and the name beside them.
    to : str
        "photographs" for an inspection, else the tray (`ui.services.trays`), as "trays/boards".
    label, help, veil : str
        What stands on it, what is told on being asked, and what stands over the page while a file
        is held over it.
    accept : str
        Which files the browser offers.
    most_mb : int
        How large one may be.
    many : bool
        Whether it takes several at once.
    inspection, print_set : str
        The inspection, and the card set on the photographs.
    """

    owner: str
    by: str
    to: str
    label: str
    help: str
    veil: str
    accept: str
    most_mb: int
    many: bool = True
    inspection: str = ""
    print_set: str = ""


def upload_line(owner: str, *, key: str) -> tuple[str, ...]:
    """Draw the line that tells of photographs on their way; return the hashes that arrived last."""
    shown = _component(
        data={"kind": "line", "owner": owner}, key=key, on_arrived_change=lambda: None
    )
    arrived: Any = shown.get("arrived") or {}
    return tuple(str(one) for one in arrived.get("hashes", ()))


def upload_field(field: UploadField, *, key: str) -> None:
    """Draw the field."""
    _component(data={"kind": "field", **asdict(field)}, key=key)
