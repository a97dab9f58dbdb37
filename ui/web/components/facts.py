"""Names and values, one pair per line: what is known about a rope, at a glance."""

from __future__ import annotations

import html
from collections.abc import Sequence

import streamlit as st

_STYLE = """<style>
.rope-known{display:grid;grid-template-columns:max-content 1fr;gap:.2rem 1.2rem;margin:0!important;
padding:0!important}
.rope-known dt{color:light-dark(#4A4C57,#B9BAC4);margin:0}
.rope-known dd{margin:0;overflow-wrap:anywhere}
@media (max-width:640px){.rope-known{grid-template-columns:1fr;gap:0}
.rope-known dt{font-size:.85rem}.rope-known dd{margin-bottom:.4rem}}
</style>"""


def show_facts(pairs: Sequence[tuple[str, str]]) -> None:
    """Show names with their values as escaped text."""
    listed = "".join(
        f"<dt>{html.escape(name)}</dt><dd>{html.escape(value)}</dd>" for name, value in pairs
    )
    st.html(f"{_STYLE}<dl class='rope-known'>{listed}</dl>")
