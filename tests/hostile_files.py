"""Broken, huge, odd and hostile files, made with fixed seeds, and names that are not what they seem."""

from __future__ import annotations

import gzip
import io
import random
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping

import cv2
import numpy as np
from PIL import Image

from curejournal import workflow
from tests.scenes import draw_card

NAMES = {
    "markup": "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "attribute": '" onmouseover="alert(3)" x=\'',
    "markdown": "![x](https://example.org/x.png) [y](javascript:alert(4)) **b** $x$ `c` :red[d]",
    "template": "{{ 7*7 }} {% raw %} ${7*7} %s %d {0}",
    "path": "../../etc/passwd",
    "Windows path": "..\\..\\C:\\autoexec.bat",
    "device": "CON.jpg",
    "emoji": "🧼👩🏽‍🔬 pour",
    "right to left": "صابون الزيتون סבון",
    "combining": "Z̷̗̈́͘a̸͍͛ l̸̡̛g̶",
    "East Asian": "石鹸 비누",
    "formula": "=cmd|'/c calc'!A0",
    "SQL": "Robert'); DROP TABLE entry;--",
    "entity": "&lt;b&gt; &amp; &#x3C;i&#x3E;",
}
"""Names that are something else in some place where they are shown."""


def picture(seed: int, size: tuple[int, int] = (320, 240)) -> Image.Image:
    """A slope with noise, in which there is no card."""
    width, height = size
    chance = np.random.default_rng(seed)
    slope = np.linspace(40, 200, width)[None, :, None] + chance.normal(0, 12, (height, width, 3))
    return Image.fromarray(slope.clip(0, 255).astype(np.uint8))


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    """An image file."""
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def flipped(data: bytes, seed: int, share: float = 0.002) -> bytes:
    """The file with single bits of it turned over."""
    chance, changed = random.Random(seed), bytearray(data)
    for _ in range(max(3, round(share * len(data)))):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def png_chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk with its right sum."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, depth: int = 8, colour: int = 2, *chunks: bytes) -> bytes:
    """A PNG of these chunks between head and end."""
    head = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunks) + png_chunk(b"IEND", b"")


def with_segment(jpeg: bytes, marker: int, data: bytes) -> bytes:
    """A JPEG with one more segment at its beginning."""
    return jpeg[:2] + struct.pack(">BBH", 0xFF, marker, len(data) + 2) + data + jpeg[2:]


def with_size(jpeg: bytes, width: int, height: int) -> bytes:
    """A JPEG whose frame claims another size."""
    changed = bytearray(jpeg)
    struct.pack_into(">HH", changed, jpeg.index(b"\xff\xc0") + 5, height, width)
    return bytes(changed)


def tiff(*entries: tuple[int, int, int, int], following: int = 0) -> bytes:
    """A TIFF of one directory: tag, type, count, value."""
    body = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<I", 8) + body + struct.pack("<I", following)


FORMATS: dict[str, dict[str, object]] = {
    "JPEG": {"quality": 90},
    "PNG": {},
    "TIFF": {},
    "TIFF packed": {"compression": "tiff_lzw"},
    "WEBP": {"quality": 80},
    "WEBP lossless": {"lossless": True},
    "HEIF": {"quality": 80},
}


def broken(seed: int) -> Iterator[tuple[str, bytes]]:
    """Every format cut off, with bits turned over, with another's head."""
    chance = random.Random(seed)
    whole = {name: saved(picture(seed), name.split()[0], **options) for name, options in FORMATS.items()}
    card = Image.open(io.BytesIO(draw_card(workflow.find_card("window"), exposure_ev=-0.3).jpeg))
    card.thumbnail((1000, 1000))
    for name, options in FORMATS.items():
        shown = saved(card, name.split()[0], **options)
        for share in (0.02, 0.5, 0.9):
            yield f"{name}, {share:.0%} of a card's photo", shown[: int(share * len(shown))]
        for k in range(5):
            yield f"{name}, bits turned over {k}", flipped(whole[name], seed + k, (1e-4, 1e-3, 1e-2, 0.1, 0.5)[k])
        yield f"{name}, another head", chance.randbytes(16) + whole[name][16:]
        other = whole["PNG" if name != "PNG" else "JPEG"]
        yield f"{name}, the head of another format", other[:32] + whole[name][32:]
        yield f"{name}, the middle is zero", whole[name][:200] + bytes(len(whole[name]) - 400) + whole[name][-200:]


