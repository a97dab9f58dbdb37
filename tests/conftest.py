"""What pytest leaves alone under tests, and how its processes treat memory."""

import ctypes
import gc
import sys

import ui  # noqa: F401  one thread of linear algebra a process, before numpy is imported

# Doctests are collected from every module; these import a renderer, a browser or a plotter.
collect_ignore_glob = ["benchmarks/[!t]*.py", "browser/[!t]*.py"]

# glibc gives the memory of a large array back at once, and the next one is cleared for us page by
# page; kept, pictures cost a fifth less. By the numbers of its malloc.h.
M_TRIM_THRESHOLD, M_MMAP_MAX = -1, -4
if sys.platform == "linux" and hasattr(libc := ctypes.CDLL(None), "mallopt"):
    libc.mallopt(M_MMAP_MAX, 0)
    libc.mallopt(M_TRIM_THRESHOLD, 2**31 - 1)


def pytest_collection_finish() -> None:
    """Leave what was imported and collected out of every later search for garbage."""
    gc.collect()
    gc.freeze()
