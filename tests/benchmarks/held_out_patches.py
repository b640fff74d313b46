"""Real photographs of the 24-patch chart, patches kept out of the correction: ours beside general libraries.

    python -m tests.benchmarks.held_out_patches [--photos DIR] [--peers] [--older]

Every patch in turn is kept out and foretold from the others; then six at once from the other
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
from pathlib import Path

import cv2
import numpy as np

from curejournal.colour.correction import fit_correction
from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, lab_from_srgb, linear_from_lab, linear_from_srgb, srgb_from_lab
from curejournal.photo.card import built_in_card_text, read_card
from curejournal.photo.learn import centres_of, locate, sample_patches
from curejournal.photo.reading import read_photo

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its hint that matplotlib is missing
    import colour

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"
CHART = read_card(built_in_card_text("chart24"))
PLACES = centres_of(CHART.references)
SIX = ("light-skin", "blue-flower", "moderate-red", "yellow-green", "orange-yellow", "neutral-6.5")
# Hyper-parameters were chosen on these alone; all others were only looked at.
CHOSEN_ON = ("deck", "phone", "scene", "sheet-b", "small-in-frame", "tiny-02")

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
    found = []
    with (folder / "INDEX.csv").open(newline="") as index:
        rows = [row for row in csv.DictReader(index) if row["corners"]]
    for row in rows:
        photo = read_photo((folder / row["file"]).read_bytes())
        placement, picture, scale, _ = locate(photo, CHART, [tuple(point) for point in json.loads(row["corners"])])
        samples = sample_patches(picture, scale, placement, CHART.references, photo.encoding)
        usable = samples.seen & ~samples.clipped
        wanted = samples.seen & ~samples.burnt
        unclipped = int(row["clipped_patches"]) == 0
        found.append(Photo(row["file"], samples.encoded, samples.noise_sd, usable, wanted, unclipped))
    return found


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
    """ΔE00 (M,) and whether the 95% intervals hold L*, a*, b* (M, 3) of the `wanted` patches."""
    where = PLACES if places else None
    correction = fit_correction(photo.encoded, lab, noise_sd=photo.noise_sd, usable=fitted, xy_mm=where)
    found, joint = correction.colours(photo.encoded[wanted], xy_mm=PLACES[wanted] if places else None)
    off = np.abs(found - lab[wanted])
    return ciede2000(lab[wanted], found), off < 1.96 * np.sqrt(np.diag(joint)).reshape(-1, 3)


def rounds(photo: Photo) -> list[tuple[Array, Array]]:
    """(fitted, wanted) flags of every leave-one-out round."""
    each = []
    for index in np.flatnonzero(photo.wanted):
        fitted = photo.usable.copy()
        fitted[index] = False
        each.append((fitted, np.arange(24) == index))
    return each


def summary(errors: list[Array]) -> str:
    """Median, mean and 95th percentile over all patches."""
    pooled = np.concatenate(errors)
    pooled = pooled[np.isfinite(pooled)]
    return f"{np.median(pooled):.2f} / {pooled.mean():.2f} / {np.quantile(pooled, 0.95):.2f}"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=PHOTOS)
    parser.add_argument("--peers", action="store_true", help="general libraries as well (two minutes)")
    parser.add_argument("--older", action="store_true", help="reference values from before November 2014")
    parser.add_argument("--black-too", action="store_true", help="fit patches with a black channel as well")
    settings = parser.parse_args()
    lab = older_values() if settings.older else np.array([patch.lab_d50 for patch in CHART.references])
    taken = photos(settings.photos)
    if settings.black_too:
        taken = [replace(photo, usable=photo.wanted) for photo in taken]

    methods: dict[str, dict[str, Array]] = {"ours": {}, "ours, places unknown": {}}
    held: dict[str, Array] = {}
    for photo in taken:
        results = [ours(photo, lab, *each) for each in rounds(photo)]
        methods["ours"][photo.name] = np.concatenate([errors for errors, _ in results])
        held[photo.name] = np.concatenate([inside for _, inside in results])
        blind = [ours(photo, lab, *each, places=False)[0] for each in rounds(photo)]
        methods["ours, places unknown"][photo.name] = np.concatenate(blind)
    for name, method in PEERS.items() if settings.peers else ():
        methods[name] = {}
        for photo in taken:
            guesses = [
                (method(photo.encoded[fitted], lab[fitted], photo.encoded[wanted]), lab[wanted])
                for fitted, wanted in rounds(photo)
            ]
            methods[name][photo.name] = np.concatenate([ciede2000(true, guess) for guess, true in guesses])

    sets = {
        "unclipped, normal size": [p.name for p in taken if p.unclipped and not p.name.startswith("small")],
        "all": [p.name for p in taken],
        "chosen on": [p.name for p in taken if p.name.startswith(CHOSEN_ON)],
        "only looked at": [p.name for p in taken if not p.name.startswith(CHOSEN_ON)],
    }
    print("Leave one patch out, ΔE00 median / mean / 95th percentile\n")
    print("| method | " + " | ".join(f"{name} ({len(names)})" for name, names in sets.items()) + " |")
    print("| --- " * (len(sets) + 1) + "|")
    for name, errors in methods.items():
        cells = [summary([errors[photo] for photo in names]) for names in sets.values()]
        print(f"| {name} | " + " | ".join(cells) + " |")

    best = min(
        methods, key=lambda m: methods[m] is methods["ours"] or np.nanmean(np.concatenate([*methods[m].values()]))
    )
    print(f"\n| photo | patches | ours mean / worst | 95% holds | six of 24 kept out, mean / worst | {best}, mean |")
    print("| --- | --- | --- | --- | --- | --- |")
    six = np.isin([patch.id for patch in CHART.references], SIX)
    apart: list[Array] = []
    for photo in taken:
        mine = methods["ours"][photo.name]
        apart.append(ours(photo, lab, photo.usable & ~six, photo.wanted & six)[0])
        print(
            f"| {photo.name} | {len(mine)} | {mine.mean():.2f} / {mine.max():.1f} | {held[photo.name].mean():.0%} "
            f"| {apart[-1].mean():.2f} / {apart[-1].max():.1f} | {np.nanmean(methods[best][photo.name]):.2f} |"
        )
    for name, names in sets.items():
        share = np.concatenate([held[photo] for photo in names]).mean(axis=0)
        print(f"\n95% intervals hold L*, a*, b* ({name}): " + ", ".join(f"{value:.1%}" for value in share))
    normal = [
        errors for photo, errors in zip(taken, apart, strict=True) if photo.name in sets["unclipped, normal size"]
    ]
    print(f"\nSix of 24 kept out, median / mean / 95th percentile: all {summary(apart)}, unclipped {summary(normal)}")


if __name__ == "__main__":
    main()
