"""Real photographs of the 24-patch chart, patches kept out of the correction: ours beside general libraries.

    python -m tests.benchmarks.held_out_patches [--photos DIR] [--peers] [--older]

Every patch in turn is kept out and predicted from the others; then six at once from the other
eighteen. All methods get the same patch colours: the middle of each patch by the corners in
INDEX.csv, read by the product's own code. Patches with a channel burnt out or black enter no fit; those
burnt out, which are the ones INDEX.csv counts as clipped, are no targets either.
`--older` takes the values published for charts before November 2014.
"""

from __future__ import annotations

import argparse
import csv
import json
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np

from curejournal.colour.correction import fit_correction
from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, lab_from_srgb, linear_from_lab, linear_from_srgb, srgb_from_lab
from curejournal.photo.calibrate.samples import sample_patches
from curejournal.photo.card import built_in_card_text, centres_of, read_card
from curejournal.photo.find.card_in_photo import find_card_in
from curejournal.photo.read.picture_file import read_photo

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its hint that matplotlib is missing
    import colour

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"
CHART = read_card(built_in_card_text("chart24"))
PLACES = centres_of(CHART.references)
SIX = ("light-skin", "blue-flower", "moderate-red", "yellow-green", "orange-yellow", "neutral-6.5")
# Settings were chosen on these; the figures of the others were seen beside them.
CHOSEN_ON = ("deck", "phone", "scene", "sheet-b", "small-in-frame", "tiny-02")

# Photos of one chart in different light.
ONE_CHART = ("sheet-a", "sheet-b", "small-in-frame")

Array = np.ndarray
Method = Callable[[Array, Array, Array], Array]


@dataclass(frozen=True)
class Photo:
    """One photo's patches: encoded sRGB (24, 3), noise of the medians, which may be fitted, which are to be told."""

    name: str
    encoded: Array
    noise_sd: Array
    usable: Array
    wanted: Array
    unclipped: bool


def photos(folder: Path) -> list[Photo]:
    """All photos of an INDEX.csv that have corners."""
    taken = []
    with (folder / "INDEX.csv").open(newline="") as index:
        rows = [row for row in csv.DictReader(index) if row["corners"]]
    for row in rows:
        photo = read_photo((folder / row["file"]).read_bytes())
        found = find_card_in(photo, CHART, corners=[tuple(point) for point in json.loads(row["corners"])])
        samples = sample_patches(found.picture, found.scale, found.placement, CHART.references, photo.encoding)
        usable = samples.seen & ~samples.burnt
        wanted = samples.seen & ~samples.burnt
        unclipped = int(row["clipped_patches"]) == 0
        taken.append(Photo(row["file"], samples.encoded, samples.noise_sd, usable, wanted, unclipped))
    return taken


def older_values() -> Array:
    """CIELAB D50 of the chart before November 2014, as kept by colour-science."""
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - Before November 2014"]
    return colour.XYZ_to_Lab(colour.xyY_to_XYZ(list(chart.data.values())), chart.illuminant)


# Peers ----------------------------------------------------------------------------------------------


def affine_encoded(encoded: Array, lab: Array, wanted: Array) -> Array:
    """Affine in encoded sRGB, as plantcv corrects."""
    terms, target = np.column_stack([np.ones(len(encoded)), encoded]), srgb_from_lab(lab)
    return lab_from_srgb(
        np.column_stack([np.ones(len(wanted)), wanted]) @ np.linalg.lstsq(terms, target, rcond=None)[0]
    )


def opencv(shape: int, linearization: int) -> Method:
    """cv2.ccm; with setRGB(False) RGB goes in and comes out, where setRGB(True) swaps red and blue."""

    def method(encoded: Array, lab: Array, wanted: Array) -> Array:
        model = cv2.ccm.ColorCorrectionModel(
            np.ascontiguousarray(encoded[:, None]), np.ascontiguousarray(lab[:, None]), cv2.ccm.COLOR_SPACE_LAB_D50_2
        )
        model.setColorSpace(cv2.ccm.COLOR_SPACE_SRGB)
        model.setCcmType(shape)
        model.setLinearization(linearization)
        model.setRGB(False)
        model.compute()
        return lab_from_srgb(model.correctImage(wanted[None].astype(np.float32))[0])

    return method


