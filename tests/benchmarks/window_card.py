"""Soap through the window card under many lights, where the truth is known: `python -m tests.benchmarks.window_card`.

Soap-like reflectances, lights and their mixtures, published and changed
cameras, uneven light, tone curves, noise, tilt and JPEG (tests/spectra.py,
tests/scenes.py). First good photos: error, agreement across settings,
coverage, refusals. Then photos with faults: what is still claimed, and how wrong it is.
`--fresh-seeds` draws others than were ever looked at; `--phones` takes sensors of phones, of which nothing was
learned; `--enrolled` uses a card enrolled from
three photos beside the chart instead of the card's true colours.
"""

from __future__ import annotations

import argparse
import itertools
import time
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree
from skimage.color import deltaE_ciede2000

from curejournal.base.errors import CureJournalError
from curejournal.colour.correction import fit_correction
from curejournal.colour.sample import Grade
from curejournal.photo.card import Card
from curejournal.photo.enrol import enrol
from curejournal.photo.measure.measurement import measure
from curejournal.photo.read.picture_file import read_photo
from tests.printing import Printer
from tests.scene_items import srgb_encode
from tests.scenes import INK, Faults, Laid, Place, Scene, Soap, View, card_named, render
from tests.spectra import Array, Paint, SpectralCamera, chart24_paints, phone_cameras, soap

LIGHTS = (
    "daylight, overcast",
    "daylight, window",
    "daylight, blue sky",
    "tungsten",
    "fluorescent, cool white",
    "fluorescent, three-band",
    "LED, warm",
    "LED, neutral",
    "LED, cool",
    "daylight, window + LED, warm",
    "daylight, overcast + fluorescent, three-band",
    "tungsten + LED, cool",
)
# A name and the seed of a change.
Cameras = tuple[tuple[str, int | None], ...]
# Published cameras, and changed ones by the seed of their change. Camera 2 has a stacked sensor whose
# channels overlap far more than a phone's (its colour matrix amplifies noise 5 to 9 times, camera 1's twice):
# a hard case, kept as the smaller part.
CAMERAS: Cameras = (*(("camera 1", change) for change in (None, 1, 2, 3, 4)), ("camera 2", None), ("camera 2", 1))
PHONES: Cameras = tuple((name, change) for name in phone_cameras() for change in (None, 1, 2))
# Families that soap lives in: (centre, half-width) of L*, a*, b*.
FAMILIES = (
    ((91, 1, 14), (4, 2, 6)),
    ((82, 4, 26), (6, 4, 9)),
    ((64, 16, 44), (8, 6, 8)),
    ((45, 15, 28), (9, 5, 8)),
    ((28, 8, 12), (8, 4, 5)),
    ((84, -10, 8), (6, 5, 6)),
    ((60, -12, 16), (10, 6, 8)),
    ((76, 18, 6), (7, 7, 6)),
    ((66, 12, -14), (8, 6, 8)),
    ((40, 10, -14), (10, 6, 10)),
    ((18, 2, 2), (5, 2, 3)),
    ((48, 32, 22), (8, 8, 8)),
)


@dataclass(frozen=True)
class Reading:
    """One measured window: `error` is its ΔE00 from the truth, `inside` whether each 95% interval holds it."""

    setting: str
    grade: Grade
    reasons: tuple[str, ...]
    lab: np.ndarray | None = None
    error: float = float("nan")
    inside: tuple[bool, ...] = ()
    distance2: float = float("nan")


def soap_paint(rng: np.random.Generator, family: int) -> Paint:
    centre, half = FAMILIES[family % len(FAMILIES)]
    while True:
        lab = tuple(np.round(np.array(centre) + np.array(half) * rng.uniform(-1, 1, 3), 1).tolist())
        try:
            return soap(lab, int(rng.integers(1000)))
        except ValueError:  # no smooth reflectance has that colour
            continue


