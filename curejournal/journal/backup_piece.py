"""What a backup that was cut short has left: the photos at its beginning, after which the next try goes on."""

from __future__ import annotations

import hashlib
import struct
import zipfile
import zlib
from collections.abc import Collection
from pathlib import Path
from typing import BinaryIO

# PKWARE APPNOTE 4.3.7, the head of a member, and 4.5.3, its sizes of 64 bits, which ours all have.
_HEAD = struct.Struct("<4s5H3L2H")
_SIZES = struct.Struct("<2H2Q")
# Bytes read at once.
_CHUNK = 1 << 20


def take_up(file: BinaryIO, wanted: Collection[str]) -> list[zipfile.ZipInfo]:
    """The photos at the beginning of an archive without an end, each read and verified; what follows them is cut off.

    Parameters
    ----------
    file : BinaryIO
        The archive; afterwards it ends, and stands, where the next member goes.
    wanted : collection of str
        The names of the photos that are to be in it: no other stays.
    """
    found, end = list[zipfile.ZipInfo](), 0
    file.seek(0)
    while (member := _next(file, wanted)) is not None:
        member.header_offset, end = end, file.tell()
        found.append(member)
    file.seek(end)
    file.truncate()
    return found


def _next(file: BinaryIO, wanted: Collection[str]) -> zipfile.ZipInfo | None:
    head = file.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    signature, _, _, method, _, _, crc, _, _, length_of_name, length_of_extra = _HEAD.unpack(head)
    name = file.read(length_of_name).decode("ascii", "replace")
    extra = file.read(length_of_extra)
    if (signature, method, len(extra)) != (b"PK\3\4", zipfile.ZIP_STORED, _SIZES.size) or name not in wanted:
        return None
    member = zipfile.ZipInfo(name)
    member.CRC, (_, _, member.file_size, member.compress_size) = crc, _SIZES.unpack(extra)
    digest, sum_, left = hashlib.sha256(), 0, member.file_size
    while left and (chunk := file.read(min(left, _CHUNK))):
        digest.update(chunk)
        sum_, left = zlib.crc32(chunk, sum_), left - len(chunk)
    return member if (left, sum_, digest.hexdigest()) == (0, crc, Path(name).stem) else None
