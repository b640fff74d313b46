"""What lies on the bench of a drawn photograph, the plain camera, and where the camera stands.

Lengths are millimetres on the bench, picture coordinates pixels (x right, y
down, the centre of the first pixel is 0, 0).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from curejournal.photo.card import Card

Lab = tuple[float, float, float]
Array = NDArray[np.float64]

# IEC 61966-2-1 (linear sRGB to XYZ, D65) and the Bradford D50-to-D65 adaptation, both from memory of
# the standards; tests/test_scenes.py holds them against colour-science.
XYZ_TO_LINEAR_SRGB = np.linalg.inv([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
D50_TO_D65 = np.array(
    [
        [0.9555766, -0.0230393, 0.0631636],
        [-0.0282895, 1.0099416, 0.0210077],
        [0.0122982, -0.0204830, 1.3299098],
    ]
)
D50_WHITE = np.array([0.96422, 1.0, 0.82521])


def xyz_from_lab(lab: Sequence[float]) -> Array:
    """CIELAB D50 to XYZ with Y = 1 for white (ISO/CIE 11664-4)."""
    lightness, a, b = lab
    fy = (lightness + 16) / 116
    f = np.array([fy + a / 500, fy, fy - b / 200])
    return np.asarray(np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * D50_WHITE)


def linear_rgb_from_lab(lab: Sequence[float]) -> Array:
    """CIELAB D50 to linear sRGB, shape (3,); may leave [0, 1]."""
    return np.asarray(XYZ_TO_LINEAR_SRGB @ D50_TO_D65 @ xyz_from_lab(lab))


def srgb_encode(linear: Array) -> Array:
    """The sRGB curve (IEC 61966-2-1), clipped to [0, 1]."""
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


ENCODED = srgb_encode(np.arange(65536) / 65535).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Paint:
    """A surface: its true colour (Lab D50/2) and, in spectral scenes, its reflectance at `spectra.NM`.

    `glow` is what it sends out besides for the ultraviolet in D65, in shares of a light of luminance 1.
    """

    lab: Lab
    reflectance: Array | None = None
    glow: Array | None = None


WHITE, PAPER, INK, BENCH = (
    Paint((100.0, 0.0, 0.0)),
    Paint((94.0, 0.5, -2.0)),
    Paint((14.0, 0.0, 0.0)),
    Paint((58.0, 9.0, 20.0)),
)
SKIN, STAIN = Paint((62.0, 18.0, 18.0)), Paint((55.0, 15.0, 40.0))


class Camera(Protocol):
    """Turns paint under light number `light` into raw values, and raw values into linear sRGB."""

    lights: int

    def raw(self, paint: Paint, light: int) -> Array:
        """Raw response, shape (3,), 1 for a perfect white's green."""
        ...

    @property
    def develop(self) -> Array:
        """(3, 3) matrix from raw to linear sRGB: white balance and colour matrix in one."""
        ...


@dataclass(frozen=True)
class PlainCamera:
    """A camera that sees linear sRGB itself, tinted; the second tint is a second light."""

    tints: tuple[tuple[float, float, float], ...] = ((1.0, 1.0, 1.0),)

    @property
    def lights(self) -> int:
        return len(self.tints)

    def raw(self, paint: Paint, light: int) -> Array:
        return np.asarray(linear_rgb_from_lab(paint.lab) * self.tints[light])

    @property
    def develop(self) -> Array:
        return np.eye(3)


@dataclass(frozen=True)
class View:
    """Where the camera stands: over `centre` (mm), `width_mm` of bench across the picture."""

    centre: tuple[float, float] = (0.0, 0.0)
    width_mm: float = 200.0
    tilt_deg: float = 0.0
    tilt_towards_deg: float = 90.0
    turn_deg: float = 0.0

    def homography(self, size: tuple[int, int]) -> Array:
        """Bench (mm) to picture (px), shape (3, 3): a pinhole with a phone's usual field of view."""
        focal = 0.78 * max(size)  # 28 mm on a 36 mm frame, common for phones
        turn, tilt, towards = np.radians([self.turn_deg, self.tilt_deg, self.tilt_towards_deg])
        axis = np.array([-np.sin(towards), np.cos(towards), 0.0])
        rotation = cv2.Rodrigues(axis * tilt)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
        shift = -rotation @ [*self.centre, 0.0] + [0.0, 0.0, focal * self.width_mm / size[0]]
        intrinsic = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
        return np.asarray(intrinsic @ np.column_stack([rotation[:, 0], rotation[:, 1], shift]))