def whole_view(rng: np.random.Generator, laid: Laid) -> View:
    """A hand-held view with the whole card in the picture."""
    size = Scene(()).size
    w, h = laid.card.size_mm
    corners = np.array([[0, 0, 1], [w, 0, 1], [w, h, 1], [0, h, 1.0]]) @ laid.place.to_bench((w, h)).T
    while True:
        view = View(
            (float(rng.normal(0, 5)), float(rng.normal(0, 5))),
            float(rng.uniform(200, 300)),
            float(min(abs(rng.normal(0, 15)), 40)),
            float(rng.uniform(0, 360)),
        )
        seen = corners @ view.homography(size).T
        seen = seen[:, :2] / seen[:, 2:]
        if (seen > 12).all() and (seen < np.array(size) - 12).all():
            return view


def scene(rng: np.random.Generator, paint: Paint, printer: Printer, lights: tuple[str, ...], camera: tuple) -> Scene:
    card = card_named("window")
    turn = float(rng.normal(0, 15))
    bar = Soap((("soap", paint),), (90.0, 64.0), Place(0, 0, turn), mottling=float(rng.uniform(0, 0.03)), crumbs=8)
    laid = Laid(card, Place(0, 0, turn), printer.paints(card), printer.paper, printer.ink)
    balance = (float(rng.normal(0, 0.06)), float(rng.normal(0, 0.08)))
    view = whole_view(rng, laid)
    return Scene(
        (bar, laid),
        SpectralCamera(lights, *camera, balance_error=balance),
        view,
        exposure_ev=float(rng.uniform(-1.1, -0.6)),
        uneven=float(rng.uniform(0, 0.4)),
        uneven_towards_deg=float(rng.uniform(0, 360)),
        contrast=float(rng.uniform(0, 0.35)),
        saturation=float(rng.uniform(0.95, 1.2)),
        noise=float(rng.uniform(0.004, 0.02)),
        sharpness_px=float(rng.uniform(0.5, 1.2)),
        jpeg_quality=int(rng.integers(75, 96)),
    )


def read(setting: str, drawn: Scene, seed: int, card: Card, paint: Paint) -> Reading:
    found = measure(read_photo(render(drawn, seed).jpeg), card)
    area = found.areas[0] if found.areas else None
    reasons = tuple(reason.code for reason in (*found.reasons, *(area.reasons if area else ())))
    if area is None or area.sample is None:
        return Reading(setting, Grade.NOT_USABLE, reasons)
    sample, truth = area.sample, np.array(paint.lab)
    off = np.array(sample.lab) - truth
    return Reading(
        setting,
        sample.grade,
        reasons,
        np.array(sample.lab),
        float(deltaE_ciede2000(truth, sample.lab)),
        tuple(bool(low <= value <= high) for value, (low, high) in zip(truth, sample.interval95, strict=True)),
        float(off @ np.linalg.solve(sample.covariance_array, off)),
    )


def true_card(printer: Printer) -> Card:
    """The definition with the printed copy's true colours, as an instrument would give them."""
    card, paints = card_named("window"), printer.paints(card_named("window"))
    patches = tuple(replace(patch, lab_d50=paints[patch.id].lab) for patch in card.patches)
    return replace(card, patches=patches, kind="measured", provenance="known from its spectra")


def enrolled_card(
    printer: Printer, rng: np.random.Generator, uneven: float = 0.1, towards_deg: float | None = None
) -> Card:
    """The same copy enrolled from three daylight photos beside the chart."""
    window, chart = card_named("window"), card_named("chart24")
    factor = 0.62  # a small edition of the chart
    grid = tuple(replace(p, x=factor * p.x, y=factor * p.y, w=factor * p.w, h=factor * p.h) for p in chart.patches)
    small = replace(chart, size_mm=(factor * chart.size_mm[0], factor * chart.size_mm[1]), patches=grid)
    items = (
        Laid(window, Place(0, 62), printer.paints(window), printer.paper, printer.ink),
        Laid(small, Place(0, -58), chart24_paints(small), INK, INK, border_mm=6),
    )
    photos = []
    for light, camera in zip(LIGHTS[:3], CAMERAS[:3], strict=True):
        drawn = replace(scene(rng, soap((80.0, 2.0, 15.0)), printer, (light,), camera), items=items)
        drawn = replace(drawn, view=View((0, 1), 385, 5, 40), uneven=uneven)
        if towards_deg is not None:
            drawn = replace(drawn, uneven_towards_deg=towards_deg)
        photos.append(read_photo(render(drawn, int(rng.integers(1e6))).jpeg))
    return enrol(window, photos, chart)[0]


