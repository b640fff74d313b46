"""What a card teaches about a photo: how the light falls on it, and what the photo does to colours.

1. Ask of the card and its place whether anything can be learned.
2. Take the robust colour of each patch, and the light across the card from its whites.
3. Divide the light out, and fit what the photo does to colours, chosen by cross-validation.
4. Ask whether the card's inks faded or its paper yellowed since it was measured, and how much it shines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.colour import camera
from curejournal.colour.card_surface import YELLOWED_FROM, blue_lost, veil_of_soap
from curejournal.colour.correction import Correction, TooFewPatches, fit_correction, fit_white_balance
from curejournal.colour.fading import Fading, find_fading
from curejournal.colour.illumination import Shading, slope_of_light
from curejournal.colour.sample import Grade, Reason, refusal, worst
from curejournal.photo.calibrate import card_quality, quality
from curejournal.photo.calibrate.samples import PatchSamples, evened, light_across, sample_patches
from curejournal.photo.card import Card, centres_of
from curejournal.photo.find.card_in_photo import FoundCard, find_card_in
from curejournal.photo.placement import Placement
from curejournal.photo.read.picture_file import Photo, Pixels

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CardCalibration:
    """What a card taught about a photo.

    Without a `placement` there was no card; without a `correction` nothing could be learned from it. `picture`
    (H, W, 3) is upright RGB at 1/`scale` of full size. `encoded` (N, 3) are the reference patches as encoded sRGB,
    evenly lit; `errors` (N,) their CIEDE2000 when predicted from the others (leave-one-out), nan where not used.
    `fading` is what the card's inks lost, where that shows; `blue_lost` the share of blue light that it seems to
    reflect no more; `gloss` how much light soap's gloss may add beyond the card's, as an sd (Y of white 1).
    """

    card: Card
    placement: Placement | None
    picture: Pixels
    scale: float
    reasons: tuple[Reason, ...]
    shading: Shading | None = None
    correction: Correction | None = None
    encoded: Floats = field(default_factory=lambda: np.empty((0, 3)))
    errors: Floats = field(default_factory=lambda: np.empty(0))
    fading: Fading | None = None
    blue_lost: float = 0.0
    gloss: float = 0.0

    @property
    def grade(self) -> Grade:
        """The best that any area can be."""
        return worst(*(reason.limit for reason in self.reasons))

    def light_at(self, places: Floats) -> Floats | None:
        """The relative light (M, 3) at places (M, 2) in full-size pixels; None where no whites told it.

        Beside the card it is that of the card's nearest point: its surface is not carried on beyond the card.
        """
        if self.shading is None or self.placement is None:
            return None
        return self.shading.gain(np.clip(self.placement.to_mm(places), 0.0, np.array(self.card.size_mm)))


def learn(photo: Photo, card: Card, corners: Sequence[tuple[float, float]] | None = None) -> CardCalibration:
    """Find a card in a photo and learn from it what the photo does to colours; see `find_card_in` and `calibrate`.

    Parameters
    ----------
    photo : Photo
    card : Card
    corners : sequence of four (x, y), optional
        Pixels of the upright full-size picture, clockwise from the card's own top left.

    Returns
    -------
    CardCalibration
    """
    return calibrate(photo, find_card_in(photo, card, corners=corners))


def calibrate(photo: Photo, found: FoundCard) -> CardCalibration:
    """Learn from the card in a photo what the photo does to colours; stops at the first fault that leaves none.

    Parameters
    ----------
    photo : Photo
    found : FoundCard

    Returns
    -------
    CardCalibration
        Without a correction if a reason leaves no colour.
    """
    card, placement, picture, scale = found.card, found.placement, found.picture, found.scale
    if placement is None:
        return CardCalibration(card, None, picture, scale, (found.refusal,) if found.refusal else ())
    reasons = card_quality.about_card(card, placement, found.printed, photo.width, photo.height)
    learnt = CardCalibration(card, placement, picture, scale, tuple(reasons))
    if learnt.grade is Grade.NOT_USABLE:
        return learnt
    samples = sample_patches(picture, scale, placement, card.references, photo.encoding)
    light = light_across(picture, scale, placement, card, photo.encoding)
    shading = light.shading if light else None
    encoded = samples.encoded if shading is None else evened(samples.encoded, card.references, shading)
    reasons += quality.about_mode(photo.mode) + quality.about_patches(card, placement, samples)
    reasons += quality.about_light_across(light, placement.corners)
    learnt = replace(learnt, reasons=tuple(reasons), shading=shading)
    if learnt.grade is Grade.NOT_USABLE:
        return learnt
    try:
        correction = _correct(card, samples, encoded)
    except TooFewPatches as fault:
        return replace(learnt, reasons=(*reasons, refusal("few patches", fault.what, fault.do)))
    slope = None if shading is not None or card.white_only else _slope_of_light(card, correction, encoded)
    reasons += quality.about_correction(card, placement, correction, slope)
    errors = np.array(correction.leave_one_out)
    learnt = replace(learnt, reasons=tuple(reasons), correction=correction, encoded=encoded, errors=errors)
    # On a card's own scale nothing is true or wrong by its surface.
    known = card.kind in ("published", "measured", "enrolled") and not card.white_only
    return _with_surface(learnt, card, correction) if known else learnt


def _with_surface(learnt: CardCalibration, card: Card, correction: Correction) -> CardCalibration:
    """Add what shows of the card's gloss, and of a printed one's age since it was measured."""
    parameters = correction.camera_and_rest()[0]
    learnt = replace(learnt, gloss=veil_of_soap(parameters))
    papers = [patch.lab_d50 for patch in card.references if patch.role == "white"]
    if card.made_of != "printing inks" or card.kind == "published" or not papers:
        return learnt
    fading = find_fading(
        correction, np.array([patch.lab_d50 for patch in card.references]), np.mean(np.array(papers), axis=0)
    )
    lost, reasons = blue_lost(parameters), list(learnt.reasons)
    reasons += [card_quality.card_faded(card)] if fading.found else []
    reasons += [card_quality.card_yellowed(card)] if lost > YELLOWED_FROM else []
    return replace(learnt, reasons=tuple(reasons), fading=fading if fading.found else None, blue_lost=lost)


def _slope_of_light(card: Card, correction: Correction, encoded: Floats) -> tuple[float, float]:
    """How far brightness, and a*, b*, change from edge to edge of a card without whites, by its colours."""
    usual = correction.camera_and_rest()[0]
    usual[camera.PLANE] = 0.0
    reference = np.array([patch.lab_d50 for patch in card.references])
    off = camera.compress(reference) - camera.even_lab(usual, encoded, np.zeros((len(encoded), 2)))
    used = np.isfinite(correction.leave_one_out)
    used[list(correction.suspects)] = False
    return slope_of_light((centres_of(card.references) / card.size_mm)[used], off[used], reference[used, 0])


def _correct(card: Card, samples: PatchSamples, encoded: Floats) -> Correction:
    patches = card.references
    if card.white_only:
        return fit_white_balance(encoded[samples.seen], np.array([patch.lab_d50 for patch in patches])[samples.seen])
    covariances = None
    if any(patch.covariance for patch in patches):
        covariances = np.array([patch.covariance or np.zeros((3, 3)) for patch in patches])
    return fit_correction(
        encoded,
        np.array([patch.lab_d50 for patch in patches]),
        noise_sd=samples.noise_sd,
        reference_covariance=covariances,
        usable=samples.seen & ~samples.burnt,
        xy_mm=centres_of(patches),
        # Where the card's own colours are a guess, the patches tell of the print, not of the camera.
        made_of=(card.made_of or "unknown") if card.kind in ("published", "measured", "enrolled") else "",
    )
