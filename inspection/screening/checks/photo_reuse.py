"""Photographs used for two places, or taken with a different camera from the rest.

Only hashes, signatures and names are compared, never pixels. The signature of the rope's surface
(`vision.rope.face_look`) recognises one place that was photographed twice, cropped, saved again or
taken from another position. Where a photograph has none, the hash of the whole picture is used: 64
bits, each saying whether one patch of the reduced photograph is darker than the next. Copies that
were saved again keep all or nearly all of these bits.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr

from inspection.model.log import Log
from inspection.screening.multiple_testing import ScreeningTest
from vision.results import ROPE_LOOK_FIELDS, Estimate, Place, Result

# Two photographs that differ in no more bits than this are taken as the same. On 11 public
# photographs of boards and screws: saved again or halved in size they differ in 0 to 2 bits,
# two photographs of one scene in at least 7. A very plain picture can change more when it is
# saved again: this check then stays silent, which is the safe side.
ALIKE_BITS = 3
# Many photographs of one scene contain pairs that are alike by chance: such pairs are left out
# where this many or more are expected, taking bits as independent and as likely to differ as bits
# of two of these photographs usually are (an approximation: neighbouring bits are correlated).
# Fewer than 4 photographs do not show what is usual.
CHANCE_PAIRS = 1e-3
FEWEST_USUAL = 4
# Correlation that two signatures of the rope's surface must have at the best shift, -1 to 1. On the
# eight sample views, each also saved at 60 % of its size, cropped, and seen by a camera turned by
# 4 degrees in other light, one view has 0.81 or more with itself, and 448 pairs of different
# views 0.60 at most. No photographs of real ropes were tried.
ROPE_ALIKE = 0.72
SPECTRA_ALIKE = 0.9  # of the shift-free spectra: pairs below it can't be alike and are skipped
MOST_PHOTOS = 3000  # every pair is compared; beyond this only identical files are looked for


def photo_tests(log: Log) -> list[ScreeningTest]:
    """Return the findings from the photographs' hashes and cameras."""
    return [*_same_file_tests(log), *_similar_photo_tests(log), *_camera_tests(log)]


def _placed(log: Log) -> list[tuple[Place, Result]]:
    """Return one result per photograph and place, with its place."""
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
        # two cards in one photograph are rightly two places of one file
        if len(places) > 1 and len(names) > 1:
            tests.append(
                _reuse_test(
                    log,
                    "same-photograph",
                    places,
                    sorted(names),
                    "are the same file",
                )
            )
    return tests


def _similar_photo_tests(log: Log) -> list[ScreeningTest]:
    photos = _placed(log)
    if not 2 <= len(photos) <= MOST_PHOTOS:
        return []
    looks = [item.rope_look if isinstance(item, Estimate) else "" for _, item in photos]
    seen = [photo for photo, look in zip(photos, looks, strict=True) if look]
    found = [
        (seen[one], seen[other], f"show the same piece of rope (similarity {shared:.2f} of 1)")
        for one, other, shared in alike_looks([look for look in looks if look])
    ]
    rest = [
        photo for photo, look in zip(photos, looks, strict=True) if not look and photo[1].look_hash
    ]
    found += [
        (rest[one], rest[other], f"differ in only {apart} of the 64 bits of their picture hash")
        for one, other, apart in _alike_hashes([item.look_hash for _, item in rest])
    ]
    tests = []
    for (place, one), (other, two), how in found:
        same_file = one.photo_sha256 == two.photo_sha256 and one.photo_sha256 != ""
        if place == other or same_file or one.photo_name == two.photo_name:
            continue
        names = sorted({one.photo_name, two.photo_name})
        tests.append(_reuse_test(log, "photograph-alike", [place, other], names, how))
    return tests


def alike_looks(looks: Sequence[str]) -> list[tuple[int, int, float]]:
    """Return the pairs of signatures that show the same rope surface, with their correlation.

    Parameters
    ----------
    looks : sequence of str
        `vision.results.Estimate.rope_look` of each; none empty.
    """
    if len(looks) < 2:
        return []
    size = (2 * ROPE_LOOK_FIELDS[0], 2 * ROPE_LOOK_FIELDS[1])  # shifts must not come round
    taper = np.outer(*(np.hanning(count + 2)[1:-1] ** 0.25 for count in ROPE_LOOK_FIELDS))
    bits = np.array([np.unpackbits(np.frombuffer(bytes.fromhex(look), np.uint8)) for look in looks])
    signs = (2.0 * bits - 1.0).reshape(-1, *ROPE_LOOK_FIELDS) * taper
    spectra = np.fft.rfft2(signs.astype(np.float32), s=size)
    strengths = np.abs(spectra).reshape(len(looks), -1)
    strengths /= np.linalg.norm(strengths, axis=1, keepdims=True)
    likely = np.triu(strengths @ strengths.T, 1) >= SPECTRA_ALIKE
    energy = float((taper**2).sum())
    pairs = []
    for one, other in np.argwhere(likely):
        shared = np.fft.irfft2(spectra[one] * np.conj(spectra[other]), s=size).max() / energy
        if shared >= ROPE_ALIKE:
            pairs.append((int(one), int(other), float(shared)))
    return pairs


def _alike_hashes(hashes: Sequence[str]) -> list[tuple[int, int, int]]:
    """Return the pairs of hashes taken as the same, with the number of bits that differ."""
    if len(hashes) < 2:
        return []
    bits = np.array([int(one, 16) for one in hashes], dtype=np.uint64)
    all_apart = [np.bitwise_count(bits[first] ^ bits[first + 1 :]) for first in range(len(bits))]
    most = _most_bits(np.concatenate(all_apart)) if len(bits) >= FEWEST_USUAL else ALIKE_BITS
    return [
        (first, first + 1 + int(offset), int(apart[offset]))
        for first, apart in enumerate(all_apart)
        for offset in np.flatnonzero(apart <= most)
    ]


def _most_bits(apart: NDArray[np.uint8]) -> int:
    """Return in how many bits two photographs may differ and count as the same; -1 for none."""
    usual = float(np.median(apart)) / 64.0
    chances = bdtr(np.arange(ALIKE_BITS + 1), 64, usual) * len(apart)
    return int(np.count_nonzero(chances < CHANCE_PAIRS)) - 1


def _reuse_test(
    log: Log, code: str, places: list[Place], names: list[str], how: str
) -> ScreeningTest:
    return ScreeningTest(
        check=code,
        code=code,
        entries=_entries_at(log, places),
        places=tuple(places),
        p=None,
        seen=f"The photographs {', '.join(names)} are used for {len(places)} places and {how}.",
        remedy="Look at both photographs; take the missing one again.",
        innocent="A file may have been picked twice by mistake, or two photographs may have been "
        "taken from the same place.",
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
            seen=f"The photograph {odd.photo_name} was taken with {other}, the {cameras[usual]} "
            f"others with {usual}.",
            remedy="Ask where this photograph comes from.",
            innocent="A second phone may have been used.",
            value=1.0,
            touches="circumstances",
            about=(odd.photo_name,),
        )
    ]
