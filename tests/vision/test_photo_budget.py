"""Limits for one photograph: memory, time, and no effect on other processes."""

from __future__ import annotations

import io
import json
import os
import pickle
import resource
import signal
import subprocess
import sys
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_files import refusal, saved
from PIL import Image

from vision import apart as child
from vision.apart import StoppedError, apart, end_child
from vision.photo.containers import MOST_BYTES, MOST_SECONDS, PROGRAM_BYTES, PhotoError
from vision.photo.preview import PREVIEW_PX, preview_of
from vision.uncertainty import Term

PROJECT = Path(__file__).resolve().parents[2]
SIDE = 3000
ASIDE = 40_000_000  # libraries loaded on the way, and the file read twice


@cache
def picture() -> Image.Image:
    fields = np.random.default_rng(1).integers(0, 255, (150, 150, 3), dtype=np.uint8)
    even = cv2.resize(fields, (SIDE, SIDE), interpolation=cv2.INTER_NEAREST)  # quick to pack
    return Image.fromarray(np.asarray(even, np.uint8))


TURNED = Image.Exif()
TURNED[0x0112] = 5


def clear() -> Image.Image:
    image = picture().convert("RGBA")
    image.putalpha(120)
    return image


def deep_png(channels: slice | int) -> bytes:
    deep = np.asarray(picture()).astype(np.uint16) * 257
    return cv2.imencode(".png", deep[:, :, channels])[1].tobytes()


FAST = {"compress_level": 1}
KINDS: dict[str, Callable[[], bytes]] = {
    "JPEG": lambda: saved("JPEG", picture()),
    "JPEG turned": lambda: saved("JPEG", picture(), exif=TURNED),
    "JPEG CMYK": lambda: saved("JPEG", picture().convert("CMYK")),
    "PNG": lambda: saved("PNG", picture(), **FAST),
    "PNG turned": lambda: saved("PNG", picture(), exif=TURNED, **FAST),
    "PNG transparent": lambda: saved("PNG", clear(), **FAST),
    "PNG palette": lambda: saved("PNG", picture().quantize(64, Image.Quantize.FASTOCTREE), **FAST),
    "PNG 16 bit": lambda: deep_png(slice(None)),
    "PNG grey 16 bit": lambda: deep_png(0),
    "TIFF": lambda: saved("TIFF", picture()),
    "TIFF LZW": lambda: saved("TIFF", picture(), compression="tiff_lzw"),
    "TIFF JPEG": lambda: saved("TIFF", picture(), compression="jpeg"),
    "WebP": lambda: saved("WEBP", picture(), method=0),
    "WebP transparent": lambda: saved("WEBP", clear(), method=0),
    "AVIF": lambda: saved("AVIF", picture(), speed=10),
}
PART = 5  # kinds that share a child


# One child opens every file in a fork of its own: a peak is a process's, and what was freed
# by one file must not hide what the next one takes.
PEAKS = """
import json, os, resource, sys
import vision.photo.decode as decode
import vision.photo.photo as photo

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024

def noted(width, height, file_bytes, kind, held=0):
    global expected
    expected = width * height * (3 + max(held, 3)) + file_bytes

decode.refuse_size = noted
for path in sys.argv[1:]:
    if not os.fork():
        data = open(path, "rb").read()
        before = peak()
        photo.open_photo(data)
        print(json.dumps([peak() - before, expected]), flush=True)
        os._exit(0)
    assert os.wait()[1] == 0, path
"""


def peaks_of(*paths: Path) -> list[tuple[int, int]]:
    """Bytes that opening each file takes over what the process held, and what was expected."""
    done = subprocess.run(
        [sys.executable, "-c", PEAKS, *map(str, paths)], cwd=PROJECT, capture_output=True,
        text=True, check=True, env={**os.environ, "OMP_NUM_THREADS": "1"},
    )  # fmt: skip
    peaks = [(taken, expected) for taken, expected in map(json.loads, done.stdout.splitlines())]
    assert len(peaks) == len(paths)
    return peaks


@pytest.mark.parametrize("first", range(0, len(KINDS), PART))
def test_no_format_takes_more_memory_than_its_header_suggests(first: int, tmp_path: Path) -> None:
    paths = []
    for kind in list(KINDS)[first : first + PART]:
        paths.append(tmp_path / kind)
        paths[-1].write_bytes(KINDS[kind]())
    for path, (taken, expected) in zip(paths, peaks_of(*paths), strict=True):
        assert SIDE * SIDE * 3 <= taken <= expected + ASIDE, path.name


def bomb(side: int, *, noise: int = 0) -> bytes:
    """A PNG with transparency, of one colour but for some rows of noise."""
    image = Image.new("RGBA", (side, side), (200, 10, 10, 120))
    if noise:
        rows = np.random.default_rng(2).integers(0, 255, (noise, side, 4), dtype=np.uint8)
        image.paste(Image.fromarray(rows, "RGBA"), (0, 0))
    return saved("PNG", image, compress_level=1)


