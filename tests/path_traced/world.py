"""What a path-traced photograph is of: surfaces, things, lamps, a lens and a camera, as plain values.

Lengths are millimetres, z is up, spectra are sampled at `NM`. A `Shot` holds all that decides a picture, so its
fingerprint names the picture in the cache. Nothing here needs a renderer: `tests.path_traced.tracer` has it.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
NM = np.arange(380.0, 781.0, 5.0)
"""The wavelengths of `tests.spectra`, again, so that a machine which only renders needs no colour library."""
EDITION = 1
"""Increment if the renderer or the picture processing changes what a shot looks like."""

# Of a rough plastic lit at 45 degrees and seen at 0, gloss excluded: the reflectance is k rho / (1 - f rho) for a base
# reflectance rho. k and f by microfacet model and roughness for an index of 1.45, evaluated with Mitsuba 3.9.1's
# `roughplastic` (nonlinear); tests/path_traced/test_path_traced.py evaluates it again where Mitsuba is installed.
ROUGHNESS = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50)
AT_45_0 = {
    "beckmann": (
        (0.4399, 0.4396, 0.4392, 0.4386, 0.4378, 0.4368, 0.4357, 0.4346, 0.4334, 0.4322),
        (0.5542, 0.5491, 0.5407, 0.5291, 0.5144, 0.4969, 0.4769, 0.4550, 0.4317, 0.4078),
    ),
    "ggx": (
        (0.4395, 0.4382, 0.4362, 0.4336, 0.4305, 0.4269, 0.4227, 0.4180, 0.4127, 0.4069),
        (0.5442, 0.5198, 0.4887, 0.4543, 0.4189, 0.3840, 0.3507, 0.3195, 0.2905, 0.2640),
    ),
}
INDEX = 1.45
BRIGHTEST_BASE = 0.97
"""Ours: no base scatters all light back."""


@dataclass(frozen=True)
class Finish:
    """How a surface shines: a rough clear interface over its colour, and a share of plain matt beside it."""

    roughness: float = 0.25
    model: str = "beckmann"
    matt: float = 0.0

    def seen_at_45_0(self, base: Array) -> Array:
        """Reflectance factor at 45:0, gloss excluded (CIE 15), of a base reflectance."""
        k, f = (np.interp(self.roughness, ROUGHNESS, row) for row in AT_45_0[self.model])
        return np.asarray(self.matt * base + (1 - self.matt) * k * base / (1 - f * base))

    def base_for(self, wanted: Array) -> Array:
        """The base reflectance that is seen as `wanted`, or the brightest there is."""
        low, high = np.zeros_like(wanted), np.full_like(wanted, BRIGHTEST_BASE)
        for _ in range(40):
            middle = (low + high) / 2
            above = self.seen_at_45_0(middle) > wanted
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return np.asarray((low + high) / 2)


@dataclass(frozen=True, eq=False)
class Surface:
    """A material: what an instrument would read of it (45:0 without gloss) as far as its finish can reach."""

    wanted: Array
    finish: Finish = Finish()

    @property
    def base(self) -> Array:
        return self.finish.base_for(self.wanted)

    @property
    def reflectance(self) -> Array:
        """What it truly is at 45:0 without gloss."""
        return self.finish.seen_at_45_0(self.base)


@dataclass(frozen=True, eq=False)
class Pattern:
    """A way to share a body among its portions, by name; `tests.path_traced.patterns` draws it."""

    name: str = "plain"
    seed: int = 0
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Body:
    """Soap: portions in a solid pattern, mottled a little, with a fine relief.

    `origin` and `axes` place the pattern: loaf millimetres are origin + axes @ own millimetres, so that bars of one
    loaf show its slices.
    """

    portions: tuple[Surface, ...]
    pattern: Pattern = Pattern()
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axes: tuple[tuple[float, ...], ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    mottling: float = 0.02
    relief: str = ""
    relief_mm: float = 0.0
    texels: int = 256


@dataclass(frozen=True, eq=False)
class Thing:
    """One mesh: a shape by name with its options, where it is (4 x 4), and what it is made of."""

    shape: str
    options: dict[str, Any]
    place: Array
    made_of: Surface | Body


@dataclass(frozen=True, eq=False)
class Lamp:
    """A rectangle that shines (half-widths in mm), or the whole surrounding if it has no size."""

    spectrum: Array
    power: float
    at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    towards: tuple[float, float, float] = (0.0, 0.0, 0.0)
    half: tuple[float, float] | None = None


@dataclass(frozen=True)
class Lens:
    """Where the camera stands and how it sees; `fov` is of the longer side, in degrees."""

    at: tuple[float, float, float]
    towards: tuple[float, float, float]
    fov: float = 65.0
    size: tuple[int, int] = (1200, 900)
    aperture_mm: float = 0.8
    focus_mm: float | None = None
    up: tuple[float, float, float] = (0.0, 1.0, 0.0)

    def project(self, points: Array) -> Array:
        """Points (N, 3) in mm to pixels (N, 2), the first pixel's centre being 0, 0."""
        at = np.array(self.at)
        ahead = np.array(self.towards) - at
        ahead = ahead / np.linalg.norm(ahead)
        right = np.cross(ahead, self.up)
        right = right / np.linalg.norm(right)
        down = np.cross(ahead, right)
        away = np.atleast_2d(points) - at
        depth = away @ ahead
        focal = max(self.size) / 2 / np.tan(np.radians(self.fov / 2))
        middle = np.array([(self.size[0] - 1) / 2, (self.size[1] - 1) / 2])
        return np.column_stack([away @ right, away @ down]) / depth[:, None] * focal + middle


