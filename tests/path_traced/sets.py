"""Cards over soap in three sets that share nothing: for choosing, for reporting, and the faults.

A set's world says which materials, inks, cameras, lights and seeds it draws from. Each scene carries its truth: the
colour of every portion that shows in the window, as an instrument would read it (45:0 without gloss).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from tests.path_traced.laying import (
    LaidCard,
    Print,
    flat_bar,
    ground,
    lay_card,
    loaf,
    mould,
    stuff,
    surrounding,
    window_light,
)
from tests.path_traced.patterns import shares_of
from tests.path_traced.shapes import in_loaf
from tests.path_traced.world import (
    Array,
    Body,
    Camera,
    Finish,
    Lamp,
    Lens,
    Pattern,
    Shot,
    Surface,
    Thing,
    moved,
    place,
)
from tests.printing import Printer
from tests.scene_items import Paint
from tests.scenes import card_named
from tests.spectra import SpectralCamera, chart24_paints, edge, lab_of, sensitivities, soap_reflectance, surface

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class World:
    """What one set draws from."""

    name: str
    first_seed: int
    model: str
    roughness: tuple[float, float]
    paper_matt: tuple[float, float]
    printers: tuple[Printer, ...]
    cameras: tuple[tuple[str, int | None], ...]
    lights: tuple[str, ...]
    lamps: tuple[str, ...]
    families: tuple[tuple[Lab, Lab], ...]
    grounds: tuple[str, ...]


CHOOSING = World(
    "choosing",
    1000,
    "beckmann",
    (0.10, 0.32),
    (0.35, 0.75),
    (Printer(41), Printer(42, ink_change=7), Printer(43, dots=2.0)),
    (
        ("camera 1", 1),
        ("camera 1", 4),
        ("Canon EOS 5D Mark II", None),
        ("Nikon D700", None),
        ("Canon PowerShot S90", 5),
        ("Sony ILCE-7RM2", None),
    ),
    ("daylight, overcast", "daylight, window", "daylight, blue sky", "LED, neutral", "LED, warm", "tungsten"),
    ("LED, warm", "tungsten", "fluorescent, three-band"),
    (
        ((91, 1, 14), (4, 2, 6)),
        ((82, 4, 26), (6, 4, 9)),
        ((64, 16, 44), (8, 6, 8)),
        ((45, 15, 28), (9, 5, 8)),
        ((28, 8, 12), (8, 4, 5)),
        ((84, -10, 8), (6, 5, 6)),
        ((60, -12, 16), (10, 6, 8)),
        ((76, 18, 6), (7, 7, 6)),
        ((66, 12, -14), (8, 6, 8)),
        ((20, 2, 2), (5, 2, 3)),
        ((48, 32, 22), (8, 8, 8)),
    ),
    ("wood", "paper", "stone"),
)
REPORTING = World(
    "reporting",
    70_000,
    "ggx",
    (0.06, 0.20),
    (0.2, 0.65),
    (
        Printer(141, ink_change=31),
        Printer(142, ink_change=32, dots=1.7),
        Printer(143, ink_change=33, ink_error=0.09),
        Printer(144, ink_change=34, dots=2.4),
    ),
    (
        ("Sony IMX219", None),
        ("Sony IMX219", 21),
        ("OmniVision OV5647", None),
        ("OmniVision OV5647", 22),
        ("Nikon D7000", None),
        ("Canon Digital Rebel XTi", 23),
        ("Sony ILCE-7SM2", None),
    ),
    (
        "daylight 4600",
        "daylight 5800",
        "daylight 7200",
        "LED, cool",
        "LED-B2",
        "black body 2850",
        "fluorescent, cool white",
    ),
    ("black body 2700", "LED-B1", "FL12"),
    (
        ((93, -1, 9), (3, 2, 5)),
        ((87, 2, 20), (5, 3, 7)),
        ((74, 9, 34), (8, 6, 9)),
        ((56, 20, 38), (9, 6, 9)),
        ((36, 13, 20), (8, 5, 7)),
        ((72, -8, 22), (9, 5, 9)),
        ((78, 14, 2), (7, 7, 6)),
        ((58, 8, -18), (9, 6, 8)),
        ((24, 1, 0), (7, 2, 3)),
        ((54, 28, 12), (9, 9, 8)),
        ((66, -16, -6), (8, 6, 6)),
        ((80, 6, 52), (6, 6, 9)),
    ),
    ("dark wood", "linen", "slate", "paper"),
)
WORLDS = {world.name: world for world in (CHOOSING, REPORTING)}


class Draw:
    """Chance of one scene, with the questions that a scene asks of it."""

    def __init__(self, world: World, number: int) -> None:
        self.world, self.seed = world, world.first_seed + number
        self.rng = np.random.default_rng(self.seed)

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def about(self, spread: float) -> float:
        return float(self.rng.normal(0, spread))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one(self, options: Any) -> Any:
        return options[int(self.rng.integers(len(options)))]

    def finish(self, low: float | None = None, high: float | None = None) -> Finish:
        least, most = self.world.roughness
        return Finish(
            round(self.between(low or least, high or most), 3), self.world.model, round(self.between(0, 0.15), 3)
        )

    def lab(self, family: int) -> Lab:
        centre, half = self.world.families[family % len(self.world.families)]
        lab = np.array(centre) + np.array(half) * self.rng.uniform(-1, 1, 3)
        return (float(lab[0]), float(lab[1]), float(lab[2]))

    def soap(self, finish: Finish, family: int | None = None, near: Lab | None = None) -> Surface:
        """A smooth spectrum of a soap's colour; `near` moves a little from another."""
        while True:
            lab = self.lab(int(self.rng.integers(99)) if family is None else family)
            if near is not None:
                lab = tuple(np.add(near, self.rng.uniform(-1, 1, 3) * [4, 3, 4]).tolist())
            try:
                return Surface(soap_reflectance(lab, int(self.rng.integers(1000))), finish)
            except ValueError:  # no smooth reflectance has that colour
                continue


