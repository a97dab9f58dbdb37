"""Sentences shared by command line, pages and report, so that they never differ."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

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
    """Return a result's station and view in words, e.g. ``"station 2, 90 deg"``."""
    words = (
        "no card number"
        if result.station is None
        else (f"station {result.station}, {result.view_deg} deg")
    )
    return f"{words}, at {result.at_mm:g} mm" if result.at_mm else words


def sentence(finding: Finding) -> str:
    """Return a finding as text: what was seen and what to do."""
    return f"{finding.seen} {finding.remedy}"


def refused(refusal: Refusal) -> str:
    """Return why a photograph gives no diameter, as one line."""
    reasons = " ".join(sentence(finding) for finding in refusal.findings)
    at = "" if refusal.station is None and not refusal.at_mm else f" for {place(refusal)}"
    return f"no diameter{at}. {reasons}"


def capitalised(words: str) -> str:
    """Return words with a capital first letter and the rest unchanged, unlike `str.capitalize`."""
    return words[:1].upper() + words[1:]


# They reverse the text that follows, so that a name reads as another one (UAX #9, section 2).
_OVERRIDES = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def as_plain(text: str) -> str:
    """Return a user's text where no markup is read; direction overrides are spelled out."""
    return _OVERRIDES.sub(lambda found: f"(U+{ord(found[0]):04X})", " ".join(text.split()))


def as_typed(text: str) -> str:
    """Return a user's text escaped, so that a page shows it as typed and not as markup.

    Examples
    --------
    >>> print(as_typed("*7* <b>"))
    \\*7\\* \\<b\\>
    >>> print(as_typed("1. - a"))
    1\\. - a
    >>> print(as_typed("A\u202egreB"))
    A(U+202E)greB
    """
    text = as_plain(text)
    # no link: a page makes one of every address, whether its characters are escaped or not
    text = re.sub(r"(?i)\bwww\.", lambda found: f"{found[0][:-1]}\u2060.", text)
    text = text.replace("@", "\u2060@").replace("://", ":\u2060//")
    for sign in "\\`*_{}[]<>#$~|:&":
        text = text.replace(sign, f"\\{sign}")
    return re.sub(r"^(\d*)([-+.)])(?=[-\s]|$)", r"\1\\\2", text)  # or it would start a list


def as_minus(text: str) -> str:
    """Return a text of the program with a minus sign, not a hyphen, before negative figures.

    Examples
    --------
    >>> as_minus("-0.91 mm on 2026-09-15, -3 % to +4 %")
    '−0.91 mm on 2026-09-15, −3 % to +4 %'
    """
    return re.sub(r"(?<![\w.-])-(?=\d)", "\u2212", text)


def local_time(at: str, zone: str | None = None) -> str:
    """Return a time of the record (UTC) as local time, with its zone.

    Parameters
    ----------
    at : str
        ISO 8601, UTC.
    zone : str, optional
        Name of a time zone such as "Europe/Madrid"; UTC if it is not known.

    Examples
    --------
    >>> local_time("2026-11-29T10:30:05.000001Z", "America/Chicago")
    '2026-11-29 04:30 CST'
    >>> local_time("2026-07-01T10:30:05Z")
    '2026-07-01 10:30 UTC'
    """
    moment = datetime.fromisoformat(at)
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return f"{in_zone(moment, zone):%Y-%m-%d %H:%M %Z}"


def in_zone(moment: datetime, zone: str | None) -> datetime:
    """Return a moment in a time zone; unchanged if the zone is not known."""
    try:
        return moment.astimezone(ZoneInfo(zone)) if zone else moment
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return moment


def one_in(p_value: float) -> str:
    """Return a small probability as "1 in N", to two digits: it is not known more closely.

    Examples
    --------
    >>> one_in(0.0123), one_in(1 / 419_584), one_in(1e-30)
    ('1 in 81', '1 in 420,000', 'less than 1 in 1,000,000')
    """
    if p_value < 1e-6:
        return "less than 1 in 1,000,000"
    return f"1 in {float(f'{1 / p_value:.2g}'):,.0f}"


def chance_words(p_value: float | None) -> str:
    """Return how rare a finding is among logs with nothing wrong in them.

    Examples
    --------
    >>> chance_words(0.0123), chance_words(1e-30), chance_words(None)
    ('1 in 81 logs', 'less than 1 in 1,000,000 logs', 'does not occur')
    """
    if p_value is None:
        return "does not occur"
    return f"{one_in(p_value)} logs"


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
