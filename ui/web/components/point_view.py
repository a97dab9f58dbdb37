"""A photograph on which points are marked with mouse, finger, arrow keys or typed numbers.

Two mounts of one component, as in `ui.web.components.rope_view`: one receives the picture's bytes,
the other what is drawn on it. Points carry a number that grows with every move, so that an echo of
an older move never undoes a newer one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from ui.web.components.made import component
from ui.web.components.rope_view import packed
from vision.results import PointPx

_component = component(
    "point_view", '<figure><nav></nav><svg role="group"></svg></figure>', after=("view_parts.js",)
)


def send_photograph(name: str, jpeg: bytes, *, key: str) -> None:
    """Send a picture to the page under its name, unless the page already has it."""
    _component(data=packed({name: jpeg}), key=key, height=1)


def mark_points(
    picture: str,
    size: tuple[int, int],
    labels: Sequence[str],
    *,
    key: str,
    words: str,
    pairs: Sequence[tuple[int, int]] = (),
) -> list[PointPx | None]:
    """Show a picture on which labelled points can be set and moved; return their positions.

    Parameters
    ----------
    picture : str
        Name under which it was sent.
    size : (width, height)
        Size of the photograph, px: the coordinate system of the points, whatever the picture's
        own size.
    labels : sequence of str
        Label of each point.
    key : str
        Key of this mount.
    words : str
        Instructions for screen readers.
    pairs : sequence of (int, int), optional
        Points joined by a line.
    """
    points = points_of(picture, len(labels), key=key)
    edit = st.session_state.get(key, {}).get("edit") or {}
    data: dict[str, Any] = {
        "picture": picture,
        "size": size,
        "labels": list(labels),
        "words": words,
        "pairs": [list(pair) for pair in pairs],
        "points": points,
        "seq": edit.get("seq", 0),
    }
    _component(data=data, key=key, on_edit_change=lambda: None)
    return points


def points_of(picture: str, count: int, *, key: str) -> list[PointPx | None]:
    """Return the current points on a picture; None for each that is not set."""
    edit = (st.session_state.get(key) or {}).get("edit") or {}
    places = edit.get("points") or []
    if edit.get("picture") != picture or len(places) != count:
        return [None] * count
    return [None if point is None else (float(point[0]), float(point[1])) for point in places]


def set_points(picture: str, points: Sequence[PointPx | None], *, key: str) -> None:
    """Set the points from Python; call this before the component is drawn."""
    state = st.session_state.get(key) or {}
    seq = ((state.get("edit") or {}).get("seq") or 0) + 1
    places = [None if point is None else list(point) for point in points]
    st.session_state[key] = {"edit": {"seq": seq, "picture": picture, "points": places}}