@dataclass(frozen=True)
class Place:
    """An item's middle on the bench and how far it is turned, clockwise as seen."""

    x: float = 0.0
    y: float = 0.0
    turn_deg: float = 0.0

    def to_bench(self, size_mm: tuple[float, float]) -> Array:
        """Item millimetres (from its own top left) to bench millimetres, shape (3, 3)."""
        angle = np.radians(self.turn_deg)
        c, s = np.cos(angle), np.sin(angle)
        w, h = size_mm
        return np.array([[c, -s, self.x - c * w / 2 + s * h / 2], [s, c, self.y - s * w / 2 - c * h / 2], [0, 0, 1.0]])


@dataclass(frozen=True)
class Laid:
    """A card on the bench. Patches not named in `paints` have their reference colour."""

    card: Card
    place: Place = Place()
    paints: Mapping[str, Paint] = field(default_factory=dict)
    paper: Paint = PAPER
    ink: Paint = INK
    border_mm: float = 0.0
    slot_texts: Mapping[str, str] = field(default_factory=dict)
    crumple_mm: float = 0.0

    def paint_of(self, patch_id: str) -> Paint:
        if patch_id in self.paints:
            return self.paints[patch_id]
        (patch,) = (p for p in self.card.patches if p.id == patch_id)
        assert patch.lab_d50 is not None, f"{patch_id} has no reference colour: give it a paint"
        return Paint(patch.lab_d50)


@dataclass(frozen=True)
class Soap:
    """A bar or loaf seen from above, its portions as bands from top to bottom (or left to right).

    A portion without a name is scenery: it has no area and no truth.
    """

    portions: tuple[tuple[str, Paint], ...]
    size_mm: tuple[float, float] = (90.0, 62.0)
    place: Place = Place()
    shares: tuple[float, ...] = ()
    upright_bands: bool = False
    mottling: float = 0.02
    wave_mm: float = 1.0
    crumbs: int = 0
    embeds: tuple[Paint, ...] = ()
    swirl_mm: float = 0.0
    """How far portions reach into one another; 0 leaves them as bands."""
    spots: tuple[tuple[float, float, float, Paint], ...] = ()
    """Soft-edged discs: x, y and diameter in mm on the soap, and their colour."""
    film: tuple[Paint, float] | None = None
    """A white film and the share of the soap it lies on, in patches."""
    ring: tuple[float, float] | None = None
    """A gelled middle: its diameter as a share of the soap's height, and its relative brightness."""
    gel: tuple[Paint, float, float] | None = None
    """A gelled middle of another colour: its paint, and the width and height of its oval in mm."""
    veins: tuple[Paint, float] | None = None
    """Wandering lines, as of a drizzle or of marbling: their paint and width in mm."""
    stamp: float = 0.0
    """How much the slopes of a stamped pattern shine on one side and darken on the other, relative to the face."""
    petals: tuple[Paint, ...] = ()
    """Long narrow inclusions of 3 to 7 mm, one for each paint."""

    @property
    def edges(self) -> Array:
        """Where the bands begin and end, as fractions, shape (portions + 1,)."""
        shares = np.array(self.shares or [1.0] * len(self.portions))
        return np.concatenate([[0.0], np.cumsum(shares) / shares.sum()])


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> NDArray[np.float32]:
    """A smooth random field of mean 0 and standard deviation 1."""
    small = (max(3, int(shape[0] / grain_px) + 3), max(3, int(shape[1] / grain_px) + 3))
    coarse = rng.standard_normal(small).astype(np.float32)
    field_ = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray((field_ - field_.mean()) / max(float(field_.std()), 1e-6))


def _box(scale: float, x: float, y: float, w: float, h: float) -> tuple[slice, slice]:
    return slice(round(y * scale), round((y + h) * scale)), slice(round(x * scale), round((x + w) * scale))


class Sheet:
    """An item's own raster: one raw layer per light, and how opaque it is."""

    def __init__(self, size_mm: tuple[float, float], scale: float, camera: Camera, ground: Paint) -> None:
        self.scale, self.camera = scale, camera
        shape = (round(size_mm[1] * scale), round(size_mm[0] * scale))
        self.layers = [np.empty((*shape, 3), np.float32) for _ in range(camera.lights)]
        self.alpha = np.ones(shape, np.float32)
        for light, layer in enumerate(self.layers):
            layer[:] = camera.raw(ground, light)

    def fill(self, where: object, paint: Paint) -> None:
        for light, layer in enumerate(self.layers):
            layer[where] = self.camera.raw(paint, light)  # type: ignore[index]

    def fill_modules(self, where: tuple[slice, slice], dark: NDArray[np.bool_], ink: Paint) -> None:
        rows, columns = where
        height, width = rows.stop - rows.start, columns.stop - columns.start
        big = cv2.resize(dark.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST).astype(bool)
        for light, layer in enumerate(self.layers):
            layer[rows, columns][big] = self.camera.raw(ink, light)

    def blend(self, cover: NDArray[np.float32], paint: Paint) -> None:
        for light, layer in enumerate(self.layers):
            layer[:] = layer + cover[..., None] * (self.camera.raw(paint, light) - layer)

    def shade(self, factor: NDArray[np.float32]) -> None:
        self.layers = [layer * factor[..., None] for layer in self.layers]


