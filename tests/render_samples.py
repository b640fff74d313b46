"""Render the demo's pictures: `python -m tests.render_samples [NAME ...]`.

`sample_images/journal.toml` says which photos were taken of what and when,
`sample_images/truth.toml` what the soap's colour truly was and how each photo
was taken. Beside each picture goes a .toml with the truth in it.
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from tests.printing import Printer
from tests.scenes import INK, Faults, Laid, Place, Rendered, Scene, Soap, View, card_named, render
from tests.spectra import Paint, SpectralCamera, chart24_paints, soap

FOLDER = Path(__file__).parents[1] / "sample_images"
NOTICE = "Rendered, not a photograph: curejournal demo"
# Ours: two phones, each a published camera changed a little, with its own taste.
PHONES = {
    "A": {"name": "camera 1", "change": 1, "contrast": 0.22, "saturation": 1.08},
    "B": {"name": "camera 1", "change": 2, "contrast": 0.30, "saturation": 1.14},
}
WOOD = (64.0, 9.0, 24.0)


@dataclass(frozen=True)
class Take:
    """How one picture was taken: a row of `takes` in truth.toml."""

    lights: tuple[str, ...]
    phone: str
    seed: int
    exposure_ev: float = -0.55
    uneven: float | None = None
    blur_px: float = 0.0
    shake_px: float = 0.0
    slid_mm: float = 0.0


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


def window_card(place: Place) -> Laid:
    printer = Printer(truth()["printer"])
    card = card_named("window")
    return Laid(card, place, printer.paints(card), printer.paper, printer.ink, slot_texts={"copy_id": "W-01"})


def chart24(place: Place) -> Laid:
    """The chart in a small edition: its proportions are what the definition holds, its size does not matter."""
    card, k = card_named("chart24"), 0.62
    patches = tuple(replace(p, x=k * p.x, y=k * p.y, w=k * p.w, h=k * p.h) for p in card.patches)
    small = replace(card, size_mm=(k * card.size_mm[0], k * card.size_mm[1]), patches=patches)
    return Laid(small, place, chart24_paints(small), INK, INK, border_mm=6.0)


def items_through_window(paint: Paint, portion: str, cut: bool, rng: np.random.Generator) -> tuple[Laid | Soap, ...]:
    """The card laid over a loaf in its mould, or over a bar with others of its batch about."""
    turn = float(rng.normal(0, 7))
    card = window_card(Place(0.0, 0.0, turn))
    if not cut:
        mould = Soap((("", soap(WOOD, 1)),), (292.0, 100.0), Place(4.0, 1.0, turn), mottling=0.05)
        return (mould, Soap(((portion, paint),), (270.0, 78.0), Place(4.0, 1.0, turn), mottling=0.015), card)
    others = [
        Soap((("", paint),), (84.0, 60.0), Place(x, y, float(rng.normal(0, 12))), mottling=0.02)
        for x, y in ((-98.0, -88.0), (-4.0, -92.0), (92.0, -84.0))
    ]
    return (*others, Soap(((portion, paint),), (86.0, 62.0), Place(0.0, 0.0, turn), crumbs=6), card)


def items_beside_chart(paints: Mapping[str, Paint], names: list[str]) -> tuple[Laid | Soap, ...]:
    """The chart standing behind a loaf whose portions lie side by side."""
    loaf = Soap(tuple((n, paints[n]) for n in names), (270.0, 84.0), Place(0.0, 70.0), upright_bands=True, crumbs=8)
    board = Soap((("", soap(WOOD, 1)),), (310.0, 106.0), Place(0.0, 72.0), mottling=0.06)
    return (board, loaf, chart24(Place(0.0, -52.0)))


def scene_of(take: Take, items: tuple[Laid | Soap, ...], view: View, rng: np.random.Generator) -> Scene:
    phone = PHONES[take.phone]
    camera = SpectralCamera(
        take.lights,
        phone["name"],
        phone["change"],
        balance_error=(float(rng.normal(0, 0.05)), float(rng.normal(0, 0.06))),
    )
    return Scene(
        items,
        camera,
        view,
        exposure_ev=take.exposure_ev + float(rng.normal(0, 0.12)),
        uneven=float(rng.uniform(0.05, 0.3)) if take.uneven is None else take.uneven,
        uneven_towards_deg=float(rng.uniform(0, 360)),
        contrast=phone["contrast"],
        saturation=phone["saturation"],
        noise=0.011,
        jpeg_quality=88,
        faults=Faults(blur_px=take.blur_px, shake_px=take.shake_px),
    )


def exif(at: datetime, take: Take) -> Image.Exif:
    """Date with offset as a phone writes it, and the plain statement that this is no photograph."""
    tags = Image.Exif()
    tags[0x010E], tags[0x010F], tags[0x0110] = NOTICE, "rendered", f"spectral camera {take.phone}"
    tags[0x0131] = "tests/render_samples.py"
    offset = at.strftime("%z")
    inner = tags.get_ifd(0x8769)
    inner[0x9003] = inner[0x9004] = at.strftime("%Y:%m:%d %H:%M:%S")
    inner[0x9011] = inner[0x9012] = f"{offset[:3]}:{offset[3:]}"
    return tags


def all_pictures() -> dict[str, tuple[datetime, Mapping[str, Any] | None, Mapping[str, Any]]]:
    """File name to (when, batch or none, photo row) of every picture of the scenario."""
    pictures: dict[str, tuple[datetime, Mapping[str, Any] | None, Mapping[str, Any]]] = {}
    for card in journal()["cards"]:
        for minutes, file in enumerate(card["photos"]):
            pictures[file] = (card["at"].replace(minute=card["at"].minute + 3 * minutes), None, card)
    for batch in journal()["batches"]:
        pictures |= {photo["file"]: (photo["at"], batch, photo) for photo in batch["photos"]}
    return pictures


def rendered(file: str) -> tuple[Rendered, Take, datetime]:
    """One picture of the scenario with its truth."""
    at, batch, photo = all_pictures()[file]
    row = truth()["takes"][file]
    take = Take(**{**row, "lights": tuple(row["lights"])})
    rng = np.random.default_rng(take.seed)
    tilt, turn = float(abs(rng.normal(8, 6))), float(rng.normal(0, 4))
    towards = float(rng.uniform(0, 360))
    if batch is None:
        items: tuple[Laid | Soap, ...] = (
            window_card(Place(0.0, 62.0, float(rng.normal(0, 3)))),
            chart24(Place(0.0, -60.0)),
        )
        view = View((0.0, 1.0), 385.0, 0.7 * tilt, towards, turn)
    elif "areas" in photo:
        items = items_beside_chart(paints_of(batch, at), list(photo["areas"]))
        view = View((0.0, 4.0), 345.0, 0.5 * tilt, towards, 0.5 * turn)
    else:
        cut = (when := cut_at(batch)) is not None and at > when
        items = items_through_window(paints_of(batch, at)[photo["portion"]], photo["portion"], cut, rng)
        view = View((take.slid_mm, 6.0), float(rng.uniform(205, 245)), tilt, towards, turn)
    return render(scene_of(take, items, view, rng), take.seed, exif(at, take)), take, at


def truth_text(file: str, picture: Rendered, take: Take, at: datetime) -> str:
    """The .toml beside a picture."""
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
        *(f'"{name}" = {json.dumps(np.round(points, 2).tolist())}' for name, points in picture.corners.items()),
        "",
        "# True CIELAB D50/2 of each portion, and a polygon in px that holds only it.",
        "[lab]",
        *(f'"{name}" = {json.dumps(np.round(lab, 3).tolist())}' for name, lab in picture.truth.items()),
        "",
        "[areas]",
        *(f'"{name}" = {json.dumps(np.round(points, 1).tolist())}' for name, points in picture.areas.items()),
    ]
    return "\n".join(lines) + "\n"


def inner_box(polygon: np.ndarray) -> list[int]:
    """The largest upright rectangle, near enough, inside a slightly turned one: [x0, y0, x1, y1]."""
    xs, ys = np.sort(polygon[:, 0]), np.sort(polygon[:, 1])
    return [int(np.ceil(xs[1])) + 2, int(np.ceil(ys[1])) + 2, int(xs[2]) - 2, int(ys[2]) - 2]


def main(names: list[str]) -> None:
    for file in names or list(all_pictures()):
        picture, take, at = rendered(file)
        (FOLDER / file).write_bytes(picture.jpeg)
        (FOLDER / file).with_suffix(".toml").write_text(truth_text(file, picture, take, at), encoding="utf-8")
        boxes = (
            {name: inner_box(points) for name, points in picture.areas.items()} if "chart24" in picture.corners else {}
        )
        print(f"{file}  {len(picture.jpeg) // 1024} KB  {json.dumps(boxes) if boxes else ''}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
