"""Pages with oversized photographs: one sentence, and everything else keeps working."""

from __future__ import annotations

import io
import os
import resource
import struct
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from inspection.record.record import open_record
from inspection.record.views import Manner
from tests.ui.conftest import REVIEWER
from ui.services.measuring_queue import PhotoFile, measure_again, store_photographs, work_off
from ui.services.sample import sample_folder
from vision import apart
from vision.photo import photo
from vision.results import Finding, Refusal

SAMPLE = "2026-09-quay-crane-2"


SIDE = 14140


def monster() -> bytes:
    """A PNG of 200 megapixels with transparency in less than a megabyte, whole and undamaged."""
    rows = (b"\0" + bytes((200, 10, 10, 120)) * SIDE) * 140
    pack = zlib.compressobj(6, wbits=-15)
    part = pack.compress(rows) + pack.flush(zlib.Z_FULL_FLUSH)  # may be repeated as it is
    check = 1
    for _ in range(SIDE // 140):
        check = zlib.adler32(rows, check)
    packed = b"\x78\x9c" + part * (SIDE // 140) + pack.flush() + check.to_bytes(4, "big")

    def chunk(name: bytes, body: bytes) -> bytes:
        body = name + body
        return struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", SIDE, SIDE, 8, 6, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        chunk(name, body) for name, body in ((b"IHDR", head), (b"IDAT", packed), (b"IEND", b""))
    )


def test_an_inspection_with_an_old_refused_monster_opens(sample_app: AppTest) -> None:
    # it took 4.4 GB whenever somebody opened the inspection, again on every server
    data = monster()
    with open_record(os.environ["ROPE_PHOTO_RECORD"]) as record:
        sha256 = record.add_photograph(SAMPLE, data, name="monster.png", by=REVIEWER)
        reason = Finding("no-card", "No printed card was found.", "Take it again.", "refuse")
        record.add_results(
            SAMPLE, [Refusal((reason,), photo_name="monster.png", photo_sha256=sha256)], by=REVIEWER
        )
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    at = sample_app.run().switch_page("screens/sheet.py").run()
    assert not at.exception
    (told,) = {one.value for one in at.error}
    assert "states 200 megapixels" in told
    assert any("monster.png" in one.label for one in at.expander)  # its reasons are still shown
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 600_000  # kB


def test_pages_show_the_preview_that_was_kept_and_decode_no_original(
    sample_app: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    def decoding(*_: object, **__: object) -> None:
        raise AssertionError("a page decodes an original")

    monkeypatch.setattr(photo, "decode", decoding)
    for screen in ("sheet", "review"):
        at = sample_app.run().switch_page(f"screens/{screen}.py").run()
        assert not at.exception
        assert not at.error


def test_a_photograph_that_ends_its_process_leaves_the_page_and_the_others(
    sample: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "MOST_SECONDS", 0.0)
    with open_record(tmp_path / "record.db") as record, open_record(sample / "record.db") as whole:
        there = whole.inspection(SAMPLE)
        record.add_rope(there.rope, by=REVIEWER)
        record.add_inspection(replace(there.inspection), by=REVIEWER)
        folder = sample_folder()
        assert folder is not None
        file = PhotoFile("a.jpg", (folder / "station-1-view-00.jpg").read_bytes())
        store_photographs(record, SAMPLE, [file], Manner(), by=REVIEWER)
        work_off(record, SAMPLE)
        (refused,) = record.inspection(SAMPLE).results
        assert isinstance(refused, Refusal)
        assert refused.findings[0].seen.startswith("a.jpg takes more than the 60 s")
        monkeypatch.undo()
        measure_again(record, SAMPLE, [file.sha256], Manner(), by=REVIEWER, why="more time")
        work_off(record, SAMPLE)
        (kept,) = record.inspection(SAMPLE).photographs
        small = record.photographs.get(kept.preview)
        assert np.asarray(Image.open(io.BytesIO(small))).shape == (1500, 2000, 3)
        assert (kept.width_px, kept.height_px) == (4000, 3000)
