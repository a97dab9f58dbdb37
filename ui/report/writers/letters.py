"""The report's typefaces, of wide coverage, and how it shows characters that none of them has.

The typefaces in `ui/report/typefaces` (licences beside them) have Latin, Greek, Cyrillic, Armenian,
Georgian, Hebrew, Arabic, Chinese, Japanese, Korean and Thai characters, and the symbols used here.
Only they are used, so that the same report is the same file on every machine. A character that
none of them has is shown as an open box, and the report spells the word out.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from html import escape
from pathlib import Path

from PIL import ImageFont

FOLDER = Path(__file__).resolve().parents[1] / "typefaces"
# family -> its regular face, in order of preference
FAMILIES = {
    "DejaVu Sans": "DejaVuSansCondensed.ttf",
    "Waree": "Waree.ttf",
    "WenQuanYi Micro Hei": "WenQuanYiMicroHei.ttf",
}
# the same for a browser, which can have others
CSS_FONTS = (
    "'DejaVu Sans Condensed', 'DejaVu Sans', Waree, 'WenQuanYi Micro Hei', Arial, sans-serif"
)


def clean(text: str) -> str:
    """Return a text without control characters and direction marks.

    Examples
    --------
    >>> clean("A\u202egreB\u00a0C")
    'AgreB C'
    """
    text = unicodedata.normalize("NFC", text)
    if text.isprintable():  # no control character, and no space but the usual one
        return text
    signs = []
    for sign in text:
        kind = unicodedata.category(sign)
        if kind in ("Cf", "Cs") and sign not in "\u200c\u200d":
            continue  # the joiners stay: they separate or join letters, and reverse nothing
        signs.append(" " if kind in ("Cc", "Zs", "Zl", "Zp") and sign != "\n" else sign)
    return "".join(signs)


def escaped(text: str) -> str:
    """Return a text for HTML: as `clean`, with markup escaped."""
    return escape(clean(text))


def missing_letters(text: str) -> tuple[str, ...]:
    """Return the characters of a text that no typeface of the report has, each once.

    Examples
    --------
    >>> missing_letters("Żaneta Иванова 山田 עמר"), missing_letters("हर A")
    ((), ('ह', 'र'))
    """
    if text.isascii():
        return ()
    return tuple(dict.fromkeys(sign for sign in clean(text) if not _has(sign)))


@lru_cache(maxsize=8192)
def _has(sign: str) -> bool:
    """Return whether a typeface has a character; otherwise it draws its first glyph, a box."""
    if sign.isascii() or unicodedata.category(sign) == "Cf":
        return True
    return any(
        bytes(font.getmask(sign)) != nothing for font, nothing in map(_opened, FAMILIES.values())
    )


@lru_cache(maxsize=len(FAMILIES))
def _opened(file: str) -> tuple[ImageFont.FreeTypeFont, bytes]:
    """Return a typeface and how it draws a missing character (U+FFFF is not a character)."""
    font = ImageFont.truetype(FOLDER / file, 16, layout_engine=ImageFont.Layout.BASIC)
    return font, bytes(font.getmask("\uffff"))


def missing_words(missing: Iterable[str]) -> str:
    """Return the sentence about characters that are shown as boxes; empty if there are none."""
    scripts = sorted({_script(sign) for sign in missing})
    if not scripts:
        return ""
    return (
        "An open box marks a letter or symbol that the typefaces of this PDF lack "
        f"({', '.join(scripts)}). The end of the annex spells these words out in Unicode "
        "numbers; the HTML report and the record show them as they were typed."
    )


def _script(sign: str) -> str:
    """Return a character's script, from the first word of its name.

    Examples
    --------
    >>> _script("ह")
    'Devanagari'
    """
    first = unicodedata.name(sign, "other signs").split(" ")[0].capitalize()
    return first if unicodedata.category(sign)[0] in "LM" else "other signs"


def spelled(text: str) -> str:
    """Return a text as the Unicode numbers of its characters.

    Examples
    --------
    >>> spelled("हर")
    'U+0939 U+0930'
    """
    return " ".join(f"U+{ord(sign):04X}" for sign in unicodedata.normalize("NFC", text))
