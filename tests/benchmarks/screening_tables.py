"""Tables: how often honest logs are flagged, planted faults found and named, and odds right.

    python tests/benchmarks/screening_tables.py [LOGS [FAULTY]]

LOGS honest logs of each kind and FAULTY logs of each fault (100 and 25 by default, some 10 minutes
of one core). The output is also written to screening_rates.csv. tests/inspection/simulated_logs.py
says what honest logs are like. Priors and shares of `inspection.screening` were set by the usual
range and seeds below 7000; the tables come from `FRESH`, which has other ropes, people, gauges and
histories, and from parts of it. If you look at them and then change the screening, use a new seed.
"""

from __future__ import annotations

import csv
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # run as a script, the project's folder is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from inspection.assessment import assess
from inspection.screening.screen import screen_log
from tests.benchmarks.screening_odds import reliability
from tests.benchmarks.screening_oracle import GAINS, oracle_power
from tests.inspection.planted_faults import FAULTS, FIGURE_FAULTS, LOSS
from tests.inspection.simulated_logs import FINE, USUAL, Range, simulate
from vision.results import Finding

SLIPS = {"digits-swapped", "decimal-moved", "inch-for-mm", "digit-mistyped"}
FINE_RANGE = replace(USUAL, steps=FINE)
SEED = 7993
# Steadier and unsteadier people, sizes between and beyond the usual ones, steps of 0.005 and
# 0.025 mm and of 1/128 in, up to three people, histories of up to five inspections between three
# weeks and two and a half years apart, more wear, and errors with longer tails than normal ones.
FRESH = Range(
    repeat_mm=(0.02, 0.2),
    nominals_mm=(9.5, 12, 14, 15, 18, 21, 23, 25, 30, 34, 38, 44, 52),
    steps=(0, 1, 2, 3, 4, 5, 6, 7, 8),
    earlier=(0, 5),
    person_mm=0.02,
    oval_pct=(0.08, 1.0),
    uneven_pct=(0.04, 0.6),
    wear_pct_year=(0.0, 0.8),
    lost_pct=(0.0, 4.0),
    hands=(1, 1, 2, 3),
    gap_days=(20, 900),
    edge_pct=(0.08, 0.2),
    tail_dof=12.0,
)
FRESH_FINE = replace(FRESH, steps=(0, 1, 2, 3, 6, 7))
# ropes that are within every limit, so that only the screening can ask for a review
SOUND = replace(FRESH, lost_pct=(0.0, 0.0), wear_pct_year=(0.0, 0.15), uneven_pct=(0.04, 0.2))
RATES = Path(__file__).with_name("screening_rates.csv")
WIDTHS = (38, 11, 5, 8, 8, 5, 10, 40)
# Words of an explanation that is more likely than the loss named before it.
WORDS = {
    "digits-swapped": "neighbouring digits swapped",
    "decimal-moved": "the decimal point moved",
    "inch-for-mm": "inches",
    "digit-mistyped": "one digit typed wrongly",
    "stations-exchanged": "exchanged",
    "over-the-valleys": "over the valleys",
    "directions-exchanged": "two directions exchanged",
}
HONEST: dict[str, Range] = {
    "fresh": FRESH,
    "steady hands, 0.015 to 0.04 mm": replace(FRESH_FINE, repeat_mm=(0.015, 0.04)),
    "unsteady hands, 0.12 to 0.3 mm": replace(FRESH, repeat_mm=(0.12, 0.3)),
    "coarse gauges (0.1 mm, 1/64, 1/128 in)": replace(FRESH, steps=(4, 5, 8)),
    "even ropes": replace(FRESH, uneven_pct=(0.01, 0.05), oval_pct=(0.02, 0.1)),
    "uneven ropes": replace(FRESH, uneven_pct=(0.5, 1.0), oval_pct=(0.8, 1.5)),
}


@dataclass(frozen=True, slots=True)
class Alarms:
    """How many honest logs were flagged."""

    logs: int
    flagged: int
    codes: Counter[str]

    @property
    def share(self) -> float:
        return self.flagged / max(self.logs, 1)


@dataclass(frozen=True, slots=True)
class Rates:
    """How often one kind of fault was found, correctly named first, or called a slip of the pen.

    `findings` are all findings, right or wrong.
    """

    logs: int
    found: float
    named_first: float
    slip: float
    wrong: Counter[str]
    findings: tuple[Finding, ...]


def false_alarms(
    ranges: Range, *, logs: int, seed: int, earlier: int | None = None, level: float = 0.05
) -> Alarms:
    """Return how many honest logs were flagged, and by what."""
    rng = np.random.default_rng(seed)
    flagged, codes = 0, Counter[str]()
    for _ in range(logs):
        findings = screen_log(simulate(rng, ranges, earlier=earlier).log, level=level)
        flagged += bool(findings)
        codes.update({finding.code for finding in findings})
    return Alarms(logs, flagged, codes)


