"""Where photographs by others are found, which the project must not redistribute.

They are read from the folder that ROPE_PHOTO_REAL names, or else from ``shared/real`` beside the
project's own folder. Without them the tests that need them are skipped.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

BESIDE = Path(__file__).resolve().parents[2] / "shared" / "real"
REAL = Path(os.environ.get("ROPE_PHOTO_REAL", BESIDE))


def needs_real(kind: str) -> pytest.MarkDecorator:
    """Skip a test if one kind of the photographs is not available."""
    return pytest.mark.skipif(
        not (REAL / kind).is_dir(),
        reason=f"no photographs of {kind} here: see DEVELOPERS.md (shared/real)",
    )
