"""Files become upright pictures with a date and a colour encoding, or a clear refusal."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace
from datetime import datetime, timedelta

import colour
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from curejournal.photo.read.picture_file import (
    MAX_PIXELS,
    NotAPicture,
    PictureDamaged,
    PictureTooLarge,
    read_photo,
    taken_from_name,
)
from curejournal.photo.read.truncation import is_truncated


def stripes() -> Image.Image:
    """Red left, green right, blue foot: every turn and flip of it is told apart."""
    pixels = np.zeros((120, 200, 3), np.uint8)
    pixels[:, :100] = (200, 40, 40)
    pixels[:, 100:] = (40, 160, 60)
    pixels[90:] = (40, 60, 180)
    return Image.fromarray(pixels)


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
@pytest.mark.parametrize("reduce", [1, 2, 4])
def test_every_format_gives_the_same_picture(kind: str, reduce: int) -> None:
    photo = read_photo(saved(stripes(), kind, quality=95))
    assert (photo.width, photo.height) == (200, 120)
    picture = photo.picture(reduce)
    assert picture.shape == (120 // reduce, 200 // reduce, 3)
    for x, y, colour_there in ((40, 40, (200, 40, 40)), (160, 40, (40, 160, 60)), (100, 106, (40, 60, 180))):
        assert np.abs(picture[y // reduce, x // reduce].astype(int) - colour_there).max() < 12


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_every_orientation_comes_out_upright(orientation: int, kind: str) -> None:
    """Exif 2.31, tag 274; the turned pixels are made by Pillow's own inverse operations."""
    undo = {
        1: [],
        2: [Image.Transpose.FLIP_LEFT_RIGHT],
        3: [Image.Transpose.ROTATE_180],
        4: [Image.Transpose.FLIP_TOP_BOTTOM],
        5: [Image.Transpose.TRANSPOSE],
        6: [Image.Transpose.ROTATE_90],
        7: [Image.Transpose.TRANSVERSE],
        8: [Image.Transpose.ROTATE_270],
    }[orientation]
    turned = stripes()
    for step in undo:
        turned = turned.transpose(step)
    exif = Image.Exif()
    exif[274] = orientation
    photo = read_photo(saved(turned, kind, exif=exif, **({} if kind == "TIFF" else {"quality": 95})))
    assert (photo.width, photo.height) == (200, 120)
    assert np.abs(photo.picture().astype(int) - np.asarray(stripes()).astype(int)).mean() < 3


def dated(text: str, offset: str | None = None) -> bytes:
    exif = Image.Exif()
    inner = exif.get_ifd(0x8769)
    inner[0x9003] = text
    if offset:
        inner[0x9011] = offset
    return saved(stripes(), "JPEG", exif=exif)


def test_date_and_offset_come_from_exif() -> None:
    taken = read_photo(dated("2026:10:03 14:25:30", "+03:00")).taken
    assert taken is not None
    assert taken.isoformat == "2026-10-03T14:25:30+03:00"
    assert taken.source == "exif"


def test_a_camera_without_offset_says_only_its_own_clock() -> None:
    taken = read_photo(dated("2026:10:03 14:25:30")).taken
    assert taken is not None
    assert taken.offset is None


@pytest.mark.parametrize("text", ["", "0000:00:00 00:00:00", "2026:13:40 99:99:99", "yesterday", "\x00\x01"])
def test_a_malformed_date_is_no_date(text: str) -> None:
    assert read_photo(dated(text)).taken is None


@pytest.mark.parametrize("offset", ["+99:00", "hello", "+3", "+02:75"])
def test_a_malformed_offset_is_no_offset(offset: str) -> None:
    taken = read_photo(dated("2026:10:03 14:25:30", offset)).taken
    assert taken is not None
    assert taken.offset is None


