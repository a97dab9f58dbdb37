"""What may be uploaded: size of a file and number in an inspection, checked on the server.

The third limit, how many pixels a photograph may have, is the photograph reader's own
(`vision.photofile.MOST_PIXELS`), because it holds wherever a photograph comes from.
"""

from __future__ import annotations

import streamlit as st

from vision.photofile import MOST_PIXELS

MOST_PHOTOGRAPHS = 400  # in one inspection: a hundred stations from four directions


def most_mb() -> int:
    """Return how large a file may be, MB, as ui/.streamlit/config.toml says."""
    return int(st.get_option("server.maxUploadSize"))


def limits_in_words() -> str:
    """Return the limits as a sentence for the field's help."""
    return (
        f"At most {most_mb()} MB and {MOST_PIXELS / 1e6:.0f} megapixels each, and "
        f"{MOST_PHOTOGRAPHS} in one inspection."
    )


def check_upload(size_bytes: int, there: int) -> None:
    """Raise ValueError if a file is too large, or the inspection has photographs enough.

    Parameters
    ----------
    size_bytes : int
        The file's size.
    there : int
        How many photographs the inspection has.

    Examples
    --------
    >>> check_upload(3_000_000, 8)
    """
    if size_bytes > most_mb() * 1024 * 1024:
        raise ValueError(
            f"the file has {size_bytes / 1024 / 1024:.0f} MB and at most {most_mb()} MB are "
            "taken; give the original JPEG or HEIC file of the camera."
        )
    if there >= MOST_PHOTOGRAPHS:
        raise ValueError(
            f"the inspection has {there} photographs and {MOST_PHOTOGRAPHS} are the most; begin "
            "another inspection for the rest."
        )