def faulty(rng: np.random.Generator, kind: str, drawn: Scene) -> Scene:
    """The same scene with one fault, from slight to gross."""
    place = (float(rng.uniform(0.05, 0.95)), float(rng.choice([rng.uniform(0.05, 0.2), rng.uniform(0.8, 0.95)])))
    if rng.random() < 0.5:  # over the window or beside it
        place = (float(rng.uniform(0.35, 0.65)), float(rng.uniform(0.35, 0.65)))
    size = float(rng.uniform(0.06, 0.2))
    glare = (*place, float(rng.uniform(0.15, 1.0)))
    other = Printer(int(rng.integers(1e6)), 0.25, 0.1)
    bar, laid = drawn.items
    lights = ("daylight, window", str(rng.choice(["tungsten", "LED, warm"])))
    match kind:
        case "glare":
            return replace(drawn, faults=Faults(glare=glare, glare_radius=size))
        case "clipping":
            return replace(drawn, exposure_ev=float(rng.uniform(0.0, 1.5)))
        case "thumb":
            return replace(drawn, faults=Faults(thumb=place, thumb_radius=size))
        case "stain":
            return replace(drawn, faults=Faults(stain=place, stain_radius=size))
        case "two lights":
            camera = replace(drawn.camera, light_names=lights)
            return replace(drawn, camera=camera, light_edge=float(rng.uniform(0.02, 0.6)))
        case "blur":
            blur, shake = float(rng.uniform(2, 9)), float(rng.uniform(0, 25))
            return replace(drawn, faults=Faults(blur_px=blur, shake_px=shake))
        case "wrong card":
            card = laid.card
            return replace(drawn, items=(bar, replace(laid, paints=other.paints(card))))
        case "mirrored":
            return replace(drawn, faults=Faults(mirrored=True))
        case _:
            return replace(drawn, items=(bar, replace(laid, crumple_mm=float(rng.uniform(0.3, 2.0)))))


FAULTS = ("glare", "clipping", "thumb", "stain", "two lights", "blur", "wrong card", "mirrored", "crumpled")


def good_photos(
    seed: int, soaps: int, settings: int, printer: Printer, card: Card, cameras: Cameras = CAMERAS
) -> list[list[Reading]]:
    """Each soap in `settings` settings, all lights in turn."""
    rng = np.random.default_rng(seed)
    table = []
    for number in range(soaps):
        paint, row = soap_paint(rng, number), []
        for k in range(settings):
            light = LIGHTS[(k + number) % len(LIGHTS)]
            camera = cameras[int(rng.integers(len(cameras)))]
            drawn = scene(rng, paint, printer, (light,), camera)
            row.append(read(f"{light}; {camera[0]}, {camera[1]}", drawn, int(rng.integers(1e6)), card, paint))
        table.append(row)
    return table


def spread_words(values: list[float]) -> str:
    if not values:
        return "none"
    return f"{np.median(values):.2f} / {np.mean(values):.2f} / {np.quantile(values, 0.95):.2f} / {np.max(values):.2f}"


