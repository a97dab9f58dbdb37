"""What a person would have told the product about a rendered photograph."""

from __future__ import annotations

from vision.pipeline import Settings
from vision.rope.tangent_cylinder import Hold, HoldKind
from vision.target.layout import layout_named
from vision.target.print_scale import PrintCheck

U_BARS_MM = 0.02  # the truth's bars are read with this standard uncertainty


def settings_of(truth: dict[str, str]) -> Settings:
    """Return the settings for a photograph from its row of truth: print check and hold."""
    check = None
    if truth.get("print_checked", "yes") != "no":
        check = PrintCheck(
            truth.get("pair") or truth["file"],  # the two cards of a station are of one print
            layout_named(truth["layout"]),
            float(truth["along_read_mm"]),
            float(truth["across_read_mm"]),
            U_BARS_MM,
            None,
        )
    kind = HoldKind(truth.get("hold") or "touching")
    offset = float(truth["offset_read_mm"]) if kind is HoldKind.STAND_OFF else 0.0
    return Settings(print_check=check, hold=Hold(kind, offset))
