"""Letters that run from right to left: Arabic ones joined, and a line put in the order of print.

The PDF library sets letters one by one from left to right, as they come. Names in Arabic and
Hebrew script therefore need the forms that neighbours give a letter, and each line turned as
the Unicode bidirectional algorithm (UAX #9) turns it in a text that runs from left to right.
Explicit marks of direction are dropped before (see `ui.report.fonts`).
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

LAM, TATWEEL = "\u0644", "\u0640"
STRONG = ("L", "R", "AL")
OPEN, CLOSED = "([{«‹<", ")]}»›>"
MIRROR = dict(zip(OPEN + CLOSED, CLOSED + OPEN, strict=True))


def runs_right_to_left(text: str) -> bool:
    """Say whether any letter of a text runs from right to left."""
    return any(unicodedata.bidirectional(sign) in ("R", "AL") for sign in text)


@lru_cache(maxsize=1)
def _forms() -> tuple[dict[str, dict[str, str]], dict[str, dict[str, str]]]:
    """Return each Arabic letter's forms by name, and those of lam with an alef behind it."""
    letters: dict[str, dict[str, str]] = {}
    pairs: dict[str, dict[str, str]] = {}
    for number in (*range(0xFB50, 0xFE00), *range(0xFE70, 0xFEFD)):
        kind, *parts = unicodedata.decomposition(chr(number)).split() or [""]
        base = "".join(chr(int(part, 16)) for part in parts)
        if len(base) == 1:
            letters.setdefault(base, {})[kind.strip("<>")] = chr(number)
        elif len(base) == 2 and base[0] == LAM and base[1] in "\u0622\u0623\u0625\u0627":
            pairs.setdefault(base[1], {})[kind.strip("<>")] = chr(number)
    return letters, pairs


def joined(text: str) -> str:
    """Return a text whose Arabic letters have the forms that their neighbours give them.

    Parameters
    ----------
    text : str
        Any text, in the order in which it is read.

    Examples
    --------
    >>> [hex(ord(sign)) for sign in joined("\u0628\u0628\u0628")]
    ['0xfe91', '0xfe92', '0xfe90']
    """
    letters, pairs = _forms()
    if not any(sign in letters for sign in text):
        return text
    places = [i for i, sign in enumerate(text) if unicodedata.category(sign) != "Mn"]
    made = list(text)
    skip = -1
    for at, i in enumerate(places):
        sign = text[i]
        if i == skip or sign not in letters:
            continue
        before = text[places[at - 1]] if at else ""
        after = text[places[at + 1]] if at + 1 < len(places) else ""
        leans = _reaches(before, letters) and "final" in letters[sign]
        if sign == LAM and after in pairs:
            made[i] = pairs[after]["final" if leans else "isolated"]
            skip = places[at + 1]
            made[skip] = ""
            continue
        holds = _reaches(sign, letters) and (after == TATWEEL or "final" in letters.get(after, {}))
        name = {(1, 1): "medial", (1, 0): "final", (0, 1): "initial"}.get((leans, holds))
        made[i] = letters[sign].get(name or "isolated", sign)
    return "".join(made)


def _reaches(sign: str, letters: dict[str, dict[str, str]]) -> bool:
    """Say whether a letter joins the one behind it."""
    return sign == TATWEEL or "initial" in letters.get(sign, {})


def in_print_order(line: str) -> str:
    """Return a line's letters in the order in which they are set from left to right.

    Parameters
    ----------
    line : str
        One line as it is read, its Arabic letters joined.

    Examples
    --------
    >>> in_print_order("by \u05d0\u05d1 (7)") == "by (7) \u05d1\u05d0"
    True
    >>> in_print_order("\u05d0\u05d1 12") == "12 \u05d1\u05d0"
    True
    """
    if not runs_right_to_left(line):
        return line
    parts: list[str] = []
    for sign in line:
        if parts and unicodedata.bidirectional(sign) == "NSM":
            parts[-1] += sign  # a mark stays behind its letter, which it is set over
        else:
            parts.append(sign)
    levels = _levels(parts)
    order = list(range(len(parts)))
    for level in (2, 1):
        begin = 0
        while begin < len(order):
            end = begin
            while end < len(order) and levels[order[end]] >= level:
                end += 1
            order[begin:end] = order[begin:end][::-1]
            begin = end + 1
    return "".join(MIRROR.get(parts[i], parts[i]) if levels[i] == 1 else parts[i] for i in order)


def _levels(parts: list[str]) -> list[int]:
    """Return the level of each sign in a line that runs from left to right (W2 to L1)."""
    kinds = [unicodedata.bidirectional(part[0]) or "L" for part in parts]
    _numbers(kinds)
    _brackets(parts, kinds)
    last, begin = "L", 0
    for i, kind in enumerate([*kinds, "L"]):
        if kind in ("L", "R", "EN", "AN"):
            side = "L" if kind == "L" else "R"
            kinds[begin:i] = ["R" if last == side == "R" else "L"] * (i - begin)
            last, begin = side, i + 1
    return [{"R": 1, "EN": 2, "AN": 2}.get(kind, 0) for kind in kinds]


def _numbers(kinds: list[str]) -> None:
    """Settle numbers and their separators (W2 to W7)."""
    strong = "L"
    for i, kind in enumerate(kinds):
        if kind in STRONG:
            strong = kind
        elif kind == "EN" and strong == "AL":
            kinds[i] = "AN"
    for i in range(1, len(kinds) - 1):
        before, after = kinds[i - 1], kinds[i + 1]
        if before == after and (before, kinds[i]) in (("EN", "ES"), ("EN", "CS"), ("AN", "CS")):
            kinds[i] = before
    for turn in (range(len(kinds)), reversed(range(len(kinds)))):
        beside = ""
        for i in turn:
            if kinds[i] == "ET" and beside == "EN":
                kinds[i] = "EN"
            beside = kinds[i]
    strong = "L"
    for i, kind in enumerate(kinds):
        if kind in STRONG:
            strong = "L" if kind == "L" else "R"
            kinds[i] = strong
        elif kind == "EN" and strong == "L":
            kinds[i] = "L"


def _brackets(parts: list[str], kinds: list[str]) -> None:
    """Let a pair of brackets go with what stands in it (N0)."""
    waiting: list[int] = []
    pairs: list[tuple[int, int]] = []
    for i, part in enumerate(parts):
        if part in tuple("([{"):
            waiting.append(i)
        elif part in tuple(")]}"):
            opened = [one for one in waiting if parts[one] == MIRROR[part]]
            if opened:
                pairs.append((opened[-1], i))
                del waiting[waiting.index(opened[-1]) :]
    for begin, end in sorted(pairs):
        inside = {
            "L" if kind == "L" else "R"
            for kind in kinds[begin + 1 : end]
            if kind in ("L", "R", "EN", "AN")
        }
        before = next(
            (kind for kind in reversed(kinds[:begin]) if kind in ("L", "R", "EN", "AN")), "L"
        )
        if inside:
            kinds[begin] = kinds[end] = "R" if inside == {"R"} and before != "L" else "L"
