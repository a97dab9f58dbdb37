"""How often the interval of a station's rate of loss contains the true rate, by diameter.

    python tests/benchmarks/trend_coverage.py [HISTORIES]

Histories of 4 to 6 inspections over some years, read by people who repeat to 0.03 to 0.15 mm with
gauges whose error changes at every second yearly calibration (tests/inspection/simulated_logs.py).
Stated: u of every reading is 0.15 % of its diameter. Learned: u as the assessment learns it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # as a script, the project's folder is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from inspection.limits.remaining_life import station_histories
from inspection.screening.figures.odd_figures import model_of, with_learned_repeatability
from tests.inspection.simulated_logs import Range, simulate


def coverage(nominal_mm: float, *, histories: int, seed: int, learned: bool) -> float:
    """Return the share of 95 % intervals that contain the true rate, six stations per history."""
    rng = np.random.default_rng([seed, round(nominal_mm)])
    held = made = 0
    for _ in range(histories):
        earlier = int(rng.integers(3, 6))
        ranges = Range(nominals_mm=(nominal_mm,), times=("none",))
        case = simulate(rng, ranges, stations=6, earlier=earlier, photographs=False, hands=1)
        log = with_learned_repeatability(case.log, model_of(case.log))[0] if learned else case.log
        for history in station_histories(log):
            if history.line is not None:
                low, high = history.line.rate_interval
                held += low <= -case.world.rate_mm_year[history.station - 1] <= high
                made += 1
    return held / made


def main() -> None:
    """Print the table."""
    histories = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    print(f"{'diameter, mm':>12}{'stated':>9}{'learned':>9}   of {6 * histories} intervals each")
    for nominal in (8.0, 13.0, 20.0, 28.0, 40.0):
        shares = [
            coverage(nominal, histories=histories, seed=77, learned=way) for way in (False, True)
        ]
        print(f"{nominal:>12.0f}{shares[0]:>9.3f}{shares[1]:>9.3f}", flush=True)


if __name__ == "__main__":
    main()
