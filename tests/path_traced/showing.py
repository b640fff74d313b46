"""What a picture shows and what is true in it: light, phone, view, and the colour of each portion in sight."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.path_traced.laying import LaidCard, surrounding, window_light
from tests.path_traced.patterns import shares_of
from tests.path_traced.shapes import in_loaf
from tests.path_traced.soaps import Under
from tests.path_traced.world import Array, Body, Camera, Lamp, Lens, moved
from tests.path_traced.worlds import Draw
from tests.spectra import SpectralCamera, lab_of, sensitivities


def lit(draw: Draw, eye: Array, target: Array, mixed: float = 0.15) -> tuple[tuple[Lamp, ...], tuple[str, ...]]:
    """A window or big lamp, what the room throws back, and now and then another lamp; seldom mirrored to the eye."""
    main = draw.one(draw.world.lights)
    ahead = (eye - target) / np.linalg.norm(eye - target)
    mirrored = ahead * [-1, -1, 1]
    while True:
        azimuth, height, away = draw.between(0, 360), draw.between(24, 68), draw.between(700, 1800)
        half = (draw.between(180, 450), draw.between(200, 500))
        key = window_light(main, 1.0, azimuth, height, away, half)
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
        at = middle + np.array([draw.about(4), draw.about(4), 0])
        lens = Lens(
            tuple(eye.tolist()), tuple(at.tolist()), 65.0, size, 0.9, up=(float(np.sin(turn)), float(np.cos(turn)), 0.0)
        )
        seen = lens.project(outline)
        if (seen > 14).all() and (seen < np.array(size) - 15).all():
            return lens


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
