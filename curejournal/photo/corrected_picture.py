"""The whole photo as it would look in standard light: for the story and the portfolio, not for measuring."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg
from curejournal.colour.spaces import linear_from_srgb, srgb_from_linear
from curejournal.photo.calibrate.calibration import CardCalibration
from curejournal.photo.pixels import CLIPPED_FROM, to_srgb
from curejournal.photo.read.picture_file import Photo, Reduction

Pixels = NDArray[np.uint8]

# Rows corrected at a time: memory stays flat however large the photo is.
_ROWS = 128
JPEG_QUALITY = 90


@dataclass(frozen=True)
class CorrectedPicture:
    """`jpeg` in sRGB without any data of place, time or camera; `clipped_share` of it has no true colour left."""

    jpeg: bytes
    clipped_share: float

    @property
    def words(self) -> str:
        """What to say beside it."""
        if self.clipped_share < 0.001:
            return msg("In standard light.")
        return msg(
            "In standard light; {clipped_share:.1f} % was burnt out or black and has no true colour.",
            clipped_share=100 * self.clipped_share,
        )


def corrected_picture(
    photo: Photo, calibration: CardCalibration, longest: int = 2048, *, flag: bool = False
) -> CorrectedPicture | None:
    """Correct a whole photo by what its card taught; None if the card taught nothing.

    Parameters
    ----------
    photo : Photo
    calibration : CardCalibration
    longest : int
        Pixels of the longer side, at most.
    flag : bool
        Hatch what was clipped, so that nobody takes its colour for true.

    Returns
    -------
    CorrectedPicture or None
        None if the card taught nothing.

    Raises
    ------
    PictureDamaged
    """
    if calibration.correction is None or calibration.placement is None:
        return None
    steps: tuple[Reduction, ...] = (8, 4, 2)
    reduce: Reduction = next((step for step in steps if max(photo.width, photo.height) / step >= longest), 1)
    picture = photo.picture(reduce)
    by = min(1.0, longest / max(picture.shape[:2]))
    size = (max(1, round(by * picture.shape[1])), max(1, round(by * picture.shape[0])))
    lost = np.asarray((picture >= CLIPPED_FROM).any(axis=2) | (picture <= 1).all(axis=2), np.float32)
    lost_there = cv2.resize(lost, size, interpolation=cv2.INTER_AREA) > 0.5
    picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    out = np.empty_like(picture)
    scale = photo.width / size[0]
    for first in range(0, size[1], _ROWS):
        rows = picture[first : first + _ROWS]
        encoded = to_srgb(rows / 255.0, photo.encoding)
        if calibration.shading is not None:
            y, x = np.indices(rows.shape[:2]).reshape(2, -1)
            places = (np.column_stack([x, y + first]) + 0.5) * scale - 0.5
            mm = np.clip(calibration.placement.to_mm(places), 0.0, np.array(calibration.card.size_mm))
            gain = calibration.shading.gain(mm).reshape(*rows.shape[:2], -1)
            encoded = srgb_from_linear(linear_from_srgb(encoded) / gain)
        out[first : first + _ROWS] = calibration.correction.picture(encoded)
    if flag:
        down, right = np.indices(lost_there.shape)
        out[lost_there & ((right + down) // 4 % 2 == 0)] = (255, 0, 255)
    _, encoded_jpeg = cv2.imencode(
        ".jpg", cv2.cvtColor(out, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    )
    return CorrectedPicture(encoded_jpeg.tobytes(), float(lost_there.mean()))
