"""Drawn photographs whose true colours are known: cards, soap and a bench under a chosen light.

The engine here knows geometry, optics and faults; what a colour becomes in the
camera is told by a `Camera`. The plain camera below needs no spectra and is
meant for unit tests (`draw_card`); spectral lights, cameras, inks and soaps
are in `tests.spectra`; what lies on the bench is in `tests.scene_items`.
"""

from __future__ import annotations

import io
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pydantic import TypeAdapter

from curejournal.photo.card import Card
from tests.scene_items import (
    BENCH,
    ENCODED,
    INK,
    PAPER,
    SKIN,
    STAIN,
    WHITE,
    Array,
    Camera,
    Lab,
    Laid,
    Paint,
    Place,
    PlainCamera,
    Soap,
    View,
    card_sheet,
    crumple,
    linear_rgb_from_lab,
    rectangle,
    smooth_noise,
    soap_areas,
    soap_sheet,
    through,
)

__all__ = [
    "INK",
    "PAPER",
    "WHITE",
    "Camera",
    "Faults",
    "Laid",
    "Paint",
    "Place",
    "PlainCamera",
    "Rendered",
    "Scene",
    "Soap",
    "View",
    "card_named",
    "draw_card",
    "render",
]


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
    camera: Camera = field(default_factory=PlainCamera)
    view: View = field(default_factory=View)
    size: tuple[int, int] = (1600, 1200)
    exposure_ev: float = -0.25
    uneven: float = 0.0  # relative fall of light from one end of the picture to the other
    uneven_towards_deg: float = 30.0
    light_edge: float | None = None  # softness of the border between two lights, in picture widths; None: evenly mixed
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
    grain = np.clip(grain, 0.3, 2)
    # Channel by channel: numpy multiplies long rows many times faster than triples.
    layers = [
        np.asarray(
            cv2.merge([(grain * channel).astype(np.float32) for channel in scene.camera.raw(scene.bench, light)])
        )
        for light in range(scene.camera.lights)
    ]
    corners: dict[str, Array] = {}
    areas: dict[str, Array] = {}
    windows = [
        through(item.place.to_bench(item.card.size_mm), rectangle(r.x, r.y, r.w, r.h))
        for item in scene.items
        if isinstance(item, Laid) and (r := item.card.window) is not None
    ]
    for item in scene.items:
        if isinstance(item, Laid):
            size_mm = (item.card.size_mm[0] + 2 * item.border_mm, item.card.size_mm[1] + 2 * item.border_mm)
            sheet = card_sheet(item, scale, scene.camera)
            to_picture = view @ item.place.to_bench(size_mm)
            inner = rectangle(item.border_mm, item.border_mm, *item.card.size_mm)
            corners[item.card.name] = through(to_picture, inner)
            fold_mm = item.crumple_mm
        else:
            sheet = soap_sheet(item, scale, scene.camera, rng)
            to_bench = item.place.to_bench(item.size_mm)
            to_picture = view @ to_bench
            seen = [through(np.linalg.inv(to_bench), w) for w in windows]
            over = next((w for w in seen if (w.max(0) > 0).all() and (w.min(0) < item.size_mm).all()), None)
            areas |= {name: through(to_picture, points) for name, points in soap_areas(item, over).items()}
            fold_mm = 0.0
        if fold_mm:
            crumple(sheet, fold_mm, rng)
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
        # Elsewhere nothing changes, and an item is a small part of most pictures.
        x, y, across, down = cv2.boundingRect(((alpha > 0) | (shadow > 0)).astype(np.uint8))
        here = slice(y, y + down), slice(x, x + across)
        alpha = alpha[here][..., None]
        shade = (1 - alpha) * (1 - 0.35 * shadow[here][..., None])
        for light, own in enumerate(sheet.layers):
            laid = cv2.warpPerspective(own, warp, scene.size, borderMode=cv2.BORDER_REPLICATE)
            layers[light][here] = shade * layers[light][here] + alpha * laid[here]
    return layers, corners, areas


