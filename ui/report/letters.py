"""The report's letters: shipped typefaces of wide coverage, and what to do where none has a letter.

The typefaces in `ui/report/typefaces` (licences beside them) have Latin, Greek, Cyrillic, Armenian,
Georgian, Hebrew and Arabic letters, Chinese, Japanese and Korean ones, Thai, and the signs of the
trade. Only they are used, so that the same report is the same file on every machine. A letter that
none of them has is set as an open box, visibly, and the report spells the word out.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from PIL import ImageFont

FOLDER = Path(__file__).resolve().parent / "typefaces"
# family -> its plain face, in the order in which they are asked for a letter
FAMILIES = {
    "DejaVu Sans": "DejaVuSansCondensed.ttf",
    "Waree": "Waree.ttf",
    "WenQuanYi Micro Hei": "WenQuanYiMicroHei.ttf",
}
# the same for a browser, which may have others
CSS_FONTS = (
    "'DejaVu Sans Condensed', 'DejaVu Sans', Waree, 'WenQuanYi Micro Hei', Arial, sans-serif"
)


def clean(text: str) -> str:
    """Return a text without signs that only steer: directions, joiners, control characters.

    Examples
    --------
    >>> clean("A\u202egreB\u00a0C")
    'AgreB C'
    """
    text = unicodedata.normalize("NFC", text)
    if text.isprintable():  # no sign that steers, and no space but the usual one
        return text
    signs = []
    for sign in text:
        kind = unicodedata.category(sign)
        if kind in ("Cf", "Cs") and sign not in "\u200c\u200d":
            continue  # the joiners stay: they part or join letters, and turn nothing round
        signs.append(" " if kind in ("Cc", "Zs", "Zl", "Zp") and sign != "\n" else sign)
    return "".join(signs)


def missing_letters(text: str) -> tuple[str, ...]:
    """Return the letters of a text that no typeface of the report has, each once.

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
    """Say whether a typeface has a sign: what none has is drawn as its first glyph, a box."""
    if sign.isascii() or unicodedata.category(sign) == "Cf":
        return True
    return any(
        bytes(font.getmask(sign)) != nothing for font, nothing in map(_opened, FAMILIES.values())
    )


@lru_cache(maxsize=len(FAMILIES))
def _opened(file: str) -> tuple[ImageFont.FreeTypeFont, bytes]:
    """Return a typeface with how it draws a sign that it lacks (U+FFFF is no character)."""
    font = ImageFont.truetype(FOLDER / file, 16, layout_engine=ImageFont.Layout.BASIC)
    return font, bytes(font.getmask("\uffff"))


def missing_words(missing: Iterable[str]) -> str:
    """Return the sentence about letters that are shown as boxes; empty if there are none."""
    scripts = sorted({_script(sign) for sign in missing})
    if not scripts:
        return ""
    return (
        "An open box stands for a letter or sign that the typefaces of this PDF can't show "
        f"({', '.join(scripts)}). The end of the annex spells these words out by the numbers "
        "of their letters; the HTML report and the record show them as they were typed."
    )


def _script(sign: str) -> str:
    """Return a sign's script by the first word of its name.

    Examples
    --------
    >>> _script("ह")
    'Devanagari'
    """
    first = unicodedata.name(sign, "other signs").split(" ")[0].capitalize()
    return first if unicodedata.category(sign)[0] in "LM" else "other signs"


def spelled(text: str) -> str:
    """Return a text by the numbers that Unicode gives its letters.

    Examples
    --------
    >>> spelled("हर")
    'U+0939 U+0930'
    """
    return " ".join(f"U+{ord(sign):04X}" for sign in unicodedata.normalize("NFC", text))
