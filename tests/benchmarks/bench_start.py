"""How long the command line takes to start, compared with a bare interpreter.

Example: ``python tests/benchmarks/bench_start.py``. Each figure is the shortest of
several runs; most of the time beyond the bare interpreter's is click itself. For the list of
imports: ``python -X importtime -m ui.cli.main --help``.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

STARTS = {
    "python -c pass": ["-c", "pass"],
    "import click": ["-c", "import click"],
    "ropephoto --help": ["-m", "ui.cli.main", "--help"],
    "ropephoto measure --help": ["-m", "ui.cli.main", "measure", "--help"],
    "import vision.pipeline": ["-c", "import vision.pipeline"],
}
MOST_S = 0.5


def cost_s(arguments: list[str], repeats: int = 5) -> tuple[float, float]:
    """Return the shortest wall and CPU time of an interpreter with these arguments, s."""
    walls, cpus = [], []
    for _ in range(repeats):
        before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True)
        walls.append(time.perf_counter() - start)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        cpus.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(walls), min(cpus)


def main() -> None:
    """Print a line for each way of starting."""
    bare = cost_s(STARTS["python -c pass"])[1]
    print(f"{'':28s}{'wall':>8s}{'CPU':>8s}{'over bare':>11s}")
    for words, arguments in STARTS.items():
        wall, cpu = cost_s(arguments)
        print(f"{words:28s}{wall:7.3f}s{cpu:7.3f}s{cpu / bare:9.1f} x")
    print(f"aim: ropephoto --help within {MOST_S} s")


if __name__ == "__main__":
    main()
