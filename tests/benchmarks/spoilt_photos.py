"""What goes wrong in a picture, in path-traced scenes: refused, *approximate* with an interval that holds, or right.

    python -m tests.benchmarks.spoilt_photos [FOLDER] [--times 8]

Each fault is laid on pictures that a path tracer rendered: on what light it left, before the phone's tone curve and
JPEG. FOLDER holds pictures and `truth.json` as `tests.path_traced.make --into` lays them out; without it they are the
committed sample, each used more than once with the fault in another place. Faults of the card, the soap and the room,
which must be rendered, are in `tests.benchmarks.path_traced_scenes`.
"""

from __future__ import annotations

import argparse
import io
import json
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image
from skimage.color import deltaE_ciede2000

from curejournal.base.errors import CureJournalError
from curejournal.colour.sample import Grade
from curejournal.colour.spaces import linear_from_srgb, srgb_from_linear
from curejournal.photo.card import Card, built_in_card_text, read_card
from curejournal.photo.measure.measurement import Measurement, measure
from curejournal.photo.read.picture_file import read_photo

SAMPLE = Path(__file__).parents[1] / "data" / "path_traced"
Array = np.ndarray
Spoil = Callable[["Scene", np.random.Generator], bytes]


@dataclass(frozen=True)
class Scene:
    """A rendered picture of one soap: its linear light (H, W, 3), the card's corners in it, card and true colour."""

    linear: Array
    corners: Array
    card: Card
    truth: Array

    def at(self, x: float, y: float) -> Array:
        """The pixel of a place on the card, in shares of its width and height."""
        unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
        to_pixels = cv2.getPerspectiveTransform(unit, self.corners.astype(np.float32))
        return np.asarray(cv2.perspectiveTransform(np.array([[[x, y]]], np.float32), to_pixels)[0, 0])

    @property
    def side(self) -> float:
        """The card's width in px."""
        return float(np.linalg.norm(self.corners[1] - self.corners[0]))

    @property
    def window(self) -> tuple[float, float, float, float]:
        """The window's left, top, right and bottom, in shares of the card."""
        (wide, high), cut = self.card.size_mm, self.card.window
        assert cut is not None
        return cut.x / wide, cut.y / high, (cut.x + cut.w) / wide, (cut.y + cut.h) / high