def card_sheet(laid: Laid, scale: float, camera: Camera) -> Sheet:
    card, border = laid.card, laid.border_mm
    w, h = card.size_mm
    sheet = Sheet((w + 2 * border, h + 2 * border), scale, camera, laid.paper)
    for patch in card.patches:
        sheet.fill(_box(scale, patch.x + border, patch.y + border, patch.w, patch.h), laid.paint_of(patch.id))
    for marker in card.markers:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, "DICT_" + marker.dictionary))
        modules = cv2.aruco.generateImageMarker(dictionary, marker.id, dictionary.markerSize + 2) == 0
        sheet.fill_modules(
            _box(scale, marker.x + border, marker.y + border, marker.size, marker.size), modules, laid.ink
        )
    for slot, text in laid.slot_texts.items():
        place = (card.slots or {})[slot]
        modules = np.array([list(row) for row in segno.make(text, micro=False).matrix], bool)
        sheet.fill_modules(_box(scale, place.x, place.y, place.w, place.h), modules, laid.ink)
    if card.window is not None:
        window = card.window
        sheet.alpha[_box(scale, window.x + border, window.y + border, window.w, window.h)] = 0.0
    return sheet


def soap_sheet(soap: Soap, scale: float, camera: Camera, rng: np.random.Generator) -> Sheet:
    sheet = Sheet(soap.size_mm, scale, camera, soap.portions[0][1])
    rows, columns = (line.astype(np.float32) for line in np.ogrid[: sheet.alpha.shape[0], : sheet.alpha.shape[1]])
    along, across = (columns, rows) if soap.upright_bands else (rows, columns)
    length = soap.size_mm[0 if soap.upright_bands else 1] * scale
    wave = soap.wave_mm * scale * np.sin(across / (9.0 * scale) + rng.uniform(0, 6)) * 0.5
    if soap.swirl_mm:
        wave = wave + soap.swirl_mm * scale * smooth_noise(rng, sheet.alpha.shape, 11 * scale)
    for (_, paint), start in zip(soap.portions, soap.edges[:-1], strict=True):
        if start > 0:
            sheet.fill(along + wave >= start * length, paint)
    shape = sheet.alpha.shape
    for embed in soap.embeds:
        spot = np.zeros(shape, np.uint8)
        centre = (int(rng.uniform(0.1, 0.9) * shape[1]), int(rng.uniform(0.1, 0.9) * shape[0]))
        axes = (int(scale * rng.uniform(2, 4)), int(scale * rng.uniform(1.5, 3)))
        cv2.ellipse(spot, centre, axes, rng.uniform(0, 180), 0, 360, 1, -1, cv2.LINE_AA)
        sheet.fill(spot.astype(bool), embed)
    for petal in soap.petals:
        leaf = np.zeros(shape, np.uint8)
        centre = (int(rng.uniform(0.2, 0.8) * shape[1]), int(rng.uniform(0.2, 0.8) * shape[0]))
        axes = (int(scale * rng.uniform(1.5, 3.5)), max(1, int(scale * rng.uniform(0.5, 0.9))))
        cv2.ellipse(leaf, centre, axes, rng.uniform(0, 180), 0, 360, 1, -1, cv2.LINE_AA)
        sheet.fill(leaf.astype(bool), petal)
    if soap.gel is not None:
        paint, across_mm, down_mm = soap.gel
        away = np.hypot(
            (columns / scale - soap.size_mm[0] / 2) / (across_mm / 2),
            (rows / scale - soap.size_mm[1] / 2) / (down_mm / 2),
        )
        sheet.blend(1 / (1 + np.exp((away - 1) / 0.04)), paint)
    if soap.veins is not None:
        paint, wide_mm = soap.veins
        for k in range(4):
            bent = smooth_noise(rng, shape, 16 * scale) * 5.0
            lane = (k + 0.5) / 4 * soap.size_mm[0]
            sheet.blend(np.clip((wide_mm / 2 - np.abs(columns / scale + bent - lane)) / 0.4 + 0.5, 0, 1), paint)
    if soap.film is not None:
        paint, share = soap.film
        patches = smooth_noise(rng, shape, 7 * scale)
        sheet.blend(np.clip(4 * (patches - np.quantile(patches, 1 - share)) + 0.5, 0, 1), paint)
    for x, y, diameter, paint in soap.spots:
        away = np.hypot(columns / scale - x, rows / scale - y) - diameter / 2
        sheet.blend(np.clip(0.5 - away / 0.3, 0, 1), paint)
    mottle = 1 + soap.mottling * (
        0.7 * smooth_noise(rng, shape, 2.2 * scale) + 0.5 * smooth_noise(rng, shape, 9 * scale)
    )
    if soap.ring is not None:
        share, bright = soap.ring
        out = np.hypot(columns / scale - soap.size_mm[0] / 2, rows / scale - soap.size_mm[1] / 2)
        mottle = mottle * (1 + (bright - 1) / (1 + np.exp((out - share * soap.size_mm[1] / 2) / 0.8)))
    if soap.stamp:
        relief = np.zeros(shape, np.float32)
        middle = (shape[1] // 2, shape[0] // 2)
        for radius in (6, 11):
            cv2.circle(relief, middle, round(radius * scale), 1.0, max(1, round(1.2 * scale)))
        for turn in range(0, 180, 45):
            cv2.ellipse(
                relief, middle, (round(15 * scale), round(4 * scale)), turn, 0, 360, 1.0, max(1, round(1.2 * scale))
            )
        slope = cv2.Sobel(cv2.GaussianBlur(relief, (0, 0), 0.25 * scale), cv2.CV_32F, 1, 1, ksize=5)
        mottle = mottle * (1 + soap.stamp * slope / max(float(np.abs(slope).max()), 1e-6) - 0.3 * soap.stamp * relief)
    for _ in range(soap.crumbs):
        centre = (int(rng.uniform(0, shape[1])), int(rng.uniform(0, shape[0])))
        cv2.circle(mottle, centre, max(1, int(scale * rng.uniform(0.2, 0.6))), float(rng.choice([0.72, 1.12])), -1)
    sheet.shade(np.asarray(mottle, np.float32))
    return sheet


def through(homography: Array, points: Sequence[Sequence[float]]) -> Array:
    return np.asarray(cv2.perspectiveTransform(np.asarray(points, float)[None], homography)[0])


def rectangle(x: float, y: float, w: float, h: float) -> list[tuple[float, float]]:
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def soap_areas(soap: Soap, window: Array | None) -> dict[str, list[tuple[float, float]]]:
    """Corners of each portion on the soap (its own mm): 12% inside its band and the window over it."""
    w, h = soap.size_mm
    low, high = (window.min(0), window.max(0)) if window is not None else (np.zeros(2), np.array([w, h]))
    areas = {}
    for (name, _), start, end in zip(soap.portions, soap.edges[:-1], soap.edges[1:], strict=True):
        band_low, band_high = np.array([0.0, 0.0]), np.array([w, h])
        axis = 0 if soap.upright_bands else 1
        band_low[axis], band_high[axis] = start * soap.size_mm[axis], end * soap.size_mm[axis]
        band_low[axis] += soap.wave_mm * (start > 0)
        band_high[axis] -= soap.wave_mm * (end < 1)
        inner_low, inner_high = np.maximum(low, band_low), np.minimum(high, band_high)
        if not name or (inner_high - inner_low).min() < 2.0:  # less than 2 mm to be seen is no area
            continue
        inset = 0.12 * (inner_high - inner_low)
        areas[name] = rectangle(*(inner_low + inset), *(inner_high - inner_low - 2 * inset))
    return areas


def crumple(sheet: Sheet, amount_mm: float, rng: np.random.Generator) -> None:
    """Fold the sheet smoothly: its points move, and its slopes catch more or less light."""
    shape = sheet.alpha.shape
    dx, dy = (smooth_noise(rng, shape, 22 * sheet.scale) * amount_mm * sheet.scale for _ in range(2))
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    for k, layer in enumerate(sheet.layers):
        sheet.layers[k] = cv2.remap(layer, columns + dx, rows + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sheet.alpha = cv2.remap(sheet.alpha, columns + dx, rows + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sheet.shade(1 + 0.12 * amount_mm * smooth_noise(rng, shape, 14 * sheet.scale))
