"""A child process that tries inputs one by one, and a parent that detects when it hangs or dies.

Each input is made from a seed and its number alone, so any of them can be made again, and a
stopped run can resume.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

MOST_S = 5  # of processor time per input, so that a busy machine causes no false alarm
MOST_BYTES = 1_000_000_000  # over what the child holds before the first input
PATIENCE_S = 900  # without any output: a deadlock takes no processor time
PROJECT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Outcome:
    """The outcome of an input.

    Parameters
    ----------
    number : int
        Its number.
    kind : str
        What it was made from.
    became : str
        "read", "sentence" or "FAULT".
    words : str
        The sentence, or what the fault was.
    """

    number: int
    kind: str
    became: str
    words: str


Trial = Callable[[int], Outcome]


def try_all(first: int, count: int, trial: Trial) -> None:
    """Try inputs in this process, and print the outcome of each on standard output."""
    warnings.simplefilter("error")
    before = _peak_bytes()
    for number in range(first, first + count):
        used = resource.getrusage(resource.RUSAGE_SELF)
        limit = int(used.ru_utime + used.ru_stime) + MOST_S + 1
        # at the limit the system sends SIGXCPU, which ends the process, whatever code it is in
        resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))
        try:
            outcome = trial(number)
        except BaseException as error:
            outcome = Outcome(number, "", "FAULT", f"{type(error).__name__}: {error}")
        if _peak_bytes() > before + MOST_BYTES:
            taken = (_peak_bytes() - before) / 1e6
            outcome = Outcome(number, outcome.kind, "FAULT", f"took {taken:.0f} MB")
            print(json.dumps(asdict(outcome)), flush=True)
            return  # the peak of a process never falls again: a new one goes on
        print(json.dumps(asdict(outcome)), flush=True)


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def watch(what: str, count: int, *, seed: int, first: int = 0) -> Iterator[Outcome]:
    """Yield the outcome of each input; a child that hangs or dies counts as that input's fault."""
    number, end = first, first + count
    while number < end:
        for outcome in _child(what, number, end - number, seed):
            yield outcome
            number = outcome.number + 1


def _child(what: str, first: int, count: int, seed: int) -> Iterator[Outcome]:
    command = [sys.executable, "-m", "tests.fuzz", what, "--child",
               "--first", str(first), "--count", str(count), "--seed", str(seed)]  # fmt: skip
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    number = first
    with subprocess.Popen(command, cwd=PROJECT, env=environment, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE) as child:  # fmt: skip
        assert child.stdout is not None
        assert child.stderr is not None
        os.set_blocking(child.stdout.fileno(), False)
        os.set_blocking(child.stderr.fileno(), False)
        rest, said, seen = b"", b"", time.monotonic()
        try:
            while True:
                ended = child.poll() is not None
                said = (said + (child.stderr.read() or b""))[-2000:]
                lines = (rest + (child.stdout.read() or b"")).split(b"\n")
                rest = lines.pop()
                for line in lines:
                    yield Outcome(**json.loads(line))
                    number, seen = number + 1, time.monotonic()
                if ended and not lines:
                    break
                if time.monotonic() - seen > PATIENCE_S:
                    child.kill()
                time.sleep(0.02)
        finally:
            child.kill()
        if child.returncode and number < first + count:
            yield Outcome(number, "", "FAULT", _why(child.returncode, said))


def _why(code: int, said: bytes) -> str:
    if code == -signal.SIGXCPU:
        return f"took more than {MOST_S} s"
    if code == -signal.SIGKILL:
        return f"no sign of life for {PATIENCE_S} s"
    return f"the process ended with {code}: {said.decode(errors='replace').strip()[-300:]}"