# Soaps ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Under:
    """What lies under a window: its things, which of them is the soap, and the height of its upper side."""

    kind: str
    things: tuple[Thing, ...]
    soap: Thing
    top: float
    names: tuple[str, ...]
    depth: float = 0.0
    """From where a card lies down to the soap, in mm."""


def _bar(kind: str, portions: int, pattern: str, **options: Any) -> Callable[[Draw, int], Under]:
    names = {
        "gel": ("rim", "gelled"),
        "veins": ("base", "vein"),
        "specks": ("soap", "specks"),
        "embeds": ("base", "embeds"),
    }

    def make(draw: Draw, family: int) -> Under:
        finish = draw.finish()
        first = draw.soap(finish, family)
        rest = [draw.soap(finish) for _ in range(portions - 1)]
        if kind == "gel":  # the middle is darker and warmer, of the same soap
            lab = np.array(lab_of(first.wanted))
            rest = [
                draw.soap(finish, near=tuple(lab + [draw.between(-20, -8), draw.between(1, 5), draw.between(2, 12)]))
            ]
        own = dict(options)
        if pattern == "layers":
            own["edges"] = np.sort(draw.rng.uniform(14, 46, portions - 1)).tolist()
        if pattern == "gel":
            own["radius"] = draw.between(0.28, 0.75)
        if pattern == "swirl":
            own |= {"grain_mm": draw.between(30, 60), "portions": portions, "fold": draw.between(0.5, 1.0)}
        size = (draw.between(78, 92), draw.between(56, 64), draw.between(22, 34))
        stamp = kind == "stamped"
        soap = flat_bar(
            (first, *rest), Pattern(pattern, draw.seed, own), place(0, 0, size[2] / 2, draw.about(5)), size,
            along=draw.between(-60, 60), mottling=draw.between(0.0, 0.02),
            relief="stamp" if stamp else "cut", relief_mm=draw.between(0.25, 0.6) if stamp else draw.between(0.02, 0.09),
        )  # fmt: skip
        things = [soap]
        if kind == "crumbs":
            crumbs = [
                (
                    {"size": draw.between(0.6, 1.8), "seed": k},
                    place(draw.between(-24, 24), draw.between(-17, 17), size[2], draw.between(0, 360)),
                )
                for k in range(12)
            ]
            things.append(Thing("many", {"shape": "crumb", "each": crumbs}, place(), first))
        if draw.chance(0.5):
            beside = replace(
                soap,
                place=place(
                    draw.one((-1, 1)) * draw.between(95, 120), draw.between(-60, 60), size[2] / 2, draw.about(25)
                ),
            )
            things.append(beside)
        called = names.get(pattern) or tuple(f"portion {k + 1}" for k in range(portions))
        return Under(kind, tuple(things), soap, size[2], called[:portions])

    return make


