"""Whether a picture file ends before its own structure says that it does: half copied, half sent."""

from __future__ import annotations

import struct

_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif")
_TIFF_OFFSETS, _TIFF_SIZES = (273, 324), (279, 325)
"""Strips and tiles: where they begin, how long they are (TIFF 6.0, sections 8 and 15)."""

_MOST = 100_000
"""Parts of a file that are looked at. Ours: five times what the largest photo has in the smallest usual pieces."""


def format_of_header(data: bytes) -> str:
    """The format that a file's first bytes promise, empty if none that is read here.

    Parameters
    ----------
    data : bytes
        The file as it came.

    Returns
    -------
    str
        As in `picture_file.FORMATS`.
    """
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WEBP"
    if data[:4] in (b"II*\0", b"MM\0*"):
        return "TIFF"
    return "HEIF" if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS else ""


def is_truncated(data: bytes) -> bool:
    """Whether bytes are missing at the end of a picture file, as far as its structure tells.

    Parameters
    ----------
    data : bytes
        The file as it came.

    Returns
    -------
    bool

    References
    ----------
    .. [1] JPEG: ITU-T T.81, B.1.1.3. PNG: ISO/IEC 15948, 11.2.5. WebP: RFC 9649, 2.4. TIFF 6.0, section 2.
       HEIF: ISO/IEC 14496-12, 4.2.
    """
    try:
        return _ENDS[format_of_header(data)](data)
    except (KeyError, struct.error):
        # Not even what says how long it should be is there.
        return bool(format_of_header(data))


def _jpeg(data: bytes) -> bool:
    at = 2
    for _ in range(_MOST):  # marker by marker up to the picture itself: a thumbnail before it has an end of its own
        marker, length = struct.unpack_from(">HH", data, at)
        if marker == 0xFFDA:
            return data.find(b"\xff\xd9", at) < 0
        if marker >> 8 != 0xFF:
            return False
        at += 2 + length
    return False


def _png(data: bytes) -> bool:
    at = 8
    for _ in range(_MOST):
        length, kind = struct.unpack_from(">I4s", data, at)
        at += 12 + length
        if kind == b"IEND" or at > len(data):
            return bool(at > len(data))
    return False


def _webp(data: bytes) -> bool:
    return len(data) < 8 + int(struct.unpack_from("<I", data, 4)[0])


def _tiff(data: bytes) -> bool:
    order = "<" if data.startswith(b"II") else ">"
    at = struct.unpack_from(f"{order}I", data, 4)[0]
    found: dict[int, tuple[int, ...]] = {}
    for entry in range(struct.unpack_from(f"{order}H", data, at)[0]):
        tag, kind, count = struct.unpack_from(f"{order}HHI", data, at + 2 + 12 * entry)
        if tag in (*_TIFF_OFFSETS, *_TIFF_SIZES) and kind in (3, 4) and count <= _MOST:
            values = f"{order}{count}{'H' if kind == 3 else 'I'}"
            place = at + 10 + 12 * entry
            if struct.calcsize(values) > 4:
                place = struct.unpack_from(f"{order}I", data, place)[0]
            found[tag] = struct.unpack_from(values, data, place)
    pairs = zip(_TIFF_OFFSETS, _TIFF_SIZES, strict=True)
    return any(
        begins + size > len(data)
        for offsets, sizes in pairs
        for begins, size in zip(found.get(offsets, ()), found.get(sizes, ()), strict=False)
    )


def _heif(data: bytes) -> bool:
    at = 0
    for _ in range(_MOST):
        if at >= len(data):
            break
        size, _ = struct.unpack_from(">I4s", data, at)
        if size == 0:  # to the end, wherever that is
            return False
        at += struct.unpack_from(">Q", data, at + 8)[0] if size == 1 else max(size, 8)
    return at > len(data)


_ENDS = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "TIFF": _tiff, "HEIF": _heif}