@dataclass(frozen=True, eq=False)
class Camera:
    """Sensitivities (N, 3), the matrix from white-balanced raw to linear sRGB, and what a phone does afterwards."""

    sensitivities: Array
    develop: Array
    exposure_ev: float = 0.0
    contrast: float = 0.2
    saturation: float = 1.08
    noise: float = 0.006
    sharpness_px: float = 0.5
    jpeg_quality: int = 90
    vignetting: float = 0.0
    blur_px: float = 0.0
    shake_px: float = 0.0


@dataclass(frozen=True, eq=False)
class Shot:
    """A photograph to be made."""

    name: str
    things: tuple[Thing, ...]
    lamps: tuple[Lamp, ...]
    lens: Lens
    camera: Camera
    seed: int = 0
    samples: int = 128
    bounces: int = 8
    exif: dict[str, str] = field(default_factory=dict)
    truth: dict[str, Any] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        """Of all that decides the picture."""
        decides = {key: value for key, value in dataclasses.asdict(self).items() if key not in ("name", "truth")}
        text = json.dumps([EDITION, decides], sort_keys=True, default=_as_list)
        return hashlib.sha256(text.encode()).hexdigest()[:20]


def _as_list(value: Any) -> Any:
    return np.round(value, 6).tolist() if isinstance(value, np.ndarray) else value.item()


def place(x: float = 0, y: float = 0, z: float = 0, turn: float = 0, tip: float = 0, roll: float = 0) -> Array:
    """4 x 4: rolled about y, tipped about x, turned about z (degrees), then moved (mm)."""
    turn, tip, roll = np.radians([turn, tip, roll])
    c, s = np.cos, np.sin
    about_z = np.array([[c(turn), -s(turn), 0], [s(turn), c(turn), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, c(tip), -s(tip)], [0, s(tip), c(tip)]])
    about_y = np.array([[c(roll), 0, s(roll)], [0, 1, 0], [-s(roll), 0, c(roll)]])
    whole = np.eye(4)
    whole[:3, :3] = about_z @ about_x @ about_y
    whole[:3, 3] = x, y, z
    return whole


def moved(points: Array, by: Array) -> Array:
    """Points (N, 3) through a 4 x 4."""
    return np.asarray(np.atleast_2d(points) @ by[:3, :3].T + by[:3, 3])