def _loaf(kind: str, top: str, wet: bool = False, petals: bool = False) -> Callable[[Draw, int], Under]:
    def make(draw: Draw, family: int) -> Under:
        finish = Finish(round(draw.between(0.05, 0.09), 3), draw.world.model) if wet else draw.finish()
        first = draw.soap(finish, family)
        portions: tuple[Surface, ...] = (first,)
        pattern = Pattern("plain", draw.seed)
        if not wet and draw.chance(0.4):
            portions, pattern = (
                (first, draw.soap(finish)),
                Pattern("swirl", draw.seed, {"grain_mm": draw.between(40, 70), "portions": 2}),
            )
        height, rise = draw.between(48, 62), {"level": 0.8, "combed": 1.6, "spooned": 5.0, "peaks": 4.0}[top]
        at = place(0, 0, 0, 90 + draw.about(4))
        soap = loaf(
            portions, pattern, at @ place(0, 0, height / 2), (78.0, 240.0, height), top, 0.25 if wet else rise, draw.seed,
            mottling=0.0 if wet else draw.between(0, 0.02), relief="skin", relief_mm=0.0 if wet else draw.between(0.03, 0.1),
        )  # fmt: skip
        depth = draw.between(1.0, 4.0) + (0.6 * rise if not wet else 0)
        things = [soap, *mould((79.0, 241.0, height + depth), 14.0, at, draw.seed)]
        if wet:
            bubbles = []
            for _ in range(int(draw.rng.integers(5, 40))):
                size = draw.between(0.3, 1.3)
                spot = place(draw.between(-30, 30), draw.between(-50, 50), height - 0.02)
                bubbles.append(({"radius": size, "height": 0.55 * size}, spot))
            things.append(Thing("many", {"shape": "dome", "each": bubbles}, at, first))
        if petals:
            colour = draw.soap(Finish(0.4, "beckmann", 0.7), near=draw.one(((45, 38, 12), (70, 20, 50), (58, 14, -22))))
            petals_there = [
                (
                    {"length": draw.between(6, 14), "seed": k},
                    place(draw.between(-30, 30), draw.between(-70, 70), height + 1.0, draw.between(0, 360)),
                )
                for k in range(int(draw.rng.integers(4, 12)))
            ]
            things.append(Thing("many", {"shape": "petal", "each": petals_there}, at, colour))
        names = ("soap",) if len(portions) == 1 else ("portion 1", "portion 2")
        return Under(kind, tuple(things), soap, height, names, depth)

    return make


SOAPS: dict[str, Callable[[Draw, int], Under]] = {
    "plain bar": _bar("plain", 1, "plain"),
    "swirl": _bar("swirl", 2, "swirl"),
    "three-colour swirl": _bar("swirl", 3, "swirl"),
    "layers": _bar("layers", 2, "layers"),
    "three layers": _bar("layers", 3, "layers"),
    "drops": _bar("drops", 2, "drops"),
    "marble": _bar("marble", 2, "veins"),
    "partly gelled": _bar("gel", 2, "gel"),
    "embeds": _bar("embeds", 2, "embeds"),
    "specks": _bar("specks", 2, "specks"),
    "stamped": _bar("stamped", 1, "plain"),
    "crumbs": _bar("crumbs", 1, "plain"),
    "plain bar again": _bar("plain", 1, "plain"),
    "loaf": _loaf("loaf", "level"),
    "textured top": _loaf("textured top", "combed"),
    "petals": _loaf("petals", "level", petals=True),
    "wet batter": _loaf("wet batter", "level", wet=True),
}


# Light, camera ---------------------------------------------------------------------------------------


