"""A picture that a maker may give away: the card and what its window shows, and nothing that tells who, where or when.

The format is in DEVELOPERS.md, *A picture given away*.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.card import Card, Patch, Rect
from curejournal.photo.measure.measurement import Measurement, measure_areas
from curejournal.photo.read.picture_file import Photo

FORMAT = 1
"""To be raised when the fields of a picture's JSON change."""
BLANK = 127
"""What covers everything beside the card, and the card's own codes: mid grey, 8 bits."""
_MARGIN = 0.01

STATEMENT = """I give the pictures in this folder, with their figures, to anybody.

I took them myself. They show my own soap and my own printed card. I looked at each of them, and none shows a person,
a place, a name or a number that I do not want to be seen.

I give them under the licence Creative Commons Attribution 4.0 International (CC BY 4.0),
https://creativecommons.org/licenses/by/4.0/legalcode: anybody may copy, change and publish them, also for money, if
they say where they are from. It cannot be taken back from those who have them.

How I want to be named (or: not at all): ______________________________

Name and date: ______________________________
"""


@dataclass(frozen=True)
class GivenPicture:
    """A cropped picture as PNG without any data about it, and its figures as JSON."""

    png: bytes
    figures: bytes


def give_picture(photo: Photo, card: Card, number: int) -> GivenPicture | None:
    """Crop a photo to its card, cover all else, and put the card's and the soap's figures beside it.

    Parameters
    ----------
    photo : Photo
    card : Card
        With a window; the copy whose colours are known, if there is one.
    number : int
        Its place among those given together: the only name that it has.

    Returns
    -------
    GivenPicture or None
        None where no card was found, or none with a window.

    Raises
    ------
    PictureDamaged
    """
    calibration = learn(photo, card)
    placement = calibration.placement
    if placement is None or card.window is None:
        return None
    picture = photo.picture(1).copy()
    corners = np.array(placement.corners)
    inside = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillConvexPoly(inside, np.round(corners).astype(np.int32), (1,))
    picture[inside == 0] = BLANK
    for slot in (card.slots or {}).values():
        cv2.fillConvexPoly(picture, np.round(np.array(placement.outline(slot))).astype(np.int32), (BLANK,) * 3)
    low = np.maximum(np.floor(corners.min(axis=0) - _MARGIN * photo.width), 0).astype(int)
    high = np.ceil(corners.max(axis=0) + _MARGIN * photo.width).astype(int) + 1
    cropped = np.ascontiguousarray(picture[low[1] : high[1], low[0] : high[0], ::-1])
    _, png = cv2.imencode(".png", cropped)
    measurement = measure_areas(photo, calibration)
    return GivenPicture(png.tobytes(), _figures(photo, card, measurement, corners - low, number))


def _figures(photo: Photo, card: Card, measurement: Measurement, corners: NDArray[np.float64], number: int) -> bytes:
    encoding = None
    if photo.encoding is not None:
        own = photo.encoding
        at = np.linspace(0.0, 1.0, 33)
        curves = [np.interp(at, np.linspace(0.0, 1.0, len(curve)), curve).round(5).tolist() for curve in own.curves]
        encoding = {"curves": curves, "matrix_to_xyz_d50": own.matrix}
    figures = {
        "format": FORMAT,
        "number": number,
        "encoding": encoding,
        "card": {
            "size_mm": card.size_mm,
            "kind": card.kind,
            "made_of": card.made_of,
            "corners": [[round(float(x), 2), round(float(y), 2)] for x, y in corners],
            "window": _rect(card.window) if card.window else None,
            "patches": [
                {"id": patch.id, "place": _rect(patch), "lab_d50": patch.lab_d50, "role": patch.role}
                for patch in card.patches
            ],
        },
        "grade": measurement.grade.value,
        "reasons": [reason.code for reason in measurement.reasons],
        "window": [
            {"lab_d50": area.sample.lab, "covariance": area.sample.covariance, "grade": area.grade.value}
            for area in measurement.areas
            if area.sample
        ],
    }
    return json.dumps(figures, indent=1).encode()


def _rect(rect: Rect | Patch) -> Sequence[float]:
    return (rect.x, rect.y, rect.w, rect.h)
