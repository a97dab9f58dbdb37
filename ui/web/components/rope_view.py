"""The photograph on the page: pictures, lines drawn on them, and handles that run on a track.

Two mounts of one component. The first takes pictures as bytes, so they cross the wire once and
have no address that a stranger could ask for; the second takes what is drawn on them. Handles
move along a track (along the rope, or across an edge) by mouse, finger or arrow keys. Every move
carries a number that grows: without it the answer to an older move would undo a newer one.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import streamlit as st

from ui.presenters.shapes import Handle, Look, Shape
from ui.web.components.made import component

_component = component(
    "rope_view",
    '<figure><header></header><svg role="img" tabindex="0"></svg><nav></nav>'
    "<figcaption></figcaption></figure>",
    after=("view_parts.js",),
)


@dataclass(frozen=True, slots=True)
class PhotoView:
    """A picture with what is drawn on it.

    Parameters
    ----------
    picture : str
        Name under which it was sent.
    size : (width, height)
        Size of the picture's coordinates, px; the picture itself may be smaller.
    words : str
        What is to be seen, for those who can't.
    shapes, legend, handles : sequence
        What is drawn, how it is explained below, and what can be moved.
    home : (x, y, width, height) or None
        The part shown at first, px; None for all of it.
    zoom : bool
        Offer buttons, wheel and pinch.
    pixels : bool
        Show the camera's pixels as squares.
    over : sequence of (str, bool)
        Words over the picture, and whether each is odd; the buttons lie over it, too, then.
    """

    picture: str
    size: tuple[int, int]
    words: str
    shapes: Sequence[Shape] = ()
    legend: Sequence[tuple[Look, str]] = ()
    handles: Sequence[Handle] = ()
    home: tuple[float, float, float, float] | None = None
    zoom: bool = True
    pixels: bool = False
    over: Sequence[tuple[str, bool]] = ()


def send_pictures(pictures: Mapping[str, bytes], *, key: str) -> None:
    """Send pictures to the page under their names; one that is there already is not sent again.

    Parameters
    ----------
    pictures : mapping of str to bytes
        Name -> JPEG or PNG.
    key : str
        Key of this mount.
    """
    _component(data=packed(pictures), key=key, height=1)


def packed(pictures: Mapping[str, bytes]) -> bytes:
    """Return pictures as one block: length of the heading, heading as JSON, then the bytes.

    Examples
    --------
    >>> packed({"a": b"xyz"})[4:]
    b'[["a", 3]]xyz'
    """
    heading = json.dumps([[name, len(data)] for name, data in pictures.items()]).encode()
    return struct.pack("<I", len(heading)) + heading + b"".join(pictures.values())


def show_view(view: PhotoView, *, key: str) -> list[float] | None:
    """Show a picture with what is drawn on it; return where the handles were moved to.

    Parameters
    ----------
    view : PhotoView
        The picture, sent before by `send_pictures`, and what is drawn on it.
    key : str
        Key of this mount; the same handles keep their places under it.

    Returns
    -------
    at : list of float or None
        Places of the handles on their tracks; None while nobody moved one.
    """
    edit = _edit(key)
    moved = edit["at"] if edit and len(edit["at"]) == len(view.handles) else None
    data: dict[str, Any] = {
        **asdict(view),
        "home": view.home or (0, 0, *view.size),
        "at": moved or [handle.at for handle in view.handles],
        "seq": edit["seq"] if edit else 0,
    }
    _component(data=data, key=key, on_edit_change=lambda: None)
    return moved


def _edit(key: str) -> dict[str, Any] | None:
    state = st.session_state.get(key)
    if not state:
        return None
    edit: dict[str, Any] | None = state.get("edit")
    return edit