def fault_rates(
    kind: str,
    *,
    logs: int,
    seed: int,
    photographs: bool,
    ranges: Range = FINE_RANGE,
    earlier: tuple[int, int] = (1, 2),
) -> Rates:
    """Return how often one kind of fault is found in logs of 8 to 12 stations."""
    rng = np.random.default_rng([seed, list(FAULTS).index(kind), photographs])
    tried = found = first = slip = 0
    wrong, every = Counter[str](), list[Finding]()
    tries = 0
    while tried < logs and tries < 40 * logs:
        tries += 1
        case = simulate(
            rng,
            ranges,
            stations=int(rng.integers(8, 13)),
            photographs=photographs,
            earlier=int(rng.integers(earlier[0], earlier[1] + 1)),
            hands=2 if "person" in kind else None,
        )
        planted = FAULTS[kind](rng, case)
        if planted is None:
            continue
        tried += 1
        faulty, entries, codes = planted
        findings = screen_log(faulty.log)
        every += findings
        places = set(faulty.log.places(entries))
        hits = [(one.code, one.seen) for one in findings if places & set(one.places)]
        found += bool(hits)
        slip += any(code in SLIPS for code, _ in hits)
        if hits:
            right = hits[0][0] in codes or _named_later(hits[0][1], codes)
            first += right
            wrong.update([] if right else [hits[0][0]])
    return Rates(tried, found / tried, first / max(found, 1), slip / tried, wrong, tuple(every))


def _named_later(seen: str, codes: set[str]) -> bool:
    likelier = seen.partition("More likely by the figures: ")[2].partition(". ")[0]
    return any(WORDS[code] in likelier for code in codes & WORDS.keys())


def status_share(stations: int, *, logs: int, seed: int) -> tuple[float, Counter[str]]:
    """Return how often checking an honest log of a sound rope ends with status 1, and why."""
    rng = np.random.default_rng([seed, stations])
    asked, why = 0, Counter[str]()
    for _ in range(logs):
        found = assess(simulate(rng, SOUND, stations=stations).log)
        asked += found.needs_review
        why.update({finding.code for finding in found.findings})
        disagree = any(item.word == "disagrees" for item in found.crosscheck.comparisons)
        why.update(["disagrees"] if disagree else [])
        outside = any(item.verdict.outcome == "outside" for item in found.verdicts)
        why.update(["outside"] if outside else [])
        why.update(["local"] if any(x.outcome == "local decrease" for x in found.local) else [])
    return asked / logs, why


def _most(counted: Counter[str]) -> str:
    return ", ".join(f"{code} {count}" for code, count in counted.most_common(3))


def main() -> None:
    """Print and write the tables."""
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    faulty = int(sys.argv[2]) if len(sys.argv) > 2 else max(logs // 4, 1)
    start = time.perf_counter()
    rows: list[tuple[str, ...]] = []

    def row(*cells: str) -> None:
        rows.append(cells)
        print("  ".join(f"{cell:<{width}}" for cell, width in zip(cells, WIDTHS, strict=False)))
        sys.stdout.flush()

    row("honest logs, level 0.05", "earlier", "logs", "flagged", "what")
    for name, ranges in HONEST.items():
        for earlier in (0, 2):
            alarms = false_alarms(ranges, logs=logs, seed=SEED + earlier, earlier=earlier)
            row(name, f"{earlier}", f"{logs}", f"{alarms.share:.3f}", _most(alarms.codes))
    row("planted fault", "photographs", "logs", "found", "named", "slip", "at best", "instead")
    well_named, seen = {True: 0.0, False: 0.0}, {True: 0.0, False: 0.0}
    for kind in FIGURE_FAULTS:
        for photographs in (True, False):
            rates = fault_rates(
                kind, logs=faulty, seed=SEED, photographs=photographs, ranges=FRESH_FINE
            )
            best = "-"
            if kind in GAINS:
                powers = oracle_power(
                    kind, FRESH_FINE, logs=logs, seed=SEED, photographs=photographs, level=0.05
                )
                best = " ".join(f"{power:.2f}" for power in powers)
            row(
                kind,
                "all" if photographs else "none",
                f"{rates.logs}",
                f"{rates.found:.2f}",
                f"{rates.named_first:.2f}",
                f"{rates.slip:.2f}",
                best,
                _most(rates.wrong),
            )
            well_named[photographs] += rates.named_first * rates.found * rates.logs
            seen[photographs] += rates.found * rates.logs
    for photographs in (True, False):
        share = well_named[photographs] / max(seen[photographs], 1.0)
        row("all that were found", "all" if photographs else "none", "", "", f"{share:.3f}")
    row("honest logs of sound ropes", "stations", "logs", "status 1", "what")
    for stations, count in ((6, 3 * logs), (20, 2 * logs), (60, logs // 2)):
        share, why = status_share(stations, logs=count, seed=SEED)
        row("status of the check", f"{stations}", f"{count}", f"{share:.3f}", _most(why))
    row("odds that were told", "", "times", "right", "at least")
    for odds, (times, right) in reliability(FRESH_FINE, logs=4 * logs, seed=SEED).items():
        row(
            f"{odds:.0f}",
            "",
            f"{times}",
            f"{right / max(times, 1):.2f}",
            f"{odds / (1 + odds):.2f}",
        )
    with RATES.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    print(f"\n{', '.join(sorted(LOSS))}: called a slip counts as slip in the rows of true loss.")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
