"""The public names of `vision`: documented, typed, and used in a session as a person would."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpydoc.validate import validate

import vision

PROJECT = Path(__file__).resolve().parents[2]
SAMPLES = PROJECT / "sample_images"
# numpydoc's checks (numpydoc.readthedocs.io, "Validation checks") that this project leaves out: an
# extended summary, an example and "See Also" stand where they help, not everywhere.
LEFT_OUT = {"ES01", "EX01", "SA01"}
WITHOUT_DOC = {"Result"}  # a union of two types


@pytest.mark.parametrize("name", [one for one in vision.__all__ if one not in WITHOUT_DOC])
def test_a_public_name_is_documented_as_numpydoc_wants(name: str) -> None:
    thing = getattr(vision, name)
    told = validate(f"{thing.__module__}.{thing.__qualname__}")
    faults = [fault for fault in told["errors"] if fault[0] not in LEFT_OUT]
    assert not faults
    assert told["docstring"]


def test_numpydoc_can_find_fault() -> None:
    told = validate("tests.vision.test_public_names.undocumented")
    assert {code for code, _ in told["errors"]} & {"PR01", "GL08"}


def undocumented(first: int) -> int:
    """Add one."""
    return first + 1


@pytest.mark.parametrize("name", vision.__all__)
def test_a_public_name_is_typed(name: str) -> None:
    assert (PROJECT / "vision" / "py.typed").is_file()
    thing = getattr(vision, name)
    if inspect.isfunction(thing):
        assert set(thing.__annotations__) == {*inspect.signature(thing).parameters, "return"}


def test_each_name_is_shown_to_a_type_checker_from_where_it_is() -> None:
    tree = ast.parse((PROJECT / "vision" / "__init__.py").read_text(encoding="utf-8"))
    shown = {
        (alias.name, alias.asname, node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("vision")
        for alias in node.names
    }
    assert shown == {(name, name, home) for name, home in vision._HOME.items()}


def test_a_name_that_is_not_there_is_reported_with_those_that_are() -> None:
    with pytest.raises(AttributeError, match=r"has no .measure.; it has .*measure_photo"):
        _ = vision.measure  # type: ignore[attr-defined]


def test_the_result_types_cost_no_opencv() -> None:
    script = "import sys; from vision import Estimate, Term; print('cv2' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=PROJECT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "False\n"


def test_a_session_from_photograph_to_table() -> None:
    """As in a notebook: each paragraph is a cell."""
    from vision import Settings, draw_results, load_print_checks, measure_photo, open_photo
    from vision import covariance_mm2, results_frame  # isort: skip

    check = load_print_checks(SAMPLES / "print_checks.json")["demo-set"]
    settings = Settings(print_check=check)

    photo = open_photo(SAMPLES / "station-3-view-00.jpg")
    (across,) = measure_photo(photo, settings)
    (along,) = measure_photo(SAMPLES / "station-3-view-90.jpg", settings)
    refused = measure_photo(SAMPLES / "refuse-tilted.jpg", settings)

    table = results_frame([across, along, *refused])
    assert list(table["station"]) == [3, 3, 5]
    assert table["diameter_mm"].isna().tolist() == [False, False, True]
    assert "tilted" in table["findings"].iloc[2]

    truth = pd.read_csv(SAMPLES / "truth.csv").set_index("file")["truth_2d_mm"]  # of the mesh
    off = table["diameter_mm"] - table["photo"].map(truth)
    assert (off.abs() <= table["expanded_mm"]).tolist()[:2] == [True, True]

    mean = table.groupby("station")["diameter_mm"].mean()
    assert mean[3] == pytest.approx(truth.filter(like="station-3").mean(), rel=0.005)

    # both photographs hang on one print: the mean's u is larger than if they shared nothing
    assert isinstance(across, vision.Estimate)
    assert isinstance(along, vision.Estimate)
    shared = covariance_mm2(across.budget, along.budget)
    u_mean = np.sqrt(across.u_mm**2 + along.u_mm**2 + 2 * shared) / 2
    assert u_mean > np.hypot(across.u_mm, along.u_mm) / 2

    drawn = draw_results(photo.pixels, (across,))
    assert drawn.shape == photo.pixels.shape
    assert not np.array_equal(drawn, photo.pixels)
