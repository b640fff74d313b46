"""The drawing other tests lean on is held against published science, and the demo's pictures against their truth."""

from __future__ import annotations

import tomllib
import warnings
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image
from pydantic import TypeAdapter
from skimage.color import deltaE_ciede2000

from curejournal.batch.kinds import KINDS
from curejournal.batch.records import AlkaliTest, Event, Portion, ScalarReading, SurfaceNote, Weighing
from curejournal.soap.recipe import Recipe
from tests import render_samples
from tests.printing import Printer
from tests.scene_items import D50_TO_D65, XYZ_TO_LINEAR_SRGB, linear_rgb_from_lab, srgb_encode
from tests.scenes import Faults, card_named, draw_card
from tests.spectra import (
    CAMERAS,
    CHART_SPECTRA,
    CIE_LIGHTS,
    NM,
    OBSERVER,
    SpectralCamera,
    chart24_paints,
    lab_of,
    light_named,
    soap_reflectance,
    surface,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

FOLDER = render_samples.FOLDER
JOURNAL = render_samples.journal()
BATCHES: list[dict[str, Any]] = JOURNAL["batches"]
PICTURES = sorted(render_samples.all_pictures())
RECORDS = {
    "portions": Portion,
    "events": Event,
    "weighings": Weighing,
    "alkali_tests": AlkaliTest,
    "surface_notes": SurfaceNote,
    "readings": ScalarReading,
}
# What the demo signs and sells by the use cases of the app.
SIGNED = {
    "releases": {"at", "by", "statement"},
    "orders": {"at", "by", "bars", "name", "details", "order"},
}
# Creams, ambers, browns, mints, pinks, lavenders, deep colours.
SOAPS = [
    (94.0, 0.0, 11.0),
    (63.0, 20.0, 48.0),
    (35.0, 14.0, 20.0),
    (86.0, -13.0, 8.0),
    (78.0, 22.0, 5.0),
    (63.0, 15.0, -23.0),
    (17.0, 3.0, 4.0),
]


def as_record(kind: type, row: dict[str, Any]) -> object:
    return TypeAdapter(kind).validate_python({k: v for k, v in row.items() if k not in ("at", "by")})


# The drawing ---------------------------------------------------------------------------------------


def test_the_plain_cameras_srgb_agrees_with_colour_science():
    """IEC 61966-2-1 and Bradford, as in colour-science 0.4."""
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    for lab in SOAPS:
        xyz = colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
        expected = colour.XYZ_to_RGB(
            xyz,
            srgb,
            colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"],
            chromatic_adaptation_transform="Bradford",
        )
        np.testing.assert_allclose(linear_rgb_from_lab(lab), expected, atol=6e-4)


@pytest.mark.parametrize("name", ["window", "chart24"])
def test_a_drawn_patch_shows_the_colour_of_its_definition(name):
    """The printed sRGB beside each patch's Lab is that Lab, so a plain, evenly lit picture shows it again."""
    card = card_named(name)
    drawn = draw_card(card, noise=0.0, exposure_ev=0.0, tilt_deg=18, turn_deg=25, fill=0.6)
    w, h = card.size_mm
    place = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), np.float32(drawn.corners[name]))
    for patch in card.patches:
        centre = np.float32([[[patch.x + patch.w / 2, patch.y + patch.h / 2]]])
        x, y = np.rint(cv2.perspectiveTransform(centre, place)[0, 0]).astype(int)
        shown = drawn.picture[y - 1 : y + 2, x - 1 : x + 2].mean((0, 1))
        expected = 255 * srgb_encode(linear_rgb_from_lab(patch.lab_d50))
        np.testing.assert_allclose(shown, expected, atol=1.5, err_msg=patch.id)


def test_the_soap_in_the_window_is_where_and_what_the_truth_says():
    labs = [(85.0, 2.0, 18.0), (40.0, 15.0, 25.0)]
    drawn = draw_card(card_named("window"), lab_in_window=labs, noise=0.0, exposure_ev=0.0, tilt_deg=20)
    assert list(drawn.truth.values()) == labs
    for name, lab in drawn.truth.items():
        mask = cv2.fillConvexPoly(np.zeros(drawn.picture.shape[:2], np.uint8), np.int32(np.rint(drawn.areas[name])), 1)
        shown = np.median(drawn.picture[mask > 0], axis=0)
        np.testing.assert_allclose(shown, 255 * srgb_encode(linear_rgb_from_lab(lab)), atol=3, err_msg=name)