def lit(draw: Draw, eye: Array, target: Array, mixed: float = 0.15) -> tuple[tuple[Lamp, ...], tuple[str, ...]]:
    """A window or big lamp, what the room throws back, and now and then another lamp; seldom mirrored to the eye."""
    main = draw.one(draw.world.lights)
    ahead = (eye - target) / np.linalg.norm(eye - target)
    mirrored = ahead * [-1, -1, 1]
    while True:
        key = window_light(
            main, 1.0, draw.between(0, 360), draw.between(24, 68), draw.between(700, 1800), (draw.between(180, 450), draw.between(200, 500)),
        )  # fmt: skip
        towards = np.array(key.at) / np.linalg.norm(key.at)
        if np.degrees(np.arccos(np.clip(towards @ mirrored, -1, 1))) > 42 or draw.chance(0.06):
            break
    lamps, names = [key, surrounding(main, draw.between(0.22, 0.75))], (main,)
    if draw.chance(mixed):
        other = draw.one(draw.world.lamps)
        lamps.append(
            window_light(other, draw.between(0.08, 0.3), draw.between(0, 360), draw.between(45, 85), 1500, (130, 130))
        )
        names = (main, other)
    return tuple(lamps), names


def phone(draw: Draw, lights: tuple[str, ...]) -> tuple[Camera, dict[str, Any]]:
    name, change = draw.one(draw.world.cameras)
    error = (draw.about(0.05), draw.about(0.06))
    seen = SpectralCamera(lights[:1], name, change, error)
    camera = Camera(
        sensitivities(name, change),
        seen.develop,
        exposure_ev=draw.between(-0.55, 0.12),
        contrast=draw.between(0, 0.35),
        saturation=draw.between(0.96, 1.2),
        noise=draw.between(0.003, 0.012),
        sharpness_px=draw.between(0.4, 0.9),
        jpeg_quality=int(draw.rng.integers(80, 96)),
        vignetting=draw.between(0, 0.12),
    )
    return camera, {"camera": name, "change": change, "lights": list(lights)}


def aimed(draw: Draw, laid: LaidCard, size: tuple[int, int]) -> Lens:
    """A hand-held view with the whole card in the picture."""
    w, h = laid.card.size_mm
    middle = laid.points([[w / 2, h / 2]])[0]
    outline = laid.points([[0, 0], [w, 0], [w, h], [0, h]])
    while True:
        away = max(w, 1.25 * h) / draw.between(0.52, 0.82) / 1.274
        tilt, towards, turn = np.radians([min(abs(draw.about(14)), 38), draw.between(0, 360), draw.about(12)])
        eye = middle + away * np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
        at = middle + [draw.about(4), draw.about(4), 0]
        lens = Lens(
            tuple(eye.tolist()), tuple(at.tolist()), 65.0, size, 0.9, up=(float(np.sin(turn)), float(np.cos(turn)), 0.0)
        )
        seen = lens.project(outline)
        if (seen > 14).all() and (seen < np.array(size) - 15).all():
            return lens


# Truth ------------------------------------------------------------------------------------------------


def largest_rectangle(inside: np.ndarray) -> tuple[int, int, int, int]:
    """Rows and columns (r0, r1, c0, c1) of the largest all-true rectangle; zeros if there is none."""
    best, heights = (0, 0, 0, 0), np.zeros(inside.shape[1], int)
    for row, line in enumerate(inside):
        heights = np.where(line, heights + 1, 0)
        stack: list[tuple[int, int]] = []
        for column, height in enumerate([*heights.tolist(), 0]):
            start = column
            while stack and stack[-1][1] >= height:
                start, tall = stack.pop()
                if tall * (column - start) > (best[1] - best[0]) * (best[3] - best[2]):
                    best = (row - tall + 1, row + 1, start, column)
            stack.append((start, height))
    return best


