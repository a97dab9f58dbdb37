"""Typeset a document with typst; run by `ui.report.writers.pdf` as a separate process.

Typst caches its results for the last ten documents: 75 MB for a report with its photographs, 1 GB
in a server, and the cache can't be cleared. When a process ends, its memory is freed.

Usage: typeset.py FOLDER TEMPLATE FONTS writes FOLDER/TEMPLATE.pdf; nothing outside FOLDER is read.
"""

import sys
from pathlib import Path

import typst


def main(folder: str, template: str, fonts: str) -> None:
    """Typeset one document."""
    typst.compile(
        str(Path(folder) / template),
        output=str(Path(folder) / f"{template}.pdf"),
        root=folder,
        font_paths=typst.Fonts(
            include_system_fonts=False, include_embedded_fonts=False, font_paths=[fonts]
        ),
        ignore_system_fonts=True,
        format="pdf",
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