def header(width: int, height: int, depth: int, colours: int, size: int) -> bytes:
    """The begin of a PNG of a size, and noise that is no picture behind it."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")
        )

    body = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([depth, colours, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", body) + chunk(b"IDAT", bytes(size))


def test_a_picture_packed_tighter_than_a_sensor_can_be_is_refused_from_its_header() -> None:
    # 200 megapixels with transparency in 3.5 MB took 4.4 GB before
    start = time.perf_counter()
    words = refusal(header(14140, 14140, 8, 6, 3_500_000))
    assert "states 200 megapixels (14140 x 14140) in 3500 kB" in words
    assert time.perf_counter() - start < 1.0


def test_what_would_take_more_than_the_budget_is_refused_from_its_header() -> None:
    exif = Image.Exif()
    exif[0x0112] = 1
    data = bytearray(saved("WEBP", exif=exif))
    assert data[12:16] == b"VP8X"
    data[24:30] = (12_999).to_bytes(3, "little") * 2
    data += bytes(200_000)
    assert "which as WebP take 2.9 GB of memory to decode; the limit is 2.3 GB" in refusal(
        bytes(data)
    )


def test_a_large_transparent_picture_stays_within_the_budget(tmp_path: Path) -> None:
    path = tmp_path / "large.png"
    path.write_bytes(bomb(6000, noise=200))
    # 14 bytes a pixel and more before; 200 megapixels of it must fit beside the program
    ((taken, _),) = peaks_of(path)
    assert taken / 36e6 < (MOST_BYTES - PROGRAM_BYTES) / 200e6


# ---- in the child; first what it outlives, since a new one takes two seconds --------------------


def greedy(gigabytes: float) -> int:
    return np.ones(int(gigabytes * 1e9), np.uint8).size


def slow(seconds: float) -> None:
    time.sleep(seconds)


def dead(_: bytes) -> None:
    os.abort()


def wrong(_: bytes) -> None:
    raise KeyError("a fault")


def numbers() -> tuple[Term, float]:
    return Term("edge", np.float64(0.02), "mm", 1.0, "A", "edge"), np.float32(0.5)  # type: ignore[arg-type,return-value]


def printing() -> str:
    print("a library speaks", flush=True)
    os.write(1, b"and so does its C part")
    return "done"


class Acts:
    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.system, ("touch taken-over",)


def acting() -> Acts:
    return Acts()


@pytest.fixture(scope="module", autouse=True)
def _path() -> Iterator[None]:
    """Let the child find this file, too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(Path(__file__).parent))
        for work in (greedy, slow, dead, wrong, printing, acting, numbers):
            patch.setattr(work, "__module__", "test_photo_budget")
        end_child()  # one that was started before knows nothing of it
        yield
    end_child()


def process() -> int:
    assert child._child is not None
    return child._child.pid


def test_what_a_photograph_is_refused_for_comes_back_as_it_was_said() -> None:
    with pytest.raises(PhotoError) as caught:
        apart("x.gif", preview_of, saved("GIF", Image.new("L", (8, 8))), "x.gif")
    assert str(caught.value).startswith("x.gif is a GIF file")


def test_a_fault_in_the_child_is_a_fault_here_with_its_trace() -> None:
    with pytest.raises(RuntimeError, match="KeyError: 'a fault'"):
        apart("rope.jpg", wrong, b"")


def test_numbers_of_numpy_arrive_as_plain_ones() -> None:
    term, half = apart("rope.jpg", numbers)
    assert (type(term.u), type(half)) == (float, float)
    assert (term.u, half) == (0.02, 0.5)


def test_one_photograph_is_read_at_a_time() -> None:
    apart("rope.jpg", slow, 0.0)
    began = time.monotonic()
    both = [threading.Thread(target=apart, args=("rope.jpg", slow, 0.5)) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert time.monotonic() - began >= 1.0
    limits = resource.prlimit(process(), resource.RLIMIT_AS)
    assert limits == (MOST_BYTES, MOST_BYTES)


@pytest.mark.fault(
    "a photograph that takes too much memory, or crashes the process that reads it",
    "`takes more than the 3 GB of memory allowed for one photograph; ...`",
)
@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited by Linux only")
def test_memory_beyond_the_limit_is_reported_and_the_next_photograph_is_read() -> None:
    assert apart("rope.jpg", greedy, 0.5) == 500_000_000
    before = process()
    with pytest.raises(PhotoError, match=r"^rope.jpg takes more than the 3 GB of memory"):
        apart("rope.jpg", greedy, MOST_BYTES / 1e9)
    jpeg, size = apart("rope.jpg", preview_of, saved("JPEG", picture()), "rope.jpg")
    assert size == (SIDE, SIDE)
    assert Image.open(io.BytesIO(jpeg)).size == (PREVIEW_PX, PREVIEW_PX)
    assert process() != before


def test_a_child_that_was_taken_over_hands_no_code_to_its_parent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(PhotoError, match="ended the process"):
        apart("rope.jpg", acting)
    assert not (tmp_path / "taken-over").exists()
    with pytest.raises(pickle.UnpicklingError):
        child._Answer(io.BytesIO(pickle.dumps(os.system))).load()


def test_a_photograph_that_crashes_its_process_affects_no_other() -> None:
    with pytest.raises(PhotoError, match=r"^rope.jpg ended the process that reads photographs"):
        apart("rope.jpg", dead, b"")
    assert apart("next.jpg", printing) == "done"  # and what a library prints comes not between


def test_a_stop_of_the_program_is_not_blamed_on_the_photograph(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert apart("rope.jpg", printing) == "done"  # it is up
    os.kill(process(), signal.SIGTERM)  # some systems send it to every process of a service
    assert apart("rope.jpg", printing) == "done"
    monkeypatch.setattr(child, "_stopping", threading.Event())
    threading.Timer(0.5, child.stop).start()
    for _ in range(2):  # the one in progress, and the next
        with pytest.raises(StoppedError, match="because the program is ending"):
            apart("rope.jpg", slow, 20.0)


def test_time_beyond_the_limit_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    assert MOST_SECONDS == 60
    assert apart("rope.jpg", printing) == "done"  # it is up
    monkeypatch.setattr(child, "MOST_SECONDS", 0.3)
    with pytest.raises(PhotoError, match=r"^rope.jpg takes more than the 60 s"):
        apart("rope.jpg", slow, 20.0)
    monkeypatch.undo()
