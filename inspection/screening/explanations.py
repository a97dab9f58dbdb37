"""Slips of the pen: the one change after which an odd entry agrees with everything else.

Slips raise no alarm of their own, so they cost none of the level: only entries that another
look has already singled out are tried, and a slip replaces what it explains.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median

from inspection.model.log import Log, best_estimates
from inspection.screening.contrasts import contrast_looks
from inspection.screening.multiple_testing import Look
from inspection.screening.outliers import outlier_looks
from inspection.screening.transcription_errors import Change, changes

# After the change no look at the changed entries may be odder than zeta = 3, where the
# cross-check begins to say "disagrees" (two-sided normal probability).
AGREES_P = 0.0027
SAME_MM = 0.5e-3  # a figure is the nominal diameter, not one beside it


def figure_looks(log: Log, *, entries: frozenset[int] | None = None) -> list[Look]:
    """Return every look in which a wrong diameter shows, or those at some entries only."""
    return [*contrast_looks(log, entries=entries), *outlier_looks(log)]


def explain(log: Log, odd: list[Look]) -> list[Look]:
    """Return the odd looks, with those that one change clears replaced by that change.

    Parameters
    ----------
    log : Log
        The log.
    odd : list of Look
        Looks at figures that passed the level, with their adjusted probabilities.

    Returns
    -------
    looks : list of Look
        One look a cause: entries of one gauge that are all off alike, a change where one is
        found, else the oddest look at an entry.
    """
    done = _alike_together(log, odd)
    listed = {entry for look in done for entry in look.entries}
    odd = [look for look in odd if not listed & set(look.entries)]
    left = _one_a_cause(odd)
    while left:
        found = _best_change(log, left, odd)
        if found is None:
            break
        change, cleared = found
        done.append(_explained(log, change, cleared))
        touched = set(change.entries)
        left = [look for look in left if not touched & set(look.entries)]
        odd = [look for look in odd if not touched & set(look.entries)]
        log = change.applied(log)
    return [*done, *_nominal_together(log, left)]


def _alike_together(log: Log, odd: list[Look]) -> list[Look]:
    """Return one look for each gauge of which half the entries or more are off alike.

    A gauge that reads 0.4 mm too much makes no slips of the pen, even where one would fit.
    """
    groups: dict[tuple[str, str], list[Look]] = {}
    for look in odd:
        reading = log.readings[look.entries[0]]
        typed_in = abs(reading.value_mm - log.rope.nominal_mm) < SAME_MM
        if look.check in ("photograph", "growth") and not typed_in:
            groups.setdefault((look.check, reading.gauge), []).append(look)
    together = []
    for (check, gauge), looks in groups.items():
        middle = median(look.value or 0.0 for look in looks)
        # the limit is 2 u; 3 u from the middle is where "disagrees" begins
        alike = [
            look for look in looks if abs((look.value or 0.0) - middle) <= 1.5 * (look.limit or 0.0)
        ]
        entries = tuple(sorted({entry for look in alike for entry in look.entries}))
        if len(entries) < max(3, sum(item.gauge == gauge for item in log.readings) / 2):
            continue
        first = min(alike, key=lambda look: look.p or 0.0)
        against = "the photographs against them" if check == "photograph" else "since last time"
        together.append(
            replace(
                first,
                entries=entries,
                where=tuple(log.where(entry) for entry in entries),
                seen=f"{len(entries)} entries read with gauge '{gauge}' are off alike: "
                f"{middle:+z.2f} mm for {against}, in the middle. The first: {first.seen}",
                remedy="Check the gauge's zero on a known size, and the print of the card.",
                innocent="A gauge that was not set to zero, a card whose print was not checked, "
                "or another tension shifts all figures alike.",
            )
        )
    return together


def _one_a_cause(odd: list[Look]) -> list[Look]:
    """Return the oddest look of every single entry, and contrasts that no such entry explains."""
    kept: list[Look] = []
    single = [look for look in odd if len(look.entries) == 1]
    for look in sorted(single, key=lambda item: (item.p or 0.0, item.check != "photograph")):
        if all(look.entries != other.entries for other in kept):
            kept.append(look)
    listed = {entry for look in kept for entry in look.entries}
    several = [look for look in odd if len(look.entries) > 1 and not listed & set(look.entries)]
    for look in sorted(several, key=lambda item: (item.p or 0.0, len(item.entries))):
        if not listed & set(look.entries):
            kept.append(look)
            listed |= set(look.entries)
    return kept


def _best_change(log: Log, left: list[Look], odd: list[Look]) -> tuple[Change, list[Look]] | None:
    """Return the change that clears the most, and what it clears; fewest entries first."""
    touched = {entry for look in left for entry in look.entries}
    pictured = {
        entry for entry, reading in enumerate(log.readings)
        if (reading.station, reading.view_deg) in best_estimates(log.results)
    }  # fmt: skip
    # where a photograph bears an entry out, the rope itself differs there: nothing to change
    curable = [look for look in odd if look.check != "outlier" or not pictured & set(look.entries)]
    best: tuple[tuple[int, int], Change, list[Look]] | None = None
    for change in changes(log, touched):
        mine = set(change.entries)
        cleared = [look for look in curable if mine & set(look.entries)]
        if not _tells(change.code, cleared) or not _agrees(change.applied(log), mine, odd):
            continue
        score = (-len(cleared), len(mine))
        if best is None or score < best[0]:
            best = (score, change, cleared)
    return None if best is None else (best[1], best[2])


def _tells(code: str, cleared: list[Look]) -> bool:
    """Return whether what a change clears is enough to speak of it.

    Exchanging two nearly equal figures often clears one weak oddity by chance. A real exchange
    shows in the contrast of just these two, or at several entries at once.
    """
    contrast = {"directions-exchanged": "directions", "stations-exchanged": "neighbours"}.get(code)
    if contrast is None:
        return bool(cleared)
    odd_entries = {look.entries for look in cleared if len(look.entries) == 1}
    return len(odd_entries) > 1 or any(look.check == contrast for look in cleared)


def _agrees(changed: Log, mine: set[int], odd: list[Look]) -> bool:
    """Return whether no look at the changed entries is odd any more.

    A contrast that also holds another odd entry can't be cleared by this change alone.
    """
    others = {entry for look in odd if len(look.entries) == 1 for entry in look.entries} - mine
    looks = [
        look for look in figure_looks(changed, entries=frozenset(mine))
        if mine & set(look.entries) and not others & set(look.entries)
    ]  # fmt: skip
    # where a photograph agrees, the rope may well differ from its other stations
    seen = {entry for look in looks if look.check == "photograph" for entry in look.entries}
    return all(
        look.p is None or look.p > AGREES_P
        for look in looks
        if look.check != "outlier" or not seen & set(look.entries)
    )


def _explained(log: Log, change: Change, cleared: list[Look]) -> Look:
    first = min(cleared, key=lambda look: look.p or 0.0)
    return replace(
        first,
        code=change.code,
        entries=change.entries,
        where=tuple(log.where(entry) for entry in change.entries),
        seen=f"{first.seen} With {change.words} all agrees.",
        remedy="Ask what was read, or read it again; correct the entry only with its reason.",
        innocent=change.innocent,
    )


def _nominal_together(log: Log, looks: list[Look]) -> list[Look]:
    """Return the looks, those at entries of exactly the nominal diameter put together in one."""
    nominal = log.rope.nominal_mm
    same = [
        look for look in looks
        if all(abs(log.readings[entry].value_mm - nominal) < SAME_MM for entry in look.entries)
    ]  # fmt: skip
    if not same:
        return looks
    entries = tuple(sorted({entry for look in same for entry in look.entries}))
    first = min(same, key=lambda look: look.p or 0.0)
    return [
        *(look for look in looks if look not in same),
        replace(
            first,
            check="nominal",
            code="nominal-typed",
            entries=entries,
            where=tuple(log.where(entry) for entry in entries),
            seen=f"{first.seen} What was logged is exactly the nominal diameter"
            f"{'' if len(entries) == 1 else f', at {len(entries)} places'}.",
            innocent="The nominal diameter may have stood there as a place holder.",
        ),
    ]
