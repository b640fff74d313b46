"""What a card says of soap, which is not made of what the card is made of."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal.colour.correction import fit_correction
from curejournal.colour.soaps import LEARNED, PROBES, TERMS, change_for_soap
from curejournal.colour.spaces import srgb_from_lab
from curejournal.photo.card import built_in_cards
from tests.benchmarks.soap_beside_card import CARD, MADE_OF, corrected, network, published_bank, settings, within
from tests.scenes import card_named
from tests.spectra import phone_cameras


@pytest.mark.parametrize("made_of", LEARNED)
def test_a_camera_that_sees_as_the_eye_does_needs_no_change(made_of):
    assert not change_for_soap(made_of, np.zeros(6), np.zeros((len(PROBES), 3)), PROBES).any()


def test_a_colour_beyond_those_learned_from_changes_as_the_nearest_does():
    rest = np.random.default_rng(1).normal(size=PROBES.shape)
    far, farther = (change_for_soap(MADE_OF, np.full(6, 0.05), rest, [lab]) for lab in ((60, 5, -60), (60, 5, -90)))
    assert np.array_equal(far, farther)
    assert far.any()


@pytest.mark.parametrize("made_of", LEARNED)
def test_a_camera_stranger_than_any_learned_from_changes_no_more_than_the_strangest(made_of):
    """Of those only the sign counts."""
    rest = np.where(np.arange(len(PROBES) * 3) % 2, 1e3, -1e3).reshape(-1, 3)
    strange, stranger = (change_for_soap(made_of, np.full(6, k), k * rest, PROBES) for k in (1e2, 1e4))
    assert np.array_equal(strange, stranger)


def test_of_a_card_of_unknown_make_nothing_is_changed():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    seen = np.clip(srgb_from_lab(lab) * [0.95, 1.0, 0.9], 0.0, 1.0)
    found = fit_correction(seen, lab)
    for for_soap, plain in zip(found.colours(seen), found.colours(seen, soap=False), strict=True):
        assert np.array_equal(for_soap, plain)


def test_every_built_in_card_is_of_a_known_make_or_says_none():
    assert {card_named(name).made_of for name in built_in_cards()} == {"", *LEARNED}


@pytest.mark.parametrize("seen_by", ["camera 1", *phone_cameras()])
def test_soap_beside_a_card_is_nearer_to_the_truth_by_what_was_learned(seen_by):
    """No such camera, light or inks were learned from.

    Camera 1 is a Nikon 5100 (National Physical Laboratory); the others are sensors of phones by their data sheets.
    """
    rng = np.random.default_rng(4)
    errors: dict[bool, list[float]] = {False: [], True: []}
    light = "daylight, window"
    for drawn in settings(10, rng, cameras=[seen_by], light=lambda _: light, strange=False, copies=3):
        for with_soap, own in errors.items():
            own.extend(deltaE_ciede2000(drawn.soap_lab, corrected(drawn, with_soap=with_soap)[1]))
    assert np.mean(errors[True]) < 0.9 * np.mean(errors[False])


def test_published_reflectances_beside_a_card_are_nearer_too_and_the_intervals_hold():
    """The 99 of CIE 224:2017 (paints, textiles, plastics, skin, plants), of which nothing was learned."""
    rng = np.random.default_rng(4)
    alone, with_soap, held = [], [], []
    cameras = ["camera 1", *phone_cameras()]
    for drawn in settings(
        24, rng, cameras=cameras, light=lambda _: "daylight, window", strange=True, soaps_of=published_bank, copies=5
    ):
        alone.extend(deltaE_ciede2000(drawn.soap_lab, corrected(drawn, with_soap=False)[1]))
        _, lab, covariance = corrected(drawn, with_soap=True)
        with_soap.extend(deltaE_ciede2000(drawn.soap_lab, lab))
        held.extend(within(lab, covariance, drawn.soap_lab))
    assert np.mean(with_soap) < 0.95 * np.mean(alone)
    assert 0.88 < np.mean(held) < 0.99


def test_the_patches_themselves_are_foretold_as_before():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    seen = np.clip(srgb_from_lab(lab) * [0.95, 1.0, 0.9], 0.0, 1.0)
    plain, for_soap = (fit_correction(seen, lab, made_of=made_of) for made_of in ("", MADE_OF))
    assert plain.leave_one_out == for_soap.leave_one_out
    assert np.array_equal(plain.colours(seen)[0], for_soap.colours(seen, soap=False)[0])
    assert not np.array_equal(plain.colours(seen)[0], for_soap.colours(seen)[0])


def test_the_more_is_changed_for_soap_the_less_certain_it_is():
    lab = np.array([patch.lab_d50 for patch in CARD.patches])
    changed, uncertain = [], []
    for mixed in (0.05, 0.15):
        seen = np.clip(srgb_from_lab(lab) @ ((1 - mixed) * np.eye(3) + mixed * np.eye(3)[[1, 2, 0]]), 0.0, 1.0)
        found = fit_correction(seen, lab, made_of=MADE_OF)
        soap_lab, covariance = found.colours(seen)
        changed.append(np.linalg.norm(soap_lab - found.colours(seen, soap=False)[0]))
        uncertain.append(np.trace(covariance))
    assert changed[0] < changed[1]
    assert uncertain[0] < uncertain[1]


def test_what_is_learned_follows_a_change_that_is_not_in_proportion():
    rng = np.random.default_rng(6)
    needs, basis = rng.normal(size=(1200, 4)), rng.normal(size=(1200, 20, TERMS))
    wanted = np.tanh(2.0 * needs @ rng.normal(size=(4, 3 * TERMS)))
    errors = basis @ wanted.reshape(-1, TERMS, 3)
    found = network(needs[:1000], basis[:1000], errors[:1000])
    in_proportion = np.linalg.lstsq(needs[:1000], wanted[:1000], rcond=None)[0]
    off, off_in_proportion = (
        np.mean((each - wanted[1000:]) ** 2) for each in (found(needs[1000:]), needs[1000:] @ in_proportion)
    )
    assert off < 0.1 * off_in_proportion
