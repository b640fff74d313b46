"""Pictures with and without a chart: drawn ones, whose corners are exact, and real charts put elsewhere.

The pictures behind and the chartless ones are those that ship inside scikit-image, and drawn look-alikes: lattices of
fields that are not the chart.
"""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from numpy.typing import NDArray

from curejournal.photo.card import Card
from curejournal.photo.find.chart import ChartFound, look_for_chart

Picture = NDArray[np.uint8]
Array = NDArray[np.float64]

PHOTOS = Path(__file__).parents[2] / "shared" / "photos"
SCENES = ("coffee", "astronaut", "chelsea", "rocket", "brick", "grass", "gravel", "retina", "hubble_deep_field")


def find_chart(picture: Picture, card: Card) -> ChartFound | None:
    """Where the chart is, whatever the reason if it is not found."""
    found = look_for_chart(picture, card)
    return found if isinstance(found, ChartFound) else None


@dataclass(frozen=True)
class Photo:
    """A real photograph; `corners` (4, 2) of its chart in px, from the dark-skin patch clockwise, or None."""

    name: str
    picture: Picture
    corners: Array | None


def real_photos() -> list[Photo]:
    """All of ../shared/photos; the test is skipped where they are absent, except under CI."""
    if not PHOTOS.exists():
        if os.environ.get("CI") == "true":
            pytest.fail("../shared/photos is absent under CI")
        pytest.skip("../shared/photos, real photographs of charts, is not beside this checkout")
    return list(_real_photos())


@cache
def _real_photos() -> tuple[Photo, ...]:
    photos = []
    with (PHOTOS / "INDEX.csv").open() as index:
        for row in csv.DictReader(index):
            corners = np.array(json.loads(row["corners"])) if row["corners"] else None
            picture = cv2.cvtColor(cv2.imread(str(PHOTOS / row["file"])), cv2.COLOR_BGR2RGB)
            photos.append(Photo(row["file"], picture, corners))
    return tuple(photos)


@dataclass(frozen=True)
class Sheet:
    """A flat chart: its picture, how opaque it is (H, W; 0 to 1), and the map (3, 3) from the card's mm to its px."""

    picture: Picture
    opaque: NDArray[np.float32]
    from_mm: Array


def drawn_sheet(card: Card, fill: float = 0.87, ground: int = 35, step_px: int = 48) -> Sheet:
    """A card's patches, `fill` of a step wide, in their nominal sRGB on a plain ground."""
    width, height = card.size_mm
    centres = np.array([(p.x + p.w / 2, p.y + p.h / 2) for p in card.patches])
    step = np.diff(np.unique(centres[:, 0].round(3))).min()
    scale, border = step_px / step, 0.6 * step
    columns, rows = (np.arange(round((side + 2 * border) * scale)) for side in (width, height))
    picture = np.full((len(rows), len(columns), 3), ground, dtype=float)
    half = fill * step_px / 2
    for patch, (x, y) in zip(card.patches, (centres + border) * scale, strict=True):
        # The share of each pixel that the patch covers: rims are as exact as the corners.
        across, down = (np.clip(half + 0.5 - np.abs(px + 0.5 - at), 0, 1) for px, at in ((columns, x), (rows, y)))
        share = np.outer(down, across)[..., None]
        picture += share * (np.array(patch.srgb) - picture)
    # A pixel's middle is at a whole number: half a px before its edge.
    from_mm = np.array([[scale, 0, border * scale - 0.5], [0, scale, border * scale - 0.5], [0, 0, 1]])
    return Sheet(np.rint(picture).astype(np.uint8), np.ones(picture.shape[:2], np.float32), from_mm)


def cut_out(photo: Photo, card: Card, step_px: int = 48) -> Sheet:
    """A real chart laid flat, with a rim of what is around it."""
    width, height = card.size_mm
    border = 0.12 * height / 4
    scale = step_px / (height / 4)
    size = (round((width + 2 * border) * scale), round((height + 2 * border) * scale))
    from_mm = np.array([[scale, 0, border * scale - 0.5], [0, scale, border * scale - 0.5], [0, 0, 1]])
    flat = cv2.getPerspectiveTransform(corners_mm(card).astype(np.float32), photo.corners.astype(np.float32))
    picture = cv2.warpPerspective(photo.picture, from_mm @ np.linalg.inv(flat), size, flags=cv2.INTER_AREA)
    return Sheet(picture, np.ones(picture.shape[:2], np.float32), from_mm)


def corners_mm(card: Card) -> Array:
    width, height = card.size_mm
    return np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=float)


def through(matrix: Array, points: Array) -> Array:
    moved = np.c_[points, np.ones(len(points))] @ matrix.T
    return moved[:, :2] / moved[:, 2:]


