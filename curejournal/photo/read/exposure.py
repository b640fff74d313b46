"""By which camera a photo was taken, and how much light it was given: what a phone writes into it (Exif)."""

from __future__ import annotations

import io
from dataclasses import dataclass

from PIL import ExifTags, Image

from curejournal.photo.read.picture_file import FORMATS

_LEAST, _MOST = 1e-9, 1e9


@dataclass(frozen=True)
class Exposure:
    """A camera's make and model, its focal length in mm, and how bright it makes a surface; each only if known.

    `given` is seconds x ISO / f-number squared: twice as much makes the same surface twice as bright (ISO 12232).
    """

    camera: str
    focal_mm: float | None
    given: float | None

    def same_camera(self, other: Exposure) -> bool:
        """Whether both are known to be of one camera and one of its lenses."""
        return bool(self.camera) and (self.camera, self.focal_mm) == (other.camera, other.focal_mm)


def exposure_of(data: bytes) -> Exposure:
    """What a picture file says of its exposure; nothing known where it says nothing, or nothing that can be read.

    Parameters
    ----------
    data : bytes
        The file as it came.

    Returns
    -------
    Exposure
    """
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as image:
            tags = image.getexif()
            inner = tags.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # broken EXIF is common and never a reason to refuse the picture
        return Exposure("", None, None)
    camera = " ".join(str(tags.get(tag, "")).strip("\0 ") for tag in (ExifTags.Base.Make, ExifTags.Base.Model)).strip()
    seconds, f_number, iso, focal = (
        _number(inner.get(tag))
        for tag in (
            ExifTags.Base.ExposureTime,
            ExifTags.Base.FNumber,
            ExifTags.Base.ISOSpeedRatings,
            ExifTags.Base.FocalLength,
        )
    )
    given = seconds * iso / f_number**2 if seconds and f_number and iso else None
    return Exposure(camera, focal, given)


def _number(value: object) -> float | None:
    """A number that a camera can mean, or None."""
    if isinstance(value, tuple):
        value = value[0] if value else None
    try:
        number = float(value)  # type: ignore[arg-type]  # whatever a file holds: a rational, text, nothing
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if _LEAST < number < _MOST else None