def seen_in_window(laid: LaidCard, lens: Lens, under: Under, step: float = 0.5) -> dict[str, Any]:
    """By portion: its true Lab, its share of the window, and the largest field (px) that holds it alone."""
    window = laid.card.window
    assert window is not None
    xs, ys = (
        np.arange(window.x + 1.0, window.x + window.w - 0.9, step),
        np.arange(window.y + 1.0, window.y + window.h - 0.9, step),
    )
    grid = np.stack(np.meshgrid(xs, ys), -1)
    through = laid.points(grid.reshape(-1, 2)) - [0, 0, laid.thickness]
    eye = np.array(lens.at)
    ray = through - eye
    on_soap = eye + ray * ((under.top - eye[2]) / ray[:, 2])[:, None]
    back = np.linalg.inv(under.soap.place)
    body = under.soap.made_of
    assert isinstance(body, Body)
    shares = shares_of(body.pattern, in_loaf(moved(on_soap, back), body))
    found = {}
    for number, name in enumerate(under.names):
        inside = (shares[:, number] > 0.93).reshape(grid.shape[:2])
        r0, r1, c0, c1 = largest_rectangle(inside)
        entry: dict[str, Any] = {
            "lab": np.round(lab_of(body.portions[number].reflectance), 3).tolist(),
            "share": round(float(shares[:, number].mean()), 4),
        }
        if min(r1 - r0, c1 - c0) * step >= 2.0:
            box = np.array([[xs[c0], ys[r0]], [xs[c1 - 1], ys[r0]], [xs[c1 - 1], ys[r1 - 1]], [xs[c0], ys[r1 - 1]]])
            at = laid.points(box) - [0, 0, laid.thickness]
            entry["area"] = np.round(lens.project(at), 1).tolist()
        found[name] = entry
    return found


def corners_of(laid: LaidCard, lens: Lens) -> list[list[float]]:
    return [list(map(float, point)) for point in np.round(lens.project(laid.points(laid.card.corner_points())), 2)]


@cache
def print_of(world: World, which: int, fade: float = 0.0) -> Print:
    """One of a set's printed copies of the window card and the side card, with finishes of its own."""
    rng = np.random.default_rng(world.first_seed + 17 * which)
    printer = world.printers[which]
    if fade:
        printer = replace(printer, fade=fade)
    paints = {**printer.paints(card_named("window")), **printer.paints(card_named("side"))}
    rough = float(rng.uniform(*np.clip(world.roughness, 0.1, 1)))
    paper = Finish(round(rough, 3), world.model, round(float(rng.uniform(*world.paper_matt)), 3))
    ink = Finish(round(rough, 3), world.model, round(paper.matt * 0.5, 3))
    return Print(paints, printer.paper, printer.ink, paper, ink)


@cache
def chart_print() -> Print:
    """The 24-patch chart: matt paint, exactly its published colours."""
    dark = surface(soap_reflectance((16.0, 0.0, 0.0)))
    return Print(
        chart24_paints(card_named("chart24")), dark, dark, Finish(0.3, "beckmann", 0.5), Finish(0.3, "beckmann", 0.5)
    )


def references(made: Print, card_name: str) -> dict[str, list[float]]:
    """What an instrument reads of a card's fields, as rendered: their true Lab."""
    laid = lay_card(card_named(card_name), made, place())
    return {name: np.round(lab_of(patch.reflectance), 3).tolist() for name, patch in laid.patches.items()}


# Scenes -----------------------------------------------------------------------------------------------

SIZE = (1200, 900)
SAMPLES = 64


def over_soap(draw: Draw, kind: str, number: int, fault: str = "") -> Shot:
    """The window card on a bar, or over a mould."""
    under = SOAPS[kind](draw, number)
    which = number % len(draw.world.printers)
    made = print_of(draw.world, which)
    under, made, extra = FAULTS[fault](draw, under, made, which) if fault else (under, made, {})
    thickness = extra.get("thickness") or float(np.exp(draw.between(np.log(0.3), np.log(2.0))))
    gap = under.depth or draw.between(0.1, 0.8)
    slope = 0.0 if under.depth else draw.about(0.6)
    at = place(
        draw.about(3), draw.about(3), under.top + gap, draw.about(6), slope, draw.about(0.4) if not under.depth else 0.0
    )
    curl = 0.0 if draw.chance(0.6) else draw.between(0.2, 2.5)
    laid = lay_card(
        card_named("window"), made, at, thickness, curl, draw.one((0.0, 90.0, 30.0)), {"copy_id": f"P-{which}"}
    )
    lens = aimed(draw, laid, SIZE)
    about, lamps, lights = extra["room"](lens) if "room" in extra else ((), *lit(draw, np.array(lens.at), at[:3, 3]))
    camera, how = phone(draw, lights)
    things = (ground(draw.one(draw.world.grounds), draw.seed, texels=512), *under.things, *about, *laid.things)
    body = under.soap.made_of
    assert isinstance(body, Body)
    truth = {
        "card": "window",
        "print": f"{draw.world.name}-{which}",
        "kind": kind,
        "fault": fault,
        "corners": corners_of(laid, lens),
        "portions": seen_in_window(laid, lens, under),
        "thickness_mm": round(thickness, 2),
        "gap_mm": round(gap, 2),
        "curl_mm": round(curl, 2),
        "soap_roughness": body.portions[0].finish.roughness,
        "card_roughness": made.paper_finish.roughness,
        "card_matt": made.paper_finish.matt,
        **how,
        **extra.get("truth", {}),
    }
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-10-05T11:00:00+02:00"}, truth=truth
    )