def saved(linear: Array, form: str = "JPEG", mode: str = "RGB", quality: int = 90) -> bytes:
    """A picture file of linear light."""
    encoded = np.rint(np.clip(srgb_from_linear(np.clip(linear, 0, 1)), 0, 1) * 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(encoded).convert(mode).save(out, form, quality=quality)
    return out.getvalue()


def disc(scene: Scene, at: Array, radius: float, soft: float = 0.15) -> Array:
    """How much of each pixel (H, W, 1) a disc covers; its radius in card widths."""
    rows, columns = np.mgrid[: scene.linear.shape[0], : scene.linear.shape[1]]
    away = np.hypot(columns - at[0], rows - at[1]) / (radius * scene.side)
    return np.asarray(np.clip((1 - away) / soft + 0.5, 0, 1))[..., None]


def beside_window(scene: Scene, rng: np.random.Generator) -> Array:
    """A place on the edge of the window."""
    left, top, right, bottom = scene.window
    across, down = rng.uniform(left, right), rng.uniform(top, bottom)
    places = ((across, top), (right, down), (across, bottom), (left, down))
    return scene.at(*places[rng.integers(4)])


def covered(scene: Scene, at: Array, radius: float, colour: tuple[float, float, float]) -> bytes:
    """Something of this linear colour lies on the card."""
    cover = disc(scene, at, radius)
    return saved(scene.linear * (1 - cover) + np.array(colour) * scene.linear.max() * cover)


def shaken(scene: Scene, rng: np.random.Generator) -> bytes:
    """Moved while it was taken, by a twentieth of the card."""
    length = max(round(0.05 * scene.side), 9)
    streak = np.zeros((length, length), np.float32)
    cv2.line(streak, (0, length // 2), (length - 1, length // 2), 1.0)
    turn = cv2.getRotationMatrix2D(((length - 1) / 2,) * 2, float(rng.uniform(0, 180)), 1.0)
    streak = cv2.warpAffine(streak, turn, (length, length))
    return saved(cv2.filter2D(scene.linear, -1, streak / streak.sum()))


def halved(scene: Scene, rng: np.random.Generator, other: tuple[float, float, float], soft: float) -> bytes:
    """Another light on one side of a line through the card."""
    rows, columns = np.mgrid[: scene.linear.shape[0], : scene.linear.shape[1]]
    turn = rng.uniform(0, 2 * np.pi)
    middle = scene.at(0.5, 0.5)
    along = ((columns - middle[0]) * np.cos(turn) + (rows - middle[1]) * np.sin(turn)) / scene.side
    share = np.clip(along / soft + 0.5, 0, 1)[..., None]
    return saved(scene.linear * (1 + share * (np.array(other) - 1)))


def cut(scene: Scene, rng: np.random.Generator) -> bytes:
    """Only a part of the card is in the picture."""
    middle = scene.at(float(rng.uniform(0.3, 0.7)), 0.5)[0]
    return saved(scene.linear[:, : round(middle)] if rng.random() < 0.5 else scene.linear[:, round(middle) :])


def small(scene: Scene, rng: np.random.Generator) -> bytes:
    """A card of 60 to 100 px in width."""
    scale = rng.uniform(60, 100) / scene.side
    size = (round(scene.linear.shape[1] * scale), round(scene.linear.shape[0] * scale))
    tiny = cv2.resize(scene.linear.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    ground = np.full_like(scene.linear, 0.3)
    ground[: size[1], : size[0]] = tiny
    return saved(ground)


def filtered(scene: Scene, rng: np.random.Generator) -> bytes:
    """A “vivid” filter: more contrast and saturation."""
    encoded = srgb_from_linear(np.clip(scene.linear, 0, 1))
    encoded = encoded + 0.8 * encoded * (1 - encoded) * (2 * encoded - 1)
    luma = encoded @ np.array([0.2126, 0.7152, 0.0722])
    return saved(linear_from_srgb(np.clip(luma[..., None] + rng.uniform(1.4, 1.8) * (encoded - luma[..., None]), 0, 1)))


def dark(scene: Scene, rng: np.random.Generator) -> bytes:
    """Five stops too dark, with a phone's noise."""
    return saved(scene.linear / 32 + 0.002 * rng.standard_normal(scene.linear.shape))


WHITE = (1.0, 1.0, 1.0)
FAULTS: dict[str, Spoil] = {
    "none": lambda scene, rng: saved(scene.linear),
    "moved": shaken,
    "out of focus": lambda scene, rng: saved(cv2.GaussianBlur(scene.linear, (0, 0), 0.02 * scene.side)),
    "burnt out": lambda scene, rng: saved(scene.linear * rng.uniform(2.0, 3.0)),
    "far too dark": dark,
    "thumb over the window": lambda scene, rng: covered(
        scene, beside_window(scene, rng), rng.uniform(0.07, 0.11), (0.45, 0.25, 0.18)
    ),
    "thumb on a corner": lambda scene, rng: covered(
        scene, scene.at(*rng.integers(0, 2, 2).astype(float)), 0.15, (0.45, 0.25, 0.18)
    ),
    "stain of oil on patches": lambda scene, rng: covered(
        scene, scene.at(*rng.uniform(0.1, 0.9, 2)), 0.08, (0.4, 0.3, 0.1)
    ),
    "glare in the window": lambda scene, rng: saved(
        scene.linear + 0.5 * disc(scene, scene.at(0.5, (scene.window[1] + scene.window[3]) / 2), 0.08, 0.9)
    ),
    "half of it in a shadow": lambda scene, rng: halved(scene, rng, (0.35, 0.36, 0.38), 0.04),
    "two lights": lambda scene, rng: halved(scene, rng, (1.0, 0.75, 0.4), 0.3),
    "half out of the picture": cut,
    "mirrored": lambda scene, rng: saved(scene.linear[:, ::-1]),
    "too small": small,
    "vivid filter": filtered,
    "black and white": lambda scene, rng: saved(scene.linear, mode="L"),
    "made for print": lambda scene, rng: saved(scene.linear, mode="CMYK"),
    "saved at quality 8": lambda scene, rng: saved(scene.linear, quality=8),
    "two cards": lambda scene, rng: saved(np.concatenate([scene.linear, scene.linear], axis=int(rng.integers(2)))),
    "ends too early": lambda scene, rng: (data := saved(scene.linear))[: int(len(data) * rng.uniform(0.2, 0.9))],
}


def scenes_of(folder: Path, times: int) -> list[Scene]:
    """So many good pictures of one soap under the window card, repeated if there are fewer."""
    told = json.loads((folder / "truth.json").read_text("utf-8"))
    good = [
        scene
        for scene in told["scenes"].values()
        if scene["card"] == "window"
        and not scene["fault"]
        and scene["kind"] != "enrolment"
        and len(scene["portions"]) == 1
    ]
    return [_scene(folder, told["prints"], one) for one in islice(cycle(good[:times]), times)]


def _scene(folder: Path, prints: dict[str, Any], scene: dict[str, Any]) -> Scene:
    card = read_card(built_in_card_text("window"))
    colours = prints[scene["print"]]["window"]
    patches = tuple(replace(patch, lab_d50=tuple(colours[patch.id])) for patch in card.patches)
    with Image.open(folder / scene["file"]) as image:
        linear = linear_from_srgb(np.asarray(image.convert("RGB")) / 255.0)
    (portion,) = scene["portions"].values()
    card = replace(card, kind="measured", provenance="path-traced", patches=patches)
    return Scene(linear, np.array(scene["corners"]), card, np.array(portion["lab"]))


def verdict(data: bytes, scene: Scene) -> str:
    """What became of a picture: refused, *approximate* and held or not, *measured* and within 4 or not."""
    try:
        found: Measurement = measure(read_photo(data), scene.card)
    except CureJournalError:
        return "refused"
    area = found.areas[0] if found.areas else None
    if area is None or area.sample is None:
        return "refused"
    off = np.array(area.sample.lab) - scene.truth
    held = float(off @ np.linalg.solve(area.sample.covariance_array, off)) < 7.815
    right = float(deltaE_ciede2000(scene.truth, np.array(area.sample.lab))) <= 4.0
    if area.grade is Grade.MEASURED:
        return "measured, right" if right else "MEASURED, OFF BY MORE THAN 4"
    return "approximate, held" if held else "approximate, right" if right else "APPROXIMATE, NOT HELD"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--times", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    scenes = scenes_of(options.folder, options.times)
    print(f"{options.folder.name}, seed {options.seed}\n\n| fault | what became of {options.times} |\n| --- | --- |")
    for number, (name, spoil) in enumerate(FAULTS.items()):
        rng = np.random.default_rng([options.seed, number])
        became = Counter(verdict(spoil(scene, rng), scene) for scene in scenes)
        print(f"| {name} | {', '.join(f'{count} {word}' for word, count in sorted(became.items()))} |", flush=True)


if __name__ == "__main__":
    main()
