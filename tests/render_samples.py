"""The demo's pictures, path-traced: `python -m tests.render_samples [NAME ...]` (needs the extra `pictures`).

`sample_images/journal.toml` says which photos were taken of what and when,
`sample_images/truth.toml` what the soap's colour truly was and how each photo
was taken. Beside each picture goes a .toml with the truth in it.
With `--shots FILE` it only writes down what is to be rendered, for `tests.path_traced.farm` on another machine;
with `--taken FOLDER` it takes the pictures that were rendered there.
"""

from __future__ import annotations

import argparse
import json
import lzma
import pickle
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.path_traced import develop, tracer, workshop
from tests.path_traced.laying import LaidCard, Print, lay_card
from tests.path_traced.world import Array, Camera, Finish, Lens, Shot, Surface, place
from tests.printing import Printer
from tests.scenes import card_named
from tests.spectra import Paint, SpectralCamera, chart24_paints, lab_of, sensitivities, soap, soap_reflectance, surface

FOLDER = Path(__file__).parents[1] / "sample_images"
NOTICE = "Rendered, not a photograph: curejournal demo"
# Ours: two phones, each a published camera changed a little, with its own taste.
PHONES = {
    "A": {"name": "camera 1", "change": 1, "contrast": 0.22, "saturation": 1.08},
    "B": {"name": "camera 1", "change": 2, "contrast": 0.30, "saturation": 1.14},
}
SIZE = (1600, 1200)
CHART_SHINE = Finish(0.3, "beckmann", 0.6)


@dataclass(frozen=True)
class Take:
    """How one picture was taken: a row of `takes` in truth.toml; `how` names the setting of one without a card."""

    lights: tuple[str, ...]
    phone: str
    seed: int
    exposure_ev: float = 0.0
    blur_px: float = 0.0
    shake_px: float = 0.0
    slid_mm: float = 0.0
    how: str = ""


@cache
def journal() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "journal.toml").read_text(encoding="utf-8"))


@cache
def truth() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "truth.toml").read_text(encoding="utf-8"))


def true_lab(portion: Mapping[str, Any], days: float) -> tuple[float, float, float]:
    """The colour of a portion of `truth.toml` some days after its pour."""
    lab = np.array(portion["start"])
    if "turn" in portion:
        fade = np.exp(-days / portion["turn_slow_days"]) - np.exp(-days / portion["turn_fast_days"])
        lab = lab + np.array(portion["turn"]) * fade
    if "drift" in portion:
        lab = lab + np.array(portion["drift"]) * (1 - np.exp(-days / portion["drift_days"]))
    lightness, a, b = np.round(lab, 3).tolist()
    return (lightness, a, b)


def poured_at(batch: Mapping[str, Any]) -> datetime:
    return next(event["at"] for event in batch["events"] if event["kind"] == "poured")


def cut_at(batch: Mapping[str, Any]) -> datetime | None:
    return next((event["at"] for event in batch["events"] if event["kind"] == "cut"), None)


def paints_of(batch: Mapping[str, Any], at: datetime) -> dict[str, Paint]:
    """The true paints of all portions of a batch at a time."""
    days = (at - poured_at(batch)).total_seconds() / 86400
    portions = truth()["colours"][batch["code"]]
    return {name: soap(true_lab(portion, days), portion["pigment"]) for name, portion in portions.items()}


@cache
def card_print() -> Print:
    """The workshop's own copy of the window card, W-01."""
    printer = Printer(truth()["printer"])
    paper, ink = Finish(0.3, "beckmann", 0.6), Finish(0.26, "beckmann", 0.3)
    return Print(printer.paints(card_named("window")), printer.paper, printer.ink, paper, ink)


def chart24(x: float, y: float, z: float, turn: float, shine: Finish = CHART_SHINE) -> LaidCard:
    """The chart in a small edition: its proportions are what the definition holds, its size does not matter."""
    card, k = card_named("chart24"), 0.62
    patches = tuple(replace(p, x=k * p.x, y=k * p.y, w=k * p.w, h=k * p.h) for p in card.patches)
    small = replace(card, size_mm=(k * card.size_mm[0], k * card.size_mm[1]), patches=patches)
    frame = surface(soap_reflectance((14.0, 0.0, 0.0)))
    made = Print(chart24_paints(card), frame, frame, shine, shine)
    return lay_card(small, made, place(x, y, z, turn), 1.5, border_mm=6.0)