def _side_by_side(draw: Draw, number: int, card_name: str) -> Shot:
    """The side card or the chart beside bars that lie on their cut faces."""
    kind = draw.one(
        [
            name
            for name in SOAPS
            if SOAPS[name].__closure__ and "loaf" not in name and name not in ("textured top", "petals", "wet batter")
        ]
    )
    under = SOAPS[kind](draw, number)
    which = number % len(draw.world.printers)
    small = small_chart() if card_name == "chart24" else card_named(card_name)
    made = chart_print() if card_name == "chart24" else print_of(draw.world, which)
    thickness = draw.between(0.4, 2.0)
    lower = 0.0 if draw.chance(0.5) else under.top - thickness
    size = under.soap.options["size"]
    down = size[1] / 2 + small.size_mm[1] / 2 + draw.between(8, 16)
    border = 6.0 if card_name == "chart24" else 0.0
    laid = lay_card(small, made, place(draw.about(5), -down, lower, draw.about(3)), thickness, border_mm=border)
    w, h = small.size_mm
    middle = np.array([0, -down / 2, (lower + under.top) / 2])
    across = max(w, 1.33 * (down + h / 2 + size[1] / 2)) + 30
    tilt, towards = np.radians([abs(draw.about(10)), draw.between(200, 340)])
    eye = middle + across / 1.274 / 0.92 * np.array(
        [np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)]
    )
    lens = Lens(tuple(eye.tolist()), tuple(middle.tolist()), 65.0, SIZE, 0.9)
    lamps, lights = lit(draw, eye, middle)
    camera, how = phone(draw, lights)
    truth = {
        "card": card_name,
        "print": "chart24" if card_name == "chart24" else f"{draw.world.name}-{which}",
        "kind": kind,
        "fault": "",
        "corners": corners_of(laid, lens),
        "portions": seen_on_top(lens, under),
        **how,
    }
    bench = draw.one(draw.world.grounds)
    if bench == "linen" and not lower:  # its folds would come through a card that lies on it
        bench = "slate"
    things = (ground(bench, draw.seed, texels=512), under.soap, *laid.things)
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-10-05T11:00:00+02:00"}, truth=truth
    )


def seen_on_top(lens: Lens, under: Under, step: float = 0.6) -> dict[str, Any]:
    """By portion: its true Lab, its share of the bar's upper side, and the largest field (px) that holds it alone."""
    body, size = under.soap.made_of, under.soap.options["size"]
    assert isinstance(body, Body)
    xs, ys = np.arange(-size[0] / 2 + 4, size[0] / 2 - 4, step), np.arange(-size[1] / 2 + 4, size[1] / 2 - 4, step)
    grid = np.stack([*np.meshgrid(xs, ys), np.full((len(ys), len(xs)), size[2] / 2)], -1)
    shares = shares_of(body.pattern, in_loaf(grid.reshape(-1, 3), body))
    found = {}
    for number, name in enumerate(under.names):
        r0, r1, c0, c1 = largest_rectangle((shares[:, number] > 0.93).reshape(grid.shape[:2]))
        entry: dict[str, Any] = {
            "lab": np.round(lab_of(body.portions[number].reflectance), 3).tolist(),
            "share": round(float(shares[:, number].mean()), 4),
        }
        if min(r1 - r0, c1 - c0) * step >= 3.0:
            box = grid[[r1 - 1, r1 - 1, r0, r0], [c0, c1 - 1, c1 - 1, c0]]
            entry["area"] = np.round(lens.project(moved(box, under.soap.place)), 1).tolist()
        found[name] = entry
    return found


