"""Lets the tests in this folder import `studio`, the camera whose truth is known."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
