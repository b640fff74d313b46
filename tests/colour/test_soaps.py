"""What a card says of soap, which is not made of what the card is made of."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from curejournal.colour.correction import fit_correction
from curejournal.colour.soaps import LEARNED, PROBES, mixing_for_soap
from curejournal.colour.spaces import srgb_from_lab
from curejournal.photo.card import built_in_cards
from tests.benchmarks.soap_beside_card import CARDS, corrected, settings
from tests.scenes import card_named


@pytest.mark.parametrize("made_of", LEARNED)
def test_a_camera_that_sees_as_the_eye_does_needs_no_change(made_of):
    assert not mixing_for_soap(made_of, np.zeros(6), np.zeros((len(PROBES), 3))).any()


def test_of_a_card_of_unknown_make_nothing_is_changed():
    assert not mixing_for_soap("", np.full(6, 0.1), np.ones((len(PROBES), 3))).any()


def test_every_built_in_card_is_of_a_known_make_or_says_none():
    assert {card_named(name).made_of for name in built_in_cards()} == {"", *LEARNED}


@pytest.mark.parametrize("made_of", LEARNED)
def test_soap_beside_a_card_is_nearer_to_the_truth_by_what_was_learned(made_of):
    """Neither this camera (Nikon 5100, National Physical Laboratory), nor lights, nor inks were learned from."""
    rng = np.random.default_rng(4)
    errors: dict[bool, list[float]] = {False: [], True: []}
    light = "daylight, window"
    for drawn in settings(made_of, 16, rng, cameras=["camera 1"], light=lambda _: light, strange=False, copies=3):
        for with_soap, own in errors.items():
            own.extend(deltaE_ciede2000(drawn.soap_lab, corrected(made_of, drawn, with_soap=with_soap)[1]))
    assert np.mean(errors[True]) < 0.92 * np.mean(errors[False])


def test_the_patches_themselves_are_foretold_as_before():
    card = CARDS["chart paints"]
    lab = np.array([patch.lab_d50 for patch in card.patches])
    seen = np.clip(srgb_from_lab(lab) * [0.95, 1.0, 0.9], 0.0, 1.0)
    plain, for_soap = (fit_correction(seen, lab, made_of=made_of) for made_of in ("", "chart paints"))
    assert plain.leave_one_out == for_soap.leave_one_out
    assert np.array_equal(plain.colours(seen)[0], for_soap.colours(seen, soap=False)[0])
    assert not np.array_equal(plain.colours(seen)[0], for_soap.colours(seen)[0])


def test_what_was_changed_for_soap_is_less_certain():
    card = CARDS["chart paints"]
    lab = np.array([patch.lab_d50 for patch in card.patches])
    seen = np.clip(srgb_from_lab(lab) @ np.array([[0.9, 0.1, 0], [0.05, 0.9, 0.05], [0, 0.15, 0.85]]).T, 0.0, 1.0)
    plain, for_soap = (fit_correction(seen, lab, made_of=made_of) for made_of in ("", "chart paints"))
    changed = np.linalg.norm(plain.colours(seen)[0] - for_soap.colours(seen)[0], axis=1)
    (_, narrow), (_, wide) = plain.colours(seen), for_soap.colours(seen)
    assert changed.max() > 0.5
    assert np.trace(wide) > np.trace(narrow)