def print_good(table: list[list[Reading]]) -> None:
    readings = list(itertools.chain(*table))
    claimed = [r for r in readings if r.lab is not None]
    best = [r for r in claimed if r.grade is Grade.MEASURED]
    pairs = [
        float(deltaE_ciede2000(one.lab, two.lab))
        for row in table
        for one, two in itertools.combinations([r for r in row if r.lab is not None], 2)
    ]
    inside = np.mean([r.inside for r in claimed], axis=0)
    print(f"\n| good photos ({len(readings)}) | |\n| --- | --- |")
    print(f"| refused | {100 * (1 - len(claimed) / len(readings)):.1f} % |")
    print(f"| graded measured | {100 * len(best) / len(readings):.1f} % |")
    print(f"| ΔE00 from the truth, median / mean / p95 / worst | {spread_words([r.error for r in claimed])} |")
    print(f"| the same colour across settings, pairwise ΔE00 | {spread_words(pairs)} |")
    print(f"| 95 % interval holds L*, a*, b* | {', '.join(f'{100 * share:.1f} %' for share in inside)} |")
    print(f"| all three at once (χ², 95 %) | {100 * np.mean([r.distance2 < 7.815 for r in claimed]):.1f} % |")
    print(f"| measured and off by more than 4 | {100 * np.mean([r.error > 4 for r in best]):.2f} % |")
    print("\n| light | photos | ΔE00 median / mean / p95 / worst | refused |\n| --- | --- | --- | --- |")
    for light in LIGHTS:
        own = [r for r in readings if r.setting.startswith(light + ";")]
        errors = [r.error for r in own if r.lab is not None]
        print(f"| {light} | {len(own)} | {spread_words(errors)} | {len(own) - len(errors)} |")
    print("\n| camera | photos | ΔE00 median / mean / p95 / worst | 95 % holds L*, a*, b* |\n| --- | --- | --- | --- |")
    for name in sorted({r.setting.split("; ")[1].split(",")[0] for r in claimed}):
        own = [r for r in claimed if f"; {name}," in r.setting]
        held = ", ".join(f"{100 * share:.0f} %" for share in np.mean([r.inside for r in own], axis=0))
        print(f"| {name} and changed | {len(own)} | {spread_words([r.error for r in own])} | {held} |")
    print("\n| soap | ΔE00 median / mean / p95 / worst |\n| --- | --- |")
    for (centre, _), row in zip(itertools.cycle(FAMILIES), table, strict=False):
        print(f"| about {centre} | {spread_words([r.error for r in row if r.lab is not None])} |")
    refusals = [code for r in readings if r.lab is None for code in r.reasons]
    print("\nrefused for:", {code: refusals.count(code) for code in sorted(set(refusals))} or "nothing")
    for r in sorted(best, key=lambda r: -r.error)[:5]:
        print(f"worst measured: {r.error:.1f}  {r.setting}")


def print_floor(seed: int, soaps: int, printer: Printer, card: Card) -> None:
    """Without noise, optics and tone curve, what the correction leaves is metamerism between inks and soaps."""
    rng = np.random.default_rng(seed)
    paints = [soap_paint(rng, number) for number in range(soaps)]
    truth, reference = np.array([p.lab for p in paints]), np.array([p.lab_d50 for p in card.patches])
    patches = list(printer.paints(card_named("window")).values())
    print("\n| camera | noise-free linear: soap ΔE00 median / mean / p95 / worst | patches left out, mean |")
    print("| --- | --- | --- |")
    for name, change in CAMERAS:
        errors, left_out = [], []
        for light in LIGHTS:
            camera = SpectralCamera((light,), name, change)
            seen, shown = (
                srgb_encode(0.6 * np.array([camera.develop @ camera.raw(p, 0) for p in group]))
                for group in (patches, paints)
            )
            correction = fit_correction(seen, reference)
            errors += deltaE_ciede2000(truth, correction.colours(shown)[0]).tolist()
            left_out.append(np.nanmean(correction.leave_one_out))
        print(f"| {name}, {change} | {spread_words(errors)} | {np.mean(left_out):.2f} |")


def known_exactly(light: Array, lab: Array, *, near: int = 120) -> Array:
    """Colours (N, 3) predicted from the light (N, 3) that a camera got of them, each from the others' true ones.

    A local quadratic over the nearest in log light: with so many soaps through one camera in one light it is just about
    the best that can be said of a soap from three channels, by whatever correction.
    """
    logs = np.log(light)
    grey = logs.mean(axis=1, keepdims=True)
    where = np.hstack([grey / 2, 2 * (logs - grey)[:, [0, 2]]])
    away, who = (each[:, 1:] for each in cKDTree(where).query(where, k=near + 1))
    steps = (where[who] - where[:, None]) / away[:, -1:, None]
    with_one = np.concatenate([np.ones_like(steps[..., :1]), steps], axis=-1)
    terms = with_one[..., list(itertools.combinations_with_replacement(range(4), 2))].prod(axis=-1)
    weighted = terms * ((1 - (away / away[:, -1:]) ** 3) ** 3)[..., None]
    ridge = 0.01 * np.diag([0.0] + [1.0] * (terms.shape[-1] - 1))
    solved = np.linalg.solve(weighted.swapaxes(1, 2) @ terms + ridge, weighted.swapaxes(1, 2) @ lab[who])
    return np.asarray(solved[:, 0])


