"""How long people wait when N of them use the pages at once, each pausing 1 to 3 s between reruns.

Example: ``python tests/benchmarks/bench_people.py --people 30 --seconds 60``. Each client speaks
the pages' own protocol over a websocket, opens a screen as a person would, and keeps redrawing it.
Printed: the time of the first drawing and of later ones (median and 95th percentile), errors, the
server's processor time for each drawing, and its memory. With --address it uses servers that are
already running, e.g. behind a proxy (``--without-login``).
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median, quantiles

import bench_record
import websockets
from streamlit.proto.Alert_pb2 import Alert
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from inspection.record.record import open_record
from ui.services.sample import load_sample, sample_folder

ROOT = Path(__file__).resolve().parents[2]
SCREENS = ("start", "sheet", "result", "review", "supervise")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=30)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--screens", nargs="*", default=list(SCREENS))
    parser.add_argument("--address", help="of running pages, e.g. http://127.0.0.1:8080")
    parser.add_argument("--inspection", default="", help="to open there, as in its page's address")
    parser.add_argument(
        "--others", type=int, default=0, help="number of further inspections in the record"
    )
    options = parser.parse_args()
    with _served(options.address, options.inspection, options.others) as (address, inspection, pid):
        # what is loaded or made once for everybody is not counted as a drawing's cost
        asyncio.run(_all(address, inspection, len(options.screens), 12.0, tuple(options.screens)))
        used, held = _cpu_s(pid), []
        firsts, others, errors = [], [], 0
        for _ in range(2):  # the second half connects afresh, and should need no more memory
            found = asyncio.run(
                _all(
                    address, inspection, options.people, options.seconds / 2, tuple(options.screens)
                )
            )
            firsts, others, errors = firsts + found[0], others + found[1], errors + found[2]
            held.append((len(firsts) + len(others), _memory_mb(pid)))
        used = _cpu_s(pid) - used
    drawn = len(firsts) + len(others)
    print(f"{options.people} people, {drawn} drawings in {options.seconds:.0f} s, {errors} errors")
    for name, times in (("first drawing", firsts), ("drawn again", others)):
        if len(times) > 1:
            late = quantiles(times, n=20)[-1]
            print(f"{name:14} median {median(times):6.2f} s   95 % {late:6.2f} s")
    if pid:
        print(f"server         {used / max(drawn, 1):6.3f} s of processor time per drawing")
        print("server holds   " + ", ".join(f"{mb:.0f} MB after {n} drawings" for n, mb in held))


async def _all(
    address: str, inspection: str, people: int, seconds: float, screens: tuple[str, ...]
) -> tuple[list[float], list[float], int]:
    until = time.monotonic() + seconds
    query = f"inspection={inspection}"
    each = [_person(address, query, until, screens[n % len(screens)], n) for n in range(people)]
    firsts, others, errors = [], [], 0
    for one in await asyncio.gather(*each, return_exceptions=True):
        if isinstance(one, BaseException):
            errors += 1
            print(f"{type(one).__name__}: {one}", file=sys.stderr)
        else:
            firsts += one[:1]
            others += one[1:]
    return firsts, others, errors


async def _person(address: str, query: str, until: float, screen: str, number: int) -> list[float]:
    """Redraw a screen until the time is up; return how long each drawing took, s."""
    chance = random.Random(number)
    await asyncio.sleep(chance.uniform(0.0, 3.0))
    times = []
    url = address.replace("http", "ws", 1) + "/_stcore/stream"
    async with websockets.connect(
        url,
        origin=address,
        subprotocols=["streamlit"],
        max_size=None,
        additional_headers={"Cookie": f"rope_photo_login={number}"},  # for a proxy
    ) as line:
        while time.monotonic() < until:
            begun = time.monotonic()
            ask = BackMsg()
            ask.rerun_script.page_name = "" if screen == "start" else screen
            ask.rerun_script.query_string = query
            await line.send(ask.SerializeToString())
            async for message in line:
                assert isinstance(message, bytes)
                answer = ForwardMsg.FromString(message)
                if answer.delta.new_element.alert.format == Alert.ERROR:
                    raise RuntimeError(answer.delta.new_element.alert.body)
                if answer.WhichOneof("type") == "script_finished":
                    break
            times.append(time.monotonic() - begun)
            await asyncio.sleep(chance.uniform(1.0, 3.0))
    return times


@contextmanager
def _served(address: str | None, inspection: str, others: int) -> Iterator[tuple[str, str, int]]:
    if address:
        yield address, inspection, 0
        return
    folder = sample_folder()
    assert folder is not None, "the sample photographs are needed"
    place = Path(tempfile.mkdtemp(prefix="people-"))
    with open_record(place / "record.db") as record:
        for start in range(0, others, 250):
            bench_record.load(record, start, min(start + 250, others))
        inspection = load_sample(record, folder, by="Reviewer B")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "ui/web/server.py", "--server.port", str(port),
         "--server.headless", "true"],
        cwd=ROOT, stdout=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT), "ROPE_PHOTO_RECORD": str(place / "record.db"),
             "ROPE_PHOTO_PERSON_FILE": str(place / "person.json"), "ROPE_PHOTO_ORIGINS": address},
    )  # fmt: skip
    try:
        while True:
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                    break
            except OSError:
                time.sleep(0.1)
        yield address, inspection, server.pid
    finally:
        server.terminate()
        server.wait(timeout=20)
        shutil.rmtree(place, ignore_errors=True)


def _memory_mb(pid: int) -> float:
    """Return a process's resident memory, MB; 0 if it can't be read."""
    try:
        fields = Path(f"/proc/{pid}/statm").read_text().split()
    except OSError:
        return 0.0
    return int(fields[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def _cpu_s(pid: int) -> float:
    """Return a process's processor time, s; 0 if it can't be read."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()
