"""What a picture's numbers mean: its ICC profile as curves and a matrix into sRGB.

Only matrix/TRC profiles are read (phones and cameras embed nothing else). The
library's colour management works in 8 bits and clips outside sRGB, so the tags
are read here and applied in float to the few colours that are measured.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg
from curejournal.colour.spaces import linear_from_xyz, srgb_from_linear


@dataclass(frozen=True)
class Encoding:
    """Device RGB to sRGB: `curves` of shape (3, 1024) to linear, `matrix` from linear device RGB to XYZ D50."""

    name: str
    curves: tuple[tuple[float, ...], ...]
    matrix: tuple[tuple[float, ...], ...]

    def to_srgb(self, device: NDArray[np.float64]) -> NDArray[np.float64]:
        """Encoded device values (..., 3) in [0, 1] to encoded sRGB, beyond [0, 1] for colours outside it."""
        at = np.linspace(0.0, 1.0, len(self.curves[0]))
        linear = np.stack([np.interp(device[..., i], at, np.asarray(self.curves[i])) for i in range(3)], axis=-1)
        return srgb_from_linear(linear_from_xyz(linear @ np.asarray(self.matrix).T))


def encoding_of(profile: bytes | None, mode: str) -> Encoding | None:
    """The encoding that an ICC profile describes; None for sRGB, no profile, or one that cannot be used.

    Parameters
    ----------
    profile : bytes or None
        As embedded in the file.
    mode : str
        Of Pillow: "RGB", "L", "CMYK", …

    Returns
    -------
    Encoding or None

    References
    ----------
    .. [1] ICC.1:2022, Image technology colour management, 9.2 and 10.6, 10.18.
    """
    if not profile or mode not in ("RGB", "RGBA", "L", "P"):
        return None
    try:
        tags = _tags(profile)
        with np.errstate(all="ignore"):
            curves = np.stack([_curve(tags[key]) for key in (b"rTRC", b"gTRC", b"bTRC")])
        matrix = np.stack([_xyz(tags[key]) for key in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=1)
    except (KeyError, struct.error, ValueError, IndexError, ZeroDivisionError):
        return None
    if not (np.isfinite(curves).all() and np.isfinite(matrix).all() and abs(np.linalg.det(matrix)) > 1e-4):
        return None
    encoding = Encoding(
        msg("ICC matrix profile"),
        tuple(tuple(float(v) for v in row) for row in curves),
        tuple(tuple(float(v) for v in row) for row in matrix),
    )
    ramp = np.stack(np.meshgrid(*[np.linspace(0, 1, 4)] * 3), axis=-1)
    same = np.abs(encoding.to_srgb(ramp) - ramp).max() < 2 / 255
    return None if same else encoding


def _tags(profile: bytes) -> dict[bytes, bytes]:
    if profile[36:40] != b"acsp" or profile[16:20] != b"RGB ":
        raise ValueError
    (count,) = struct.unpack_from(">I", profile, 128)
    if count > 200:
        raise ValueError
    tags = {}
    for i in range(count):
        key, start, size = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        tags[key] = profile[start : start + size]
    return tags


def _xyz(tag: bytes) -> NDArray[np.float64]:
    if tag[:4] != b"XYZ ":
        raise ValueError
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536.0


def _curve(tag: bytes, samples: int = 1024) -> NDArray[np.float64]:
    at = np.linspace(0.0, 1.0, samples)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return at
        values = np.array(struct.unpack_from(f">{count}H", tag, 12), dtype=float)
        if count == 1:
            return np.asarray(at ** (values[0] / 256.0))
        return np.interp(at, np.linspace(0, 1, count), values / 65535.0)
    if tag[:4] != b"para":
        raise ValueError
    (kind,) = struct.unpack_from(">H", tag, 8)
    number = (1, 3, 4, 5, 7)[kind]
    g, a, b, c, d, e, f = (np.array(struct.unpack_from(f">{number}i", tag, 12)) / 65536.0).tolist() + [0.0] * (
        7 - number
    )
    if kind == 0:
        return np.asarray(at**g)
    if kind in (1, 2):
        return np.asarray(np.where(at >= -b / a, np.clip(a * at + b, 0, None) ** g, 0.0) + (c if kind == 2 else 0.0))
    return np.asarray(np.where(at >= d, np.clip(a * at + b, 0, None) ** g + e, c * at + f))
