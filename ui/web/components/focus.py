"""Focus for a field that has just appeared, so that the user can type straight after a key."""

from __future__ import annotations

import streamlit as st

_JS = """export default function({data}) {
  if (!data || window.__focusTurn === data.turn) return;
  window.__focusTurn = data.turn;
  let left = 40;
  const look = () => {
    const field = [...document.querySelectorAll('input, textarea')]
      .find(one => one.getAttribute('aria-label') === data.label);
    if (field) { field.focus(); field.select(); } else if (left-- > 0) setTimeout(look, 50);
  };
  look();
}"""
_component = st.components.v2.component("focus_field", html="<i hidden></i>", js=_JS)


def focus_field(label: str, *, turn: str, key: str) -> None:
    """Put the cursor into the field with this label, once for each `turn`."""
    _component(data={"label": label, "turn": turn}, key=key, height=1)