@dataclass(frozen=True)
class Shot:
    """How a chart is photographed. Angles in degrees, `width_px` is the card's width seen straight on.

    `tint` multiplies linear RGB, `slope` is the change of light from one end of the picture to the other, `haze` is
    stray light (0 to 1), `gamma` bends the tone curve, `noise` is in 8-bit steps, `blur_px` a Gaussian's sigma.
    """

    size: tuple[int, int] = (1200, 900)
    width_px: float = 400.0
    turn: float = 0.0
    tilt: float = 0.0
    tilt_axis: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    slope: float = 0.0
    haze: float = 0.0
    gamma: float = 1.0
    noise: float = 2.0
    blur_px: float = 0.6
    jpeg: int = 88
    behind: str = "coffee"


def photographed(sheet: Sheet, card: Card, shot: Shot, seed: int) -> tuple[Picture, Array]:
    """The picture (H, W, 3) and the card's corners (4, 2) in it, in px from its own top left clockwise."""
    rng = np.random.default_rng(seed)
    width, height = shot.size
    to_picture = _pose(card, shot, rng)
    warp = to_picture @ np.linalg.inv(sheet.from_mm)
    # Rendered twice as fine, then averaged: no jagged edges.
    fine = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1]]) @ warp
    shrink = (sheet.from_mm[0, 0] * card.size_mm[0]) / (2 * shot.width_px)
    source = cv2.GaussianBlur(sheet.picture, (0, 0), max(0.45 * shrink, 0.05)) if shrink > 1 else sheet.picture
    chart = cv2.warpPerspective(source, fine, (2 * width, 2 * height), flags=cv2.INTER_LINEAR)
    opaque = cv2.warpPerspective(sheet.opaque, fine, (2 * width, 2 * height), flags=cv2.INTER_LINEAR)
    chart = cv2.resize(chart, shot.size, interpolation=cv2.INTER_AREA)
    opaque = cv2.resize(opaque, shot.size, interpolation=cv2.INTER_AREA)[..., None]
    scene = chart * opaque + backdrop(shot.behind, shot.size) * (1 - opaque)
    return taken(scene, shot, rng), through(to_picture, corners_mm(card))


def _pose(card: Card, shot: Shot, rng: np.random.Generator) -> Array:
    turn, tilt, axis = np.radians([shot.turn, shot.tilt, shot.tilt_axis])
    about_axis, _ = cv2.Rodrigues(tilt * np.array([np.cos(axis), np.sin(axis), 0]))
    rotation = about_axis @ cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0]
    width, height = card.size_mm
    distance = 2.2 * np.hypot(width, height)
    focal = shot.width_px / width * distance
    centred = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, distance]]) @ centred
    pose = np.diag([focal, focal, 1]) @ plane
    corners = through(pose, corners_mm(card))
    room = 0.06 * shot.width_px
    low, high = room - corners.min(0), np.array(shot.size) - 1 - room - corners.max(0)
    assert (high > low).all(), "the chart does not fit into the picture"
    shift = low + rng.random(2) * (high - low)
    return np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]]) @ pose


def taken(scene: Array | Picture, shot: Shot, rng: np.random.Generator) -> Picture:
    """A scene (H, W, 3; encoded, 0 to 255) as the camera gives it back."""
    # OpenCV's powers and products of long rows are many times faster than numpy's of triples.
    linear = cv2.pow(np.asarray(scene, dtype=np.float32) / 255, 2.2)
    height, width = linear.shape[:2]
    ramp = np.linspace(-0.5, 0.5, width)[None, :] + 0.4 * np.linspace(-0.5, 0.5, height)[:, None]
    light = (shot.exposure * (1 + shot.slope * ramp)).astype(np.float32)
    linear = cv2.merge(
        [channel * light * np.float32(by) for channel, by in zip(cv2.split(linear), shot.tint, strict=True)]
    )
    linear *= 1 - shot.haze
    linear += shot.haze * 0.6
    if shot.blur_px:
        linear = cv2.GaussianBlur(linear, (0, 0), shot.blur_px)
    encoded = cv2.pow(np.clip(linear, 0, 1, out=linear), shot.gamma / 2.2)
    encoded *= 255
    encoded += np.float32(shot.noise) * rng.standard_normal(encoded.shape, dtype=np.float32)
    picture = np.clip(np.rint(encoded, out=encoded), 0, 255, out=encoded).astype(np.uint8)
    if not shot.jpeg:
        return picture
    _, coded = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, shot.jpeg])
    return np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])


@cache
def scikit_picture(name: str) -> Picture:
    picture = getattr(skimage.data, name)()
    return picture if picture.ndim == 3 else np.stack([picture] * 3, -1)


