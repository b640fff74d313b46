"""The path-traced world: its optics against the renderer and the literature, its truth against its own pictures."""

from __future__ import annotations

import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal.photo.card import Card
from tests.path_traced import make, sets, tracer, workshop
from tests.path_traced.laying import lay_card
from tests.path_traced.patterns import PATTERNS, shares_of
from tests.path_traced.prints import print_of
from tests.path_traced.showing import largest_rectangle
from tests.path_traced.world import AT_45_0, NM, ROUGHNESS, Finish, Lens, Pattern, place
from tests.path_traced.worlds import CHOOSING, REPORTING
from tests.scenes import card_named
from tests.spectra import NM as SPECTRA_NM

SAMPLE = Path(__file__).parents[1] / "data" / "path_traced"
TRUTH = json.loads((SAMPLE / "truth.json").read_text("utf-8"))


def test_both_halves_sample_the_same_wavelengths():
    assert np.array_equal(NM, SPECTRA_NM)


def test_a_smooth_surface_loses_inside_what_fresnel_says():
    """Light from below a smooth interface of index 1.5 is thrown back to 0.596 (Judd 1942; Saunderson 1942).

    Of 1.45 it is a little less; 0.54 to 0.57 by the polynomial of Egan & Hilgeman 1973, from memory.
    """
    inside = AT_45_0["beckmann"][1][0]
    assert 0.54 < inside < 0.575 < 0.596


@pytest.mark.parametrize(
    "finish", [Finish(0.1), Finish(0.3), Finish(0.15, "ggx"), Finish(0.3, matt=0.6), Finish(matt=1.0)]
)
def test_a_surface_is_what_was_wanted_up_to_what_its_finish_reaches(finish):
    wanted = np.linspace(0.02, 0.95, 60)
    reached = finish.seen_at_45_0(finish.base_for(wanted))
    most = finish.seen_at_45_0(np.array([0.97]))[0]
    np.testing.assert_allclose(reached, np.minimum(wanted, most), atol=1e-6)


@pytest.mark.parametrize("model", AT_45_0)
def test_the_optics_are_the_renderers_own(model):
    """k and f of every third roughness from two evaluations of Mitsuba's rough plastic, 45 degrees in, 0 out."""
    mitsuba = pytest.importorskip("mitsuba")
    if not tracer.DEBIANS_LLVM.exists() and "DRJIT_LIBLLVM_PATH" not in os.environ:
        pytest.skip("Mitsuba needs an LLVM that works")
    tracer.start("llvm_ad_spectral")
    drjit = pytest.importorskip("drjit")

    def seen(alpha: float, base: float) -> float:
        bsdf = mitsuba.load_dict(
            {"type": "roughplastic", "diffuse_reflectance": {"type": "uniform", "value": base}, "alpha": alpha,
             "int_ior": 1.45, "nonlinear": True, "distribution": model}
        )  # fmt: skip
        at = drjit.zeros(mitsuba.SurfaceInteraction3f, 1)
        at.wi, at.wavelengths = mitsuba.Vector3f(0.5**0.5, 0, 0.5**0.5), mitsuba.Spectrum(550.0)
        context = mitsuba.BSDFContext()
        context.component = 1  # the diffuse part alone
        return float(np.ravel(np.array(bsdf.eval(context, at, mitsuba.Vector3f(0, 0, 1), True)))[0] * np.pi)

    for number in range(0, len(ROUGHNESS), 3):
        low, high = seen(ROUGHNESS[number], 0.2), seen(ROUGHNESS[number], 0.8)
        f = (4 * low - high) / (0.8 * (low - high))
        k = low * (1 - 0.2 * f) / 0.2
        assert (k, f) == pytest.approx((AT_45_0[model][0][number], AT_45_0[model][1][number]), abs=5e-4)


@pytest.mark.parametrize("name", PATTERNS)
def test_portions_share_every_place_between_them(name):
    options = {"layers": {"edges": [20.0, 40.0]}}.get(name, {})
    points = np.random.default_rng(1).uniform([-40, -100, 0], [40, 100, 60], (3000, 3))
    shares = shares_of(Pattern(name, 3, options), points)
    assert shares.min() > -1e-9
    np.testing.assert_allclose(shares.sum(1), 1, atol=1e-9)


def test_a_lens_sees_right_to_the_right_and_up_above():
    lens = Lens((0.0, 0.0, 200.0), (0.0, 0.0, 0.0), 65.0, (1200, 900))
    middle, right, up = lens.project(np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]]))
    assert middle == pytest.approx((599.5, 449.5))
    assert right[0] - middle[0] == pytest.approx(600 / np.tan(np.radians(32.5)) * 10 / 200)
    assert up[1] < middle[1]


