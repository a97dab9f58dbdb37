"""Custom components, built from the files named after them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import streamlit as st

_HERE = Path(__file__).parent


def component(name: str, html: str, *, after: tuple[str, ...] = ()) -> Callable[..., Any]:
    """Return the component of `name`.css and `name`.js, with the scripts `after` put first."""
    css = _text(f"{name}.css")
    js = "".join(_text(part) for part in (*after, f"{name}.js"))
    made: Callable[..., Any] = st.components.v2.component(name, html=html, css=css, js=js)
    return made


def _text(file: str) -> str:
    return (_HERE / file).read_text(encoding="utf-8")