def colour_science(name: str, linear: bool, **settings: int) -> Method:
    """colour.colour_correction, in linear light or in encoded sRGB."""

    def method(encoded: Array, lab: Array, wanted: Array) -> Array:
        if linear:
            seen, true = linear_from_srgb(encoded), linear_from_lab(lab)
            return lab_from_linear(
                colour.colour_correction(linear_from_srgb(wanted), seen, true, method=name, **settings)
            )
        return lab_from_srgb(colour.colour_correction(wanted, encoded, srgb_from_lab(lab), method=name, **settings))

    return method


PEERS: dict[str, Method] = {
    "uncorrected": lambda _encoded, _lab, wanted: lab_from_srgb(wanted),
    "affine, encoded (as plantcv)": affine_encoded,
    "cv2.ccm linear, gamma": opencv(cv2.ccm.CCM_LINEAR, cv2.ccm.LINEARIZATION_GAMMA),
    "cv2.ccm affine, gamma": opencv(cv2.ccm.CCM_AFFINE, cv2.ccm.LINEARIZATION_GAMMA),
    "cv2.ccm affine, colour polynomial": opencv(cv2.ccm.CCM_AFFINE, cv2.ccm.LINEARIZATION_COLORPOLYFIT),
    "cv2.ccm affine, identity": opencv(cv2.ccm.CCM_AFFINE, cv2.ccm.LINEARIZATION_IDENTITY),
    **{
        f"colour {name} {next(iter(settings.values()))}, {'linear' if linear else 'encoded'}": colour_science(
            name, linear, **settings
        )
        for name, settings in (
            ("Cheung 2004", {"terms": 4}),
            ("Cheung 2004", {"terms": 7}),
            ("Finlayson 2015", {"degree": 1}),
            ("Finlayson 2015", {"degree": 2}),
            ("Vandermonde", {"degree": 2}),
        )
        for linear in (True, False)
    },
}


# Runs -----------------------------------------------------------------------------------------------


def ours(photo: Photo, lab: Array, fitted: Array, wanted: Array, places: bool = True) -> tuple[Array, Array]:
    """The `wanted` patches predicted (M, 3), with standard deviations (M, 3)."""
    where = PLACES if places else None
    correction = fit_correction(photo.encoded, lab, noise_sd=photo.noise_sd, usable=fitted, xy_mm=where)
    found, joint = correction.colours(photo.encoded[wanted], xy_mm=PLACES[wanted] if places else None)
    return found, np.sqrt(np.diag(joint)).reshape(-1, 3)


def left_out(photo: Photo, predict: Callable[[Array, Array], Array]) -> Array:
    """Every wanted patch predicted from the others by `predict(fitted, wanted)`; nan for the rest."""
    all_ = []
    for index in range(24):
        fitted, one = photo.usable.copy(), np.arange(24) == index
        fitted[index] = False
        all_.append(predict(fitted, one) if photo.wanted[index] else np.full((1, 6), np.nan))
    width = min(each.shape[1] for each in all_)  # three, or six with standard deviations
    return np.concatenate([each[:, :width] for each in all_])


def summary(values: list[Array]) -> str:
    """Median, mean and 95th percentile of all."""
    pooled = np.concatenate([np.ravel(each) for each in values])
    pooled = pooled[np.isfinite(pooled)]
    return f"{np.median(pooled):.2f} / {pooled.mean():.2f} / {np.quantile(pooled, 0.95):.2f}"


