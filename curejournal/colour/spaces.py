"""Colour spaces: sRGB as files carry it, linear light, CIE XYZ and CIELAB.

The central space is CIELAB for illuminant D50 and the 2 degree observer, the
one in which reference values of charts are published. Pictures come as
*encoded* sRGB (IEC 61966-2-1) in [0, 1]; colours outside the sRGB gamut, such
as those of a Display P3 phone, lie outside that range and are carried on by
the mirrored curve, never cut off. Linear light is relative to the same
primaries; white is Y = 1. All functions take arrays of shape (..., 3).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# CIE 1931 2 degree chromaticities: sRGB primaries and D65 after IEC 61966-2-1; D50 rounded as scikit-image
# and colour-science have it (the ICC's own D50 moves a white by 0.05 in b*).
_PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_D65_XY = (0.3127, 0.3290)
_D50_XY = (0.3457, 0.3585)
# Bradford cone responses: Lam 1985 in the linearised form of ICC.1:2010, annex E.
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
# CIELAB, ISO/CIE 11664-4: the linear part near black.
_EPSILON, _KAPPA = 216.0 / 24389.0, 24389.0 / 27.0
# ASTM E313 yellowness, coefficients for D65 and the 2 degree observer.
_E313_CX, _E313_CZ = 1.2985, 1.1335


def _xyz_of(xy: tuple[float, float]) -> Array:
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def _adaptation(source: Array, target: Array) -> Array:
    gain = (_BRADFORD @ target) / (_BRADFORD @ source)
    return np.asarray(np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD)


WHITE_D50 = _xyz_of(_D50_XY)
_WHITE_D65 = _xyz_of(_D65_XY)
_D50_TO_D65 = _adaptation(WHITE_D50, _WHITE_D65)
_primaries = np.array([_xyz_of(xy) for xy in _PRIMARIES_XY]).T
LINEAR_RGB_TO_XYZ_D50 = _adaptation(_WHITE_D65, WHITE_D50) @ (_primaries * np.linalg.solve(_primaries, _WHITE_D65))
_XYZ_D50_TO_LINEAR_RGB = np.linalg.inv(LINEAR_RGB_TO_XYZ_D50)


def linear_from_srgb(encoded: ArrayLike) -> Array:
    """Encoded sRGB to linear light, mirrored below zero and carried on above one.

    Parameters
    ----------
    encoded : array_like of shape (..., 3)
        Encoded sRGB, 0 black and 1 white; may lie outside.

    Returns
    -------
    ndarray of shape (..., 3)

    References
    ----------
    .. [1] IEC 61966-2-1:1999; the mirrored extension as in its amendment 1 (2003).

    """
    encoded = np.asarray(encoded, dtype=float)
    size = np.abs(encoded)
    curve = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.sign(encoded) * curve)


def srgb_from_linear(linear_rgb: ArrayLike) -> Array:
    """Linear light to encoded sRGB, the inverse of `linear_from_srgb`; shape (..., 3).

    Parameters
    ----------
    linear_rgb : array_like of shape (..., 3)
        Linear sRGB (D65); white is 1.

    Returns
    -------
    ndarray of shape (..., 3)
        Encoded sRGB, not clipped.
    """
    linear_rgb = np.asarray(linear_rgb, dtype=float)
    size = np.abs(linear_rgb)
    curve = 1.055 * np.maximum(size, 0.0031308) ** (1 / 2.4) - 0.055
    return np.asarray(np.sign(linear_rgb) * np.where(size <= 0.0031308, 12.92 * size, curve))


def xyz_from_linear(linear_rgb: ArrayLike) -> Array:
    """Linear sRGB (D65) to XYZ under D50 by Bradford adaptation; shape (..., 3), white has Y = 1.

    Parameters
    ----------
    linear_rgb : array_like of shape (..., 3)
        Linear sRGB (D65); white is 1.

    Returns
    -------
    ndarray of shape (..., 3)
        XYZ under D50; white has Y = 1.
    """
    return np.asarray(np.asarray(linear_rgb, dtype=float) @ LINEAR_RGB_TO_XYZ_D50.T)


def linear_from_xyz(xyz_d50: ArrayLike) -> Array:
    """XYZ under D50 to linear sRGB (D65) by Bradford adaptation; shape (..., 3).

    Parameters
    ----------
    xyz_d50 : array_like of shape (..., 3)
        XYZ under D50; white has Y = 1.

    Returns
    -------
    ndarray of shape (..., 3)
        Linear sRGB (D65).
    """
    return np.asarray(np.asarray(xyz_d50, dtype=float) @ _XYZ_D50_TO_LINEAR_RGB.T)


def lab_from_xyz(xyz_d50: ArrayLike) -> Array:
    """XYZ under D50 to CIELAB D50 (ISO/CIE 11664-4); shape (..., 3).

    The linear part near black is carried on below zero, so that colours of
    slightly negative XYZ stay distinct.

    Parameters
    ----------
    xyz_d50 : array_like of shape (..., 3)
        XYZ under D50; white has Y = 1.

    Returns
    -------
    ndarray of shape (..., 3)
        CIELAB D50/2.
    """
    ratio = np.asarray(xyz_d50, dtype=float) / WHITE_D50
    root = np.where(ratio > _EPSILON, np.cbrt(np.maximum(ratio, _EPSILON)), (_KAPPA * ratio + 16.0) / 116.0)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def xyz_from_lab(lab: ArrayLike) -> Array:
    """CIELAB D50 to XYZ under D50, the inverse of `lab_from_xyz`; shape (..., 3).

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (..., 3)
        XYZ under D50; white has Y = 1.
    """
    lab = np.asarray(lab, dtype=float)
    y = (lab[..., 0] + 16.0) / 116.0
    root = np.stack([y + lab[..., 1] / 500.0, y, y - lab[..., 2] / 200.0], axis=-1)
    ratio = np.where(root > _EPSILON ** (1 / 3), root**3, (116.0 * root - 16.0) / _KAPPA)
    return ratio * WHITE_D50


def lab_from_linear(linear_rgb: ArrayLike) -> Array:
    """Linear sRGB to CIELAB D50; shape (..., 3).

    Parameters
    ----------
    linear_rgb : array_like of shape (..., 3)
        Linear sRGB (D65); white is 1.

    Returns
    -------
    ndarray of shape (..., 3)
        CIELAB D50/2.
    """
    return lab_from_xyz(xyz_from_linear(linear_rgb))


def linear_from_lab(lab: ArrayLike) -> Array:
    """CIELAB D50 to linear sRGB; shape (..., 3).

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (..., 3)
        Linear sRGB (D65), not clipped.
    """
    return linear_from_xyz(xyz_from_lab(lab))


def lab_from_srgb(encoded: ArrayLike) -> Array:
    """Encoded sRGB in [0, 1] to CIELAB D50; shape (..., 3).

    Parameters
    ----------
    encoded : array_like of shape (..., 3)
        Encoded sRGB in [0, 1].

    Returns
    -------
    ndarray of shape (..., 3)
        CIELAB D50/2.
    """
    return lab_from_linear(linear_from_srgb(encoded))


def srgb_from_lab(lab: ArrayLike) -> Array:
    """CIELAB D50 to encoded sRGB, not clipped; shape (..., 3).

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (..., 3)
        Encoded sRGB.
    """
    return srgb_from_linear(linear_from_lab(lab))


def lab_to_srgb8(lab: ArrayLike) -> NDArray[np.uint8]:
    """CIELAB D50 to 8-bit sRGB for a swatch on a screen, clipped to the gamut; shape (..., 3).

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50/2.

    Returns
    -------
    ndarray of shape (..., 3), uint8
        Encoded sRGB, 0 to 255.
    """
    return np.round(255.0 * np.clip(srgb_from_lab(lab), 0.0, 1.0)).astype(np.uint8)


def yellowness_e313(lab: ArrayLike) -> Array:
    """Yellowness index ASTM E313 for illuminant D65 and the 2 degree observer.

    The colour is adapted from D50 to D65 (Bradford) first, so a perfect white
    has about 0; meant for near-white and yellowish things.

    Parameters
    ----------
    lab : array_like of shape (..., 3)
        CIELAB D50.

    Returns
    -------
    ndarray of shape (...,)

    References
    ----------
    .. [1] ASTM E313, coefficients 1.2985 and 1.1335 for D65/2 degree.

    """
    xyz = xyz_from_lab(lab) @ _D50_TO_D65.T
    luminance = np.maximum(xyz[..., 1], 1e-9)
    return np.asarray(100.0 * (_E313_CX * xyz[..., 0] - _E313_CZ * xyz[..., 2]) / luminance)
