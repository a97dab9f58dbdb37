"""Uploads of photographs: the upload field, and the progress line on every page.

Two mounts of one component share the state of the browser window, so that uploads continue
whatever screen is open. They are received by `ui.web.page.upload_routes`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ui.web.components.made import component

_component = component("uploads", "<section></section>", after=("still.js",))


@dataclass(frozen=True, slots=True)
class UploadField:
    """An upload field for photographs.

    Parameters
    ----------
    owner, by : str
        Owner (`ui.web.page.upload_routes.owner_of`) and the name recorded with them.
    to : str
        "photographs" for an inspection, otherwise the tray (`ui.services.trays`), as in
        "trays/boards".
    label, help, veil : str
        Label, help, and the text over the page while a file is dragged over it.
    accept : str
        The file types that the browser offers.
    most_mb : int
        Largest permitted file, MB.
    many : bool
        Whether it accepts several files at once.
    inspection, print_set : str
        The inspection, and the card set in the photographs.
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
    """Draw the progress line; return the hashes of the photographs that arrived last."""
    shown = _component(
        data={"kind": "line", "owner": owner}, key=key, on_arrived_change=lambda: None
    )
    arrived: Any = shown.get("arrived") or {}
    return tuple(str(one) for one in arrived.get("hashes", ()))


def upload_field(field: UploadField, *, key: str) -> None:
    """Draw the upload field."""
    _component(data={"kind": "field", **asdict(field)}, key=key)