def table(*rows: list[str]) -> None:
    """Print a Markdown table whose first row is its head."""
    for number, row in enumerate(rows):
        print("| " + " | ".join(row) + " |")
        if number == 0:
            print("| --- " * len(row) + "|")
    print()


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=PHOTOS)
    parser.add_argument("--peers", action="store_true", help="general libraries as well (three minutes)")
    parser.add_argument("--older", action="store_true", help="reference values from before November 2014")
    parser.add_argument("--black-too", action="store_true", help="fit patches with a black channel as well")
    settings = parser.parse_args()
    lab = older_values() if settings.older else np.array([patch.lab_d50 for patch in CHART.references])
    taken = photos(settings.photos)
    if settings.black_too:
        taken = [replace(photo, usable=photo.wanted) for photo in taken]

    predicted: dict[str, dict[str, Array]] = {"ours": {}, "ours, places unknown": {}}
    held: dict[str, Array] = {}
    for photo in taken:
        mine = left_out(photo, lambda f, w, p=photo: np.hstack(ours(p, lab, f, w)))
        predicted["ours"][photo.name] = mine[:, :3]
        inside = np.abs(mine[:, :3] - lab) < 1.96 * mine[:, 3:]
        held[photo.name] = inside[photo.wanted]
        predicted["ours, places unknown"][photo.name] = left_out(
            photo, lambda f, w, p=photo: ours(p, lab, f, w, places=False)[0]
        )
    for name, method in PEERS.items() if settings.peers else ():
        predicted[name] = {
            photo.name: left_out(photo, lambda f, w, m=method, e=photo.encoded: m(e[f], lab[f], e[w]))
            for photo in taken
        }
    errors = {
        method: {name: ciede2000(lab, found) for name, found in by_photo.items()}
        for method, by_photo in predicted.items()
    }

    sets = {
        "unclipped, normal size": [p.name for p in taken if p.unclipped and not p.name.startswith("small")],
        "all": [p.name for p in taken],
        "chosen on": [p.name for p in taken if p.name.startswith(CHOSEN_ON)],
        "others": [p.name for p in taken if not p.name.startswith(CHOSEN_ON)],
    }
    print(
        "Leave one patch out, ΔE00 median / mean / 95th percentile; last column: the same patch of one chart in\n"
        "different photos, pairwise\n"
    )
    one_chart = [
        (a, b)
        for a, b in combinations(sets["all"], 2)
        if a.startswith(ONE_CHART) and a.split("-0")[0] == b.split("-0")[0]
    ]
    table(
        ["method", *(f"{name} ({len(names)})" for name, names in sets.items()), f"pairs ({len(one_chart)})"],
        *(
            [
                method,
                *(summary([errors[method][name] for name in names]) for names in sets.values()),
                summary([ciede2000(found[a], found[b]) for a, b in one_chart]) if one_chart else "",
            ]
            for method, found in predicted.items()
        ),
    )

    six = np.isin([patch.id for patch in CHART.references], SIX)
    apart = {}
    for photo in taken:
        wanted = photo.wanted & six
        apart[photo.name] = ciede2000(lab[wanted], ours(photo, lab, photo.usable & ~six, wanted)[0])
    table(
        ["photo", "patches", "ΔE00 mean / worst", "95% holds", "six of 24 kept out, mean / worst"],
        *(
            [
                photo.name,
                str(photo.wanted.sum()),
                f"{np.nanmean(errors['ours'][photo.name]):.2f} / {np.nanmax(errors['ours'][photo.name]):.1f}",
                f"{held[photo.name].mean():.0%}",
                f"{apart[photo.name].mean():.2f} / {apart[photo.name].max():.1f}",
            ]
            for photo in taken
        ),
    )
    table(
        ["photos", "95% intervals hold L*, a*, b*", "six of 24 kept out, ΔE00 median / mean / 95th percentile"],
        *(
            [
                name,
                ", ".join(f"{v:.1%}" for v in np.concatenate([held[photo] for photo in names]).mean(axis=0)),
                summary([apart[photo] for photo in names]),
            ]
            for name, names in sets.items()
        ),
    )


if __name__ == "__main__":
    main()
