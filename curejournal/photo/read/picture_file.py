"""Bytes of a picture file to a Photo: upright pixels at the scale asked for, date, colour encoding.

The header is read with Pillow behind a list of permitted formats and a limit
on the number of pixels *before* anything is decoded. JPEGs are then decoded by
OpenCV, straight to a half, a quarter or an eighth where that is enough (a third
of the time of a whole decode); everything else by Pillow.
"""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from typing import Literal

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, TiffImagePlugin, WebPImagePlugin

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.photo.read.exposure import Exposure
from curejournal.photo.read.profile import Encoding, encoding_of
from curejournal.photo.read.truncation import is_truncated

# Pillow loads its readers one by one, and does not know a permitted format whose reader is not loaded yet.
Image.preinit()
_READERS = (TiffImagePlugin, WebPImagePlugin)

# Phones' multi-picture files (MPO) come through the JPEG reader.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
SUFFIXES = {"JPEG": ".jpg", "MPO": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp", "HEIF": ".heic"}
# Ours: above the 108 megapixels of today's phones, below what exhausts a small machine.
MAX_PIXELS = 128_000_000
MAX_BYTES = 150_000_000
# Ours: a thumbnail has more; what is narrower shows nothing to measure, and has no middle, rims or neighbours.
MIN_SIDE = 24

pillow_heif.register_heif_opener(thumbnails=False)
Image.MAX_IMAGE_PIXELS = MAX_PIXELS

Pixels = NDArray[np.uint8]
Reduction = Literal[1, 2, 4, 8]


class NotAPicture(CureJournalError):
    """The bytes are no picture of a kind that is read here."""


class PictureDamaged(CureJournalError):
    """The file begins as a picture but cannot be decoded whole."""


class PictureTooLarge(CureJournalError):
    """More pixels or bytes than any phone makes."""


@dataclass(frozen=True)
class Taken:
    """When a photo was taken: local clock time, its offset from UTC if known, and who says so."""

    local: datetime
    offset: timedelta | None
    source: Literal["exif", "file name"]

    @property
    def isoformat(self) -> str:
        """ISO 8601, with the offset if it is known."""
        if self.offset is None:
            return self.local.isoformat()
        return self.local.replace(tzinfo=timezone(self.offset)).isoformat()


@dataclass(frozen=True)
class Photo:
    """A photo that has passed the gate. `width`, `height` are of the upright full-size picture."""

    data: bytes = field(repr=False)
    format: str
    width: int
    height: int
    orientation: int
    mode: str
    taken: Taken | None
    encoding: Encoding | None
    exposure: Exposure
    # Formats that cannot be decoded to a part of their size are decoded once, however many sizes are asked for.
    _whole: list[Pixels] = field(default_factory=list, repr=False, compare=False)

    @property
    def suffix(self) -> str:
        """The file name suffix of its format."""
        return SUFFIXES[self.format]

    def picture(self, reduce: Reduction = 1) -> Pixels:
        """Decode upright, at 1/reduce of the full size.

        Returns
        -------
        ndarray of shape (H, W, 3), uint8
            RGB as encoded in the file; `encoding` takes it to sRGB.

        Raises
        ------
        PictureDamaged
        """
        if self.format in ("JPEG", "MPO") and self.mode in ("RGB", "L"):
            flags = _REDUCED[reduce] | cv2.IMREAD_IGNORE_ORIENTATION
            decoded = cv2.imdecode(np.frombuffer(self.data, np.uint8), flags)
            if decoded is None:
                raise _damaged(self.data)
            rgb = cv2.cvtColor(decoded, cv2.COLOR_BGR2RGB)
        else:
            if not self._whole:
                self._whole.append(_decoded_by_pillow(self.data))
                self._whole[0].setflags(write=False)  # whoever asks for it whole is given this very one
            rgb = self._whole[0]
            if reduce > 1:
                rows, columns = (max(1, side // reduce) for side in rgb.shape[:2])
                whole = rgb[: rows * reduce, : columns * reduce]
                rgb = np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)
        return np.ascontiguousarray(_upright(np.asarray(rgb, np.uint8), self.orientation))


_REDUCED = {
    1: cv2.IMREAD_COLOR,
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}


def read_photo(data: bytes) -> Photo:
    """Pass a file through the gate: format, size, date, orientation and profile, without decoding it.

    Parameters
    ----------
    data : bytes
        The file as it came.

    Returns
    -------
    Photo
        Its pixels are decoded when they are asked for.

    Raises
    ------
    NotAPicture, PictureTooLarge, PictureDamaged
    """
    with _opened(data) as image:
        width, height = image.size
        if width * height > MAX_PIXELS:
            raise _too_large(msg("{height:.0f} megapixels", height=width * height / 1e6))
        if min(width, height) < MIN_SIDE:
            raise NotAPicture(
                msg("The picture has only {width} × {height} pixels.", width=width, height=height),
                msg("Choose the photo itself, not a small copy."),
            )
        orientation, taken, exposure = _told_by_exif(image)
        encoding = encoding_of(image.info.get("icc_profile"), image.mode)
        if orientation >= 5:
            width, height = height, width
        return Photo(data, image.format or "", width, height, orientation, image.mode, taken, encoding, exposure)


def _opened(data: bytes) -> Image.Image:
    """The picture with its header read, and nothing decoded."""
    if not data:
        raise NotAPicture(msg("This is not a photo yet: the file is empty."), msg("Copy it from the phone again."))
    if len(data) > MAX_BYTES:
        raise PictureTooLarge(
            msg(
                "The file has {data:.0f} MB; a photo has at most {max_bytes:.0f}.",
                data=len(data) / 1e6,
                max_bytes=MAX_BYTES / 1e6,
            ),
            msg("Take the photo with the phone's usual setting."),
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # they are for programmers, and would stand among the answers
            return Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as bomb:
        raise _too_large(msg("far more than any phone makes")) from bomb
    except Exception as fault:  # Pillow's readers raise many kinds on hostile bytes
        if is_truncated(data):
            raise _damaged(data) from fault
        raise NotAPicture(
            msg("This is not a photo that can be read (JPEG, HEIC, PNG, TIFF or WebP)."),
            msg("Choose the photo itself, not a video, a document or a link to it."),
        ) from fault


def _told_by_exif(image: Image.Image) -> tuple[int, Taken | None, Exposure]:
    """How the picture lies, Exif orientation 1 to 8; when and by what light it was taken, if its EXIF says so."""
    try:
        exif = image.getexif()
        orientation = int(exif.get(ExifTags.Base.Orientation, 1) or 1)
        taken = taken_from_exif(exif)
    except Exception:  # broken EXIF is common and never a reason to refuse the picture
        return 1, None, Exposure()
    # Pillow turns a TIFF itself, its size and its pixels: turned again it would lie wrong.
    if orientation not in range(1, 9) or image.format == "TIFF":
        orientation = 1
    return orientation, taken, Exposure.of(exif)


def taken_from_exif(exif: Image.Exif) -> Taken | None:
    """DateTimeOriginal with OffsetTimeOriginal (Exif 2.31), or None if absent or malformed.

    Parameters
    ----------
    exif : Image.Exif

    Returns
    -------
    Taken or None
    """
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    text = str(inner.get(ExifTags.Base.DateTimeOriginal, "")).strip("\0 ")
    try:
        local = datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    offset = str(inner.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\0 ")
    match = re.fullmatch(r"([+-])(\d\d):(\d\d)", offset)
    delta = None
    if match and int(match[2]) <= 14 and int(match[3]) < 60:
        delta = timedelta(hours=int(match[2]), minutes=int(match[3])) * (-1 if match[1] == "-" else 1)
    return Taken(local, delta, "exif")


_NAME_DATE = re.compile(
    r"(?<!\d)(20\d\d)[-_.]?(0[1-9]|1[0-2])[-_.]?(0[1-9]|[12]\d|3[01])"
    r"[-_ T.](?:at )?([01]\d|2[0-3]|\d(?=[-_.:]))[-_.:h]?([0-5]\d)(?:[-_.:m]?([0-5]\d))?(?:[\s_-]?([AP])M\b)?",
    re.IGNORECASE,
)


def taken_from_name(name: str) -> Taken | None:
    """The date and time in a file name, if it has exactly one (`IMG_20260903_141502.jpg`), be it with AM or PM.

    Parameters
    ----------
    name : str
        Of the file.

    Returns
    -------
    Taken or None
    """
    found = {match.groups() for match in _NAME_DATE.finditer(name)}
    if len(found) != 1:
        return None
    *parts, half = found.pop()
    year, month, day, hour, minute, second = (int(part or 0) for part in parts)
    if half is None and len(parts[3]) == 1:
        return None
    if half is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.upper() == "P" else 0)
    try:
        return Taken(datetime(year, month, day, hour, minute, second), None, "file name")
    except ValueError:
        return None


def _decoded_by_pillow(data: bytes) -> Pixels:
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as image:
            image.load()
            if image.mode.startswith("I") or image.mode == "F":
                # convert("RGB") would clip 16 bits to white.
                values = np.asarray(image, dtype=np.float64)
                grey = np.clip(values / (257.0 if values.max(initial=0) > 255 else 1.0), 0, 255).astype(np.uint8)
                return np.repeat(grey[..., None], 3, axis=2)
            if image.mode == "CMYK" and image.info.get("icc_profile"):
                profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
                converted = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"), outputMode="RGB")
                return np.asarray(converted)
            if "A" in image.mode or "transparency" in image.info:
                # Hidden colour under full transparency must not come back: lay it on white.
                rgba = image.convert("RGBA")
                image_on_white = Image.new("RGBA", rgba.size, (255, 255, 255, 255))
                return np.asarray(Image.alpha_composite(image_on_white, rgba).convert("RGB"))
            return np.asarray(image.convert("RGB"))
    except Exception as fault:  # any decoder fault means the same to the maker
        raise _damaged(data) from fault


def _upright(rgb: Pixels, orientation: int) -> Pixels:
    """Exif orientation 1 to 8 undone."""
    if orientation >= 5:
        rgb = rgb.transpose(1, 0, 2)
    if orientation in (2, 3, 6, 7):
        rgb = rgb[:, ::-1]
    if orientation in (3, 4, 7, 8):
        rgb = rgb[::-1]
    return rgb


def _damaged(data: bytes) -> PictureDamaged:
    return PictureDamaged(
        msg("The file ends too early: only a part of the photo is there.")
        if is_truncated(data)
        else msg("The photo is damaged."),
        msg("Copy it from the phone again and try once more."),
    )


def _too_large(how: str) -> PictureTooLarge:
    return PictureTooLarge(
        msg("The picture is too large to read: {how}.", how=how),
        msg("Use a photo of at most {max_pixels} megapixels.", max_pixels=MAX_PIXELS // 1_000_000),
    )