def test_the_same_seed_draws_the_same_bytes_and_another_does_not():
    small = {"size": (400, 300), "noise": 0.01}
    card = card_named("window")
    assert draw_card(card, seed=4, **small).jpeg == draw_card(card, seed=4, **small).jpeg
    assert draw_card(card, seed=4, **small).jpeg != draw_card(card, seed=5, **small).jpeg


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (Faults(glare=(0.5, 0.5, 0.9)), lambda faulty, plain: faulty.mean() > plain.mean() + 3),
        (Faults(thumb=(0.5, 0.1)), lambda faulty, plain: np.abs(faulty - plain).max() > 60),
        (Faults(stain=(0.5, 0.1)), lambda faulty, plain: faulty.mean() < plain.mean() - 1),
        (Faults(blur_px=6), lambda faulty, plain: faulty.std() < plain.std()),
        (Faults(shake_px=20), lambda faulty, plain: faulty.std() < plain.std()),
        (Faults(mirrored=True), lambda faulty, plain: np.array_equal(faulty[:, ::-1], plain)),
    ],
)
def test_a_fault_does_what_it_is_called(fault, says):
    card, options = card_named("window"), {"size": (640, 480), "noise": 0.0, "sharpness_px": 0.6}
    plain = draw_card(card, **options).picture.astype(float)
    assert says(draw_card(card, faults=fault, **options).picture.astype(float), plain)


# The spectra ---------------------------------------------------------------------------------------


def test_a_flat_white_is_exactly_white_and_a_flat_grey_has_no_hue():
    assert lab_of(np.ones_like(NM)) == pytest.approx((100.0, 0.0, 0.0), abs=1e-9)
    assert lab_of(np.full_like(NM, 0.18))[1:] == pytest.approx((0.0, 0.0), abs=1e-9)


def test_the_published_spectra_of_the_chart_have_its_published_colours():
    """Spectra against the xyY of the same average, both from colour-science ("BabelColor Average", ICC D50)."""
    published = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    for name, xyy in published.data.items():
        expected = colour.XYZ_to_Lab(colour.xyY_to_XYZ(xyy), published.illuminant)
        spectrum = CHART_SPECTRA[name]
        lab = lab_of(np.interp(NM, spectrum.wavelengths, spectrum.values))
        assert deltaE_ciede2000(expected, lab) < 0.5, name


def test_the_drawn_chart_has_the_colours_of_its_card_definition():
    card = card_named("chart24")
    paints = chart24_paints(card)
    for patch, spectrum in zip(card.patches, CHART_SPECTRA.values(), strict=True):
        assert deltaE_ciede2000(paints[patch.id].lab, patch.lab_d50) < 0.01
        published = lab_of(np.interp(NM, spectrum.wavelengths, spectrum.values))
        # The patches are matched by order: another patch would be far away.
        assert deltaE_ciede2000(published, patch.lab_d50) < 3.5, patch.id


@pytest.mark.parametrize("lab", SOAPS)
@pytest.mark.parametrize("seed", [None, 1, 2])
def test_a_soap_of_a_wanted_colour_is_smooth_and_physical(lab, seed):
    reflectance = soap_reflectance(lab, seed)
    assert deltaE_ciede2000(lab_of(reflectance), lab) < 0.05
    assert reflectance.min() >= 0
    assert reflectance.max() <= 1
    assert np.abs(np.diff(reflectance)).max() < 0.06  # per 5 nm


def test_the_same_soap_colour_comes_with_different_spectra():
    one, other = soap_reflectance((80.0, 5.0, 25.0), 1), soap_reflectance((80.0, 5.0, 25.0), 3)
    assert np.abs(one - other).max() > 0.02


@pytest.mark.parametrize("light", CIE_LIGHTS)
@pytest.mark.parametrize("name", CAMERAS)
@pytest.mark.parametrize("change", [None, 1])
def test_a_neutral_stays_neutral_through_a_well_balanced_camera(light, name, change):
    camera = SpectralCamera((light,), name, change)
    grey = camera.develop @ camera.raw(surface(np.full_like(NM, 0.4)), 0)
    np.testing.assert_allclose(grey, 0.4, rtol=1e-6)


def test_daylight_through_a_published_camera_is_nearly_right_and_a_coloured_light_is_not():
    """A camera of known sensitivities renders the chart within a few units in daylight: the pipeline is plausible."""
    card = card_named("chart24")
    paints = chart24_paints(card)

    def error(light: str) -> float:
        camera = SpectralCamera((light,))
        seen = [np.clip(camera.develop @ camera.raw(paints[p.id], 0), 0, 1) for p in card.patches]
        xyz = np.array(seen) @ np.linalg.inv(XYZ_TO_LINEAR_SRGB @ D50_TO_D65).T
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
        labs = colour.XYZ_to_Lab(xyz, white)
        return float(np.mean(deltaE_ciede2000(labs, [p.lab_d50 for p in card.patches])))

    assert error("daylight, window") < 2
    assert error("LED, red-green-blue") > 3


