"""How often honest logs are flagged and planted faults found and named, as tables.

    python tests/benchmarks/screening_tables.py [LOGS]

LOGS honest logs of each kind and LOGS / 8 of each fault (400 and 50 by default, some 10 minutes of
one core). What honest logs are like is said in tests/inspection/simulated_logs.py. The priors of
`inspection.screening` were set with a look at seeds below 1000 of the usual range; the tables come
from seeds above, and from ranges that were not looked at: steadier and unsteadier hands, evener and
less even ropes, errors with long tails.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # run as a script, the project's folder is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from inspection.screening.screen import screen_log
from tests.inspection.planted_faults import FAULTS, FIGURE_FAULTS, LOSS
from tests.inspection.simulated_logs import FINE, USUAL, Case, Range, simulate

SLIPS = {"digits-swapped", "decimal-moved", "inch-for-mm", "digit-mistyped"}
FINE_RANGE = replace(USUAL, steps=FINE)
# What is said of an explanation that is likelier than the loss that is named before it.
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
    "usual": USUAL,
    "fine gauges": FINE_RANGE,
    "coarse gauges (0.1 mm, 1/64 in)": replace(USUAL, steps=(4, 5)),
    "steady hands, 0.015 to 0.04 mm": replace(FINE_RANGE, repeat_mm=(0.015, 0.04)),
    "unsteady hands, 0.1 to 0.25 mm": replace(USUAL, repeat_mm=(0.1, 0.25)),
    "even ropes": replace(USUAL, uneven_pct=(0.01, 0.05), oval_pct=(0.02, 0.1)),
    "uneven ropes": replace(USUAL, uneven_pct=(0.5, 1.0), oval_pct=(0.8, 1.5)),
    "long tails (Student's t, 5)": replace(USUAL, tail_dof=5.0),
    "60 stations": replace(USUAL, stations=(60, 60)),
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
    """How one kind of fault fared: found at all, named rightly first, called a slip of the pen."""

    logs: int
    found: float
    named_first: float
    slip: float
    wrong: Counter[str]


def false_alarms(
    ranges: Range, *, logs: int, seed: int, earlier: int | None = None, level: float = 0.05
) -> Alarms:
    """Return how many honest logs raised anything, and what."""
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
    wrong = Counter[str]()
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
        hits = _hits(faulty, entries)
        found += bool(hits)
        slip += any(code in SLIPS for code, _ in hits)
        if hits:
            right = hits[0][0] in codes or _said(hits[0][1], codes)
            first += right
            wrong.update([] if right else [hits[0][0]])
    return Rates(tried, found / tried, first / max(found, 1), slip / tried, wrong)


def _hits(case: Case, entries: set[int]) -> list[tuple[str, str]]:
    """Return code and words of the findings that name one of the entries, in order."""
    places = set(case.log.places(entries))
    return [
        (finding.code, finding.seen)
        for finding in screen_log(case.log)
        if places & set(finding.places)
    ]


def _said(seen: str, codes: set[str]) -> bool:
    likelier = seen.partition("Likelier by the figures: ")[2].partition(". ")[0]
    return any(WORDS[code] in likelier for code in codes & WORDS.keys())


def main() -> None:
    """Print the tables."""
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    start = time.perf_counter()
    print(f"{'honest logs, level 0.05':<36}{'logs':>6}{'flagged':>9}  what")
    for name, ranges in HONEST.items():
        for earlier in (0, 1, 2):
            count = logs if name != "60 stations" else logs // 8
            alarms = false_alarms(ranges, logs=count, seed=2001 + earlier, earlier=earlier)
            raised = ", ".join(f"{code} {n}" for code, n in alarms.codes.most_common(4))
            said = f"{name}, {earlier} earlier"
            print(f"{said:<36}{alarms.logs:>6}{alarms.share:>9.3f}  {raised}", flush=True)
    print(f"\n{'planted fault':<34}{'photographs':>12}{'found':>7}{'named':>7}{'slip':>6}  else")
    for kind in FIGURE_FAULTS:
        for photographs in (True, False):
            rates = fault_rates(kind, logs=max(logs // 8, 1), seed=3001, photographs=photographs)
            wrong = ", ".join(f"{code} {n}" for code, n in rates.wrong.most_common(3))
            print(
                f"{kind:<34}{'all' if photographs else 'none':>12}{rates.found:>7.2f}"
                f"{rates.named_first:>7.2f}{rates.slip:>6.2f}  {wrong}",
                flush=True,
            )
    print(f"\nloss called a slip counts under slip in the rows of {', '.join(sorted(LOSS))}.")
    print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