def odd() -> Iterator[tuple[str, bytes]]:
    """Sound pictures of kinds that no phone makes."""
    base = picture(5)
    grey = np.asarray(base.convert("L"))
    for mode in ("1", "L", "LA", "P", "RGBA", "I;16"):
        image = Image.fromarray(grey.astype(np.uint16) * 257) if mode == "I;16" else base.convert(mode)
        yield f"PNG of mode {mode}", saved(image, "PNG")
    for mode in ("1", "L", "LA", "P", "PA", "RGBA", "RGBX", "CMYK", "YCbCr", "LAB", "I;16", "I", "F"):
        image = Image.fromarray(grey.astype(np.uint16) * 257) if mode == "I;16" else base
        if mode == "LAB":
            image = Image.merge("LAB", base.split())
        elif mode != "I;16":
            image = base.convert("RGBA").convert(mode) if mode in ("PA", "RGBX") else base.convert(mode)
        yield f"TIFF of mode {mode}", saved(image, "TIFF")
    yield "TIFF of floats, some none", saved(Image.fromarray(np.where(grey > 99, np.nan, np.inf).astype("f4")), "TIFF")
    yield "TIFF of negative floats", saved(Image.fromarray(grey.astype("f4") - 500), "TIFF")
    deep = np.asarray(base).astype(np.uint16) * 257
    for suffix in (".png", ".tiff"):
        yield f"16 bits a channel {suffix}", cv2.imencode(suffix, deep)[1].tobytes()
    yield "P with transparency", saved(base.convert("P"), "PNG", transparency=bytes(range(256)))
    yield "JPEG of grey", saved(base.convert("L"), "JPEG")
    yield "JPEG of CMYK", saved(base.convert("CMYK"), "JPEG")
    yield "JPEG of CMYK with a profile of rubbish", saved(base.convert("CMYK"), "JPEG", icc_profile=bytes(500))
    yield "progressive JPEG", saved(base, "JPEG", progressive=True)
    frames = [picture(k, (64, 48)) for k in range(5)]
    for kind in ("WEBP", "PNG", "TIFF", "MPO"):
        yield f"{kind} of five frames", saved(frames[0], kind, save_all=True, append_images=frames[1:])
    for size in ((1, 1), (1, 500), (500, 1), (3, 2), (8, 8), (2000, 1)):
        for kind in ("PNG", "JPEG"):
            yield f"{kind} of {size[0]} x {size[1]}", saved(picture(1, size), kind)
    for kind in ("GIF", "BMP", "PPM", "TGA", "ICO", "PCX", "DDS", "PDF", "EPS", "JPEG2000"):
        yield f"a {kind}", saved(base, kind)
    yield "one black field", saved(Image.new("RGB", (640, 480)), "PNG")
    yield "one white field", saved(Image.new("RGB", (640, 480), "white"), "PNG")
    checks = np.indices((480, 640)).sum(0) // 16 % 2 * 255
    yield "a chequerboard", saved(Image.fromarray(checks.astype(np.uint8)), "PNG")
    yield "noise", saved(Image.fromarray(np.random.default_rng(3).integers(0, 256, (480, 640, 3), np.uint8)), "PNG")