def test_a_mixture_of_lights_has_the_luminance_of_each():
    for name in ("tungsten", "daylight, window + LED, warm"):
        assert light_named(name) @ OBSERVER[:, 1] == pytest.approx(1.0)


def test_a_printed_card_differs_from_what_was_asked_by_its_own_amount():
    card = card_named("window")
    nominal = np.array([patch.lab_d50 for patch in card.patches])
    copies = [np.array([paint.lab for paint in Printer(seed).paints(card).values()]) for seed in (1, 2)]
    for copy in copies:
        difference = deltaE_ciede2000(copy, nominal)
        assert 1.0 < np.median(difference) < 6.0
        assert difference.max() < 15
    assert np.median(deltaE_ciede2000(*copies)) > 0.5
    assert 93 < Printer(1).paper.lab[0] < 96


# The demo's pictures and scenario ------------------------------------------------------------------


def test_the_scenario_and_the_folder_name_the_same_pictures_and_stay_small():
    assert sorted(path.name for path in FOLDER.glob("*.jpg")) == PICTURES
    assert sorted(render_samples.truth()["takes"]) == PICTURES
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 25e6


@pytest.mark.parametrize("file", PICTURES)
def test_a_picture_says_that_it_is_rendered_and_when_it_was_taken(file):
    at, _, _ = render_samples.all_pictures()[file]
    with Image.open(FOLDER / file) as picture:
        assert picture.size == (1600, 1200)
        tags = picture.getexif()
    assert "not a photograph" in tags[0x010E]
    inner = tags.get_ifd(0x8769)
    assert datetime.strptime(inner[0x9003] + inner[0x9011], "%Y:%m:%d %H:%M:%S%z") == at
    said = tomllib.loads((FOLDER / file).with_suffix(".toml").read_text(encoding="utf-8"))
    assert said["rendered"] is True
    assert said["taken_at"] == at
    assert bool(said["wrong"]) == (file in render_samples.truth()["refused"])


AGAIN = ["enrol-1.jpg", "juniper-3.jpg", "heather-6.jpg", "bog-myrtle-3.jpg", "heather-show-3.jpg"]


@pytest.mark.parametrize("file", AGAIN)
def test_a_picture_is_planned_again_with_the_same_truth(file):
    """Rendering it again takes a renderer; what is to be rendered, and what is true in it, comes out the same."""
    plan = render_samples.planned(file)
    said = tomllib.loads((FOLDER / file).with_suffix(".toml").read_text(encoding="utf-8"))
    assert said["lab"] == {name: pytest.approx(lab, abs=0.01) for name, lab in plan.lab.items()}
    for key, planned in (("corners", plan.corners), ("areas", plan.areas)):
        assert set(said[key]) == set(planned)
        for name, points in planned.items():
            np.testing.assert_allclose(said[key][name], points, atol=0.1)


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_every_batch_has_a_picture_to_show_and_one_to_measure_by(batch):
    cards = [bool(photo.get("card")) for photo in batch["photos"]]
    assert any(cards)
    assert not all(cards)


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_every_row_of_the_scenario_is_a_record(batch):
    as_record(Recipe, batch["recipe"])
    for key, kind in RECORDS.items():
        for row in batch.get(key, []):
            as_record(kind, row)
            assert row["by"] in [person["name"] for person in JOURNAL["people"]]
    assert all(reading["kind"] in KINDS for reading in batch.get("readings", []))
    for key, fields in SIGNED.items():
        assert all(set(row) == fields for row in batch.get(key, []))
    assert set(batch) <= {*RECORDS, *SIGNED, "recipe", "photos", "code", "name"}


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_the_scenario_runs_forward_in_time(batch):
    poured = render_samples.poured_at(batch)
    rows = [row for key in (*RECORDS, *SIGNED, "photos") for row in batch.get(key, [])]
    assert all(row["at"] <= JOURNAL["calendar_stands_at"] for row in rows)
    assert all(row["at"] > poured for key in ("weighings", "alkali_tests", "photos") for row in batch.get(key, []))