@cache
def small_chart() -> Any:
    """The chart in a small edition: its proportions are what the definition holds."""
    card, k = card_named("chart24"), 0.5
    patches = tuple(replace(p, x=k * p.x, y=k * p.y, w=k * p.w, h=k * p.h) for p in card.patches)
    return replace(card, size_mm=(k * card.size_mm[0], k * card.size_mm[1]), patches=patches)


def enrolment(world: World, which: int, number: int) -> Shot:
    """One of three daylight photos of a printed window card beside the chart."""
    draw = Draw(world, 900_000 + 10 * which + number)
    chart = lay_card(small_chart(), chart_print(), place(0, 52, 0, draw.about(1.5)), 1.2, border_mm=6.0)
    laid = lay_card(
        card_named("window"),
        print_of(world, which),
        place(0, -58, 0, draw.about(1.5)),
        0.4,
        texts={"copy_id": f"P-{which}"},
    )
    tilt, towards = np.radians([draw.between(2, 10), draw.between(0, 360)])
    middle = np.array([0.0, -3.0, 0.0])
    eye = middle + 275 * np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    lens = Lens(tuple(eye.tolist()), tuple(middle.tolist()), 65.0, SIZE, 0.9)
    daylight = replace(world, lights=tuple(light for light in world.lights if light.startswith("daylight")))
    draw.world = daylight
    lamps, lights = lit(draw, eye, middle, mixed=0.0)
    camera, how = phone(draw, lights)
    truth = {
        "card": "window", "print": f"{world.name}-{which}", "kind": "enrolment", "fault": "",
        "corners": corners_of(laid, lens), "chart_corners": corners_of(chart, lens), "portions": {}, **how,
    }  # fmt: skip
    things = (ground("paper", draw.seed), *chart.things, *laid.things)
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-09-01T11:00:00+02:00"}, truth=truth
    )


# Faults -----------------------------------------------------------------------------------------------

Fault = Callable[[Draw, Under, Print, int], tuple[Under, Print, dict[str, Any]]]