def test_a_card_lies_where_it_was_laid_its_top_left_up_and_left():
    laid = lay_card(card_named("window"), print_of(CHOOSING, 0), place(5, 6, 7), 0.5)
    np.testing.assert_allclose(laid.points([[0, 0], [148, 105]]), [[-69, 58.5, 7.5], [79, -46.5, 7.5]])


def test_the_largest_rectangle_holds_only_what_it_may():
    inside = np.random.default_rng(4).random((20, 30)) < 0.8
    inside[5:12, 8:19] = True
    r0, r1, c0, c1 = largest_rectangle(inside)
    assert inside[r0:r1, c0:c1].all()
    assert (r1 - r0) * (c1 - c0) >= 7 * 11


def test_the_set_for_choosing_and_that_for_reporting_share_nothing():
    for each in ("cameras", "lights", "printers", "families"):
        assert not set(getattr(CHOOSING, each)) & set(getattr(REPORTING, each)), each
    assert {name for name, _ in CHOOSING.cameras}.isdisjoint(name for name, _ in REPORTING.cameras)
    assert CHOOSING.model != REPORTING.model
    assert REPORTING.first_seed - CHOOSING.first_seed > 60_000


def test_the_same_scene_has_the_same_fingerprint_and_another_has_not():
    one, two = list(sets.good(CHOOSING, 2)), list(sets.good(CHOOSING, 2))
    assert [shot.fingerprint for shot in one] == [shot.fingerprint for shot in two]
    assert one[0].fingerprint != one[1].fingerprint


# A small sample of the pictures, as they were rendered ------------------------------------------------

SCENES = [name for name, scene in TRUTH["scenes"].items() if scene["card"] == "window"]


def _picture(name: str) -> np.ndarray:
    return np.asarray(cv2.imread(str(SAMPLE / TRUTH["scenes"][name]["file"]))[..., ::-1])


@pytest.mark.parametrize("name", SCENES)
def test_the_markers_lie_where_the_truth_says(name):
    card, grey = card_named("window"), cv2.cvtColor(_picture(name), cv2.COLOR_RGB2GRAY)
    found, ids, _ = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)).detectMarkers(
        grey
    )
    w, h = card.size_mm
    corners = np.float32(TRUTH["scenes"][name]["corners"])
    to_picture = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), corners)
    seen = {int(number): points[0] for number, points in zip(ids.ravel(), found, strict=True)}
    assert set(seen) == {marker.id for marker in card.markers}
    for marker in card.markers:
        expected = cv2.perspectiveTransform(np.float32([[[marker.x, marker.y]]]), to_picture)[0, 0]
        assert np.abs(seen[marker.id][0] - expected).max() < 2.5


@pytest.mark.parametrize("name", [name for name in SCENES if not TRUTH["scenes"][name]["fault"]])
def test_what_is_measured_in_a_sample_is_near_its_truth(name):
    """Through the product, with the card's true values: physics that agrees with neither would show here."""
    from curejournal.photo.measure.measurement import measure
    from curejournal.photo.read.picture_file import read_photo

    scene = TRUTH["scenes"][name]
    ((_, portion),) = scene["portions"].items()
    found = measure(
        read_photo((SAMPLE / scene["file"]).read_bytes()), _as_printed(card_named("window"), scene["print"])
    )
    assert found.areas[0].sample is not None
    assert deltaE_ciede2000(portion["lab"], found.areas[0].sample.lab) < 3


def _as_printed(card: Card, which: str) -> Card:
    from dataclasses import replace

    values = TRUTH["prints"][which]["window"]
    patches = tuple(replace(patch, lab_d50=tuple(values[patch.id])) for patch in card.patches)
    return replace(card, patches=patches, kind="measured", provenance="known from its spectra")


def test_the_demos_styles_name_portions_that_the_batches_have():
    from tests.render_samples import truth

    for code, style in workshop.STYLES.items():
        assert set(style.portions) <= {*truth()["colours"][code], "bran"}, code


def test_a_set_is_laid_out_from_what_the_cache_holds(tmp_path, monkeypatch):
    monkeypatch.setenv("CUREJOURNAL_SCENES", str(tmp_path / "cache"))
    monkeypatch.setitem(make.SETS, "few", (lambda: sets.good(CHOOSING, 3), CHOOSING))
    first = next(iter(sets.good(CHOOSING, 1)))
    make.kept(first).write_bytes(b"a picture")
    assert make.lay_out("few", tmp_path / "out") == 1
    assert (tmp_path / "out" / f"{first.name}.jpg").read_bytes() == b"a picture"
    assert list(json.loads((tmp_path / "out" / "truth.json").read_text())["scenes"]) == [first.name]
