"""Drawn photographs whose true colours are known: cards, soap and a bench under a chosen light.

The engine here knows geometry, optics and faults; what a colour becomes in the
camera is told by a `Camera`. The plain camera below needs no spectra and is
meant for unit tests (`draw_card`); spectral lights, cameras, inks and soaps
are in `tests.spectra`. All lengths are millimetres on the bench, all picture
coordinates pixels (x right, y down, the centre of the first pixel is 0, 0).
"""

from __future__ import annotations

import io
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Protocol

import cv2
import numpy as np
import segno
from numpy.typing import NDArray
from PIL import Image
from pydantic import TypeAdapter

from curejournal.photo.card import Card

Lab = tuple[float, float, float]
Array = NDArray[np.float64]

# IEC 61966-2-1 (linear sRGB to XYZ, D65) and the Bradford D50-to-D65 adaptation, both from memory of
# the standards; tests/test_scenes.py holds them against colour-science.
XYZ_TO_LINEAR_SRGB = np.linalg.inv(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
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
    """A surface: its true colour (Lab D50/2) and, in spectral scenes, its reflectance at `spectra.NM`."""

    lab: Lab
    reflectance: Array | None = None


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
        return np.array(
            [[c, -s, self.x - c * w / 2 + s * h / 2], [s, c, self.y - s * w / 2 - c * h / 2], [0, 0, 1.0]]
        )


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
    """A bar or loaf seen from above, its portions as bands from top to bottom (or left to right)."""

    portions: tuple[tuple[str, Paint], ...]
    size_mm: tuple[float, float] = (90.0, 62.0)
    place: Place = Place()
    shares: tuple[float, ...] = ()
    upright_bands: bool = False
    mottling: float = 0.02
    wave_mm: float = 1.0
    crumbs: int = 0
    embeds: tuple[Paint, ...] = ()

    @property
    def edges(self) -> Array:
        """Where the bands begin and end, as fractions, shape (portions + 1,)."""
        shares = np.array(self.shares or [1.0] * len(self.portions))
        return np.concatenate([[0.0], np.cumsum(shares) / shares.sum()])


@dataclass(frozen=True)
class Faults:
    """What can go wrong. Places are fractions of the first card's width and height."""

    glare: tuple[float, float, float] | None = None  # x, y, strength in units of white
    glare_radius: float = 0.12
    thumb: tuple[float, float] | None = None
    thumb_radius: float = 0.12
    stain: tuple[float, float] | None = None
    stain_radius: float = 0.12
    blur_px: float = 0.0
    shake_px: float = 0.0
    mirrored: bool = False


@dataclass(frozen=True)
class Scene:
    """All that decides a picture except the chance in its noise and textures."""

    items: tuple[Laid | Soap, ...]
    camera: Camera = PlainCamera()
    view: View = View()
    size: tuple[int, int] = (1600, 1200)
    exposure_ev: float = -0.25
    uneven: float = 0.0  # relative fall of light from one end of the picture to the other
    uneven_towards_deg: float = 30.0
    light_edge: float | None = (
        None  # softness of the border between two lights, in picture widths; None: evenly mixed
    )
    light_share: float = 0.5  # of the first of two lights
    contrast: float = 0.0  # 0 is the plain sRGB curve, 0.3 a lively phone
    saturation: float = 1.0
    noise: float = 0.004  # shot noise at white, relative
    sharpness_px: float = 0.6
    bench: Paint = BENCH
    bench_contrast: float = 0.12
    jpeg_quality: int = 90
    faults: Faults = Faults()


@dataclass(frozen=True, eq=False)
class Rendered:
    """A picture with its truth."""

    picture: NDArray[np.uint8]
    """(H, W, 3) sRGB as developed, before JPEG."""
    truth: dict[str, Lab]
    areas: dict[str, Array]
    """By portion: (4, 2) px, inset to hold that portion alone, inside the window of a card on top."""
    corners: dict[str, Array]
    """By card name: (4, 2) px, clockwise from the card's own top left."""
    jpeg: bytes


@cache
def card_named(name: str) -> Card:
    """A built-in card, read straight from its definition file."""
    text = resources.files("curejournal.photo").joinpath(f"cards/{name}.toml").read_text(encoding="utf-8")
    return TypeAdapter(Card).validate_python(tomllib.loads(text))


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> NDArray[np.float32]:
    """A smooth random field of mean 0 and standard deviation 1."""
    small = (max(3, int(shape[0] / grain_px) + 3), max(3, int(shape[1] / grain_px) + 3))
    coarse = rng.standard_normal(small).astype(np.float32)
    field_ = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray((field_ - field_.mean()) / max(float(field_.std()), 1e-6))


def _box(scale: float, x: float, y: float, w: float, h: float) -> tuple[slice, slice]:
    return slice(round(y * scale), round((y + h) * scale)), slice(round(x * scale), round((x + w) * scale))


class _Sheet:
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

    def shade(self, factor: NDArray[np.float32]) -> None:
        self.layers = [layer * factor[..., None] for layer in self.layers]


def _card_sheet(laid: Laid, scale: float, camera: Camera) -> _Sheet:
    card, border = laid.card, laid.border_mm
    w, h = card.size_mm
    sheet = _Sheet((w + 2 * border, h + 2 * border), scale, camera, laid.paper)
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


def _soap_sheet(soap: Soap, scale: float, camera: Camera, rng: np.random.Generator) -> _Sheet:
    sheet = _Sheet(soap.size_mm, scale, camera, soap.portions[0][1])
    rows, columns = np.mgrid[: sheet.alpha.shape[0], : sheet.alpha.shape[1]].astype(np.float32)
    along, across = (columns, rows) if soap.upright_bands else (rows, columns)
    length = soap.size_mm[0 if soap.upright_bands else 1] * scale
    wave = soap.wave_mm * scale * np.sin(across / (9.0 * scale) + rng.uniform(0, 6)) * 0.5
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
    mottle = 1 + soap.mottling * (
        0.7 * smooth_noise(rng, shape, 2.2 * scale) + 0.5 * smooth_noise(rng, shape, 9 * scale)
    )
    for _ in range(soap.crumbs):
        centre = (int(rng.uniform(0, shape[1])), int(rng.uniform(0, shape[0])))
        cv2.circle(
            mottle, centre, max(1, int(scale * rng.uniform(0.2, 0.6))), float(rng.choice([0.72, 1.12])), -1
        )
    sheet.shade(np.asarray(mottle, np.float32))
    return sheet


def _through(homography: Array, points: Sequence[Sequence[float]]) -> Array:
    return np.asarray(cv2.perspectiveTransform(np.asarray(points, float)[None], homography)[0])


def _rectangle(x: float, y: float, w: float, h: float) -> list[tuple[float, float]]:
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def _soap_areas(soap: Soap, window: Array | None) -> dict[str, list[tuple[float, float]]]:
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
        if (inner_high - inner_low).min() < 2.0:  # less than 2 mm to be seen is no area
            continue
        inset = 0.12 * (inner_high - inner_low)
        areas[name] = _rectangle(*(inner_low + inset), *(inner_high - inner_low - 2 * inset))
    return areas


def _compose(
    scene: Scene, rng: np.random.Generator
) -> tuple[list[NDArray[np.float32]], dict[str, Array], dict[str, Array]]:
    """Raw layers of the whole picture, one per light, with corners and areas."""
    width, height = scene.size
    view = scene.view.homography(scene.size)
    scale = 1.25 * width / scene.view.width_mm
    grain = 1 + scene.bench_contrast * (
        0.6 * smooth_noise(rng, (height, width), 25)
        + 0.6 * cv2.resize(smooth_noise(rng, (height, 24), 8), (width, height))
    )
    layers = [
        (np.clip(grain, 0.3, 2)[..., None] * scene.camera.raw(scene.bench, light)).astype(np.float32)
        for light in range(scene.camera.lights)
    ]
    corners: dict[str, Array] = {}
    areas: dict[str, Array] = {}
    windows = [
        _through(item.place.to_bench(item.card.size_mm), _rectangle(r.x, r.y, r.w, r.h))
        for item in scene.items
        if isinstance(item, Laid) and (r := item.card.window) is not None
    ]
    for item in scene.items:
        if isinstance(item, Laid):
            size_mm = (item.card.size_mm[0] + 2 * item.border_mm, item.card.size_mm[1] + 2 * item.border_mm)
            sheet = _card_sheet(item, scale, scene.camera)
            to_picture = view @ item.place.to_bench(size_mm)
            inner = _rectangle(item.border_mm, item.border_mm, *item.card.size_mm)
            corners[item.card.name] = _through(to_picture, inner)
            crumple = item.crumple_mm
        else:
            sheet = _soap_sheet(item, scale, scene.camera, rng)
            to_bench = item.place.to_bench(item.size_mm)
            to_picture = view @ to_bench
            seen = [_through(np.linalg.inv(to_bench), w) for w in windows]
            over = next((w for w in seen if (w.max(0) > 0).all() and (w.min(0) < item.size_mm).all()), None)
            areas |= {name: _through(to_picture, points) for name, points in _soap_areas(item, over).items()}
            crumple = 0.0
        if crumple:
            _crumple(sheet, crumple, rng)
        # A raster pixel's centre lies half a pixel inside its millimetre square.
        from_pixels = np.array([[1 / scale, 0, 0.5 / scale], [0, 1 / scale, 0.5 / scale], [0, 0, 1]])
        warp = to_picture @ from_pixels
        alpha = cv2.warpPerspective(sheet.alpha, warp, scene.size)
        px_per_mm = width / scene.view.width_mm
        shadow = cv2.GaussianBlur(
            cv2.warpAffine(alpha, np.array([[1, 0, 0.3 * px_per_mm], [0, 1, 0.3 * px_per_mm]]), scene.size),
            (0, 0),
            0.4 * px_per_mm,
        )
        shade = ((1 - alpha) * (1 - 0.35 * shadow))[..., None]
        for light, own in enumerate(sheet.layers):
            laid = cv2.warpPerspective(own, warp, scene.size, borderMode=cv2.BORDER_REPLICATE)
            layers[light] = shade * layers[light] + alpha[..., None] * laid
    return layers, corners, areas


def _crumple(sheet: _Sheet, amount_mm: float, rng: np.random.Generator) -> None:
    """Fold the sheet smoothly: its points move, and its slopes catch more or less light."""
    shape = sheet.alpha.shape
    dx, dy = (smooth_noise(rng, shape, 22 * sheet.scale) * amount_mm * sheet.scale for _ in range(2))
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    for k, layer in enumerate(sheet.layers):
        sheet.layers[k] = cv2.remap(
            layer, columns + dx, rows + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    sheet.alpha = cv2.remap(
        sheet.alpha, columns + dx, rows + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    sheet.shade(1 + 0.12 * amount_mm * smooth_noise(rng, shape, 14 * sheet.scale))


def _spot(scene: Scene, corners: Array, centre: tuple[float, float], radius: float) -> NDArray[np.float32]:
    """A soft disc over the card, 0 to 1."""
    to_card = cv2.getPerspectiveTransform(
        corners.astype(np.float32), np.float32([[0, 0], [1, 0], [1, 1], [0, 1]])
    )
    x, y = _through(np.linalg.inv(to_card), [centre])[0]
    across = np.linalg.norm(corners[1] - corners[0]) * radius
    rows, columns = np.mgrid[: scene.size[1], : scene.size[0]]
    return np.asarray(np.clip(1.5 - np.hypot(columns - x, rows - y) / across, 0, 1), np.float32)


def render(scene: Scene, seed: int, exif: Image.Exif | None = None) -> Rendered:
    """Take the picture. The same scene and seed give the same bytes."""
    rng = np.random.default_rng(seed)
    layers, corners, areas = _compose(scene, rng)
    width, height = scene.size
    rows, columns = np.mgrid[:height, :width].astype(np.float32)
    angle = np.radians(scene.uneven_towards_deg)
    ramp = (
        (columns / width - 0.5) * np.cos(angle) + (rows / width - 0.5 * height / width) * np.sin(angle)
    ).astype(np.float32)
    if len(layers) == 2:
        share = (
            np.full((height, width), scene.light_share, np.float32)
            if scene.light_edge is None
            else 1 / (1 + np.exp(np.clip(-ramp / scene.light_edge * 4, -30, 30)))
        )
        raw = share[..., None] * layers[0] + (1 - share[..., None]) * layers[1]
    else:
        raw = layers[0]
    raw *= (1 - scene.uneven * ramp + 0.4 * scene.uneven * ramp**2)[..., None] * 2**scene.exposure_ev

    faults, card_corners = scene.faults, next(iter(corners.values()), None)
    for centre, radius, paint in (
        (faults.thumb, faults.thumb_radius, SKIN),
        (faults.stain, faults.stain_radius, STAIN),
    ):
        if centre is not None and card_corners is not None:
            cover = _spot(scene, card_corners, centre, radius)[..., None]
            # Skin and stain as the plain camera sees them, tinted by this light: near enough for a fault.
            colour = scene.camera.raw(WHITE, 0) * linear_rgb_from_lab(paint.lab) * 2**scene.exposure_ev
            raw = (
                raw * (1 - cover) + cover * colour
                if paint is SKIN
                else raw * (1 - cover * (1 - linear_rgb_from_lab(paint.lab)))
            )
    if faults.glare is not None and card_corners is not None:
        x, y, strength = faults.glare
        raw = raw + _spot(scene, card_corners, (x, y), faults.glare_radius)[
            ..., None
        ] * strength * scene.camera.raw(WHITE, 0)

    raw = np.asarray(raw, np.float32)
    blur = float(np.hypot(scene.sharpness_px, faults.blur_px))
    raw = cv2.GaussianBlur(raw, (0, 0), blur)
    if faults.shake_px:
        streak = np.full((1, max(2, round(faults.shake_px))), 1.0, np.float32)
        raw = cv2.filter2D(raw, -1, streak / streak.sum())
    chance = rng.standard_normal(raw.shape, np.float32)
    raw = raw + chance * np.sqrt(np.clip(raw, 0, None) * scene.noise**2 + (0.3 * scene.noise) ** 2)

    # Sensor saturation comes before the matrix: a burnt patch loses its hue.
    linear = np.clip(raw, 0, scene.camera.raw(WHITE, 0).max() * 1.15) @ np.asarray(
        scene.camera.develop.T, np.float32
    )
    encoded = ENCODED[np.clip(linear * 65535, 0, 65535).astype(np.uint16)]
    encoded = encoded + scene.contrast * encoded * (1 - encoded) * (2 * encoded - 0.75)
    luma = encoded @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    encoded = luma[..., None] + scene.saturation * (encoded - luma[..., None])
    picture = np.rint(np.clip(encoded, 0, 1) * 255).astype(np.uint8)
    if faults.mirrored:
        picture = np.ascontiguousarray(picture[:, ::-1])
        flip = np.array([width - 1, 0.0]), np.array([-1.0, 1.0])
        corners = {k: flip[0] + flip[1] * v for k, v in corners.items()}
        areas = {k: flip[0] + flip[1] * v for k, v in areas.items()}
    truth = {
        name: paint.lab for item in scene.items if isinstance(item, Soap) for name, paint in item.portions
    }
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=scene.jpeg_quality, exif=exif or Image.Exif())
    return Rendered(picture, truth, areas, corners, out.getvalue())


def draw_card(
    card: Card,
    *,
    lab_in_window: Lab | Sequence[Lab] = (80.0, 4.0, 22.0),
    size: tuple[int, int] = (1600, 1200),
    fill: float = 0.7,
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0),
    second_tint: tuple[float, float, float] | None = None,
    tilt_deg: float = 0.0,
    tilt_towards_deg: float = 60.0,
    turn_deg: float = 0.0,
    offset: tuple[float, float] = (0.0, 0.0),
    paints: Mapping[str, Paint] | None = None,
    paper: Paint | None = None,
    seed: int = 0,
    slot_texts: Mapping[str, str] | None = None,
    crumple_mm: float = 0.0,
    **scene_options: object,
) -> Rendered:
    """A card on the bench, seen by the plain camera: truth without spectra.

    Patches have their reference colours exactly (`paints` overrides them).
    A window shows soap in bands named "soap" or "band-1", "band-2", ...
    `fill` is the share of the picture's width that the card takes; `offset`
    moves it, in card widths (0.6 puts it half out of frame); `turn_deg` turns
    it clockwise; other options are fields of `Scene` (`exposure_ev`, `uneven`,
    `contrast`, `noise`, `faults=Faults(glare=(0.5, 0.5, 0.8))`, ...).
    """
    width_mm = card.size_mm[0] / fill
    place = Place(offset[0] * card.size_mm[0], offset[1] * card.size_mm[0], turn_deg)
    # A chart without a window is the printed grid alone: give it the dark frame it comes in.
    bare = card.window is None and not card.markers
    laid = Laid(
        card,
        place,
        paints or {},
        paper or (INK if bare else WHITE),
        border_mm=0.04 * card.size_mm[0] if bare else 0.0,
        slot_texts=slot_texts or {},
        crumple_mm=crumple_mm,
    )
    items: tuple[Laid | Soap, ...] = (laid,)
    if card.window is not None:
        labs = [lab_in_window] if np.ndim(lab_in_window) == 1 else list(lab_in_window)  # type: ignore[list-item]
        names = ["soap"] if len(labs) == 1 else [f"band-{k + 1}" for k in range(len(labs))]
        window = card.window
        middle = _through(place.to_bench(card.size_mm), [(window.x + window.w / 2, window.y + window.h / 2)])[
            0
        ]
        soap = Soap(
            tuple((name, Paint(tuple(map(float, lab)))) for name, lab in zip(names, labs, strict=True)),  # type: ignore[arg-type]
            size_mm=(window.w + 12, window.h + 6),
            place=Place(*middle, turn_deg),
        )
        items = (soap, laid)
    tints = (tint,) if second_tint is None else (tint, second_tint)
    scene = Scene(
        items,
        camera=PlainCamera(tints),
        view=View(width_mm=width_mm, tilt_deg=tilt_deg, tilt_towards_deg=tilt_towards_deg),
        size=size,
    )
    return render(replace(scene, **scene_options), seed)  # type: ignore[arg-type]