def _spot(scene: Scene, corners: Array, centre: tuple[float, float], radius: float) -> NDArray[np.float32]:
    """A soft disc over the card, 0 to 1."""
    to_card = cv2.getPerspectiveTransform(corners.astype(np.float32), np.float32([[0, 0], [1, 0], [1, 1], [0, 1]]))
    x, y = through(np.linalg.inv(to_card), [centre])[0]
    across = np.linalg.norm(corners[1] - corners[0]) * radius
    rows, columns = np.mgrid[: scene.size[1], : scene.size[0]]
    return np.asarray(np.clip(1.5 - np.hypot(columns - x, rows - y) / across, 0, 1), np.float32)


def _developed(scene: Scene, raw: NDArray[np.float32]) -> NDArray[np.uint8]:
    """What the phone makes of what its sensor saw, in place: most of a picture's time would go into copies."""
    # Saturation comes before the matrix, where white itself is balanced: a burnt patch loses its hue.
    white = np.mean([scene.camera.raw(WHITE, light) for light in range(scene.camera.lights)], axis=0)
    np.maximum(raw, 0, out=raw)
    np.minimum(raw, np.asarray(1.15 * white, np.float32), out=raw)
    linear = cv2.transform(raw, np.asarray(scene.camera.develop, np.float32))
    linear *= 65535
    encoded = ENCODED[np.clip(linear, 0, 65535, out=linear).astype(np.uint16)]
    if scene.contrast:
        encoded = encoded + scene.contrast * encoded * (1 - encoded) * (2 * encoded - 0.75)
    if scene.saturation != 1:
        luma = cv2.transform(encoded, np.float32([[0.2126, 0.7152, 0.0722]]))
        encoded = luma[..., None] + scene.saturation * (encoded - luma[..., None])
    encoded *= 255
    return np.rint(np.clip(encoded, 0, 255, out=encoded), out=encoded).astype(np.uint8)


def render(scene: Scene, seed: int, exif: Image.Exif | None = None) -> Rendered:
    """Take the picture. The same scene and seed give the same bytes."""
    rng = np.random.default_rng(seed)
    layers, corners, areas = _compose(scene, rng)
    width, height = scene.size
    rows, columns = (line.astype(np.float32) for line in np.ogrid[:height, :width])
    angle = np.radians(scene.uneven_towards_deg)
    ramp = ((columns / width - 0.5) * np.cos(angle) + (rows / width - 0.5 * height / width) * np.sin(angle)).astype(
        np.float32
    )
    if len(layers) == 2:
        share = (
            np.full((height, width), scene.light_share, np.float32)
            if scene.light_edge is None
            else 1 / (1 + np.exp(np.clip(-ramp / scene.light_edge * 4, -30, 30)))
        )
        raw = share[..., None] * layers[0] + (1 - share[..., None]) * layers[1]
    else:
        raw = layers[0]
    if scene.uneven:
        raw *= (1 - scene.uneven * ramp + 0.4 * scene.uneven * ramp**2)[..., None]
    raw *= 2**scene.exposure_ev

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
        raw = raw + _spot(scene, card_corners, (x, y), faults.glare_radius)[..., None] * strength * scene.camera.raw(
            WHITE, 0
        )

    raw = np.asarray(raw, np.float32)
    blur = float(np.hypot(scene.sharpness_px, faults.blur_px))
    raw = cv2.GaussianBlur(raw, (0, 0), blur)
    if faults.shake_px:
        streak = np.full((1, max(2, round(faults.shake_px))), 1.0, np.float32)
        raw = cv2.filter2D(raw, -1, streak / streak.sum())
    chance = rng.standard_normal(raw.shape, np.float32)
    spread = np.maximum(raw, 0)
    spread *= scene.noise**2
    spread += (0.3 * scene.noise) ** 2
    chance *= np.sqrt(spread, out=spread)
    raw += chance
    picture = _developed(scene, raw)
    if faults.mirrored:
        picture = np.ascontiguousarray(picture[:, ::-1])
        flip = np.array([width - 1, 0.0]), np.array([-1.0, 1.0])
        corners = {k: flip[0] + flip[1] * v for k, v in corners.items()}
        areas = {k: flip[0] + flip[1] * v for k, v in areas.items()}
    soaps = [item for item in scene.items if isinstance(item, Soap)]
    truth = {name: paint.lab for soap in soaps for name, paint in soap.portions if name}
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
        middle = through(place.to_bench(card.size_mm), [(window.x + window.w / 2, window.y + window.h / 2)])[0]
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
