"""What a paper will look like, before it is made for good: its first pages as pictures."""

from __future__ import annotations

from threading import Lock

import numpy as np

from curejournal.documents.pictures import jpeg

WIDTH_PX = 900
"""Pixels across a page: its small print can still be read. Ours."""
_one_at_a_time = Lock()  # the library that draws is not made for several threads


def first_pages(pdf: bytes, most: int = 2) -> tuple[tuple[bytes, ...], int]:
    """Draw the first pages of a PDF as JPEGs, and count all of them."""
    import pypdfium2  # a page without a preview needs it not

    with _one_at_a_time:
        document = pypdfium2.PdfDocument(pdf)
        try:
            count = len(document)
            pages = [document[number] for number in range(min(most, count))]
            drawn = [page.render(scale=WIDTH_PX / page.get_width()).to_pil().convert("RGB") for page in pages]
        finally:
            document.close()
    return tuple(jpeg(np.asarray(picture)) for picture in drawn), count
