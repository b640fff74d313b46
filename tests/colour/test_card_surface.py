"""What the camera fitted to a card tells of it: whether soap's gloss may be more than its own, whether it yellowed."""

from __future__ import annotations

import numpy as np
import pytest

from curejournal.colour.card_surface import YELLOWED_FROM, blue_lost, by_blue, doubt_of_blue, veil_of_soap
from curejournal.colour.correction import fit_correction
from curejournal.colour.spaces import linear_from_lab, srgb_from_linear
from tests.scenes import card_named

CARD = [patch for patch in card_named("window").patches if patch.lab_d50 is not None]
LAB = np.array([patch.lab_d50 for patch in CARD])
PLACES = np.array([(patch.x + patch.w / 2, patch.y + patch.h / 2) for patch in CARD])


def fitted(gloss: float, *, lost: float = 0.0, balance: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> np.ndarray:
    """The camera as it is fitted to the card under white gloss (Y of white 1), its colours less a share of blue."""
    linear = (linear_from_lab(LAB) * (1.0, 1.0, 1.0 - lost) + gloss) * 0.75 * np.array(balance)
    encoded = srgb_from_linear(np.clip(linear, 0.0, 1.0))
    return fit_correction(encoded, LAB, noise_sd=np.full(LAB.shape, 0.002), xy_mm=PLACES).camera_and_rest()[0]


def test_beside_a_matt_card_soap_may_shine_beside_a_glossy_one_its_gloss_is_taken_off_with_the_cards() -> None:
    """A rough dielectric of index 1.45 mirrors 3.4% of what falls on it straight (Fresnel), some of it to the lens."""
    assert veil_of_soap(fitted(0.0)) > 0.009
    assert veil_of_soap(fitted(0.015)) == 0.0


@pytest.mark.parametrize("balance", [(1.0, 1.0, 1.0), (1.08, 1.0, 0.92), (0.92, 1.0, 1.08)])
def test_a_sound_card_is_not_taken_for_a_yellowed_one_by_usual_white_balances(balance: tuple[float, ...]) -> None:
    assert doubt_of_blue(blue_lost(fitted(0.012, balance=balance))) < 0.01


@pytest.mark.parametrize("lost", [0.25, 0.35])
def test_a_yellowed_card_makes_blue_and_yellow_less_sure(lost: float) -> None:
    assert doubt_of_blue(blue_lost(fitted(0.012, lost=lost))) > 0.15 * lost


def test_a_card_that_yellowed_far_is_said_to_have() -> None:
    assert blue_lost(fitted(0.012, lost=0.38)) > YELLOWED_FROM > blue_lost(fitted(0.012))


def test_less_blue_light_is_yellower_and_hardly_darker() -> None:
    change = -0.1 * by_blue(np.array([[85.0, 0.0, 10.0]]))[0]
    assert change[2] > 3.0 > abs(change[0])