def test_everyone_in_the_scenario_is_marked_as_invented():
    assert all("(invented)" in person["name"] for person in JOURNAL["people"])
    assert "(invented)" in JOURNAL["place"]


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_the_areas_of_a_photo_lie_inside_the_true_portions(batch):
    names = {portion["name"] for portion in batch["portions"]}
    for photo in batch["photos"]:
        if "card" not in photo:
            assert not {"areas", "portion"} & set(photo)
            continue
        assert ("areas" in photo) == (photo["card"] == "chart24")
        if "areas" not in photo:
            assert photo["portion"] in names
            continue
        said = tomllib.loads((FOLDER / photo["file"]).with_suffix(".toml").read_text(encoding="utf-8"))
        assert set(photo["areas"]) <= names
        for name, (x0, y0, x1, y1) in photo["areas"].items():
            polygon = np.float32(said["areas"][name])
            # Each band is inset by 12%, so a few px over its polygon's edge are still that portion.
            inside = [cv2.pointPolygonTest(polygon, c, True) for c in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
            assert min(inside) > -6, (photo["file"], name)


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_the_lye_of_the_scenario_is_right(batch):
    """NaOH per g = SV / 1000 x 39.997 / 56.105 (IUPAC molar masses); the batch on hold is the one below zero."""
    oils_file = Path(render_samples.__file__).parents[1] / "curejournal/soap/oils.toml"
    ranges = {
        oil["key"]: (oil["low"], oil["high"]) for oil in tomllib.loads(oils_file.read_text(encoding="utf-8"))["oil"]
    }
    recipe = batch["recipe"]
    lye = sum(alkali["grams"] for alkali in recipe["alkalis"])

    def superfat_pct(which: int | None, purity: float) -> float:
        need = 0.0
        for oil in recipe["oils"]:
            low, high = ranges[oil["key"]]
            need += (
                oil["grams"] * (((low + high) / 2) if which is None else (low, high)[which]) / 1000 * 39.997 / 56.105
            )
        return 100 * (1 - lye * purity / need)

    on_hold = render_samples.truth()["verdicts"][batch["code"]] == ["hold"]
    assert (superfat_pct(0, 0.99) < 0) == on_hold
    if not on_hold:
        assert 5 <= superfat_pct(None, 0.98) <= 8.2


@pytest.mark.parametrize("batch", BATCHES, ids=lambda batch: batch["code"])
def test_weighed_bars_only_lose_and_never_more_than_their_water(batch):
    for subject in {row["subject"] for row in batch.get("weighings", [])}:
        grams = np.array([row["grams"] for row in batch["weighings"] if row["subject"] == subject])
        resolution = batch["weighings"][0]["resolution_g"]
        assert (np.diff(grams) <= resolution + 0.15).all(), subject
        assert grams[-1] > 0.8 * grams[0]


def difference_from_target(code: str, portion: str, at: datetime) -> tuple[float, float]:
    """(true CIEDE2000 difference from the target colour, tolerance)."""
    (batch,) = (b for b in BATCHES if b["code"] == code)
    (row,) = (p for p in batch["portions"] if p["name"] == portion)
    days = (at - render_samples.poured_at(batch)).total_seconds() / 86400
    lab = render_samples.true_lab(render_samples.truth()["colours"][code][portion], days)
    return float(deltaE_ciede2000(lab, row["target_lab"])), row["tolerance"]


@pytest.mark.parametrize(
    ("code", "portion", "state"),
    [
        (code, portion, state)
        for code, row in render_samples.truth()["states"].items()
        for portion, state in row.items()
    ],
)
def test_the_true_colour_tells_the_state_that_is_expected(code, portion, state):
    """The stories are far enough from their limits for readings with a doubt of 1 to 1.5."""
    (batch,) = (b for b in BATCHES if b["code"] == code)
    now = JOURNAL["calendar_stands_at"]
    seen = [p["at"] for p in batch["photos"] if portion == p.get("portion") or portion in p.get("areas", ())]
    differences = [difference_from_target(code, portion, at)[0] for at in seen]
    at_end, tolerance = difference_from_target(code, portion, now)
    match state[0]:
        case "recovered":
            assert max(differences) > 3 * tolerance
            assert at_end < 0.4 * tolerance
        case "stable":
            assert at_end < 0.4 * tolerance
            assert max(differences) < tolerance
        case "stable, off target":
            assert at_end > 2 * tolerance
            assert abs(differences[-1] - differences[-2]) < 0.3
        case "still browning":
            assert at_end > 2 * tolerance
            assert differences[-1] - differences[-3] > 1.5
        case "recovering":
            assert max(differences) > 4 * tolerance
            assert 1.4 * tolerance < at_end < 0.6 * max(differences)
        case "discolouring":
            assert at_end > 2 * tolerance
            assert differences[-1] > differences[-3] + 2
        case "too few readings":
            assert len(seen) - sum(p["file"] in render_samples.truth()["refused"] for p in batch["photos"]) < 4
