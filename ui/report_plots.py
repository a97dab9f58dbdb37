"""Which drawing belongs to which data: the PDF takes it as it is, the HTML as SVG."""

from __future__ import annotations

import re
from typing import assert_never

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing

from ui.drawings import along_rope_drawing, history_drawing
from ui.drawings_checks import budget_drawing, differences_drawing, digits_drawing
from ui.figures import AlongRope, Differences, Digits, History
from ui.report_blocks import Plot
from ui.report_fonts import BOLD, CSS_FONTS, EAST, PLAIN, THAI, THAI_BOLD

KEPT_ORDER = "text{unicode-bidi:bidi-override;direction:ltr}"


def drawing_of(plot: Plot, width: float) -> Drawing:
    """Return the drawing of a figure, `width` pt wide."""
    match plot:
        case AlongRope():
            return along_rope_drawing(plot, width=width)
        case Differences():
            return differences_drawing(plot, width=width)
        case Digits():
            return digits_drawing(plot, width=width)
        case History():
            return history_drawing(plot, width=width)
        case tuple():
            return budget_drawing(plot, width=width)
        case _:
            assert_never(plot)


def svg_of(drawing: Drawing) -> str:
    """Return a drawing as SVG, with letters that a browser has."""
    made: str = renderSVG.drawToString(drawing)
    # a line is written as a closed path there and back, which fills the gaps of its dashes
    made = re.sub(r'd="(M \S+ L \S+) Z"', r'd="\1"', made)
    # the letters stand in the order of print already: the browser must not turn them again
    made = made.replace("<clipPath", f"<style>{KEPT_ORDER}</style><clipPath", 1)
    for name in (THAI_BOLD, THAI, EAST, BOLD, PLAIN):
        made = made.replace(name, CSS_FONTS)
    return made
