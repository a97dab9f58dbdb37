"""Edges of an object along a line that a person drew, where one side holds nothing."""

from __future__ import annotations

import numpy as np
import pytest

from vision.findings import RefusedError
from vision.scale_rule.object_edges import _visible_part


def test_a_line_beside_the_object_finds_no_two_edges() -> None:
    # both edges "found" at the line itself, broken where it crosses: no piece of an object is left
    along = (np.arange(101) - 50) * 0.1
    nothing = np.zeros(101)
    nothing[49:52] = np.nan
    with pytest.raises(RefusedError) as refused:
        _visible_part(along, [nothing, nothing.copy()])
    assert [item.code for item in refused.value.findings] == ["object-not-found"]
