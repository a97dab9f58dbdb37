"""Sentences that command line, pages and report share, so that they never differ."""

from __future__ import annotations

import re

from vision.results import Finding, Refusal, Result

CLEARS_NOTHING = (
    "A photograph never clears a rope: the competent person, the maker's instructions and local "
    "rules decide."
)
CAUTIONS = (
    "Secure the load and lock out the drive before anyone is near the rope; never measure, "
    "touch or lean towards a moving rope. Wear gloves: broken wires cut.",
    "A figure covers the photographed place only, and diameter is one criterion of several. "
    f"{CLEARS_NOTHING}",
)


def place(result: Result) -> str:
    """Return where a result belongs, in words, e.g. ``"station 2, 90 deg"``."""
    words = (
        "no card number"
        if result.station is None
        else (f"station {result.station}, {result.view_deg} deg")
    )
    return f"{words}, at {result.at_mm:g} mm" if result.at_mm else words


def sentence(finding: Finding) -> str:
    """Return a finding as what was seen and what to do."""
    return f"{finding.seen} {finding.remedy}"


def refused(refusal: Refusal) -> str:
    """Return why a photograph gives no diameter, as one line."""
    reasons = " ".join(sentence(finding) for finding in refusal.findings)
    return f"{place(refusal)}: no diameter. {reasons}"


# They turn what follows them round, so that a name reads as another one (UAX #9, section 2).
_OVERRIDES = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def as_typed(text: str) -> str:
    """Return a user's text so that a page shows it as it was typed, not read as markup.

    Examples
    --------
    >>> print(as_typed("*7* <b>"))
    \\*7\\* \\<b\\>
    >>> print(as_typed("1. - a"))
    1\\. - a
    >>> print(as_typed("A\u202egreB"))
    A(U+202E)greB
    """
    text = _OVERRIDES.sub(lambda found: f"(U+{ord(found[0]):04X})", " ".join(text.split()))
    # no link: a page makes one of every address, whether its signs are escaped or not
    text = re.sub(r"(?i)\bwww\.", lambda found: f"{found[0][:-1]}\u2060.", text)
    text = text.replace("@", "\u2060@").replace("://", ":\u2060//")
    for sign in "\\`*_{}[]<>#$~|:&":
        text = text.replace(sign, f"\\{sign}")
    return re.sub(r"^(\d*)([-+.)])(?=[-\s]|$)", r"\1\\\2", text)  # or it would begin a list


def chance_words(p_value: float | None) -> str:
    """Return how unlikely a finding is in a log in which nothing is wrong.

    Examples
    --------
    >>> chance_words(0.0123), chance_words(1e-30), chance_words(None)
    ('1 in 81 logs', 'less than 1 in 1,000,000 logs', 'does not occur')
    """
    if p_value is None:
        return "does not occur"
    if p_value < 1e-6:
        return "less than 1 in 1,000,000 logs"
    return f"1 in {1 / p_value:,.0f} logs"


STATE_MARKS = {
    "draft": ":material/edit: draft",
    "submitted": ":material/inbox: submitted",
    "sent back": ":material/undo: sent back",
    "reviewed": ":material/check_circle: reviewed",
    "closed": ":material/lock: closed",
}


WORD_SIGNS = {
    "agrees": "=",
    "doubtful": "?",
    "disagrees": "≠",
    "cannot say": "…",
    "within": "●",
    "outside": "✕",
    "undecided": "?",
}
WORD_MARKS = {word: f"{sign} {word}" for word, sign in WORD_SIGNS.items()}