def phone_camera(take: Take, rng: np.random.Generator, misjudges: float | None = None) -> Camera:
    """A phone's camera; by daylight and with care, as for a picture to show, it misjudges white by a quarter."""
    by_day = all(light.startswith("daylight") for light in take.lights)
    misjudges = (0.25 if take.how and by_day else 1.0) if misjudges is None else misjudges
    phone = PHONES[take.phone]
    name, change = str(phone["name"]), int(phone["change"])  # type: ignore[call-overload]
    error = (misjudges * float(rng.normal(0, 0.04)), misjudges * float(rng.normal(0, 0.05)))
    return Camera(
        sensitivities(name, change),
        SpectralCamera(take.lights, name, change, error).develop,
        exposure_ev=take.exposure_ev + float(rng.normal(0, 0.06)),
        contrast=float(phone["contrast"]),  # type: ignore[arg-type]
        saturation=float(phone["saturation"]),  # type: ignore[arg-type]
        noise=0.004,
        sharpness_px=0.45,
        jpeg_quality=85,
        vignetting=0.05,
        blur_px=take.blur_px,
        shake_px=take.shake_px,
    )


def all_pictures() -> dict[str, tuple[datetime, Mapping[str, Any] | None, Mapping[str, Any]]]:
    """File name to (when, batch or none, photo row) of every picture of the scenario."""
    pictures: dict[str, tuple[datetime, Mapping[str, Any] | None, Mapping[str, Any]]] = {}
    for card in journal()["cards"]:
        for minutes, file in enumerate(card["photos"]):
            pictures[file] = (card["at"].replace(minute=card["at"].minute + 3 * minutes), None, card)
    for batch in journal()["batches"]:
        pictures |= {photo["file"]: (photo["at"], batch, photo) for photo in batch["photos"]}
    return pictures


@dataclass(frozen=True, eq=False)
class Planned:
    """A picture to be rendered, and its truth: corners of cards, colours of portions, and fields that show them."""

    shot: Shot
    take: Take
    at: datetime
    corners: Mapping[str, Array]
    lab: Mapping[str, tuple[float, float, float]]
    areas: Mapping[str, Array]


Scene = tuple[workshop.Setting, dict[str, Array], dict[str, tuple[float, float, float]], dict[str, Array]]
"""A setting with the corners, colours and fields in it."""


def planned(file: str) -> Planned:
    """One picture of the scenario."""
    at, batch, photo = all_pictures()[file]
    row = truth()["takes"][file]
    take = Take(**{**row, "lights": tuple(row["lights"])})
    if batch is None:
        setting, corners, lab, areas = _enrolment(take)
    elif "areas" in photo:
        setting, corners, lab, areas = _beside_chart(take, batch, at, list(photo["areas"]))
    elif "portion" in photo:
        setting, corners, lab, areas = _through_window(take, batch, at, photo["portion"])
    else:
        setting, corners, lab, areas = _shown(take, batch, at)
    camera = phone_camera(take, np.random.default_rng(take.seed))
    exif = {"at": at.isoformat(), "notice": NOTICE, "camera": f"spectral camera {take.phone}"}
    samples = 24 if batch is None else 256 if take.how else 96
    name = Path(file).stem
    shot = Shot(name, setting.things, setting.lamps, setting.lens, camera, take.seed, samples, 7, exif=exif)
    return Planned(shot, take, at, corners, lab, areas)


def _beside_chart(take: Take, batch: Mapping[str, Any], at: datetime, names: list[str]) -> Scene:
    style, paints, chart = workshop.STYLES[batch["code"]], paints_of(batch, at), chart24(0.0, -34.0, 24.0, 0.0)
    cut, wet = is_cut(batch, at), is_wet(batch, at)
    setting, fields = workshop.beside_chart(style, paints, names, chart, take.lights[0], SIZE, take.seed, cut, wet)
    areas = {name: workshop.field_px(setting.lens, *field) for name, field in fields.items()}
    corners = {"chart24": setting.lens.project(chart.points(chart.card.corner_points()))}
    return setting, corners, {name: _reached(paints[name], finish_at(batch, at)) for name in fields}, areas


def _through_window(take: Take, batch: Mapping[str, Any], at: datetime, portion: str) -> Scene:
    style, paints, cut = workshop.STYLES[batch["code"]], paints_of(batch, at), is_cut(batch, at)
    wet = is_wet(batch, at)
    setting, laid = workshop.through_window(
        style, paints, portion, cut, card_print(), take.lights[0], SIZE, take.seed, take.slid_mm, wet
    )
    corners = {"window": setting.lens.project(laid.points(laid.card.corner_points()))}
    areas = {portion: setting.lens.project(laid.points(_in_window()) - [0, 0, laid.thickness])}
    return setting, corners, {portion: _reached(paints[portion], finish_at(batch, at))}, areas


def _shown(take: Take, batch: Mapping[str, Any], at: datetime) -> Scene:
    style, paints = workshop.STYLES[batch["code"]], paints_of(batch, at)
    setting = workshop.show(style, paints, take.how, take.lights[0], SIZE, take.seed)
    finish = workshop.FRESH if take.how in workshop.UNCUT else workshop.CURED
    return setting, {}, {name: _reached(paints[name], finish) for name in style.portions if name in paints}, {}


def is_cut(batch: Mapping[str, Any], at: datetime) -> bool:
    return (when := cut_at(batch)) is not None and at > when


