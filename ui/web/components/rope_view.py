"""The photograph on the page: pictures, lines drawn on them, and handles that move on a track.

Two mounts of one component. The first receives pictures as bytes, so they are sent once and have
no address that others could request; the second receives what is drawn on them. Handles move along
a track (along the rope, or across an edge) with mouse, finger or arrow keys. Every move carries a
growing number: without it the answer to an older move would undo a newer one.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import streamlit as st

from ui.presenters.photographs.shapes import Handle, Look, Shape
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
        Text alternative for screen readers.
    shapes, legend, handles : sequence
        What is drawn, its legend below the picture, and what can be moved.
    home : (x, y, width, height) or None
        The part shown at first, px; None for all of it.
    zoom : bool
        Offer buttons, wheel and pinch for zooming.
    pixels : bool
        Show the camera's pixels as squares.
    over : sequence of (str, bool)
        Labels over the picture, and whether each is highlighted; the buttons are then also placed
        over the picture.
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
    """Send pictures to the page under their names, except those that the page already has.

    Parameters
    ----------
    pictures : mapping of str to bytes
        Name -> JPEG or PNG.
    key : str
        Key of this mount.
    """
    _component(data=packed(pictures), key=key, height=1)


def packed(pictures: Mapping[str, bytes]) -> bytes:
    """Return pictures as one block: length of the header, header as JSON, then the bytes.

    Examples
    --------
    >>> packed({"a": b"xyz"})[4:]
    b'[["a", 3]]xyz'
    """
    header = json.dumps([[name, len(data)] for name, data in pictures.items()]).encode()
    return struct.pack("<I", len(header)) + header + b"".join(pictures.values())


def show_view(view: PhotoView, *, key: str) -> list[float] | None:
    """Show a picture with everything drawn on it; return the positions of its handles.

    Parameters
    ----------
    view : PhotoView
        The picture, already sent by `send_pictures`, and what is drawn on it.
    key : str
        Key of this mount; the same handles keep their positions under it.

    Returns
    -------
    at : list of float or None
        Positions of the handles on their tracks; None as long as none has been moved.
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