def print_bound(seed: int, soaps: int, pairs: int = 20_000) -> None:
    """What no correction can do better, since soaps that look alike to a camera may not look alike to the eye."""
    rng = np.random.default_rng(seed)
    paints = [soap_paint(rng, number) for number in range(soaps)]
    lab, found = np.array([paint.lab for paint in paints]), []
    print(f"\n| camera and light known exactly, no noise, {soaps} soaps | ΔE00 median / mean / p95 / worst |")
    print("| --- | --- |")
    for name, change in CAMERAS:
        cameras = [SpectralCamera((light,), name, change) for light in LIGHTS]
        own = [known_exactly(np.array([camera.raw(paint, 0) for paint in paints]), lab) for camera in cameras]
        print(f"| {name}, {change} | {spread_words(deltaE_ciede2000(lab[None], np.array(own)).ravel().tolist())} |")
        found += own
    one, other = rng.integers(len(found), size=(2, pairs))
    which, colours = rng.integers(soaps, size=pairs), np.array(found)
    apart = deltaE_ciede2000(colours[one, which], colours[other, which])
    print(f"| the same soap in two settings, pairwise | {spread_words(apart.tolist())} |")


def print_faults(seed: int, each: int, printer: Printer, card: Card) -> None:
    rng = np.random.default_rng(seed + 1)
    print("\n| fault | photos | refused | indicative | measured | measured and off by > 4 | worst measured | named |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    wrong = measured = total = 0
    for kind in FAULTS:
        readings = []
        for number in range(each):
            paint = soap_paint(rng, number)
            plain = scene(rng, paint, printer, (str(rng.choice(LIGHTS)),), CAMERAS[int(rng.integers(len(CAMERAS)))])
            readings.append(read(kind, faulty(rng, kind, plain), int(rng.integers(1e6)), card, paint))
        best = [r for r in readings if r.grade is Grade.MEASURED]
        refused = sum(r.grade is Grade.NOT_USABLE for r in readings)
        off = sum(r.error > 4 for r in best)
        codes = [code for r in readings for code in set(r.reasons)]
        named = ", ".join(
            f"{code} {codes.count(code)}" for code in sorted(set(codes), key=codes.count, reverse=True)[:4]
        )
        worst = max((r.error for r in best), default=float("nan"))
        rest = each - refused - len(best)
        print(f"| {kind} | {each} | {refused} | {rest} | {len(best)} | {off} | {worst:.1f} | {named} |", flush=True)
        wrong, measured, total = wrong + off, measured + len(best), total + each
    print(f"\nmeasured and off by more than 4: {wrong} of {measured} graded measured, of {total} photos with faults")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--fresh-seeds", action="store_true", help="draw other soaps, settings and a printer of today")
    parser.add_argument("--soaps", type=int, default=12)
    parser.add_argument("--settings", type=int, default=12)
    parser.add_argument("--faults", type=int, default=16, help="photos per fault")
    parser.add_argument("--phones", action="store_true", help="only sensors of phones")
    parser.add_argument("--enrolled", action="store_true")
    options = parser.parse_args()
    seed = time.time_ns() % 1_000_000 if options.fresh_seeds else options.seed
    printer = Printer(seed)
    try:
        card = enrolled_card(printer, np.random.default_rng(seed)) if options.enrolled else true_card(printer)
    except CureJournalError as refused:
        parser.exit(1, f"{refused}\n")
    print(f"seed {seed}; card {card.kind}")
    cameras = PHONES if options.phones else CAMERAS
    print_good(good_photos(seed, options.soaps, options.settings, printer, card, cameras))
    print_floor(seed, 3 * len(FAMILIES), printer, true_card(printer))
    print_bound(seed, 250 * len(FAMILIES))
    if options.faults:
        print_faults(seed, options.faults, printer, card)


if __name__ == "__main__":
    main()