def _faded(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    fade = round(draw.between(0.1, 0.5), 2)
    return under, print_of(draw.world, which, fade), {"truth": {"fade": fade}}


def _through(made: Print, passes: Array, paper: Finish, ink: Finish) -> Print:
    """A print behind something that light passes twice."""

    def behind(paint: Paint) -> Paint:
        assert paint.reflectance is not None
        return surface(paint.reflectance * passes)

    white = behind(made.paper)
    paints = {name: white if paint is made.paper else behind(paint) for name, paint in made.paints.items()}
    return Print(paints, white, behind(made.ink), paper, ink)


def _yellowed(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    strength = round(draw.between(0.08, 0.4), 2)
    passes = 1 - strength * edge(485, 32) - 0.08 * strength
    return under, _through(made, passes, made.paper_finish, made.ink_finish), {"truth": {"yellowed": strength}}


def _wall(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A coloured board stands beside the soap, opposite the window, on the side where the camera is not."""
    colour, away = draw.one(("red", "green", "blue", "yellow")), draw.between(85, 140)
    slant, light = draw.between(-35, 35), draw.one(draw.world.lights[:3])
    half, share = (draw.between(200, 400), draw.between(250, 450)), draw.between(0.2, 0.4)

    def room(lens: Lens) -> tuple[tuple[Thing, ...], tuple[Lamp, ...], tuple[str, ...]]:
        side = -1 if lens.at[0] > 0 else 1
        wall = Thing("plane", {"size": (180.0, 260.0)}, place(side * away, 0, 90, 0, 0, -90 * side), stuff(colour))
        key = window_light(light, 1.0, (180 if side > 0 else 0) + slant, 34, 1200, half)
        return (wall,), (key, surrounding(light, share)), (light,)

    alone = replace(under, things=(under.soap, *(thing for thing in under.things if thing.shape == "many")))
    return alone, made, {"room": room, "truth": {"wall": colour, "wall_away_mm": round(away)}}


def _sleeve(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A clear sleeve over the card, cut out at its window: smooth, and a little light lost on the way in and out."""
    lost = round(draw.between(0.06, 0.2), 3)
    shine = Finish(round(draw.between(0.05, 0.09), 3), draw.world.model)
    passes = (1 - lost) * (1 - 0.4 * lost * edge(470, 40))
    return under, _through(made, passes, shine, shine), {"truth": {"sleeve_loss": lost}}


def _shine(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """A broad light mirrored evenly in smooth soap, beside a matt card."""
    body = under.soap.made_of
    assert isinstance(body, Body)
    smooth = Finish(round(draw.between(0.06, 0.14), 3), draw.world.model)
    soap = replace(
        under.soap,
        made_of=replace(
            body, portions=tuple(replace(p, finish=smooth) for p in body.portions), relief_mm=min(body.relief_mm, 0.02)
        ),
    )
    things = tuple(soap if thing is under.soap else thing for thing in under.things)
    matt = Finish(0.3, draw.world.model, 1.0)

    def room(lens: Lens) -> tuple[tuple[Thing, ...], tuple[Lamp, ...], tuple[str, ...]]:
        light = draw.one(draw.world.lights[:4])
        eye = np.array(lens.at) - lens.towards
        azimuth = np.degrees(np.arctan2(-eye[1], -eye[0]))
        height = np.degrees(np.arctan2(eye[2], np.hypot(eye[0], eye[1])))
        broad = window_light(light, draw.between(0.12, 0.45), azimuth, height, 900, (420, 420))
        key = window_light(light, 1.0, draw.between(0, 360), draw.between(25, 40), 1300, (250, 300))
        return (), (key, broad, surrounding(light, draw.between(0.15, 0.4))), (light,)

    return replace(under, soap=soap, things=things), replace(made, paper_finish=matt, ink_finish=matt), {"room": room}


def _deep(draw: Draw, under: Under, made: Print, which: int) -> tuple[Under, Print, dict[str, Any]]:
    """The card on the rim of a mould, the soap well below."""
    depth = round(draw.between(10, 40), 1)
    lower = _loaf("loaf", draw.one(("level", "combed")), wet=draw.chance(0.4))(draw, int(draw.rng.integers(99)))
    size = lower.soap.options["size"]
    walls = mould((79.0, 241.0, size[2] + depth), 14.0, lower.soap.place @ place(0, 0, -size[2] / 2), draw.seed)
    kept = tuple(thing for thing in lower.things if thing is lower.soap or thing.shape != "block")
    return replace(lower, things=(*kept, *walls), depth=depth), made, {"truth": {"depth_mm": depth}}


FAULTS: Mapping[str, Fault] = {
    "faded card": _faded,
    "yellowed card": _yellowed,
    "coloured wall": _wall,
    "sleeve": _sleeve,
    "soap shines": _shine,
    "deep mould": _deep,
}


# Sets -------------------------------------------------------------------------------------------------


def named(shot: Shot, name: str) -> Shot:
    return replace(shot, name=name)


def good(world: World, count: int) -> Iterator[Shot]:
    """Scenes of a set: four in five with the window card, the others with the side card or the chart."""
    kinds = list(SOAPS)
    for number in range(count):
        draw = Draw(world, number)
        if number % 10 == 4:
            shot = _side_by_side(draw, number, "side")
        elif number % 10 == 9:
            shot = _side_by_side(draw, number, "chart24")
        else:
            shot = over_soap(draw, kinds[number % len(kinds)], number)
        yield named(shot, f"{world.name}-{number:03d}")


def faults(world: World, each: int) -> Iterator[Shot]:
    kinds = [kind for kind in SOAPS if kind not in ("stamped", "petals", "wet batter")]
    for family, fault in enumerate(FAULTS):
        for number in range(each):
            draw = Draw(world, 5000 * (family + 1) + number)
            own = [kind for kind in kinds if fault != "coloured wall" or kind not in ("loaf", "textured top")]
            shot = over_soap(draw, own[(number + family) % len(own)], number, fault)
            yield named(shot, f"{world.name}-{fault.replace(' ', '-')}-{number:02d}")


def enrolments(world: World) -> Iterator[Shot]:
    for which in range(len(world.printers)):
        for number in range(3):
            yield named(enrolment(world, which, number), f"{world.name}-enrol-{which}-{number}")