def backdrop(name: str, size: tuple[int, int]) -> Picture:
    """One of scikit-image's pictures, cut and scaled to fill (width, height)."""
    picture = scikit_picture(name)
    scale = max(size[0] / picture.shape[1], size[1] / picture.shape[0])
    large = cv2.resize(picture, None, fx=scale + 1e-3, fy=scale + 1e-3, interpolation=cv2.INTER_LINEAR)
    return large[: size[1], : size[0]]


def random_shot(rng: np.random.Generator, small: bool = False) -> Shot:
    """Any light, turn and tilt that a person may bring about with a phone."""
    tilt = float(rng.uniform(0, 40))
    size = (1600, 1200)
    warm = float(rng.uniform(-0.5, 0.5))
    return Shot(
        size=size,
        width_px=float(rng.uniform(100, 160) if small else rng.uniform(220, 800)),
        turn=float(rng.uniform(-180, 180)),
        tilt=tilt,
        tilt_axis=float(rng.uniform(0, 180)),
        tint=(1 + warm, 1.0, max(0.25, 1 - 1.2 * warm)),
        exposure=float(rng.uniform(0.4, 1.2)),
        slope=float(rng.uniform(-0.7, 0.7)),
        haze=float(rng.choice([0.0, 0.0, 0.05, 0.15])),
        gamma=float(rng.uniform(0.75, 1.3)),
        noise=float(rng.uniform(0.5, 5)),
        blur_px=float(rng.uniform(0.3, 0.8 if small else 1.6)),
        jpeg=int(rng.integers(70, 96)),
        behind=str(rng.choice(SCENES)),
    )


def random_drawn_sheet(card: Card, rng: np.random.Generator) -> Sheet:
    """The chart with other gaps and grounds, dark or light."""
    return drawn_sheet(card, fill=float(rng.uniform(0.68, 0.88)), ground=int(rng.choice([15, 30, 60, 90, 235])))


def fields_card(card: Card, colours: NDArray[np.int64]) -> Card:
    """The card with other colours (n, 3) in its places."""
    patches = tuple(
        replace(patch, srgb=tuple(map(int, colour))) for patch, colour in zip(card.patches, colours, strict=True)
    )
    return replace(card, patches=patches)


def _fields(rng: np.random.Generator, columns: int, rows: int, gap: float, ground: int, colours: Array) -> Picture:
    """A wall of fields, a share `gap` of each step left to the ground."""
    step = 900 // max(columns, rows)
    wall = np.full((rows * step, columns * step, 3), ground, np.uint8)
    edge = max(1, round(gap * step / 2))
    for number in range(columns * rows):
        row, column = divmod(number, columns)
        wall[row * step + edge : (row + 1) * step - edge, column * step + edge : (column + 1) * step - edge] = colours[
            rng.integers(len(colours))
        ]
    return wall


def _keyboard() -> Picture:
    board = np.full((330, 900, 3), 30, np.uint8)
    for row in range(5):
        for column in range(14):
            x, y = 20 + column * 60 + 15 * (row % 4), 15 + row * 60
            cv2.rectangle(board, (x, y), (x + 48, y + 48), (70, 70, 75), -1)
            cv2.putText(board, chr(65 + (row * 14 + column) % 26), (x + 8, y + 30), 0, 0.8, (220, 220, 220), 2)
    return board


def look_alikes(card: Card, window: Card, seed: int) -> Iterator[tuple[str, Callable[[], Picture]]]:
    """Names of pictures without the chart, and how each is drawn; those with fields in rows are the hard ones.

    They are to be drawn in this order: each goes on with the chance where the one before it ended.
    """
    rng = np.random.default_rng(seed)
    own = np.array([patch.srgb for patch in card.patches])
    any_colours = rng.integers(0, 256, (200, 3))
    greys = np.repeat(np.linspace(20, 240, 24).round().astype(int)[:, None], 3, 1)

    def on_scene(sheet: Sheet, of: Card, number: int) -> Picture:
        return photographed(sheet, of, replace(random_shot(rng), behind=SCENES[number % len(SCENES)]), seed + number)[0]

    def fields(colours: Callable[[], Array], number: int) -> Picture:
        return on_scene(drawn_sheet(fields_card(card, colours())), card, number)

    def on_a_wall(wall: Callable[[], Picture]) -> Picture:
        return taken(np.asarray(wall(), dtype=np.uint8), random_shot(rng), rng)

    def of_window(number: int) -> Picture:
        return on_scene(_window_sheet(window), window, number)

    for name in (*SCENES, "immunohistochemistry", "camera", "coins", "page"):
        yield f"scene {name}", partial(scikit_picture, name)
    for number in range(6):
        any_24 = partial(rng.integers, 0, 256, (len(own), 3))
        yield f"24 random colours {number}", partial(fields, any_24, number)
    for number in range(6):
        yield f"own colours shuffled {number}", partial(fields, partial(rng.permutation, own), number)
    yield "24 greys", partial(fields, lambda: greys, 1)
    walls: list[tuple[str, Callable[[], Picture]]] = [
        ("swatches 8x6", lambda: _fields(rng, 8, 6, 0.15, 250, any_colours)),
        ("swatches 6x4", lambda: _fields(rng, 6, 4, 0.12, 20, any_colours)),
        ("tiles 16x12 in the chart's colours", lambda: _fields(rng, 16, 12, 0.1, 200, own)),
        ("tiles 12x12 in the chart's colours", lambda: _fields(rng, 12, 12, 0.2, 20, own)),
        ("tiles without gaps", lambda: _fields(rng, 14, 10, 0.01, 40, any_colours)),
        (
            "checkerboard",
            lambda: np.kron(np.indices((8, 8)).sum(0) % 2, np.ones((80, 80)))[..., None].repeat(3, 2) * 200,
        ),
        (
            "windows of a house",
            lambda: _fields(rng, 9, 7, 0.5, 150, np.array([[60, 70, 90], [200, 190, 120], [40, 45, 60]])),
        ),
        ("keyboard", _keyboard),
    ]
    for name, wall in walls:
        yield name, partial(on_a_wall, wall)
    noise = partial(rng.integers, 0, 256, dtype=np.uint8)
    yield "noise", lambda: noise(size=(900, 1200, 3))
    yield "coarse noise", lambda: cv2.resize(noise(size=(30, 40, 3)), (1200, 900), interpolation=cv2.INTER_NEAREST)
    yield "blank", lambda: np.full((900, 1200, 3), 128, np.uint8)
    for number in range(3):
        yield f"window card {number}", partial(of_window, number)


