"""The report's letters: a shipped font of wide coverage, and what to do where it has no glyph.

The fonts in `ui/fonts` (licence beside them) have Latin, Greek, Cyrillic and the signs of the
trade. What they lack is replaced by an open box, visibly, and the report says which characters
those were; so are scripts that run from right to left, because the PDF library sets letters
one by one from left to right and would turn a name around.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "ReportPlain", "ReportBold"
MISSING = "□"
FOLDER = Path(__file__).resolve().parent / "fonts"
FILES = {PLAIN: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
# what a page can show for these fonts in HTML and SVG
CSS_FONTS = "'DejaVu Sans Condensed', 'Arial Narrow', 'Liberation Sans Narrow', Arial, sans-serif"


@lru_cache(maxsize=1)
def register_fonts() -> frozenset[int]:
    """Make the two fonts known to the PDF library; return the characters that both have."""
    have: list[set[int]] = []
    for name, file in FILES.items():
        font = TTFont(name, str(FOLDER / file))
        pdfmetrics.registerFont(font)
        have.append(set(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset(have[0] & have[1])


def printable(text: str) -> tuple[str, tuple[str, ...]]:
    """Return text as the report's font can show it, and the characters that it can't.

    Parameters
    ----------
    text : str
        Any text.

    Examples
    --------
    >>> printable("Żaneta Иванова")
    ('Żaneta Иванова', ())
    >>> printable("山田 A")
    ('□□ A', ('山', '田'))
    """
    have = register_fonts()
    shown, missing = [], []
    for sign in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(sign)
        if sign == "\n":
            shown.append(sign)
        elif kind == "Cf":
            continue  # they only steer: direction, joining, soft hyphens
        elif kind in ("Cc", "Zs", "Zl", "Zp"):
            shown.append(" ")
        elif ord(sign) not in have or unicodedata.bidirectional(sign) in ("R", "AL"):
            shown.append(MISSING)
            missing.append(sign)
        else:
            shown.append(sign)
    return "".join(shown), tuple(dict.fromkeys(missing))


def missing_words(missing: tuple[str, ...]) -> str:
    """Return the sentence about characters that are shown as boxes; empty if there are none."""
    if not missing:
        return ""
    listed = ", ".join(f"U+{ord(sign):04X}" for sign in missing[:24])
    more = f" and {len(missing) - 24} more" if len(missing) > 24 else ""
    return (
        f"{MISSING} stands for characters that this report's font can't show ({listed}{more}). "
        "The HTML report and the record keep them."
    )
