"""What a card teaches about a photo: where it lies, how the light falls on it, what the photo does to colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.colour import camera
from curejournal.colour.card_surface import YELLOWED_FROM, blue_lost, veil_of_soap
from curejournal.colour.correction import Correction, TooFewPatches, fit_correction, fit_white_balance
from curejournal.colour.fading import Fading, find_fading
from curejournal.colour.illumination import Shading, fit_shading, slope_of_light
from curejournal.colour.sample import Grade, Reason, worst
from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.photo.card import Card, Patch, Rect
from curejournal.photo.find.chart import look_for_chart
from curejournal.photo.find.markers import find_by_markers
from curejournal.photo.find.placement import Placement, placement_from_corners, placement_from_points
from curejournal.photo.find.refusals import no_card, refusal
from curejournal.photo.find.tag import read_slot
from curejournal.photo.measure import card_quality, quality
from curejournal.photo.measure.sampling import PatchSamples, light_on, sample_patches, sharpness
from curejournal.photo.read.picture_file import Photo, Pixels, Reduction

Floats = NDArray[np.float64]

# Ours: enough pixels for a robust colour of a patch, few enough to be fast.
PATCH_PX_WANTED = 14.0
# Ours: a card of a tenth of the picture's width is still some 100 px wide at this size.
SEARCH_SIDE = 1000
_FINER: dict[Reduction, Reduction] = {8: 4, 4: 2, 2: 1, 1: 1}


@dataclass(frozen=True)
class CardCalibration:
    """What the card taught about the photo. Without a placement there was no card; without a correction no lesson.

    `encoded` (N, 3) are the reference patches as encoded sRGB, evenly lit; `errors` (N,) their CIEDE2000
    when foretold from the others, nan where not used. `fading` is what the card's inks lost, where that shows;
    `blue_lost` the share of blue light that it seems to reflect no more; `gloss` how much light soap's gloss may add
    beyond the card's, as an sd.
    """

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


def learn(photo: Photo, card: Card, corners: Sequence[tuple[float, float]] | None = None) -> CardCalibration:
    """Find the card and learn from it what the photo does to colours; stops at the first fault that leaves none."""
    return calibrate(photo, card, *locate(photo, card, corners))


def calibrate(
    photo: Photo, card: Card, placement: Placement | Reason, picture: Pixels, scale: float
) -> CardCalibration:
    """Learn from a card that was located already, see `locate`; any printed copy of it lies in the same place."""
    if isinstance(placement, Reason):
        return CardCalibration(None, picture, scale, (placement,))
    reasons = [*card_quality.about_values(card), *quality.about_placement(card, placement, photo.width, photo.height)]
    lesson = CardCalibration(placement, picture, scale, (*reasons, *_other_copy(picture, scale, placement, card)))
    if lesson.grade is Grade.NOT_USABLE:
        return lesson
    samples = sample_patches(picture, scale, placement, card.references, photo.encoding)
    shading, light_reasons = light_across(picture, scale, placement, card, photo)
    reasons = [*lesson.reasons, *quality.about_patches(card, placement, samples), *light_reasons]
    lesson = replace(lesson, reasons=tuple(reasons), shading=shading)
    if lesson.grade is Grade.NOT_USABLE:
        return lesson
    encoded = samples.encoded if shading is None else evened(samples.encoded, card.references, shading)
    try:
        correction = _correct(card, samples, encoded)
    except TooFewPatches as fault:
        return replace(lesson, reasons=(*reasons, refusal("few patches", fault.what, fault.do)))
    errors = np.array(correction.leave_one_out)
    if not card.white_only:
        if shading is None:
            reasons += quality.about_light(*_light_told_by_colours(card, correction, encoded), 0.0, placement.corners)
        reasons += card_quality.about_correction(card, float(np.nanmean(errors)), int(np.isfinite(errors).sum()))
    reasons += quality.about_suspects(card, placement, correction.suspects)
    lesson = replace(lesson, reasons=tuple(reasons), correction=correction, encoded=encoded, errors=errors)
    # On a card's own scale nothing is true or wrong by its surface.
    known = card.kind in ("published", "measured", "enrolled") and not card.white_only
    return _with_card_as_it_is(lesson, card, correction) if known else lesson


def _with_card_as_it_is(lesson: CardCalibration, card: Card, correction: Correction) -> CardCalibration:
    """Add what shows of the card's surface, and of a printed one's age since it was measured."""
    parameters = correction.camera_and_rest()[0]
    lesson = replace(lesson, gloss=veil_of_soap(parameters))
    papers = [patch.lab_d50 for patch in card.references if patch.role == "white"]
    if card.made_of != "printing inks" or card.kind == "published" or not papers:
        return lesson
    fading = find_fading(
        correction, np.array([patch.lab_d50 for patch in card.references]), np.mean(np.array(papers), axis=0)
    )
    lost, reasons = blue_lost(parameters), list(lesson.reasons)
    if fading.found:
        reasons.append(card_quality.about_fading(card))
    if lost > YELLOWED_FROM:
        reasons.append(card_quality.about_yellowing(card))
    return replace(lesson, reasons=tuple(reasons), fading=fading if fading.found else None, blue_lost=lost)


def _other_copy(picture: Pixels, scale: float, placement: Placement, card: Card) -> list[Reason]:
    """Whether the id printed on the card in the picture is another copy's, whose colours are not this one's."""
    slot = (card.slots or {}).get("copy_id")
    if not card.copy_id or slot is None:
        return []
    printed = read_slot(picture, scale, placement.outline(slot)).others
    return [card_quality.other_copy(card, printed[0])] if printed and printed[0] != card.copy_id else []


def locate(
    photo: Photo, card: Card, corners: Sequence[tuple[float, float]] | None = None
) -> tuple[Placement | Reason, Pixels, float]:
    """Where the card is, or why it cannot be told; the picture as fine as measuring needs; its scale."""
    sizes: tuple[Reduction, ...] = (8, 4, 2)
    reduce: Reduction = next((step for step in sizes if max(photo.width, photo.height) / step >= SEARCH_SIDE), 1)
    picture = photo.picture(reduce)
    if corners is not None:
        found: Placement | Reason = placement_from_corners(card, corners)
    else:
        find = find_by_markers if card.markers else _by_pattern
        found = find(picture, card, reduce)
        while isinstance(found, Reason) and reduce > 1:
            reduce = _FINER[reduce] if card.markers else 1  # the search for a pattern makes its own smaller views
            picture = photo.picture(reduce)
            found = find(picture, card, reduce)
    if isinstance(found, Reason):
        return quality.blurred(card) if sharpness(picture) < quality.BLUNT else found, picture, reduce
    # A strip has pixels enough along its longer side: half as many across will do.
    sides = [min(patch.w, patch.h) * (2.0 if _is_strip(patch) else 1.0) for patch in card.patches]
    side = float((found.scales_at(centres_of(card.patches))[:, 1] * sides).min())
    finer = reduce
    while finer > 1 and side / finer < PATCH_PX_WANTED:
        finer = _FINER[finer]
    return found, picture if finer == reduce else photo.picture(finer), finer


def _is_strip(patch: Patch) -> bool:
    return max(patch.w, patch.h) >= 4.0 * min(patch.w, patch.h)


def _by_pattern(picture: Pixels, card: Card, scale: float) -> Placement | Reason:
    found = look_for_chart(picture, card)
    if isinstance(found, Reason):
        return found
    pixels = (np.array(found.corners) + 0.5) * scale - 0.5
    placement = placement_from_points(card, np.array(card.corner_points()), pixels)
    return no_card(card) if placement is None else placement


def light_across(
    picture: Pixels, scale: float, placement: Placement, card: Card, photo: Photo
) -> tuple[Shading | None, list[Reason]]:
    """The light across the card from its whites, each looked at in three places; None without enough of them."""
    rects = [third.inset(0.2) for patch in card.patches if patch.role == "white" for third in _thirds(patch)]
    if not rects:
        return None, []
    light = light_on(picture, scale, placement, rects, photo.encoding)
    seen = np.isfinite(light).all(axis=1)
    places, colours = centres_of(rects)[seen], light[seen]
    if len(places) < 6:
        return None, []
    off = _tints_off(colours)
    covered = off > quality.TINT_DOUBTED
    # Few whites that differ from all the others are covered; two lights divide them more evenly.
    if not 0 < covered.sum() <= len(places) / 3:
        covered = np.zeros(len(places), dtype=bool)
    shading = fit_shading(places[~covered], colours[~covered], max(card.size_mm) / 2)
    tint_spread = 0.0 if covered.any() else _tint_spread(colours)
    faults = quality.about_light(shading.spread, tint_spread, shading.residual, placement.corners)
    if covered.any():
        marked = [placement.outline(rects[k]) for k in np.flatnonzero(seen)[covered]]
        faults.append(quality.white_covered(float(off.max()), marked))
    return shading, faults


def _light_told_by_colours(card: Card, correction: Correction, encoded: Floats) -> tuple[float, float]:
    """As `light_across` of a card without whites: how far brightness, and a*, b*, change from edge to edge."""
    usual = correction.camera_and_rest()[0]
    usual[camera.PLANE] = 0.0
    reference = np.array([patch.lab_d50 for patch in card.references])
    off = camera.compress(reference) - camera.even_lab(usual, encoded, np.zeros((len(encoded), 2)))
    used = np.isfinite(correction.leave_one_out)
    used[list(correction.suspects)] = False
    return slope_of_light((centres_of(card.references) / card.size_mm)[used], off[used], reference[used, 0])


def _thirds(patch: Patch) -> list[Rect]:
    """A patch parted along its longer side."""
    x, y, w, h = patch.x, patch.y, patch.w / 3, patch.h / 3
    if patch.w >= patch.h:
        return [Rect(x + w * third, y, w, patch.h) for third in range(3)]
    return [Rect(x, y + h * third, patch.w, h) for third in range(3)]


def _tints(linear: Floats) -> Floats:
    """The a*, b* (K, 2) of whites relative to their mean, each brought to one lightness."""
    balanced = linear / linear.mean(axis=0)
    balanced /= balanced.mean(axis=1, keepdims=True)
    return lab_from_srgb(srgb_from_linear(0.8 * balanced))[:, 1:]


def _tints_off(linear: Floats) -> Floats:
    """How far each white's a*, b* is from the median white's, (K,)."""
    tints = _tints(linear)
    return np.asarray(np.linalg.norm(tints - np.median(tints, axis=0), axis=1))


def _tint_spread(linear: Floats) -> float:
    """The largest difference in hue and chroma (a*, b*) between the whites."""
    tints = _tints(linear)
    return float(np.linalg.norm(tints[:, None] - tints[None], axis=-1).max())


def evened(encoded: Floats, patches: Sequence[Patch], shading: Shading) -> Floats:
    """The colours of patches (N, 3), encoded sRGB, as they would be in the card's mean light."""
    return srgb_from_linear(linear_from_srgb(encoded) / shading.gain(centres_of(patches)))


def centres_of(patches: Sequence[Patch | Rect]) -> Floats:
    """The middles of patches or other rectangles (N, 2), in mm."""
    return np.array([[patch.x + patch.w / 2, patch.y + patch.h / 2] for patch in patches])


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