@pytest.mark.parametrize(
    ("name", "when"),
    [
        ("IMG_20261003_142530.jpg", datetime(2026, 10, 3, 14, 25, 30)),
        ("PXL_20261003_142530123.jpg", datetime(2026, 10, 3, 14, 25, 30)),
        ("2026-10-03 14.25.30.heic", datetime(2026, 10, 3, 14, 25, 30)),
        ("Photo 2026-10-03 at 14.25.jpg", datetime(2026, 10, 3, 14, 25)),
        ("Picture 2026-10-03 at 10.15.30 PM.jpg", datetime(2026, 10, 3, 22, 15, 30)),
        ("Picture 2026-10-03 at 12.15.30\u202fAM.jpg", datetime(2026, 10, 3, 0, 15, 30)),
        ("Picture 2026-10-03 at 2.15.30 pm (1).jpg", datetime(2026, 10, 3, 14, 15, 30)),
        ("Picture 2026-10-03 at 12.15 PM.jpg", datetime(2026, 10, 3, 12, 15)),
        ("Picture 2026-10-03 at 2.15.30.jpg", None),
        ("Picture 2026-10-03 at 14.15 PM.jpg", None),
        ("20261003.jpg", None),
        ("IMG_0042.jpg", None),
        ("20261003_1425_and_20261004_1425.jpg", None),
        ("12345678901234567890.jpg", None),
        ("20260231_120000.jpg", None),
    ],
)
def test_a_name_tells_the_date_only_if_it_has_one_whole_one(name: str, when: datetime | None) -> None:
    taken = taken_from_name(name)
    assert (taken.local if taken else None) == when


@pytest.mark.parametrize("data", [b"not a picture", b"%PDF-1.7\n", bytes(1000), b"GIF89a" + bytes(50)])
def test_what_is_no_photo_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(NotAPicture, match=r"not a photo.*Nothing in the journal was changed"):
        read_photo(data)


def test_a_file_without_a_byte_is_told_so() -> None:
    with pytest.raises(NotAPicture, match=r"the file is empty.*Nothing in the journal was changed.*Copy it"):
        read_photo(b"")


FORMATS = {
    "JPEG": {"kind": "JPEG"},
    "progressive JPEG with a thumbnail": {"kind": "JPEG", "progressive": True, "exif": True},
    "PNG": {"kind": "PNG"},
    "WebP": {"kind": "WEBP"},
    "lossless WebP": {"kind": "WEBP", "lossless": True},
    "TIFF": {"kind": "TIFF"},
    "compressed TIFF, its list of contents at the end": {"kind": "TIFF", "compression": "tiff_lzw"},
    "HEIC": {"kind": "HEIF"},
}


def grainy(kind: str, *, exif: bool = False, **options: object) -> bytes:
    """A picture that fills its file: a part of the file is a part of the picture."""
    pixels = np.random.default_rng(1).integers(0, 255, (400, 400, 3), dtype=np.uint8)
    if exif:
        out = io.BytesIO()
        stripes().resize((80, 48)).save(out, "JPEG")
        options["exif"] = b"Exif\0\0" + _exif_with_thumbnail(out.getvalue())
    return saved(Image.fromarray(pixels), kind, **options)


def _exif_with_thumbnail(thumbnail: bytes) -> bytes:
    """A TIFF of two directories, the second with a JPEG in it (Exif 2.31, 4.5.8)."""
    second = struct.pack("<HHHIIHHIII", 2, 513, 4, 1, 44, 514, 4, 1, len(thumbnail), 0)
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<HI", 0, 14) + second + thumbnail


@pytest.mark.parametrize("part", [0.005, 0.05, 0.5, 0.95, -1])
@pytest.mark.parametrize("name", FORMATS)
def test_a_file_that_ends_too_early_is_told_so_in_every_format(name: str, part: float) -> None:
    data = grainy(**FORMATS[name])
    assert not is_truncated(data)
    assert read_photo(data).picture().shape == (400, 400, 3)
    cut = data[:-1] if part == -1 else data[: int(part * len(data))]
    assert is_truncated(cut)
    if part != -1:  # of a picture without its very last byte some readers make the whole
        with pytest.raises(PictureDamaged, match="ends too early: only a part of the photo is there"):
            read_photo(cut).picture()


