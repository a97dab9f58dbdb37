"""From a photograph to a rope's diameter with its uncertainty.

In the order of processing: `photo` opens a file, `target` finds the printed card and determines the
camera's pose, `calibration` provides the lens, `rope` traces the rope and gives diameter, lay and
budget, and `pipeline` does all this in one call; `scale_rule` measures photographs without the
card. `results`, `uncertainty` and `findings` define the output.

Scripts can import the names in `__all__` from here, e.g. ``from vision import measure_photo``. Each
is imported on first use, because `inspection` needs only the result types and must not load OpenCV.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # "as" marks a name as re-exported
    from vision.calibration.library import load_cameras as load_cameras
    from vision.frame import results_frame as results_frame
    from vision.overlay import draw_results as draw_results
    from vision.photo.containers import PhotoError as PhotoError
    from vision.photo.photo import Photo as Photo
    from vision.photo.photo import open_photo as open_photo
    from vision.pipeline import Settings as Settings
    from vision.pipeline import measure_photo as measure_photo
    from vision.results import Estimate as Estimate
    from vision.results import Finding as Finding
    from vision.results import Refusal as Refusal
    from vision.results import Result as Result
    from vision.target.layout import layout_for as layout_for
    from vision.target.pdf import card_pdf as card_pdf
    from vision.target.print_scale import PrintCheck as PrintCheck
    from vision.target.print_scale import load_print_checks as load_print_checks
    from vision.uncertainty import Term as Term
    from vision.uncertainty import covariance_mm2 as covariance_mm2

_HOME = {
    "Estimate": "vision.results",
    "Finding": "vision.results",
    "Photo": "vision.photo.photo",
    "PhotoError": "vision.photo.containers",
    "PrintCheck": "vision.target.print_scale",
    "Refusal": "vision.results",
    "Result": "vision.results",
    "Settings": "vision.pipeline",
    "Term": "vision.uncertainty",
    "card_pdf": "vision.target.pdf",
    "covariance_mm2": "vision.uncertainty",
    "draw_results": "vision.overlay",
    "layout_for": "vision.target.layout",
    "load_cameras": "vision.calibration.library",
    "load_print_checks": "vision.target.print_scale",
    "measure_photo": "vision.pipeline",
    "open_photo": "vision.photo.photo",
    "results_frame": "vision.frame",
}
__all__ = list(_HOME)


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'vision' has no '{name}'; it has {', '.join(_HOME)}")
    return getattr(import_module(_HOME[name]), name)
