"""Photographs that stand for two places, or that came from elsewhere than the rest.

Only hashes and names are compared, never pixels. The hash of the look has 64 bits, each saying
whether one patch of the shrunken photograph is darker than the next: copies, re-saved or
slightly cropped, keep all or nearly all of them.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr

from inspection.model.log import Log
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import Place, Result

# Two photographs that differ in no more bits than this are taken as one. Seen on 11 public
# photographs of boards and screws: saved again or halved in size they differ in 0 to 2 bits,
# two photographs of one scene in 7 at least. A very plain picture can change more when it is
# saved again: then this check is silent, which is the safe side.
ALIKE_BITS = 3
# Many photographs of one scene hold a pair that is alike by chance: such pairs are left out
# where this many or more are to be expected, each bit taken as differing by itself as often
# as bits of two of these photographs usually do (an approximation: neighbouring bits go
# together). Of fewer than 4 photographs nobody knows what is usual.
CHANCE_PAIRS = 1e-3
FEWEST_USUAL = 4
MOST_PHOTOS = 3000  # every pair is compared; beyond this only equal files are looked for


def photo_tests(log: Log) -> list[ScreeningTest]:
    """Return what the photographs' hashes and cameras contradict."""
    return [*_same_file_tests(log), *_similar_photo_tests(log), *_camera_tests(log)]


def _placed(log: Log) -> list[tuple[Place, Result]]:
    """Return one result a photograph and place, with its place."""
    placed = [(place, item) for item in log.results if (place := item.place) is not None]
    return list(
        {
            (place, item.photo_name, item.photo_sha256): (place, item) for place, item in placed
        }.values()
    )


def _entries_at(log: Log, places: list[Place]) -> tuple[int, ...]:
    return tuple(entry for entry, reading in enumerate(log.readings) if reading.place in places)


def _same_file_tests(log: Log) -> list[ScreeningTest]:
    groups: dict[str, list[tuple[Place, Result]]] = {}
    for place, result in _placed(log):
        if result.photo_sha256:
            groups.setdefault(result.photo_sha256, []).append((place, result))
    tests = []
    for group in groups.values():
        places = list(dict.fromkeys(place for place, _ in group))
        names = {result.photo_name for _, result in group}
        # two cards in one photograph are two places of one file, and rightly so
        if len(places) > 1 and len(names) > 1:
            tests.append(
                _reuse_test(
                    log,
                    "same-photograph",
                    places,
                    sorted(names),
                    "the very same file",
                    0.0,
                )
            )
    return tests


def _similar_photo_tests(log: Log) -> list[ScreeningTest]:
    photos = [(place, item) for place, item in _placed(log) if item.look_hash]
    if not 2 <= len(photos) <= MOST_PHOTOS:
        return []
    bits = np.array([int(item.look_hash, 16) for _, item in photos], dtype=np.uint64)
    all_apart = [np.bitwise_count(bits[first] ^ bits[first + 1 :]) for first in range(len(bits))]
    most = _most_bits(np.concatenate(all_apart)) if len(bits) >= FEWEST_USUAL else ALIKE_BITS
    tests = []
    for first, apart in enumerate(all_apart):
        for offset in np.flatnonzero(apart <= most):
            (place, one), (other, two) = photos[first], photos[first + 1 + int(offset)]
            same_file = one.photo_sha256 == two.photo_sha256 and one.photo_sha256 != ""
            if place == other or same_file or one.photo_name == two.photo_name:
                continue
            tests.append(
                _reuse_test(
                    log,
                    "photograph-alike",
                    [place, other],
                    sorted({one.photo_name, two.photo_name}),
                    f"alike in all but {int(apart[offset])} of 64 bits of their look",
                    float(apart[offset]),
                )
            )
    return tests


def _most_bits(apart: NDArray[np.uint8]) -> int:
    """Return in how many bits two photographs may differ and be taken as one; -1 for none."""
    usual = float(np.median(apart)) / 64.0
    chances = bdtr(np.arange(ALIKE_BITS + 1), 64, usual) * len(apart)
    return int(np.count_nonzero(chances < CHANCE_PAIRS)) - 1


def _reuse_test(
    log: Log, code: str, places: list[Place], names: list[str], how: str, bits: float
) -> ScreeningTest:
    return ScreeningTest(
        check=code,
        code=code,
        entries=_entries_at(log, places),
        places=tuple(places),
        p=None,
        seen=f"The photographs {', '.join(names)} stand for {len(places)} places and are {how}.",
        remedy="Look at both photographs; take the missing one again.",
        innocent="A file may have been picked twice by mistake, or two photographs were taken "
        "from one place without moving.",
        value=bits,
        limit=float(ALIKE_BITS),
        unit="bits",
        about=tuple(names),
    )


def _camera_tests(log: Log) -> list[ScreeningTest]:
    cameras = Counter(result.camera for _, result in _placed(log) if result.camera)
    if len(cameras) != 2 or sum(cameras.values()) < 5:
        return []
    (usual, _), (other, count) = cameras.most_common()
    if count > 1:
        return []  # two people, two phones
    place, odd = next(item for item in _placed(log) if item[1].camera == other)
    return [
        ScreeningTest(
            check="camera",
            code="other-camera",
            entries=_entries_at(log, [place]),
            places=(place,),
            p=None,
            seen=f"The photograph {odd.photo_name} was taken with {other}, all {cameras[usual]} "
            f"others with {usual}.",
            remedy="Ask where this photograph comes from.",
            innocent="A second phone may have helped out.",
            value=1.0,
            touches="circumstances",
            about=(odd.photo_name,),
        )
    ]
