"""What pytest leaves alone under tests: tools and fixtures that need more than the extra `test`."""

import ui  # noqa: F401  one thread of linear algebra a process, before numpy is imported

# Doctests are collected from every module; these import a renderer, a browser or a plotter.
collect_ignore_glob = ["benchmarks/[!t]*.py", "browser/[!t]*.py"]
