"""By which camera a photo was taken, and how much light it was given: what a phone writes into it (Exif)."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import ExifTags, Image

_LEAST, _MOST = 1e-9, 1e9
_NUMBERS = (
    ExifTags.Base.ExposureTime,
    ExifTags.Base.FNumber,
    ExifTags.Base.ISOSpeedRatings,
    ExifTags.Base.FocalLength,
)


@dataclass(frozen=True)
class Exposure:
    """A camera's make and model, its focal length in mm, and how bright it makes a surface; each only if known.

    `given` is seconds x ISO / f-number squared: twice as much makes the same surface twice as bright (ISO 12232).
    """

    camera: str = ""
    focal_mm: float | None = None
    given: float | None = None

    @classmethod
    def of(cls, exif: Image.Exif) -> Exposure:
        """What a picture file says of it; nothing known where it says nothing, or nothing that can be read."""
        try:
            inner = exif.get_ifd(ExifTags.IFD.Exif)
            named = (str(exif.get(tag, "")).strip("\0 ") for tag in (ExifTags.Base.Make, ExifTags.Base.Model))
            camera = " ".join(named).strip()
            seconds, f_number, iso, focal = (_number(inner.get(tag)) for tag in _NUMBERS)
        except Exception:  # broken EXIF is common and never a reason to refuse the picture
            return cls()
        return cls(camera, focal, seconds * iso / f_number**2 if seconds and f_number and iso else None)

    def same_camera(self, other: Exposure) -> bool:
        """Whether both are known to be of one camera and one of its lenses."""
        return bool(self.camera) and (self.camera, self.focal_mm) == (other.camera, other.focal_mm)


def _number(value: object) -> float | None:
    """A number that a camera can mean, or None."""
    if isinstance(value, tuple):
        value = value[0] if value else None
    try:
        number = float(value)  # type: ignore[arg-type]  # whatever a file holds: a rational, text, nothing
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if _LEAST < number < _MOST else None