def _window_sheet(window: Card, scale: float = 6.0) -> Sheet:
    picture = np.full((round(window.size_mm[1] * scale), round(window.size_mm[0] * scale), 3), 255, np.uint8)
    for marker in window.markers:
        x, y, size = (round(value * scale) for value in (marker.x, marker.y, marker.size))
        picture[y : y + size, x : x + size] = 0
    for patch in window.patches:
        x, y, w, h = (round(value * scale) for value in (patch.x, patch.y, patch.w, patch.h))
        picture[y : y + h, x : x + w] = patch.srgb
    return Sheet(
        picture, np.ones(picture.shape[:2], np.float32), np.array([[scale, 0, -0.5], [0, scale, -0.5], [0, 0, 1]])
    )


def mirrored(photo: Photo) -> Picture:
    return np.ascontiguousarray(photo.picture[:, ::-1])


def cropped_through_chart(photo: Photo, share: float) -> Picture:
    """The picture cut so that `share` of the chart's width, from its first column, is out of frame."""
    assert photo.corners is not None
    a, b = photo.corners[0], photo.corners[1]
    cut = a + share * (b - a)
    if abs(b[0] - a[0]) > abs(b[1] - a[1]):
        x = round(cut[0])
        part = photo.picture[:, x:] if b[0] > a[0] else photo.picture[:, :x]
    else:
        y = round(cut[1])
        part = photo.picture[y:] if b[1] > a[1] else photo.picture[:y]
    assert part.size
    return np.ascontiguousarray(part)


def painted_over(photo: Photo) -> Picture:
    """The picture with its chart replaced by what is around it."""
    assert photo.corners is not None
    picture = photo.picture.copy()
    middle = photo.corners.mean(0)
    larger = np.rint(middle + 1.25 * (photo.corners - middle)).astype(np.int32)
    mask = cv2.fillConvexPoly(np.zeros(picture.shape[:2], np.uint8), larger, 255)
    rim = cv2.dilate(mask, np.ones((9, 9), np.uint8)) - mask
    picture[mask > 0] = np.median(picture[rim > 0], axis=0)
    return picture


def covered(photo: Photo, line: str, by: str | None = None) -> Picture:
    """The picture with one outer line of its chart under a scene of scikit-image's, or under one even colour."""
    assert photo.corners is not None
    low, high = {
        "first row": ((-0.4, -0.4), (6.4, 1)),
        "last row": ((-0.4, 3), (6.4, 4.4)),
        "first column": ((-0.4, -0.4), (1, 4.4)),
        "last column": ((5, -0.4), (6.4, 4.4)),
    }[line]
    unit = np.array([(0, 0), (6, 0), (6, 4), (0, 4)], dtype=np.float32)
    onto = cv2.getPerspectiveTransform(unit, photo.corners.astype(np.float32)).astype(float)
    box = through(onto, np.array([low, (high[0], low[1]), high, (low[0], high[1])]))
    mask = cv2.fillConvexPoly(np.zeros(photo.picture.shape[:2], np.uint8), np.rint(box).astype(np.int32), 1)
    over = backdrop(by, photo.picture.shape[1::-1]) if by else np.array([150, 140, 120], np.uint8)
    return np.where(mask[..., None] > 0, over, photo.picture)
