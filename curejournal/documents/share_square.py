"""One picture of a batch as a square for sharing: the soap, its ribbon, its name."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from curejournal.documents.pictures import jpeg_within
from curejournal.documents.portfolio_soap import Soap
from curejournal.documents.ribbon import ribbon_pixels
from curejournal.documents.style import LIGHT, PAPER_FONTS, font_path
from curejournal.documents.typefaces import face_of, is_ours, printable

SIDE_PX = 1080
"""Side of the square: what networks for pictures show at most. [common practice, no source]"""
PANEL_PX, STRIP_PX, ROOM_PX = 190, 26, 44
MOST_BYTES = 400_000


def square(soap: Soap, site: str = "") -> bytes:
    """Draw a batch's cover as a square JPEG, under it its ribbon, its name and whose it is.

    Raises
    ------
    ValueError
        For a batch without a cover.
    """
    if soap.cover is None:
        raise ValueError("no cover")
    drawn = Image.new("RGB", (SIDE_PX, SIDE_PX), LIGHT.card)
    high = SIDE_PX - PANEL_PX - (STRIP_PX if soap.ribbons else 0)
    cover = Image.fromarray(soap.cover.pixels(SIDE_PX, "square")).resize((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    drawn.paste(cover.crop((0, (SIDE_PX - high) // 2, SIDE_PX, (SIDE_PX + high) // 2)), (0, 0))
    if soap.ribbons:
        drawn.paste(
            Image.fromarray(ribbon_pixels(soap.ribbons[0][1], SIDE_PX, STRIP_PX - 6, soft=False)), (0, high + 6)
        )
    pen = ImageDraw.Draw(drawn)
    site = site.partition(",")[0]  # "Name, where and what": the name is enough here
    room = SIDE_PX - 2 * ROOM_PX
    top = SIDE_PX - PANEL_PX
    _line(pen, soap.name, (ROOM_PX, top + 28), room, 64, "display", LIGHT.ink)
    _line(
        pen, soap.sentence or soap.lead, (ROOM_PX, top + 116), room * 2 // 3 if site else room, 30, "serif", LIGHT.soft
    )
    if site:
        face = _face(site, 24, "sans")
        wide = min(pen.textlength(printable(site), face), room // 3 - 20)
        _line(pen, site, (SIDE_PX - ROOM_PX - int(wide), top + 121), int(wide) + 1, 24, "sans", LIGHT.soft)
    return jpeg_within(np.asarray(drawn), MOST_BYTES)


def _line(
    pen: ImageDraw.ImageDraw, text: str, at: tuple[int, int], room: int, size: int, kind: str, colour: str
) -> None:
    """One line, smaller where it would not fit, and cut off with “…” where even that does not help."""
    said = printable(" ".join(text.split()))
    face = _face(said, size, kind)
    while pen.textlength(said, face) > room and face.size > size * 0.6:
        face = _face(said, int(face.size) - 2, kind)
    while pen.textlength(said, face) > room and len(said) > 1:
        said = said[:-2].rstrip() + "…"
    pen.text((at[0], at[1] + size), said, colour, font=face, anchor="ls")


def _face(text: str, size: int, kind: str) -> ImageFont.FreeTypeFont:
    """Our face, or one that has the rarest sign of a text."""
    others = [face for sign in text if not sign.isspace() and not is_ours(sign) and (face := face_of(sign))]
    return ImageFont.truetype(others[0].path if others else font_path(PAPER_FONTS[kind]), size)
