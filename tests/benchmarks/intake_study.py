"""Layers, portions, spots and strips, where the truth is known: `python -m tests.benchmarks.intake_study`.

Windows of one to four portions as bands, upright, askew and swirled, with embeds and crumbs,
under all lights and cameras of `window_card`; each batch has earlier colours that have moved
since. Then spots of 1 to 3 mm, and pH strips.
`--fresh-seeds` draws others than were ever looked at; `--phones` takes sensors of phones, of which nothing was learned,
for the windows; `--only NAME` runs one part.
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from collections import Counter
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linear_sum_assignment
from skimage.color import deltaE_ciede2000

from curejournal.base.errors import CureJournalError
from curejournal.colour.sample import Lab
from curejournal.photo.analysis import analyse
from curejournal.photo.measure.measurement import Area, measure
from curejournal.photo.placement import Points
from curejournal.photo.read.picture_file import read_photo
from curejournal.photo.strip import enrol_key, read_strip
from curejournal.workflow.photos import Cards
from curejournal.workflow.photos.portions import Expected, match
from tests.benchmarks.window_card import CAMERAS, FAMILIES, LIGHTS, PHONES, Cameras, scene, soap_paint, true_card
from tests.photo.strips import PADS, areas_of, beside_card, lab_at
from tests.printing import Printer
from tests.scenes import Place, Rendered, Soap, render
from tests.spectra import Paint, SpectralCamera, soap

APART = 8.0
"""Least ΔE00 between the portions of a batch here: who makes layers, makes them to be seen."""
DAYS = 3.0


@dataclass(frozen=True)
class Seen:
    """One drawn window: what came of its names, the errors of its named areas, the spots seen and there.

    `floor` are the errors of areas drawn by hand; `own` is how far the areas found are from those, which is the
    intake's own part: both have the same correction, and what inks and soap do to it.
    """

    setting: str
    portions: int
    swirled: bool
    embeds: int
    outcome: str
    errors: tuple[float, ...]
    floor: tuple[float, ...]
    own: tuple[float, ...]
    false_spots: int
    other_findings: tuple[str, ...]
    camera: str


def portions_of(rng: np.random.Generator, count: int) -> list[Paint]:
    paints: list[Paint] = []
    while len(paints) < count:
        paint = soap_paint(rng, int(rng.integers(len(FAMILIES))))
        if all(deltaE_ciede2000(paint.lab, other.lab) >= APART for other in paints):
            paints.append(paint)
    return paints


def photo_of(
    rng: np.random.Generator,
    number: int,
    printer: Printer,
    paints: list[Paint],
    cameras: Cameras = CAMERAS,
    **soap_fields: object,
) -> tuple[Rendered, str]:
    """A drawn photo and its camera."""
    lights = (LIGHTS[number % len(LIGHTS)],)
    camera = cameras[int(rng.integers(len(cameras)))]
    plain = scene(rng, paints[0], printer, lights, camera)
    bar, laid = plain.items
    assert isinstance(bar, Soap)
    portions = tuple((f"portion {k + 1}", paint) for k, paint in enumerate(paints))
    place = Place(0, 0, bar.place.turn_deg + float(rng.normal(0, 6)))
    whole = replace(bar, portions=portions, size_mm=(70.0, 52.0), place=place, **soap_fields)
    return render(replace(plain, items=(whole, laid)), int(rng.integers(1e6))), camera[0]


def true_portions(
    outlines: list[Points], labs: list[Lab], photo: Rendered, truth: dict[str, Lab], swirled: bool
) -> list[str]:
    """The portions that outlines lie on: of bands by their place, of swirls by all their colours at once."""
    names = list(truth)
    if swirled:
        off = np.array([[float(deltaE_ciede2000(lab, truth[name])) for name in names] for lab in labs])
        return [names[k] for k in linear_sum_assignment(off**2)[1]]
    shape = photo.picture.shape[:2]

    def filled(points: ArrayLike) -> np.ndarray:
        return cv2.fillPoly(np.zeros(shape, np.uint8), [np.round(points).astype(np.int32)], (1,))

    own = {name: filled(points) for name, points in photo.areas.items()}
    masks = [filled(outline) for outline in outlines]
    return [max(own, key=lambda name, mask=mask: float((mask & own[name]).sum())) for mask in masks]


def one_window(task: tuple[int, int, Cameras]) -> Seen:
    seed, number, cameras = task
    rng = np.random.default_rng((seed, number))
    printer = Printer(seed)
    card = true_card(printer)
    count, swirled = 1 + number % 4, bool(rng.random() < 0.2)
    paints = portions_of(rng, count)
    embeds = tuple(soap_paint(rng, int(rng.integers(len(FAMILIES)))) for _ in range(int(rng.integers(0, 4))))
    drawn_photo, camera = photo_of(
        rng,
        number,
        printer,
        paints,
        cameras,
        embeds=embeds,
        swirl_mm=float(rng.uniform(5, 10)) if swirled else 0.0,
        upright_bands=bool(rng.random() < 0.25),
    )
    setting = f"{number}: {count} portions{', swirled' if swirled else ''}, {LIGHTS[number % len(LIGHTS)]}"
    photo = read_photo(drawn_photo.jpeg)
    found = analyse(drawn_photo.jpeg, Cards(card))
    surface = [finding for finding in found.surface if finding.kind == "orange spots"]
    false_spots = sum(finding.count or 0 for finding in surface)
    others = tuple(finding.kind for finding in found.surface if finding.kind != "orange spots")
    result = Seen(setting, count, swirled and count > 1, len(embeds), "", (), (), (), false_spots, others, camera)
    if found.layers is None or not found.measurement.usable:
        return replace(result, outcome="refused")
    moved = rng.normal(0, 2.0, 3)
    earlier = [np.array(paint.lab) + moved + rng.normal(0, 1.0, 3) for paint in paints]
    sd = 3.0 + 1.2 * np.sqrt(DAYS)
    known = [Expected(f"portion {k + 1}", tuple(lab.tolist()), sd) for k, lab in enumerate(earlier)]
    named = match(found.layers, known)
    truth = {f"portion {k + 1}": paint.lab for k, paint in enumerate(paints)}
    by_hand: dict[str, Lab] = {}
    if not swirled:
        areas = [Area(name, tuple(map(tuple, points.tolist()))) for name, points in drawn_photo.areas.items()]
        by_hand = {a.name: a.sample.lab for a in measure(photo, card, areas).areas if a.sample}
        floor = [float(deltaE_ciede2000(lab, truth[name])) for name, lab in by_hand.items()]
        result = replace(result, floor=tuple(floor))
    if named.question:
        return replace(result, outcome="asked")
    missing = len([name for name in named.names if name]) < count
    # A swirl may hide a portion from the window; of bands each is there.
    wrong = missing and not swirled
    seen = zip(named.names, found.measurement.areas, strict=True)
    shown = [(name, area.outline, area.sample.lab) for name, area in seen if area.sample is not None and name]
    names, outlines, labs = (list(column) for column in zip(*shown, strict=True))
    wrong |= true_portions(outlines, labs, drawn_photo, truth, swirled) != names
    pairs = list(zip(names, labs, strict=True))
    errors = [float(deltaE_ciede2000(lab, truth[name])) for name, lab in pairs]
    own = [float(deltaE_ciede2000(lab, by_hand[name])) for name, lab in pairs if name in by_hand]
    return replace(result, outcome="wrong" if wrong else "right", errors=tuple(errors), own=tuple(own))


def one_spotted(task: tuple[int, int]) -> tuple[int, int, int]:
    """Spots there, found, and false in a photo with spots."""
    seed, number = task
    rng = np.random.default_rng((seed, 1, number))
    printer = Printer(seed)
    while True:
        base = soap_paint(rng, int(rng.integers(len(FAMILIES))))
        lab = np.add(base.lab, (rng.uniform(-20, -6), rng.uniform(8, 16), rng.uniform(16, 30)))
        try:
            orange = soap(tuple(np.round(lab, 1).tolist()))
            break
        except ValueError:
            continue
    places: list[tuple[float, float]] = []
    while len(places) < 5:
        x, y = float(rng.uniform(18, 52)), float(rng.uniform(15, 37))
        if all(np.hypot(x - a, y - b) > 5 for a, b in places):
            places.append((x, y))
    spots = tuple((x, y, float(rng.uniform(1, 3)), orange) for x, y in places)
    found = analyse(photo_of(rng, number, printer, [base], spots=spots)[0].jpeg, Cards(true_card(printer)))
    if found.layers is None or not found.measurement.usable:
        return 0, 0, 0
    seen = sum(finding.count or 0 for finding in found.surface if finding.kind == "orange spots")
    return len(spots), min(seen, len(spots)), max(0, seen - len(spots))


def print_windows(seed: int, count: int, workers: int, cameras: Cameras) -> None:
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        rows = pool.map(one_window, [(seed, number, cameras) for number in range(count)], chunksize=4)
    print(f"\n### Portions and colours: {count} windows\n")
    print("| windows | photos | right | asked | wrong | refused |\n| --- | --- | --- | --- | --- | --- |")
    groups = {f"{k} portion{'s' if k > 1 else ''}": [r for r in rows if r.portions == k] for k in range(1, 5)}
    groups |= {"bands": [r for r in rows if not r.swirled], "swirled": [r for r in rows if r.swirled], "all": rows}
    for name, group in groups.items():
        outcomes = Counter(r.outcome for r in group)
        shares = " | ".join(f"{100 * outcomes[o] / len(group):.1f} %" for o in ("right", "asked", "wrong", "refused"))
        print(f"| {name} | {len(group)} | {shares} |")
    errors = np.array([error for r in rows for error in r.errors])
    by_camera = {name: np.array([e for r in rows for e in r.errors if r.camera == name]) for name, _ in cameras}
    floor = np.array([error for r in rows for error in r.floor])
    own = np.array([error for r in rows for error in r.own])
    print("\n| ΔE00 (from the truth, unless said) | areas | median | p95 | worst |\n| --- | --- | --- | --- | --- |")
    for name, values in (
        ("areas found and named", errors),
        *((f"of these by {name} and its like", values) for name, values in by_camera.items()),
        ("the same photos, areas drawn by hand", floor),
        ("areas found, from those drawn by hand", own),
    ):
        print(
            f"| {name} | {len(values)} | {np.median(values):.2f} | {np.quantile(values, 0.95):.2f}"
            f" | {values.max():.2f} |"
        )
    clean, with_embeds = [r for r in rows if not r.embeds], [r for r in rows if r.embeds]
    for name, group in (("without embeds", clean), ("with embeds", with_embeds)):
        false = sum(r.false_spots for r in group)
        others = dict(Counter(kind for r in group for kind in r.other_findings))
        per20 = 20 * false / max(len(group), 1)
        print(
            f"\nFalse spots in {len(group)} spotless photos {name}: {false} ({per20:.1f} in 20)."
            f" Other findings: {others}."
        )
    for r in rows:
        if r.outcome == "wrong":
            print("wrong:", r.setting)


def print_spots(seed: int, count: int, workers: int) -> None:
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        rows = pool.map(one_spotted, [(seed, number) for number in range(count)], chunksize=2)
    there, found, extra = (sum(row[k] for row in rows) for k in range(3))
    print(
        f"\n### Spots of 1 to 3 mm\n\n{found} of {there} found ({100 * found / there:.1f} %), {extra} too many,"
        f" in {count} photos."
    )


def one_strip(task: tuple[int, int]) -> tuple[float, bool, str] | None:
    """How far a strip is read from the truth, whether its interval holds it, and why it was refused."""
    seed, number = task
    rng = np.random.default_rng((seed, 2, number))
    printer = Printer(seed)
    card = true_card(printer)
    light = LIGHTS[number % len(LIGHTS)]
    keys = {f"{ph:g}": soap(lab, 1) for ph, lab in PADS.items()}
    # Other dyes in the pad than in the printed key.
    ph = float(rng.uniform(7.1, 10.9))
    pad = soap(tuple(round(v, 1) for v in lab_at(ph)), int(rng.integers(2, 1000)))
    settings = {
        "camera": SpectralCamera((light,), *CAMERAS[int(rng.integers(len(CAMERAS)))]),
        "exposure_ev": float(rng.uniform(-1.1, -0.7)),
        "uneven": float(rng.uniform(0, 0.2)),
        "contrast": float(rng.uniform(0, 0.35)),
        "noise": float(rng.uniform(0.004, 0.015)),
    }
    daylight = {**settings, "camera": SpectralCamera(("daylight, window",), "camera 1", 1)}
    try:
        drawn_key = beside_card(keys, daylight, number, printer)
        measured = measure(read_photo(drawn_key.jpeg), card, areas_of(drawn_key))
        key = enrol_key("key", "lot", measured, {f"{ph:g}": ph for ph in PADS})
        strip = beside_card({"pad": pad}, settings, number + 1, printer)
        (area,) = measure(read_photo(strip.jpeg), card, areas_of(strip)).areas
        read = read_strip(key, area, lot="lot", card=card.name)
    except CureJournalError as refused:
        return float("nan"), False, refused.what[:60]
    return abs(read.ph - ph), read.low <= ph <= read.high, ""


def print_strips(seed: int, count: int, workers: int) -> None:
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        rows = pool.map(one_strip, [(seed, number) for number in range(count)], chunksize=2)
    off = np.array([row[0] for row in rows if not row[2]])
    inside = np.mean([row[1] for row in rows if not row[2]])
    print(
        f"\n### pH strips, key in steps of 0.5\n\n{100 * np.mean(off <= 0.3):.1f} % of {len(off)} read within 0.3 pH"
        f" (median {np.median(off):.2f}, p95 {np.quantile(off, 0.95):.2f}); the 95 % interval holds the truth in"
        f" {100 * inside:.0f} %; {len(rows) - len(off)} of {len(rows)} refused:"
        f" {dict(Counter(row[2] for row in rows if row[2]))}"
    )


def run_parts(options: argparse.Namespace, seed: int) -> None:
    if options.only in ("", "windows"):
        print_windows(seed, options.photos, options.workers, PHONES if options.phones else CAMERAS)
    if options.only in ("", "spots"):
        print_spots(seed, options.photos // 4, options.workers)
    if options.only in ("", "strips"):
        print_strips(seed, options.photos // 4, options.workers)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--fresh-seeds", action="store_true", help="draw other windows than were ever looked at")
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--phones", action="store_true", help="only sensors of phones, for the windows")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", choices=["", "windows", "spots", "strips"])
    options = parser.parse_args()
    seed = time.time_ns() % 1_000_000 if options.fresh_seeds else options.seed
    print(f"seed {seed}")
    run_parts(options, seed)


if __name__ == "__main__":
    main()
