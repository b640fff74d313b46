"""Batch tags: what is written in one, and finding them in a picture.

A tag is a QR code (ISO/IEC 18004) with `CJ1:JOURNAL:CODE:CHECK` in it: the id of
the journal it was printed for, the batch's code, and a check that tells our
tags from any other code. All of it is in the QR code's alphanumeric set, so that the modules stay large.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from urllib.parse import unquote

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.placement import Points, as_points
from curejournal.photo.read.picture_file import Photo, Pixels, Reduction

Floats = NDArray[np.float64]

_PAYLOAD = re.compile(r"CJ1:([A-Z2-7]{4,16}):([\x20-9;-~]+):([0-9A-F]{4})")
# ISO/IEC 18004, table 5, less the colon that parts the fields and the per cent sign that escapes.
_PLAIN = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $*+-./")
# Ours: most photos give their tag at the first side; a tag of a fortieth of the picture's width needs the last.
SEARCH_SIDES = (1000, 2000, 4000)
_REDUCTIONS: tuple[Reduction, ...] = (8, 4, 2)
# Ours: six and more pixels a module for the codes of tags and cards.
_CODE_PX = 240


@dataclass(frozen=True)
class Tag:
    """A batch tag: whose journal, which batch, and its corners in full-size pixels of the upright picture."""

    journal: str
    code: str
    outline: Points


@dataclass(frozen=True)
class Tags:
    """What was read in a picture: our tags, and the texts of other QR codes."""

    tags: tuple[Tag, ...] = ()
    others: tuple[str, ...] = ()


def payload(journal: str, code: str) -> str:
    """What is written in the tag of a batch.

    Parameters
    ----------
    journal : str
        The journal's id: 4 to 16 characters of A-Z, 2-7.
    code : str
        The batch's code, any text; small letters and other signs are escaped as in a URL.

    Returns
    -------
    str
        `CJ1:JOURNAL:CODE:CHECK`.
    """
    escaped = "".join(sign if sign in _PLAIN else _escaped(sign) for sign in code)
    body = f"CJ1:{journal}:{escaped}"
    if not _PAYLOAD.fullmatch(f"{body}:{_check(body)}"):
        raise ValueError(f"no tag can be made of {journal!r}, {code!r}")
    return f"{body}:{_check(body)}"


def parse(text: str, outline: Points = ()) -> Tag | None:
    """The tag that a QR code's text is, or None if it is none of ours or was misread.

    Parameters
    ----------
    text : str
        Of a QR code.
    outline : sequence of (x, y)
        Corners in pixels of the upright full-size picture.

    Returns
    -------
    Tag or None
    """
    match = _PAYLOAD.fullmatch(text)
    if match is None or _check(text.rpartition(":")[0]) != match[3]:
        return None
    try:
        return Tag(match[1], unquote(match[2], errors="strict"), outline)
    except UnicodeDecodeError:
        return None


def read_tags(photo: Photo) -> Tags:
    """Find and read QR codes anywhere in a picture; small, tilted and mirrored ones too.

    Where one is read, smaller ones are not looked for: they lie in the background.

    Parameters
    ----------
    photo : Photo

    Returns
    -------
    Tags

    Raises
    ------
    PictureDamaged
    """
    longest = max(photo.width, photo.height)
    for side in SEARCH_SIDES:
        reduce: Reduction = next((step for step in _REDUCTIONS if longest / step >= side), 1)
        view = photo.picture(reduce)
        scale = max(view.shape[:2]) / longest
        by = min(2.0, side / max(view.shape[:2]))
        if by != 1:
            size = (round(by * view.shape[1]), round(by * view.shape[0]))
            view = np.asarray(cv2.resize(view, size, interpolation=cv2.INTER_AREA if by < 1 else cv2.INTER_CUBIC))
            scale *= by
        found = {text: as_points((corners + 0.5) / scale - 0.5) for text, corners in _decoded(view)}
        if found:
            return _sorted_out(found)
        if longest * 2 < side:
            break
    return Tags()


def read_slot(picture: Pixels, scale: float, slot: Points) -> Tags:
    """Read the QR code of one place.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright, at 1/`scale` of full size.
    scale : float
    slot : four corners
        Clockwise from its top left in full-size pixels.

    Returns
    -------
    Tags
    """
    text = _straightened(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (np.array(slot) + 0.5) / scale - 0.5)
    return _sorted_out({text: slot} if text else {})


def _sorted_out(found: dict[str, Points]) -> Tags:
    parsed = {text: parse(text, outline) for text, outline in found.items()}
    ours = {(tag.journal, tag.code): tag for tag in parsed.values() if tag is not None}
    return Tags(tuple(ours.values()), tuple(text for text, tag in parsed.items() if tag is None))


def _decoded(picture: Pixels) -> list[tuple[str, Floats]]:
    """The texts in a picture with their corners in its pixels."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    try:
        _, texts, corners, _ = cv2.QRCodeDetector().detectAndDecodeMulti(grey)
    except (cv2.error, UnicodeDecodeError):
        # The library raises on some textures and on texts that are not UTF-8: nothing was read then.
        return []
    quads = [] if corners is None else [np.asarray(quad, float) for quad in corners]
    texts = texts or [""] * len(quads)
    pairs = [(text or _straightened(grey, quad), quad) for text, quad in zip(texts, quads, strict=True)]
    return [(text, quad) for text, quad in pairs if text]


def _straightened(grey: cv2.typing.MatLike, corners: Floats) -> str:
    """The text of the one code at four corners, looked at as from straight above; empty if none is read."""
    low, high = 0.15 * _CODE_PX, 1.15 * _CODE_PX
    square = np.array([[low, low], [high, low], [high, high], [low, high]], np.float32)
    to_square = cv2.getPerspectiveTransform(corners.astype(np.float32), square)
    whole = (round(1.3 * _CODE_PX),) * 2
    view = cv2.warpPerspective(grey, to_square, whole, flags=cv2.INTER_CUBIC, borderValue=(255, 255, 255))
    try:
        return str(cv2.QRCodeDetector().detectAndDecode(view)[0])
    except (cv2.error, UnicodeDecodeError):
        return ""


def _escaped(sign: str) -> str:
    return "".join(f"%{byte:02X}" for byte in sign.encode("utf-8"))


def _check(body: str) -> str:
    return f"{zlib.crc32(body.encode('ascii')) & 0xFFFF:04X}"
