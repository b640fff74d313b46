"""A part of the card's plane from straight above, evenly lit and in true colours.

For finding things in it, not for measuring colours: they come from 8 bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.photo.calibrate.calibration import CardCalibration
from curejournal.photo.card import Rect
from curejournal.photo.pixels import CLIPPED_FROM, to_srgb
from curejournal.photo.placement import Points, as_points
from curejournal.photo.read.picture_file import Photo

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

PX_PER_MM = 4.0
"""Ours: twelve pixels for a spot of a millimetre; a whole window is 200 x 150 px."""
# A piece of an outline smaller than this is dust.
_LEAST_PIECE_MM2 = 2.0


@dataclass(frozen=True, eq=False)
class Flat:
    """`lab` (H, W, 3) CIELAB D50 of `rect` (mm on the card) at `PX_PER_MM`; `burnt` (H, W) where it is clipped."""

    lab: Floats
    burnt: Mask
    rect: Rect
    calibration: CardCalibration

    def mm(self, pixels: Floats) -> Floats:
        """Points (N, 2) in pixels of `lab` to mm on the card."""
        return (np.asarray(pixels, float) + 0.5) / PX_PER_MM + (self.rect.x, self.rect.y)

    def to_pixels(self, pixels: Floats) -> Points:
        """Points (N, 2) in pixels of `lab` to full-size pixels of the photo."""
        placement = self.calibration.placement
        assert placement is not None
        return as_points(placement.to_pixels(self.mm(pixels)))

    def outline(self, mask: Mask) -> Points:
        """One closed path round all of a mask but its dust, in full-size pixels of the photo; () if there is nothing.

        Pieces and holes are joined by seams of no width, so that filling it by the even-odd rule gives the mask.
        """
        contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        least = _LEAST_PIECE_MM2 * PX_PER_MM**2
        pieces = [
            cv2.approxPolyDP(contour, 0.6, closed=True)[:, 0].astype(float)
            for contour in sorted(contours, key=cv2.contourArea, reverse=True)
            if cv2.contourArea(contour) >= least
        ]
        if not pieces:
            return ()
        path = np.vstack([pieces[0], pieces[0][:1]])
        for piece in pieces[1:]:
            apart = np.linalg.norm(path[:, None] - piece[None], axis=-1)
            at, first = np.unravel_index(int(apart.argmin()), apart.shape)
            turned = np.roll(piece, -int(first), axis=0)
            path = np.vstack([path[: at + 1], turned, turned[:1], path[at:]])
        return self.to_pixels(path)


def flatten(photo: Photo, calibration: CardCalibration, rect: Rect) -> Flat:
    """Straighten and correct a rectangle of the card's plane; the calibration must have a correction.

    Parameters
    ----------
    photo : Photo
    calibration : CardCalibration
    rect : Rect
        In mm on the card.

    Returns
    -------
    Flat
    """
    placement, correction, scale = calibration.placement, calibration.correction, calibration.scale
    assert placement is not None and correction is not None
    ((most, _),) = placement.scales_at(np.array([(rect.x + rect.w / 2, rect.y + rect.h / 2)]))
    # As fine as the picture, then averaged: noise goes down instead of being picked.
    finer = int(np.clip(round(most / scale / PX_PER_MM), 1, 4))
    size = (round(rect.w * PX_PER_MM), round(rect.h * PX_PER_MM))
    step = 1 / (PX_PER_MM * finer)
    to_mm = np.array([[step, 0, rect.x + step / 2], [0, step, rect.y + step / 2], [0, 0, 1]])
    to_picture = np.array([[1 / scale, 0, 0.5 / scale - 0.5], [0, 1 / scale, 0.5 / scale - 0.5], [0, 0, 1]])
    warp = to_picture @ np.asarray(placement.matrix) @ to_mm
    fine = cv2.warpPerspective(
        calibration.picture,
        warp,
        (size[0] * finer, size[1] * finer),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    clipped = np.asarray((fine >= CLIPPED_FROM).any(axis=2), np.float32)
    burnt = cv2.resize(clipped, size, interpolation=cv2.INTER_AREA) > 0.5
    device = cv2.resize(fine.astype(np.float32), size, interpolation=cv2.INTER_AREA) / 255.0
    encoded = to_srgb(np.asarray(device, float), photo.encoding)
    if calibration.shading is not None:
        columns, rows = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
        places = (np.stack([columns, rows], axis=-1).reshape(-1, 2) + 0.5) / PX_PER_MM + (rect.x, rect.y)
        on_card = np.clip(places, 0.0, np.array(calibration.card.size_mm))
        gain = calibration.shading.gain(on_card).reshape(size[1], size[0], -1)
        encoded = srgb_from_linear(linear_from_srgb(encoded) / gain)
    return Flat(lab_from_srgb(correction.picture(encoded) / 255.0), np.asarray(burnt), rect, calibration)