def huge() -> Iterator[tuple[str, bytes]]:
    """Pictures that are, or claim to be, far larger than their files."""
    jpeg = saved(picture(7), "JPEG")
    for width, height in ((2**31 - 1, 2**31 - 1), (100_000, 100_000), (2**31 - 1, 1), (0, 10), (10, 0), (0, 0)):
        yield f"PNG claiming {width} x {height}", png(width, height, 8, 2, png_chunk(b"IDAT", zlib.compress(b"\0" * 9)))
    for width, height in ((65535, 65535), (65535, 1), (0, 100), (100, 0), (11_000, 11_000)):
        yield f"JPEG claiming {width} x {height}", with_size(jpeg, width, height)
    for width in (1, 2**31, 2**32 - 1):
        size = [(256, 4, 1, width), (257, 4, 1, width), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1)]
        yield f"TIFF claiming {width} squared", tiff(*size, (273, 4, 1, 8), (278, 4, 1, width), (279, 4, 1, 2**32 - 1))
    bits = Image.new("1", (11_300, 11_300))
    yield "PNG of 128 megapixels in a few kB", saved(bits, "PNG")
    rows = zlib.compress(bytes((20_000 // 8 + 1) * 20_000), 9)
    yield "PNG of 400 megapixels in a few kB", png(20_000, 20_000, 1, 0, png_chunk(b"IDAT", rows))
    bomb = zlib.compress(bytes(200_000_000), 9)
    for kind, head in ((b"zTXt", b"Comment\0\0"), (b"iCCP", b"profile\0\0"), (b"iTXt", b"Comment\0\1\0\0\0")):
        pixels = png_chunk(b"IDAT", zlib.compress(bytes(4 * 3)))
        yield f"PNG with a bomb in {kind.decode()}", png(1, 3, 8, 2, png_chunk(kind, head + bomb), pixels)
    yield "PNG whose pixels never end", png(4, 4, 8, 2, png_chunk(b"IDAT", bomb))
    yield "a file of 151 MB", jpeg + bytes(151_000_000)
    yield "a JPEG of 3000 comments", jpeg[:2] + b"\xff\xfe\x00\x10commentcomment" * 3000 + jpeg[2:]


def malformed(seed: int) -> Iterator[tuple[str, bytes]]:
    """Sound pictures with rubbish beside the pixels, and files that are no pictures."""
    jpeg, chance = saved(picture(seed), "JPEG"), random.Random(seed)
    loops = {
        "EXIF whose directory is its own next": tiff((274, 3, 1, 1), following=8),
        "EXIF whose inner directory is itself": tiff((0x8769, 4, 1, 8)),
        "EXIF beyond its end": tiff((0x8769, 4, 1, 2**31)),
        "EXIF of 2^32 values": tiff((0x9003, 2, 2**32 - 1, 8)),
        "EXIF of unknown types": tiff((0x9003, 99, 1, 1), (274, 0, 1, 1)),
        "EXIF of 65,535 entries": b"II*\0\x08\0\0\0\xff\xff" + bytes(5000),
        "EXIF of an orientation of 65,535": tiff((274, 3, 1, 65535)),
        "EXIF of an orientation as a ratio by nothing": tiff((274, 5, 1, 0)),
        "EXIF of the other byte order": b"MM\0*" + bytes(40),
        "EXIF cut off": b"II*\0",
        "EXIF of nothing": b"",
        "EXIF of noise": chance.randbytes(5000),
    }
    for name, data in loops.items():
        yield name, with_segment(jpeg, 0xE1, b"Exif\0\0" + data)
    for text in (
        "0000:00:00 00:00:00",
        "9999:99:99 99:99:99",
        "2026:10:01",
        "x" * 3000,
        "\0" * 19,
        "2026:02:30 10:00:00",
    ):
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0x9003] = text
        exif.get_ifd(0x8769)[0x9011] = "+99:99"
        yield f"EXIF dated {text[:22]!r}", saved(picture(9), "JPEG", exif=exif)
    profile = bytearray(132 + 12 * 9)
    profile[16:20], profile[36:40] = b"RGB ", b"acsp"
    for name, count, tag in (
        ("no tags", 0, b""),
        ("2^32 tags", 2**32 - 1, b""),
        ("a curve of 2^32 points", 9, b"curv\0\0\0\0" + struct.pack(">I", 2**32 - 1)),
        ("a curve of no function", 9, b"para\0\0\0\0" + struct.pack(">HH", 99, 0) + bytes(40)),
        ("a curve by nothing", 9, b"para\0\0\0\0" + struct.pack(">HH", 1, 0) + struct.pack(">3i", 65536, 0, 65536)),
        ("a gamma of nothing", 9, b"curv\0\0\0\0" + struct.pack(">IH", 1, 0)),
        ("one point of a table", 9, b"curv\0\0\0\0" + struct.pack(">IHH", 2, 65535, 0)),
    ):
        made = bytearray(profile)
        struct.pack_into(">I", made, 128, count)
        for k, key in enumerate((b"rTRC", b"gTRC", b"bTRC", b"rXYZ", b"gXYZ", b"bXYZ")):
            value = tag if k < 3 else b"XYZ \0\0\0\0" + struct.pack(">3i", 30000, 20000 + k, 1000 * k)
            struct.pack_into(">4sII", made, 132 + 12 * k, key, len(made), len(value))
            made += value
        yield f"ICC profile with {name}", saved(picture(9), "JPEG", icc_profile=bytes(made))
    yield "ICC profile of noise", saved(picture(9), "PNG", icc_profile=chance.randbytes(4000))
    yield "ICC profile in a thousandth part", with_segment(jpeg, 0xE2, b"ICC_PROFILE\0\x03\xe8" + bytes(100))
    yield "multi-picture index of noise", with_segment(jpeg, 0xE2, b"MPF\0" + chance.randbytes(300))
    yield (
        "XMP with entities",
        with_segment(jpeg, 0xE1, b'http://ns.adobe.com/xap/1.0/\0<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'),
    )
    yield "PNG without pixels", png(4, 4)
    yield "PNG of an unknown kind of colour", png(4, 4, 8, 5, png_chunk(b"IDAT", zlib.compress(bytes(60))))
    yield "PNG with a wrong sum", png(4, 4, 8, 2, png_chunk(b"IDAT", zlib.compress(bytes(60)))[:-1] + b"\0")
    yield "JPEG without a scan", jpeg[: jpeg.index(b"\xff\xda")] + b"\xff\xd9"
    yield "JPEG of two in one", jpeg + jpeg
    yield "WebP of an unknown chunk", b"RIFF\x1e\0\0\0WEBPVP9 " + bytes(30)
    yield "HEIF of a box within itself", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0\0\0\x08meta" * 500
    yield "an AVIF sequence", b"\0\0\0\x1cftypavis\0\0\0\0avisavifmif1" + bytes(200)
    yield "nothing", b""
    yield "one byte", b"\xff"
    yield "zeros", bytes(10_000)
    for k in range(5):
        yield f"noise {k}", chance.randbytes(20_000)
    yield "text", "Dear maker, ünïcode\n".encode() * 50
    yield "a page", b"<html><script>alert(1)</script></html>"
    yield "a drawing (SVG)", b'<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/></svg>'
    yield "a video", b"\0\0\0\x20ftypisom\0\0\2\0isomiso2avc1mp41" + bytes(5000)
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as inside:
        inside.writestr(zipfile.ZipInfo("../../x.jpg"), jpeg)
    yield "an archive", archive.getvalue()
    yield "a picture that is an archive too", jpeg + archive.getvalue()
    yield "a packed picture", gzip.compress(jpeg, mtime=0)
    yield "a program", b"\x7fELF\2\1\1" + bytes(500)


CARD = 'name = "x"\nsize_mm = [100.0, 60.0]\nkind = "measured"\nprovenance = "x"\n'
PATCH = '[[patches]]\nid = "{id}"\nx = {x}\ny = 1.0\nw = {w}\nh = 5.0\nsrgb = {srgb}\nlab_d50 = {lab}\n'


def patch(**changed: object) -> str:
    """A patch of a card's file, some of its values others than usual."""
    return PATCH.format(**{"id": "a", "x": 1.0, "w": 5.0, "srgb": [1, 2, 3], "lab": [50.0, 0.0, 0.0], **changed})


def texts() -> Iterator[tuple[str, bytes]]:
    """Files of cards, values, recipes and exported journals: each must be refused by all their readers."""
    cards = {
        "no fields": "x = 1\n",
        "an infinite place": CARD + patch(x="inf"),
        "no place": CARD + patch(x="nan"),
        "a negative width": CARD + patch(w=-5.0),
        "a patch outside": CARD + patch(x=99.0),
        "a patch twice": CARD + patch() + patch(),
        "colours of 999": CARD + patch(srgb=[999, 0, 0]),
        "two channels": CARD + patch(srgb=[1, 2]),
        "a colour that is none": CARD + patch(lab="[nan, 0.0, 0.0]"),
        "an endless colour": CARD + patch(lab="[1e400, 0.0, 0.0]"),
        "a size of nothing": CARD.replace("100.0", "0.0") + patch(),
        "a size of a planet": CARD.replace("100.0", "1e300") + patch(),
        "words for numbers": CARD + patch(x='"left"'),
        "5000 patches": CARD + "".join(patch(id=k) for k in range(5000)),
        "nested to no end": "a = " + "[" * 20_000,
        "tables to no end": ".".join("a" * 5000) + " = 1\n",
        "keys twice": CARD + CARD,
        "an unknown marker": CARD + patch() + '[[markers]]\ndictionary = "x"\nid = 1\nx = 1.0\ny = 1.0\nsize = 5.0\n',
        "a number of 10,000 digits": CARD + patch(srgb=f"[{'9' * 10_000}, 0, 0]"),
        "a date for a name": CARD.replace('"x"', "2026-01-01", 1) + patch(),
        "a megabyte": "#" + "x" * 1_100_000 + "\n",
        "controls": CARD + "\x01\x02\x7f",
    }
    for name, text in cards.items():
        yield f"card file: {name}", text.encode()
    yield "card file: no text", b"\xff\xfe\x00\x00\x80"
    yield "values: nested to no end", b"[" * 100_000
    yield "values: a quote that never ends", b'BEGIN_DATA_FORMAT "' + b"x" * 1_000_000
    yield "values: a line of 10 MB", b"id,L,a,b\n" + b"9" * 10_000_000
    yield "values: a million fields", b"BEGIN_DATA_FORMAT " + b"F " * 1_000_000 + b"END_DATA_FORMAT BEGIN_DATA END_DATA"
    yield "data: nested to no end", b'{"format": ' + b"[" * 100_000
    yield "data: a number of 100,000 digits", b'{"format": ' + b"9" * 100_000 + b"}"
    yield "data: a key twice", b'{"format": "curejournal data 1", "format": 1}'
    yield "data: half a letter", b'{"format": "\\ud800"}'


def damaged(whole: Mapping[str, bytes], seed: int) -> Iterator[tuple[str, bytes]]:
    """Sound archives cut off, with bits turned over, with a stretch of zeros, with another's end."""
    chance = random.Random(seed)
    for name, data in whole.items():
        yield f"{name}, cut off", data[: chance.randrange(len(data))]
        for k, share in enumerate((0.0, 1e-3, 1e-2)):
            yield f"{name}, bits turned over {k}", flipped(data, seed + k, share)
        place = chance.randrange(len(data))
        yield f"{name}, zeros", data[:place] + bytes(40) + data[place + 40 :]
        yield f"{name}, twice", data + data
        for other, end in whole.items():
            if other != name:
                yield f"{name} with the end of the {other}", data[: chance.randrange(len(data))] + end[-500:]


PICTURES: dict[str, Callable[[int], Iterator[tuple[str, bytes]]]] = {
    "broken": broken,
    "odd": lambda seed: odd(),
    "huge": lambda seed: huge(),
    "malformed": malformed,
}
SEEDED = ("broken", "malformed", "archives")
"""The groups that another seed makes again."""
