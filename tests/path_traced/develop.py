"""From a sensor's raw values to the JPEG that a phone would write."""

from __future__ import annotations

import io
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.path_traced.world import Camera, Shot

NOTICE = "Rendered, not a photograph"
BRIGHT = 0.80
"""Ours: an automatic exposure brings the 99th percentile of green to this share of full scale."""


def srgb_curve(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """IEC 61966-2-1, clipped to [0, 1]."""
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055).astype(np.float32)


def develop(raw: NDArray[np.float32], camera: Camera, seed: int) -> NDArray[np.uint8]:
    """White balance, noise, sensor's limit, matrix, tone and saturation: (H, W, 3) sRGB."""
    rng = np.random.default_rng(seed)
    height, width = raw.shape[:2]
    raw = np.maximum(raw, 0)
    if camera.vignetting:
        rows, columns = np.mgrid[:height, :width].astype(np.float32)
        away2 = ((columns - width / 2) ** 2 + (rows - height / 2) ** 2) / (0.25 * (width**2 + height**2))
        raw = raw * (1 - camera.vignetting * away2)[..., None]
    blur = float(np.hypot(camera.sharpness_px, camera.blur_px))
    if blur > 0.2:
        raw = cv2.GaussianBlur(raw, (0, 0), blur)
    if camera.shake_px:
        streak = np.full((1, max(2, round(camera.shake_px))), 1.0, np.float32)
        raw = cv2.filter2D(raw, -1, streak / streak.sum())
    raw = raw / max(float(np.percentile(raw[::4, ::4, 1], 99)), 1e-9) * BRIGHT * 2**camera.exposure_ev
    chance = rng.standard_normal(raw.shape, np.float32)
    raw = raw + chance * np.sqrt(np.clip(raw, 0, None) * camera.noise**2 + (0.3 * camera.noise) ** 2)
    # Where a channel is full its hue is lost: the limit comes before the matrix, where white is balanced.
    white = np.linalg.solve(camera.develop, np.ones(3))
    full_well = np.asarray(1.1 * white / white[1], np.float32)
    linear = np.clip(raw, 0, full_well) @ camera.develop.T.astype(np.float32)
    encoded = srgb_curve(linear)
    encoded = encoded + camera.contrast * encoded * (1 - encoded) * (2 * encoded - 0.75)
    luma = encoded @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    encoded = luma[..., None] + camera.saturation * (encoded - luma[..., None])
    return np.asarray(np.rint(np.clip(encoded, 0, 1) * 255), np.uint8)


def exif_of(shot: Shot) -> Image.Exif:
    """The date with its offset as a phone writes it, and the plain statement that this is no photograph."""
    tags = Image.Exif()
    tags[0x010E], tags[0x010F] = shot.exif.get("notice", NOTICE), "rendered"
    tags[0x0110], tags[0x0131] = shot.exif.get("camera", "spectral camera"), "tests/path_traced"
    if "at" in shot.exif:
        at = datetime.fromisoformat(shot.exif["at"])
        offset = at.strftime("%z")
        inner = tags.get_ifd(0x8769)
        inner[0x9003] = inner[0x9004] = at.strftime("%Y:%m:%d %H:%M:%S")
        inner[0x9011] = inner[0x9012] = f"{offset[:3]}:{offset[3:]}"
    return tags


def jpeg_of(raw: NDArray[np.float32], shot: Shot) -> bytes:
    """The file as the phone writes it."""
    out = io.BytesIO()
    picture = Image.fromarray(develop(raw, shot.camera, shot.seed))
    picture.save(out, "JPEG", quality=shot.camera.jpeg_quality, exif=exif_of(shot), optimize=True)
    return out.getvalue()