@pytest.mark.parametrize(
    "data", [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\1\0WEBP", b"II*\0", b"\0\0\0 ftypheic"]
)
def test_the_first_bytes_alone_are_a_file_that_ends_too_early(data: bytes) -> None:
    with pytest.raises(PictureDamaged, match="ends too early"):
        read_photo(data)


@pytest.mark.parametrize("name", FORMATS)
def test_a_file_damaged_in_its_midst_is_not_said_to_end_early(name: str) -> None:
    data = grainy(**FORMATS[name])
    middle = len(data) // 2
    assert not is_truncated(data[:middle] + bytes(64) + data[middle + 64 :])


@pytest.mark.parametrize("part", [b"\xff\xe0\0\2", b"\xff\xe0\0\0", b"\0\0\0\0aaaa\0\0\0\0", b"\0\0\0\10free"])
@pytest.mark.parametrize(
    "head", [b"\xff\xd8\xff\xe0\0\2", b"\x89PNG\r\n\x1a\n", b"\0\0\0\10ftypheic", b"II*\0\10\0\0\0"]
)
def test_a_file_of_millions_of_empty_parts_is_not_walked_to_its_end(head: bytes, part: bytes) -> None:
    steps = 0

    def counted(*what: object) -> object:
        nonlocal steps
        steps += 1
        return unpack_from(*what)

    unpack_from = struct.unpack_from
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("curejournal.photo.read.truncation.struct.unpack_from", counted)
        is_truncated(head + part * 1_000_000)
    assert steps <= 200_000


def test_a_picture_that_can_only_be_decoded_whole_is_decoded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    decoded = []
    opened = Image.open
    monkeypatch.setattr(Image, "open", lambda *a, **k: decoded.append(1) or opened(*a, **k))
    photo = read_photo(saved(stripes(), "PNG"))
    before = len(decoded)
    pictures = [photo.picture(reduce) for reduce in (8, 4, 2, 1, 1, 8)]
    turned = replace(photo, orientation=6).picture()
    assert len(decoded) == before + 1
    assert (turned == np.rot90(pictures[3], -1)).all()
    assert (pictures[0] == pictures[5]).all()
    with pytest.raises(ValueError, match="read-only"):
        pictures[3][0] = 0


def png_claiming(width: int, height: int) -> bytes:
    """A few bytes that promise a huge picture."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("size", [(20_000, 10_000), (60_000, 60_000), (2**31 - 1, 1)])
def test_a_bomb_is_refused_before_it_is_decoded(size: tuple[int, int]) -> None:
    assert size[0] * size[1] > MAX_PIXELS
    with pytest.raises((PictureTooLarge, NotAPicture)):
        read_photo(png_claiming(*size))


def test_hidden_colour_under_transparency_stays_hidden() -> None:
    pixels = np.zeros((30, 30, 4), np.uint8)
    pixels[..., 0] = 255
    assert read_photo(saved(Image.fromarray(pixels), "PNG")).picture().min() == 255


def test_sixteen_bit_grey_is_scaled_not_clipped() -> None:
    grey = np.full((30, 30), 30_000, np.uint16)
    picture = read_photo(saved(Image.fromarray(grey), "PNG")).picture()
    assert np.abs(picture.astype(int) - round(30_000 / 257)).max() <= 1


def profile_of(name: str, gamma: float) -> bytes:
    """A minimal matrix profile of an RGB space of colour-science (ICC.1:2022)."""
    space = colour.RGB_COLOURSPACES[name]
    d50 = np.array([0.3457, 0.3585])
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(space.whitepoint), colour.xy_to_XYZ(d50), transform="Bradford"
    )
    columns = (adapt @ space.matrix_RGB_to_XYZ).T
    tags = {
        key: b"XYZ \0\0\0\0" + struct.pack(">3i", *np.round(column * 65536).astype(int))
        for key, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)
    }
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    body, table, at = b"", b"", 128 + 4 + 12 * len(tags)
    for key, tag in tags.items():
        table += struct.pack(">4sII", key, at + len(body), len(tag))
        body += tag
    head = bytearray(128)
    head[8:24] = struct.pack(">I4s4s4s", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head[36:40] = b"acsp"
    whole = bytes(head) + struct.pack(">I", len(tags)) + table + body
    return struct.pack(">I", len(whole)) + whole[4:]


@pytest.mark.parametrize("device", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.5, 0.5, 0.5), (0.8, 0.6, 0.3)])
def test_a_wide_gamut_profile_is_honoured_beyond_srgb(device: tuple[float, float, float]) -> None:
    """Against colour-science's RGB_to_RGB from Display P3 (gamma 2.2 here) to sRGB."""
    encoding = read_photo(saved(stripes(), "PNG", icc_profile=profile_of("Display P3", 2.2))).encoding
    assert encoding is not None
    ours = encoding.to_srgb(np.array([device]))[0]
    linear = colour.RGB_to_RGB(np.array(device) ** 2.2, "Display P3", "sRGB", chromatic_adaptation_transform="Bradford")
    theirs = np.sign(linear) * colour.cctf_encoding(np.abs(linear), function="sRGB")
    assert np.abs(ours - theirs).max() < 0.004


def test_srgb_and_broken_profiles_change_nothing() -> None:
    from PIL import ImageCms

    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert read_photo(saved(stripes(), "JPEG", icc_profile=srgb)).encoding is None
    assert read_photo(saved(stripes(), "JPEG", icc_profile=b"rubbish" * 40)).encoding is None
    assert read_photo(saved(stripes(), "JPEG", icc_profile=srgb[: len(srgb) // 3])).encoding is None


def test_an_offset_is_an_interval_of_time() -> None:
    taken = read_photo(dated("2026:10:03 14:25:30", "-04:30")).taken
    assert taken is not None
    assert taken.offset == timedelta(hours=-4, minutes=-30)


def test_a_ten_bit_heic_gives_the_colours_of_its_eight_bit_twin() -> None:
    ramp = np.linspace(0, 65535, 256)[None, :, None] * np.ones((64, 1, 3))
    out = io.BytesIO()
    pillow_heif.from_bytes("RGB;16", (256, 64), ramp.astype(np.uint16).tobytes()).save(out, quality=95)
    assert pillow_heif.open_heif(out.getvalue(), convert_hdr_to_8bit=False).mode == "RGB;16"
    picture = read_photo(out.getvalue()).picture()
    assert np.abs(picture[32, :, 1].astype(int) - np.arange(256)).max() <= 4


def test_a_phones_multi_picture_file_gives_its_first_picture() -> None:
    """MPO (CIPA DC-007): as phones store a picture with its depth or gain map behind it."""
    second = Image.new("RGB", (200, 120), (0, 0, 0))
    out = io.BytesIO()
    stripes().save(out, "MPO", save_all=True, append_images=[second], quality=95)
    photo = read_photo(out.getvalue())
    assert photo.suffix == ".jpg"
    assert np.abs(photo.picture().astype(int) - np.asarray(stripes()).astype(int)).mean() < 3


def test_a_gain_map_behind_the_picture_changes_nothing() -> None:
    """An HDR JPEG is a plain JPEG with more bytes after its end: the base picture is what is measured."""
    plain = saved(stripes(), "JPEG", quality=95)
    hdr = plain + saved(Image.new("L", (100, 60), 128), "JPEG")
    assert (read_photo(hdr).picture() == read_photo(plain).picture()).all()
