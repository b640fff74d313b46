"""What a card says of soap, which is not made of what the card is made of; and a chart of a card's inks."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal.colour.correction import fit_correction
from curejournal.colour.metamerism import LEARNED, PROBES, TERMS, change_for, terms
from curejournal.colour.spaces import srgb_from_lab
from curejournal.photo.card import built_in_cards
from tests.benchmarks.beside_a_card import (
    CARD,
    CHART,
    corrected,
    ink_bank,
    network,
    published_bank,
    settings,
    soap_bank,
    within,
)
from tests.scenes import card_named
from tests.spectra import phone_cameras

INKS = "printing inks"


@pytest.mark.parametrize("pair", LEARNED)
def test_a_camera_that_sees_as_the_eye_does_needs_no_change(pair):
    assert not change_for(*pair, np.zeros(6), np.zeros((len(PROBES), 3)), PROBES).any()


@pytest.mark.parametrize("pair", LEARNED)
def test_a_colour_beyond_those_learned_from_changes_as_the_nearest_does(pair):
    rest = np.random.default_rng(1).normal(size=PROBES.shape)
    far, farther = (change_for(*pair, np.full(6, 0.05), rest, [lab]) for lab in ((60, 5, -60), (60, 5, -90)))
    assert np.array_equal(far, farther)
    assert far.any()


@pytest.mark.parametrize("pair", LEARNED)
def test_a_camera_stranger_than_any_learned_from_changes_no_more_than_the_strangest(pair):
    """Of those only the sign counts."""
    rest = np.where(np.arange(len(PROBES) * 3) % 2, 1e3, -1e3).reshape(-1, 3)
    strange, stranger = (change_for(*pair, np.full(6, k), k * rest, PROBES) for k in (1e2, 1e4))
    assert np.array_equal(strange, stranger)


def test_of_a_card_of_unknown_make_nothing_is_changed():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    seen = np.clip(srgb_from_lab(lab) * [0.95, 1.0, 0.9], 0.0, 1.0)
    found = fit_correction(seen, lab)
    for for_soap, plain in zip(found.colours(seen), found.colours(seen, material="unknown"), strict=True):
        assert np.array_equal(for_soap, plain)


def test_every_built_in_card_is_of_a_known_make_or_says_none():
    assert {card_named(name).made_of for name in built_in_cards()} == {"", *(made_of for _, made_of in LEARNED)}


@pytest.mark.parametrize("seen_by", ["camera 1", *phone_cameras()])
def test_soap_beside_a_card_is_nearer_to_the_truth_by_what_was_learned(seen_by):
    """No such camera, light or inks were learned from.

    Camera 1 is a Nikon 5100 (National Physical Laboratory); the others are sensors of phones by their data sheets.
    """
    rng = np.random.default_rng(4)
    errors: dict[bool, list[float]] = {False: [], True: []}
    light = "daylight, window"
    for drawn in settings(10, rng, cameras=[seen_by], light=lambda _: light, bank=soap_bank, strange=False, copies=3):
        for with_soap, own in errors.items():
            own.extend(deltaE_ciede2000(drawn.true_lab, corrected(drawn, learned=with_soap)[1]))
    assert np.mean(errors[True]) < 0.9 * np.mean(errors[False])


def test_published_reflectances_beside_a_card_are_nearer_too_and_the_intervals_hold():
    """The 99 of CIE 224:2017 (paints, textiles, plastics, skin, plants), of which nothing was learned."""
    rng = np.random.default_rng(4)
    alone, with_soap, held = [], [], []
    cameras = ["camera 1", *phone_cameras()]
    for drawn in settings(24, rng, cameras=cameras, light=lambda _: "daylight, window", bank=published_bank, copies=5):
        alone.extend(deltaE_ciede2000(drawn.true_lab, corrected(drawn, learned=False)[1]))
        _, lab, covariance = corrected(drawn, learned=True)
        with_soap.extend(deltaE_ciede2000(drawn.true_lab, lab))
        held.extend(within(lab, covariance, drawn.true_lab))
    assert np.mean(with_soap) < 0.95 * np.mean(alone)
    assert 0.88 < np.mean(held) < 0.99


@pytest.mark.parametrize("seen_by", ["camera 1", *phone_cameras()])
def test_a_card_enrolled_beside_a_chart_is_nearer_to_the_truth_by_what_was_learned(seen_by):
    """Inks of makers, and a camera, of which nothing was learned; in layers and in dots."""
    rng = np.random.default_rng(4)
    alone, with_learned, held = [], [], []
    cameras, light = [seen_by], "daylight, window"
    for drawn in settings(
        10, rng, cameras=cameras, light=lambda _: light, bank=ink_bank, material=INKS, card=CHART, copies=6
    ):
        alone.extend(deltaE_ciede2000(drawn.true_lab, corrected(drawn, learned=False)[1]))
        _, lab, covariance = corrected(drawn, learned=True)
        with_learned.extend(deltaE_ciede2000(drawn.true_lab, lab))
        held.extend(within(lab, covariance, drawn.true_lab))
    assert np.mean(with_learned) < 0.8 * np.mean(alone)
    assert np.mean(held) > 0.93


def test_the_patches_themselves_are_predicted_as_before():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    seen = np.clip(srgb_from_lab(lab) * [0.95, 1.0, 0.9], 0.0, 1.0)
    plain, for_soap = (fit_correction(seen, lab, made_of=made_of) for made_of in ("", INKS))
    assert plain.leave_one_out == for_soap.leave_one_out
    assert np.array_equal(plain.colours(seen)[0], for_soap.colours(seen, material="unknown")[0])
    assert not np.array_equal(plain.colours(seen)[0], for_soap.colours(seen)[0])


def test_the_more_is_changed_for_soap_the_less_certain_it_is():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    changed, uncertain = [], []
    for mixed in (0.05, 0.15):
        seen = np.clip(srgb_from_lab(lab) @ ((1 - mixed) * np.eye(3) + mixed * np.eye(3)[[1, 2, 0]]), 0.0, 1.0)
        found = fit_correction(seen, lab, made_of=INKS)
        true_lab, covariance = found.colours(seen)
        changed.append(np.linalg.norm(true_lab - found.colours(seen, material="unknown")[0]))
        uncertain.append(np.trace(covariance))
    assert changed[0] < changed[1]
    assert uncertain[0] < uncertain[1]


def test_what_is_learned_follows_a_change_that_is_not_in_proportion():
    rng = np.random.default_rng(6)
    needs, colours = rng.normal(size=(1200, 4)), rng.choice([20.0, 40.0, 60.0, 80.0], (1200, 20, 3)) - (0, 50, 50)
    basis = terms(colours, np.quantile(colours, [0, 1], axis=(0, 1)))
    wanted = np.tanh(2.0 * needs @ rng.normal(size=(4, 3 * TERMS)))

    def change(coefficients):
        return basis[: len(coefficients)] @ coefficients.reshape(-1, TERMS, 3)

    found = network(needs[:1000], colours[:1000], change(wanted[:1000]))
    in_proportion = np.linalg.lstsq(needs[:1000], wanted[:1000], rcond=None)[0]
    basis = basis[1000:]
    off, off_in_proportion = (
        np.mean((change(each) - change(wanted[1000:])) ** 2)
        for each in (found(needs[1000:]), needs[1000:] @ in_proportion)
    )
    assert off < 0.1 * off_in_proportion
