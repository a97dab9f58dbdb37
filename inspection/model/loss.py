"""A possible loss of section: when a figure counts as one, and what to do about it.

It is never explained away. A slip of the pen may be named as well, but the rope is looked at
first.
"""

from __future__ import annotations

from vision.results import Finding

LEAST_PCT = 1.0  # of nominal: the width of one severity band of ISO 4309
# A rope that had lost more of its diameter than this would have parted, and none swells that much:
# such a figure is a misplaced decimal point or another unit. Our choice, no source.
MOST_PCT = 60.0

# Added to the review rank of an entry or an inspection: more than any odds can reach.
BEFORE_ALL_ELSE = 1000.0  # a loss at a place
BEFORE_OTHERS = 500.0  # a loss along the whole rope

MAY_BE_LOSS = "It may be a loss of section."
# From memory, confidence 0.85. Whether anyone has compared it with the document is in the record
# (`inspection.limits.confirmed`), not in a sentence about a rope.
LOCAL_GROUND = (
    "An obvious local decrease in diameter is in itself a ground for discard (ISO 4309:2017, "
    "local decrease)."
)
LOOK_THERE = "Look at the rope there first, for a broken core, corrosion or wear"
LOSS_REMEDY = (
    f"{LOOK_THERE}, and read the place again in both directions; the competent person decides. "
    f"{LOCAL_GROUND}"
)


def loss_rank(finding: Finding) -> float:
    """Return what a possible loss of section adds to a review rank; 0 for other findings.

    Examples
    --------
    >>> loss_rank(Finding("lower-everywhere", "", "", "look", may_be_loss=True))
    500.0
    """
    if finding.look_first:
        return BEFORE_ALL_ELSE
    return BEFORE_OTHERS if finding.may_be_loss else 0.0


def can_be_diameter(value_mm: float, nominal_mm: float) -> bool:
    """Return whether a rope of this nominal diameter can give such a reading at all.

    Examples
    --------
    >>> [can_be_diameter(mm, 22.0) for mm in (2.21, 9.0, 22.1, 221.2)]
    [False, True, True, False]
    """
    return abs(value_mm - nominal_mm) <= MOST_PCT / 100.0 * nominal_mm
