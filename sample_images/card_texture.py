"""The printed card as a picture of reflectances, made from the same PDF that users print."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped]
from numpy.typing import NDArray

from vision.target.layout import Layout
from vision.target.pdf import card_pdf

DOTS_PER_MM = {"A6": 24.0, "A5": 24.0}  # 610 dpi
DOTS_PER_MM_LARGE = 16.0  # 406 dpi for papers that are photographed from farther away
PAPER_REFLECTANCE, INK_REFLECTANCE = 0.85, 0.035  # office paper, toner (common practice, no source)


@lru_cache(maxsize=2)
def card_texture(layout: Layout, number: int) -> NDArray[np.float32]:
    """Return linear reflectances (H, W, 3) of the card, first row at its upper edge.

    The page is rasterised at twice the resolution and averaged in linear light, not in
    code values, so that an edge that cuts a dot stays where it was drawn.
    """
    pdf = pypdfium2.PdfDocument(card_pdf(layout, stations=[number // 2 + 1]))
    page = pdf[number % 2]
    dots = DOTS_PER_MM.get(layout.paper, DOTS_PER_MM_LARGE)
    drawn = page.render(scale=2 * dots * 25.4 / 72.0, rev_byteorder=True).to_numpy()
    share = np.arange(256) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    reflectance = INK_REFLECTANCE + (PAPER_REFLECTANCE - INK_REFLECTANCE) * linear.astype(
        np.float32
    )
    # The bitmap is exactly the page: cutting off a row would shift the card.
    size = (round(drawn.shape[1] / 2), round(drawn.shape[0] / 2))
    channels = [  # one by one: an A5 page is 72 megapixels here
        cv2.resize(reflectance[drawn[..., channel]], size, interpolation=cv2.INTER_AREA)
        for channel in range(3)
    ]
    return np.asarray(np.stack(channels, axis=-1), dtype=np.float32)
