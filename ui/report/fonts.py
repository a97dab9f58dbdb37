"""The report's letters: shipped fonts of wide coverage, and what to do where they have no glyph.

The fonts in `ui/fonts` (licences beside them) have Latin, Greek, Cyrillic, Armenian, Georgian,
Hebrew and Arabic letters, Chinese, Japanese and Korean ones, Thai, and the signs of the trade.
What they lack is replaced by an open box, visibly, and the report spells those words out by the
numbers of their letters; so are scripts whose letters change their order or shape in ways that
the PDF library does not know.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from ui.report.bidi import in_print_order, joined

PLAIN, BOLD = "ReportPlain", "ReportBold"
THAI, THAI_BOLD, EAST = "ReportThai", "ReportThaiBold", "ReportEast"
MISSING = "□"
FOLDER = Path(__file__).resolve().parent / "typefaces"
FILES = {PLAIN: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
# each is opened only where a letter asks for it: plain face, bold face, their files
OTHERS = {
    THAI: (THAI_BOLD, "Waree.ttf", "Waree-Bold.ttf"),
    EAST: (EAST, "WenQuanYiMicroHei.ttf", ""),
}
# what a page can show for these fonts in HTML and SVG
CSS_FONTS = "'DejaVu Sans Condensed', 'Arial Narrow', 'Liberation Sans Narrow', Arial, sans-serif"


@lru_cache(maxsize=1)
def register_fonts() -> frozenset[int]:
    """Make the two fonts known to the PDF library; return the characters that both have."""
    have = [_opened(name, file) for name, file in FILES.items()]
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return have[0] & have[1]


def _opened(name: str, file: str) -> frozenset[int]:
    font = TTFont(name, str(FOLDER / file))
    pdfmetrics.registerFont(font)
    return frozenset(font.face.charToGlyph)


@lru_cache(maxsize=len(OTHERS))
def _other(name: str) -> frozenset[int]:
    """Make one of the other fonts known; return the characters that it has."""
    bold, file, bold_file = OTHERS[name]
    have = _opened(name, file)
    if bold != name:
        have &= _opened(bold, bold_file)
    pdfmetrics.registerFontFamily(name, normal=name, bold=bold, italic=name, boldItalic=bold)
    return have


@lru_cache(maxsize=4096)
def _face(sign: str) -> str:
    """Return the font that has a sign; empty where none has it."""
    number = ord(sign)
    if number in register_fonts():
        return PLAIN
    if 0x0E00 <= number < 0x0E80:
        return THAI if number in _other(THAI) else ""
    return EAST if number >= 0x1100 and number in _other(EAST) else ""


def printable(text: str) -> tuple[str, tuple[str, ...]]:
    """Return text as the report's fonts can show it, and the characters that they can't.

    Parameters
    ----------
    text : str
        Any text.

    Examples
    --------
    >>> printable("Żaneta Иванова 山田")
    ('Żaneta Иванова 山田', ())
    >>> printable("हरी A")
    ('□□□ A', ('ह', 'र', 'ी'))
    """
    shown, missing = [], []
    for sign in _drawn(text):
        kind = unicodedata.category(sign)
        if sign == "\n":
            shown.append(sign)
        elif kind == "Cf":
            continue  # they only steer: direction, joining, soft hyphens
        elif kind in ("Cc", "Zs", "Zl", "Zp"):
            shown.append(" ")
        elif not _face(sign):
            shown.append(MISSING)
            missing.append(sign)
        else:
            shown.append(sign)
    return "".join(shown), tuple(dict.fromkeys(missing))


def _drawn(text: str) -> str:
    """Return a text with its Arabic letters joined where the font has such a form."""
    formed = joined(unicodedata.normalize("NFC", text))
    return "".join(
        unicodedata.normalize("NFKC", sign)
        if "\ufb50" <= sign <= "\ufefc" and not _face(sign)
        else sign
        for sign in formed
    )


def by_font(shown: str) -> list[tuple[str, str]]:
    """Return printable text as runs of one font each, in their order.

    Spaces, figures and points between letters of one font stay in the first font, which has
    them; a run is what is set with one font, not a word.
    """
    return [(name, "".join(run)) for name, run in groupby(shown, lambda sign: _face(sign) or PLAIN)]


def one_line(text: str) -> list[tuple[str, str]]:
    """Return a text as runs of one font each, in the order of print, for a line of its own."""
    return by_font(in_print_order(printable(text)[0].replace("\n", " ")))


def line_width(runs: Iterable[tuple[str, str]], size: float, *, bold: bool = False) -> float:
    """Return how wide the runs of a line are, pt."""
    return sum(pdfmetrics.stringWidth(words, heavier(name, bold), size) for name, words in runs)


def heavier(name: str, bold: bool) -> str:
    """Return a font's bold face where it is asked for and there is one."""
    return {PLAIN: BOLD, THAI: THAI_BOLD}.get(name, name) if bold else name


def draw_line(
    canvas: Any, x: float, y: float, runs: Iterable[tuple[str, str]], size: float
) -> None:
    """Draw the runs of a line on a canvas of the PDF library, from the left."""
    for name, words in runs:
        canvas.setFont(name, size)
        canvas.drawString(x, y, words)
        x += pdfmetrics.stringWidth(words, name, size)


def missing_words(missing: Iterable[str]) -> str:
    """Return the sentence about characters that are shown as boxes; empty if there are none."""
    scripts = sorted({_script(sign) for sign in missing})
    if not scripts:
        return ""
    return (
        f"{MISSING} stands for a letter or sign that the fonts of this PDF can't show "
        f"({', '.join(scripts)}). The end of the appendix spells these words out by the numbers "
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
