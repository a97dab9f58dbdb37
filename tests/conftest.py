"""What pytest leaves alone under tests: tools and fixtures that need more than the extra `test`."""

import gc

import ui  # noqa: F401  one thread of linear algebra a process, before numpy is imported

# Doctests are collected from every module; these import a renderer, a browser or a plotter.
collect_ignore_glob = ["benchmarks/[!t]*.py", "browser/[!t]*.py"]


def pytest_collection_finish() -> None:
    """Leave what was imported and collected out of every later search for garbage."""
    gc.collect()
    gc.freeze()
