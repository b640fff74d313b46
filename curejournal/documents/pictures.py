"""Pictures made from photos: small ones for a page, and ones with what was found drawn in."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.colour.sample import Grade
from curejournal.photo.measure.measurement import Measurement
from curejournal.photo.read.picture_file import Photo, Reduction

Pixels = NDArray[np.uint8]
Points = Sequence[tuple[float, float]]

CARD, AREA, FAULT = (255, 255, 255), (255, 225, 90), (255, 120, 90)


def small(photo: Photo, longest: int) -> bytes:
    """A JPEG in sRGB whose longer side has at most `longest` pixels, upright, without location or camera data.

    Raises
    ------
    PictureDamaged
    """
    return jpeg(shrunk(photo, longest))


def marked(photo: Photo, measurement: Measurement, longest: int) -> bytes:
    """The same with the card, the measured areas and the places in doubt outlined, and unusable ones crossed.

    Raises
    ------
    PictureDamaged
    """
    picture = shrunk(photo, longest)
    scale = picture.shape[1] / photo.width
    if measurement.corners:
        _outline(picture, measurement.corners, scale, CARD)
    for area in measurement.areas:
        _outline(picture, area.outline, scale, AREA)
    reasons = [*measurement.reasons, *(reason for area in measurement.areas for reason in area.reasons)]
    for reason in reasons:
        # A cross says that nothing is measured there: what only makes a colour doubtful is outlined.
        for outline in reason.outlines:
            _outline(picture, outline, scale, FAULT, crossed=reason.limit is Grade.NOT_USABLE)
    return jpeg(picture)


def outlined(photo: Photo, areas: Sequence[Points], faults: Sequence[Points], longest: int) -> bytes:
    """The part of a photo that some outlines lie in, as a JPEG: areas in yellow and numbered, faults in orange-red.

    Parameters
    ----------
    areas, faults : sequence of outlines
        In full-size pixels; without any the whole photo is shown. An empty one keeps its number.
    longest : int
        Pixels of the longer side.

    Raises
    ------
    PictureDamaged
    """
    picture, corner = photo.picture(), np.zeros(2)
    shown_ones = [np.array(outline) for outline in (*areas, *faults) if len(outline)]
    if shown_ones:
        points = np.vstack(shown_ones)
        room = 0.08 * np.ptp(points, axis=0).max()
        low = np.clip(points.min(axis=0) - room, 0, (photo.width - 1, photo.height - 1)).astype(int)
        high = np.clip(points.max(axis=0) + room + 1, low + 1, (photo.width, photo.height)).astype(int)
        picture, corner = picture[low[1] : high[1], low[0] : high[0]], low.astype(float)
    by = longest / max(picture.shape[:2])
    size = (max(1, round(picture.shape[1] * by)), max(1, round(picture.shape[0] * by)))
    shown = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA if by < 1 else cv2.INTER_CUBIC), np.uint8)
    shown = _in_srgb(photo, shown)
    for outlines, colour in ((areas, AREA), (faults, FAULT)):
        for number, outline in enumerate(outlines, 1):
            if not len(outline):
                continue
            moved = np.array(outline) - corner
            # Pieces and holes hang together by seams of no width, which are not to be seen.
            mask = np.zeros(shown.shape[:2], np.uint8)
            cv2.fillPoly(mask, [np.round(moved * by).astype(np.int32)], (1,))
            for piece in cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]:
                _outline(shown, piece[:, 0].tolist(), 1.0, colour)
            if colour == AREA and len(areas) > 1:
                # Beside the first corner of the outline, which lies on the area however it is shaped.
                high = shown.shape[1] // 14
                place = np.clip(by * moved[0] + (high // 3, 1.4 * high), high, np.array(shown.shape[1::-1]) - high)
                for ink, width in (((30, 26, 22), high // 4), (AREA, high // 10)):
                    at, size = place.astype(int).tolist(), high / 22
                    cv2.putText(shown, str(number), at, cv2.FONT_HERSHEY_SIMPLEX, size, ink, max(2, width), cv2.LINE_AA)
    return jpeg(shown)


def shrunk(photo: Photo, longest: int) -> Pixels:
    """The photo's pixels in sRGB, upright, with at most `longest` on the longer side: (H, W, 3), uint8.

    Raises
    ------
    PictureDamaged
    """
    factor = max(photo.width, photo.height) / longest
    steps: tuple[Reduction, ...] = (8, 4, 2)
    reduce: Reduction = next((step for step in steps if factor >= step), 1)
    picture = photo.picture(reduce)
    height, width = picture.shape[:2]
    by = min(1.0, longest / max(width, height))
    size = (max(1, round(width * by)), max(1, round(height * by)))
    return _in_srgb(photo, np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8))


def _in_srgb(photo: Photo, picture: Pixels) -> Pixels:
    if photo.encoding is not None:
        picture = np.round(255 * np.clip(photo.encoding.to_srgb(picture / 255), 0, 1)).astype(np.uint8)
    return np.ascontiguousarray(picture)


def _outline(
    picture: Pixels, points: Points, scale: float, colour: tuple[int, int, int], *, crossed: bool = False
) -> None:
    shape = np.round(np.array(points) * scale).astype(np.int32)
    thick = max(2, picture.shape[1] // 300)
    # A dark line beneath keeps a light one visible on white soap.
    for ink, width in (((30, 26, 22), thick + 3), (colour, thick)):
        cv2.polylines(picture, [shape], True, ink, width, cv2.LINE_AA)
        if crossed and len(shape) == 4:
            for start, end in ((0, 2), (1, 3)):
                cv2.line(picture, shape[start].tolist(), shape[end].tolist(), ink, width, cv2.LINE_AA)


def jpeg(picture: Pixels, quality: int = 86) -> bytes:
    """A JPEG without any metadata."""
    _, encoded = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])
    return encoded.tobytes()


def jpeg_within(picture: Pixels, most_bytes: int) -> bytes:
    """A JPEG of at most so many bytes: as good as fits, and smaller in pixels where that is not enough."""
    for quality in (86, 80, 72, 64):
        encoded = jpeg(picture, quality)
        if len(encoded) <= most_bytes:
            return encoded
    height, width = picture.shape[:2]
    size = (max(width * 3 // 4, 1), max(height * 3 // 4, 1))
    return jpeg_within(np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8), most_bytes)
