"""kill -9 at any moment of a loop of writes: no acknowledged entry is lost, the chain holds."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest

from inspection.model.readings import Gauge
from inspection.model.rope import Inspection, Rope
from inspection.record.record import open_record
from inspection.record.storage.events import chain_faults

# Each kill is followed by a check of everything there, so the time grows with the square of their
# number: a few in the suite, any number with e.g. ROPE_PHOTO_KILLS=200.
KILLS = int(os.environ.get("ROPE_PHOTO_KILLS", "40"))

# Starting Python each time would take minutes, so one process forks the writers. A writer prints
# the number of an entry on standard output only after the record has acknowledged it.
NURSERY = """
import os, sys
from inspection.model.readings import Reading
from inspection.record.record import open_record

def write(path, turn):
    with open_record(path) as record:
        while True:
            reading = Reading(f"22.4{turn}", 22.4, 1, 0, "C-07", "A. Berg")
            (number,) = record.add_readings("visit", [reading], by="A. Berg")
            os.write(1, f"saved {number} {turn}\\n".encode())

for turn in sys.stdin:
    child = os.fork()
    if child == 0:
        write(sys.argv[1], int(turn))
    os.write(1, f"child {child}\\n".encode())
    os.waitpid(child, 0)
    os.write(1, b"gone\\n")
"""


@pytest.mark.fault(
    "the program is killed",
    "every acknowledged entry is still there",
)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork() to start the writers in time")
def test_kills_at_any_moment_lose_no_acknowledged_entry(tmp_path: Path) -> None:
    path = tmp_path / "record.db"
    seed = random.Random(20261125)
    acknowledged: dict[int, str] = {}
    unacknowledged = 0
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with open_record(path) as record:
        record.add_rope(Rope("rope", 22.0), by="A. Berg")
        record.add_gauge(Gauge("C-07", "wide-jaw caliper", 0.01, 0.03), by="A. Berg")
        record.add_inspection(Inspection("visit", "rope", date(2026, 11, 2)), by="A. Berg")
    nursery = subprocess.Popen(
        [sys.executable, "-c", NURSERY, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )
    assert nursery.stdin is not None
    assert nursery.stdout is not None
    with nursery, open_record(path) as record:
        for turn in range(KILLS):
            print(turn, file=nursery.stdin, flush=True)
            child, wait_for = 0, seed.choice([0, 0, 1, 2, 4, 8])
            while not child or wait_for > 0:
                word, _, rest = nursery.stdout.readline().strip().partition(" ")
                if word == "child":
                    child = int(rest)
                else:
                    _note(acknowledged, rest)
                    wait_for -= 1
            # 0 entries: while opening; otherwise amid the next entry, which takes about 2 ms
            time.sleep(seed.uniform(0.0, 0.004 if acknowledged else 0.03))
            os.kill(child, signal.SIGKILL)
            for line in iter(nursery.stdout.readline, "gone\n"):
                _note(acknowledged, line.strip().partition(" ")[2])

            there = {item.number: item.reading.typed for item in record.inspection("visit").logged}
            assert acknowledged.items() <= there.items()
            # at most the one entry saved but not yet acknowledged
            unacknowledged += len(there) - len(acknowledged)
            assert len(there) - len(acknowledged) <= 1
            acknowledged = there
            with record.access.reading() as connection:
                assert chain_faults(connection) == []
            if turn % 30 == 0:
                assert record.verify().faults == ()
        assert record.verify().faults == ()
        nursery.stdin.close()
    # the kills did hit the work: many entries, and most writers were cut off during one
    assert len(acknowledged) > 2 * KILLS
    print(f"{KILLS} kills, {len(acknowledged)} entries, {unacknowledged} saved but not yet told")


def _note(acknowledged: dict[int, str], told: str) -> None:
    number, turn = told.split()
    acknowledged[int(number)] = f"22.4{turn}"
