"""Changes to the bytes of a file, as disks, cables and faulty programs make them."""

from __future__ import annotations

import random

EXTREMES = (b"\0\0", b"\xff\xff", b"\x7f\xff", b"\xff\x7f", b"\0\0\0\0", b"\xff\xff\xff\xff",
            b"\x7f\xff\xff\xff", b"\xff\xff\xff\x7f", b"\x80\0\0\0")  # fmt: skip


def mutated(data: bytes, chance: random.Random, other: bytes = b"") -> bytes:
    """Return `data` with 1 to 8 changes, half of them near its head, where files keep sizes."""
    copy = bytearray(data)
    for _ in range(chance.choice([1, 1, 1, 2, 8])):
        if len(copy) < 2:
            break
        at = chance.randrange(min(len(copy), chance.choice([64, 600, len(copy), len(copy)])))
        run = chance.choice([1, 4, 40, 512, 4096])
        match chance.randrange(9):
            case 0:
                copy[at] ^= 1 << chance.randrange(8)
            case 1:
                copy[at] = chance.randrange(256)
            case 2:
                del copy[at : at + run]
            case 3:
                copy[at:at] = chance.randbytes(min(run, 40))
            case 4:
                copy[at : at + run] = bytes(len(copy[at : at + run]))
            case 5:
                extreme = chance.choice(EXTREMES)
                copy[at : at + len(extreme)] = extreme
            case 6:
                there = chance.randrange(len(copy))
                copy[at : at + run] = copy[there : there + run]
            case 7:
                del copy[chance.randrange(len(copy)) :]
            case _:
                there = chance.randrange(len(other) + 1)
                copy[at : at + run] = other[there : there + run]
    return bytes(copy)
