"""Try many damaged files: `python -m tests.fuzz photos --count 20000 --keep photos.jsonl`.

Prints, by kind, how many were read, refused with a sentence, or showed a fault. With --keep the
outcomes are appended to a file, and the same command resumes after the last of them.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from dataclasses import asdict
from pathlib import Path

from tests.fuzz.watched import Outcome, try_all, watch


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("what", choices=["photos", "tables", "descriptions"])
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--keep", type=Path, help="file that outcomes are added to")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    told = parser.parse_args()
    if told.child:
        if told.what == "photos":
            from tests.fuzz.photo_inputs import trial
        elif told.what == "tables":
            from tests.fuzz.table_inputs import trial
        else:
            from tests.fuzz.description_inputs import trial
        try_all(told.first, told.count, trial(told.seed))
        return
    done = _kept(told.keep)
    first = told.first + len(done)
    left = max(0, told.first + told.count - first)
    began = time.monotonic()
    with (told.keep or Path("/dev/null")).open("a", encoding="utf-8") as file:
        for outcome in watch(told.what, left, seed=told.seed, first=first):
            file.write(json.dumps(asdict(outcome)) + "\n")
            file.flush()
            done.append(outcome)
    print(tally(done))
    print(f"{left} of {len(done)} tried now, in {time.monotonic() - began:.0f} s")
    sys.exit(any(one.became == "FAULT" for one in done))


def _kept(keep: Path | None) -> list[Outcome]:
    if keep is None or not keep.exists():
        return []
    lines = keep.read_text(encoding="utf-8").splitlines()
    return [Outcome(**json.loads(line)) for line in lines]


def tally(outcomes: list[Outcome]) -> str:
    """Return a table: one line per kind, then every fault with its number."""
    counts = Counter((one.kind, one.became) for one in outcomes)
    lines = [f"{'kind':28}{'tried':>8}{'read':>8}{'sentence':>10}{'FAULT':>8}"]
    for kind in [*sorted({one.kind for one in outcomes}), None]:
        became = [
            sum(n for (k, b), n in counts.items() if b == word and kind in (k, None))
            for word in ("read", "sentence", "FAULT")
        ]
        name = "all" if kind is None else kind or "(died)"
        lines.append(f"{name:28}{sum(became):8}{became[0]:8}{became[1]:10}{became[2]:8}")
    lines += [f"{one.number} {one.kind}: {one.words}" for one in outcomes if one.became == "FAULT"]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
