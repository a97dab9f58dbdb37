"""A document set by typst, run by `ui.report.pdf` as a process of its own.

Typst keeps what it worked out for the last ten documents, in case the next is like them: 75 MB a
report with its photographs, 1 GB in a server, and it can't be told to let go. A process ends, and
its memory with it.

Usage: typeset.py FOLDER TEMPLATE FONTS writes FOLDER/TEMPLATE.pdf; nothing outside FOLDER is read.
"""

import sys
from pathlib import Path

import typst


def main(folder: str, template: str, fonts: str) -> None:
    """Set one document."""
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
