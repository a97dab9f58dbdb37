"""Names and texts that a record can store, and whether two names are the same person's."""

from __future__ import annotations

import re
import unicodedata
from typing import Any


def same_person(first: str, second: str) -> bool:
    """Return whether two names are the same person's: as people read them.

    Case, spaces, letter forms and signs that nobody sees make no difference.

    Examples
    --------
    >>> same_person("A. Berg", "a.  berg"), same_person("A. Berg", "A. Be\u200brg")
    (True, True)
    """
    return _as_read(first) == _as_read(second)


def _as_read(name: str) -> list[str]:
    visible = "".join(sign for sign in name if unicodedata.category(sign) != "Cf")
    return unicodedata.normalize("NFKC", visible).casefold().split()


def checked_name(text: str, what: str) -> str:
    """Return `text` if it can name something in a record, else raise an error saying why not.

    Raises
    ------
    ValueError
        If it is empty, longer than 200 characters, padded with spaces, or holds a control
        character.

    Examples
    --------
    >>> checked_name("crane 3", "rope")
    'crane 3'
    """
    if not text or text != text.strip():
        raise ValueError(f"the {what} needs a name without spaces around it; got {text!r}.")
    if len(text) > 200:
        raise ValueError(
            f"the name of the {what} has {len(text)} characters; at most 200 are allowed."
        )
    if any(ord(letter) < 32 or ord(letter) == 127 for letter in text):
        raise ValueError(f"the name of the {what} contains a control character: {text!r}.")
    checked_text(text)
    return text


LONGEST_TEXT = 10_000  # characters: some four pages; a report of ten times that takes minutes
_NOT_KEPT = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


def checked_text(value: Any, *, longest: int | None = LONGEST_TEXT) -> None:
    """Raise ValueError if a text anywhere in `value` can't be recorded.

    Not every database stores control characters other than new line and tab, and lone surrogates;
    and no report can be made of a text without end. `longest` None accepts any length.
    """
    if isinstance(value, str):
        if longest is not None and len(value) > longest:
            raise ValueError(
                f"a text to be recorded has {len(value)} characters; at most {longest} are "
                f"allowed: {value[:60]!r}."
            )
        wrong = _NOT_KEPT.search(value)
        if wrong is not None:
            what = (
                "is not valid Unicode" if wrong[0] >= "\ud800" else "contains a control character"
            )
            raise ValueError(f"a text to be recorded {what}: {value[:60]!r}.")
    elif isinstance(value, dict):
        for key, item in value.items():
            checked_text(key, longest=longest)
            checked_text(item, longest=longest)
    elif isinstance(value, list | tuple):
        for item in value:
            checked_text(item, longest=longest)
