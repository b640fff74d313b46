"""How sharp a picture is, to tell a card that is not there from one that is blurred away."""

from __future__ import annotations

import cv2
import numpy as np

from curejournal.photo.pixels import Pixels

# Ours: the steepest step in shares of the picture's range per pixel (`sharpness`). Sharp photos have 0.3; the
# window card is found down to some 0.15; shaken or out of focus so that it is not, drawn photos have 0.12 at most.
BLUNT = 0.125
SHARPNESS_PX = 4096
"""The middle of a picture in which sharpness is measured; ours, as 16 megapixels take 0.2 GB to work on."""


def sharpness(picture: Pixels) -> float:
    """Measure how sharp a picture is in its less sharp direction, so that a hand's motion shows whichever way it went.

    The steepest step from pixel to pixel across rows or columns, each averaged over five pixels along the edge against
    noise, as a share of the picture's range of grey: 0.3 and more is sharp.

    Parameters
    ----------
    picture : ndarray of shape (H, W, 3), uint8
        RGB, upright.

    Returns
    -------
    float
        Share of the range, per pixel.
    """
    rows, columns = (max(0, (side - SHARPNESS_PX) // 2) for side in picture.shape[:2])
    middle = picture[rows : rows + SHARPNESS_PX, columns : columns + SHARPNESS_PX]
    grey = cv2.cvtColor(middle, cv2.COLOR_RGB2GRAY).astype(np.float32)
    low, high = np.percentile(grey, (1, 99))
    steepest = (
        np.percentile(np.abs(np.diff(cv2.blur(grey, (5, 1)), axis=0)), 99.9),
        np.percentile(np.abs(np.diff(cv2.blur(grey, (1, 5)), axis=1)), 99.9),
    )
    return float(min(steepest) / max(high - low, 1.0))