def is_wet(batch: Mapping[str, Any], at: datetime) -> bool:
    return (at - poured_at(batch)).total_seconds() < 8 * 3600


def finish_at(batch: Mapping[str, Any], at: datetime) -> Finish:
    return workshop.WET if is_wet(batch, at) else workshop.CURED if is_cut(batch, at) else workshop.FRESH


def _reached(paint: Paint, finish: Finish) -> tuple[float, float, float]:
    """The true colour of a soap with this finish."""
    assert paint.reflectance is not None
    return lab_of(Surface(paint.reflectance, finish).reflectance)


def _in_window() -> list[tuple[float, float]]:
    window = card_named("window").window
    assert window is not None
    x, y, w, h = window.x + 0.12 * window.w, window.y + 0.12 * window.h, 0.76 * window.w, 0.76 * window.h
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def _enrolment(take: Take) -> Scene:
    """The card and the chart side by side on the bench."""
    rng = np.random.default_rng(take.seed)
    at = place(0, -62, 0, float(rng.normal(0, 2)))
    window = lay_card(card_named("window"), card_print(), at, 0.6, texts={"copy_id": "W-01"})
    # A chart that shines as the card's inks do: a duller one makes the enrolled card 1.8 L* too light.
    chart = chart24(0.0, 58.0, 0.0, float(rng.normal(0, 2)), card_print().ink_finish)
    tilt = float(np.radians(rng.uniform(2, 9)))
    lens = Lens((0.0, -330 * float(np.sin(tilt)), 330 * float(np.cos(tilt))), (0.0, 0.0, 0.0), 65.0, SIZE, 1.0)
    things = (workshop.ground("stone", take.seed % 5, (1100.0, 1100.0), 800), *chart.things, *window.things)
    # From far away and from the sides in turn, so that card and chart get the same light.
    far = workshop.window_light(take.lights[0], 1.0, 180.0 * (take.seed % 2), 52, 3000, (700, 800))
    setting = workshop.Setting(things, (far, workshop.surrounding(take.lights[0], 0.5)), lens)
    corners = {each.card.name: lens.project(each.points(each.card.corner_points())) for each in (window, chart)}
    return setting, corners, {}, {}


def truth_text(file: str, plan: Planned) -> str:
    """The .toml beside a picture."""
    take, at = plan.take, plan.at
    wrong = truth()["refused"].get(file, "")
    lines = [
        "# " + NOTICE + ". The truth in this picture, for tests: the demo never reads it.",
        "rendered = true",
        f"taken_at = {at.isoformat()}",
        f"lights = {json.dumps(list(take.lights))}",
        f'camera = "{take.phone}: {PHONES[take.phone]["name"]} ({PHONES[take.phone]["change"]})"',
        f"seed = {take.seed}",
        f"wrong = {json.dumps(wrong)}",
        "",
        "# Corners in px, clockwise from the card's own top left.",
        "[corners]",
        *(f'"{name}" = {json.dumps(np.round(points, 2).tolist())}' for name, points in plan.corners.items()),
        "",
        "# True CIELAB D50/2 of each portion, and a polygon in px that holds only it.",
        "[lab]",
        *(f'"{name}" = {json.dumps(np.round(lab, 3).tolist())}' for name, lab in plan.lab.items()),
        "",
        "[areas]",
        *(f'"{name}" = {json.dumps(np.round(points, 1).tolist())}' for name, points in plan.areas.items()),
    ]
    return "\n".join(lines) + "\n"


def inner_box(polygon: np.ndarray) -> list[int]:
    """The largest upright rectangle, near enough, inside a slightly turned one: [x0, y0, x1, y1]."""
    xs, ys = np.sort(polygon[:, 0]), np.sort(polygon[:, 1])
    return [int(np.ceil(xs[1])) + 2, int(np.ceil(ys[1])) + 2, int(xs[2]) - 2, int(ys[2]) - 2]


def keep(file: str, plan: Planned, jpeg: bytes) -> None:
    (FOLDER / file).write_bytes(jpeg)
    (FOLDER / file).with_suffix(".toml").write_text(truth_text(file, plan), encoding="utf-8")
    boxes = {name: inner_box(points) for name, points in plan.areas.items()} if "chart24" in plan.corners else {}
    print(f"{file}  {len(jpeg) // 1024} KB  {json.dumps(boxes) if boxes else ''}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--shots", type=Path)
    parser.add_argument("--taken", type=Path)
    options = parser.parse_args()
    plans = {file: planned(file) for file in options.names or all_pictures()}
    if options.shots:
        options.shots.write_bytes(lzma.compress(pickle.dumps([plan.shot for plan in plans.values()])))
        return
    mitsuba = None if options.taken else tracer.start()
    for file, plan in plans.items():
        if options.taken:
            jpeg = (options.taken / file).read_bytes()
        else:
            jpeg = develop.jpeg_of(tracer.trace(mitsuba, plan.shot), plan.shot)
        keep(file, plan, jpeg)


if __name__ == "__main__":
    main()
