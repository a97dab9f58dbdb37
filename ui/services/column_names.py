"""Mappings of a site's headings, saved by name on this machine for its next sheets."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from ui.environment import COLUMNS_FILE, own_file
from vision.json_files import read_json, update_json


def columns_file() -> Path:
    """Return the file of saved mappings: the user's own, or the one the environment names."""
    return own_file(COLUMNS_FILE, "columns.json")


def kept_columns(name: str) -> dict[str, str]:
    """Return heading -> meaning of a saved mapping.

    Raises
    ------
    ValueError
        If there is none of this name, or the file is damaged.
    """
    kept = read_json(columns_file(), "mappings of columns")
    if name not in kept:
        raise ValueError(
            f"no mapping of columns is saved as {name!r}; saved are: {', '.join(kept) or 'none'}."
        )
    mapping = kept[name]
    if not isinstance(mapping, dict) or not all(isinstance(one, str) for one in mapping.values()):
        raise ValueError(
            f"the mapping {name!r} in {columns_file().name} is damaged: save it again."
        )
    return mapping


def kept_names() -> list[str]:
    """Return the names of the saved mappings; none if the file can't be read."""
    try:
        return sorted(read_json(columns_file(), "mappings of columns"))
    except ValueError:
        return []


def keep_columns(name: str, mapping: Mapping[str, str]) -> None:
    """Save a mapping of headings under a name, replacing one of the same name.

    Raises
    ------
    ValueError
        If the file can't be written, or is damaged.
    """
    update_json(columns_file(), "the mapping", lambda kept: {**kept, name: dict(mapping)})


def named_column(text: str) -> tuple[str, str]:
    """Return heading and meaning of "HEADING=MEANING".

    Examples
    --------
    >>> named_column("Ø Mitte=90"), named_column("Bem.=")
    (('Ø Mitte', '90'), ('Bem.', ''))
    """
    heading, sign, meaning = text.rpartition("=")
    if not sign or not heading.strip():
        raise ValueError(f"{text!r} does not say what a heading means: write HEADING=MEANING.")
    return heading.strip(), meaning.strip()
