"""What can be judged: the quantities of a rope that limits apply to."""

from __future__ import annotations

from typing import Literal

Quantity = Literal[
    "measured diameter",
    "mean diameter",
    "ovality",
    "largest difference",
    "variation of the mean",
]
