"""Measure areas of a photo by what its card taught: colours out, with their doubts.

1. Take the robust colour of each area, and divide the light out that the card's whites show.
2. Correct all areas at once, so that what their errors have in common is known.
3. Add up what is not known: noise, light, surface, the card's own values.
4. Ask of each colour whether it can be claimed, and how well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg
from curejournal.colour.card_surface import by_blue, doubt_of_blue
from curejournal.colour.illumination import Shading
from curejournal.colour.models import by_light, by_veil
from curejournal.colour.sample import ColourSample, Grade, Reason, as_lab, as_matrix3, worst
from curejournal.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from curejournal.colour.surface_limits import held_to_surfaces
from curejournal.photo.calibrate.calibration import CardCalibration, learn
from curejournal.photo.card import Card
from curejournal.photo.measure import quality
from curejournal.photo.measure.areas import AreaSample, sample_area
from curejournal.photo.placement import Placement, Points
from curejournal.photo.read.picture_file import Photo

Floats = NDArray[np.float64]

# Ours, from rendered scenes: what is left of uneven light after dividing it out, and how much
# brightness changes beside a card whose surroundings nothing measures, per length of the card's diagonal.
SHADING_LEFT = 0.15
LIGHT_PER_CARD = 0.04
# Ours: of a brightener's blue by day, the sd of what is too much or too little in a light that nobody knows: by a lamp
# without ultraviolet some 0.8 of it is, by daylight hardly any.
GLOW_SHARE = 0.5

# The light on soap relative to the card's, and the white veil of its gloss beyond the card's (Y of white 1), each as an
# sd: set on path-traced scenes of soap of roughness 0.12 to 0.35 under a card 0.3 to 2 mm thick.
SURFACE_LIGHT, SURFACE_VEIL = 0.02, 0.005
# Beside a card soap stands or lies otherwise than the card: so many times as much. And how much darker all of an area
# may be, as an sd, for what its light falls off by beyond what even soap shows: on the same scenes and deep in moulds.
BESIDE_THE_CARD, SHADOW_LIGHT, SHADOW_FROM = 3.0, 1.5, 0.15


@dataclass(frozen=True)
class Area:
    """An area of the photo to measure: an outline in pixels of the upright full-size picture."""

    name: str
    outline: Points

    @classmethod
    def box(cls, name: str, x0: float, y0: float, x1: float, y1: float) -> Area:
        """A rectangle by two opposite corners."""
        left, right, top, bottom = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
        return cls(name, ((left, top), (right, top), (right, bottom), (left, bottom)))


@dataclass(frozen=True)
class AreaColour:
    """An area and its colour; `sample` is None where none can be claimed."""

    name: str
    outline: Points
    grade: Grade
    reasons: tuple[Reason, ...]
    pixels: int
    sample: ColourSample | None


@dataclass(frozen=True)
class PatchColour:
    """A patch of the card as the photo shows it; `error` its CIEDE2000 when predicted from the others."""

    id: str
    encoded: tuple[float, float, float]
    used: bool
    error: float | None


@dataclass(frozen=True)
class Measurement:
    """What was found in a photo. `covariance` is the joint one of all areas with a colour, in their order."""

    width: int
    height: int
    taken_at: str | None
    card: str
    card_kind: str
    found: bool
    corners: Points
    grade: Grade
    reasons: tuple[Reason, ...]
    areas: tuple[AreaColour, ...] = ()
    model: str = ""
    card_error: float | None = None
    candidates: tuple[tuple[str, float, float], ...] = ()
    patches: tuple[PatchColour, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()

    @property
    def is_relative(self) -> bool:
        """Whether colours and their intervals are on the card's own scale, and say nothing of true colours."""
        return self.card_kind in ("nominal", "relative")

    @property
    def usable(self) -> bool:
        """Whether any colour is claimed."""
        return any(area.sample for area in self.areas) or (not self.areas and self.grade is not Grade.NOT_USABLE)

    @property
    def why_no_colour(self) -> str:
        """The worst that is said of it and of its areas, and what to do about it."""
        reasons = self.reasons + tuple(reason for area in self.areas for reason in area.reasons)
        gravest = max(reasons, key=lambda reason: reason.limit.rank, default=None)
        return f"{gravest.text} {gravest.remedy}".strip() if gravest else msg("No area was marked.")


def measure(
    photo: Photo,
    card: Card,
    areas: Sequence[Area] = (),
    corners: Sequence[tuple[float, float]] | None = None,
) -> Measurement:
    """Find a card in a photo, learn from it, and measure areas against it.

    Parameters
    ----------
    photo : Photo
    card : Card
    areas : sequence of Area
        Without any, the card's window is the area, if it has one.
    corners : sequence of four (x, y), optional
        The card's corners in pixels of the upright full-size picture, clockwise from its own
        top left; otherwise the card is looked for.

    Returns
    -------
    Measurement
        With grade *not usable* and no colour if there is none to be had.

    Raises
    ------
    PictureDamaged, CornersInvalid
    """
    return measure_areas(photo, learn(photo, card, corners), areas)


def measure_areas(photo: Photo, calibration: CardCalibration, areas: Sequence[Area] = ()) -> Measurement:
    """Measure areas by what a card taught about the photo.

    Parameters
    ----------
    photo : Photo
    calibration : CardCalibration
    areas : sequence of Area
        Without any, the card's window is the area, if it has one.

    Returns
    -------
    Measurement
        With grade *not usable* and no colour if there is none to be had.
    """
    card = calibration.card
    if not areas and card.window and calibration.placement:
        # A rim of the window lies in the shadow of its own edge.
        areas = (Area("window", calibration.placement.outline(card.window.inset(0.06))),)
    correction, errors = calibration.correction, calibration.errors
    result = Measurement(
        photo.width,
        photo.height,
        photo.taken.isoformat if photo.taken else None,
        card.name,
        card.kind,
        calibration.placement is not None,
        calibration.placement.corners if calibration.placement else (),
        calibration.grade,
        tuple(sorted(calibration.reasons, key=lambda reason: -reason.limit.rank)),
        tuple(AreaColour(area.name, area.outline, Grade.NOT_USABLE, (), 0, None) for area in areas),
        correction.model if correction else "",
        _finite(errors[np.isfinite(errors)].mean()) if np.isfinite(errors).any() else None,
        correction.candidates if correction else (),
        tuple(
            PatchColour(patch.id, as_lab(calibration.encoded[i]), bool(np.isfinite(errors[i])), _finite(errors[i]))
            for i, patch in enumerate(card.references if correction else ())
        ),
    )
    return result if calibration.grade is Grade.NOT_USABLE else _with_areas(result, photo, calibration, areas)


def unmeasured(photo: Photo, reason: Reason) -> Measurement:
    """The measurement of a photo in which no card was looked for.

    Parameters
    ----------
    photo : Photo
    reason : Reason
        Why no card was looked for.

    Returns
    -------
    Measurement
        Without any colour.
    """
    taken = photo.taken.isoformat if photo.taken else None
    return Measurement(photo.width, photo.height, taken, "", "", False, (), Grade.NOT_USABLE, (reason,))


def _with_areas(result: Measurement, photo: Photo, calibration: CardCalibration, areas: Sequence[Area]) -> Measurement:
    """Correct all areas at once, so that what their errors have in common is known."""
    card, placement, correction = calibration.card, calibration.placement, calibration.correction
    assert placement is not None and correction is not None
    picture, scale = calibration.picture, calibration.scale
    samples = [sample_area(picture, scale, area.outline, photo.encoding, calibration.light_at) for area in areas]
    reasons = [
        [*quality.about_area(s, a.outline, photo.width, photo.height), *quality.about_place(card, placement, a.outline)]
        for s, a in zip(samples, areas, strict=True)
    ]
    good = [(i, s) for i, s in enumerate(samples) if s is not None and _limit(reasons[i]) is not Grade.NOT_USABLE]
    lab, joint = _corrected([sample for _, sample in good], [areas[i] for i, _ in good], calibration)
    inside = correction.inside(np.array([sample.encoded for _, sample in good]))
    claimed: dict[int, ColourSample] = {}
    rows: list[int] = []
    for k, (i, sample) in enumerate(good):
        block = joint[3 * k : 3 * k + 3, 3 * k : 3 * k + 3]
        reasons[i] += quality.about_colour(lab[k], block, bool(inside[k]) or card.white_only, areas[i].outline)
        grade = worst(result.grade, _limit(reasons[i]))
        if grade is Grade.NOT_USABLE:
            continue
        rows += [3 * k, 3 * k + 1, 3 * k + 2]
        spread = np.abs(lab_from_srgb(sample.encoded + sample.spread) - lab_from_srgb(sample.encoded))
        why = (*result.reasons, *reasons[i])
        claimed[i] = ColourSample(
            as_lab(held_to_surfaces(lab[k])), as_matrix3(block), sample.count, grade, why, as_lab(spread)
        )
    colours = tuple(
        AreaColour(
            area.name,
            area.outline,
            worst(result.grade, _limit(reasons[i])),
            tuple(reasons[i]),
            sample.count if sample else 0,
            claimed.get(i),
        )
        for i, (area, sample) in enumerate(zip(areas, samples, strict=True))
    )
    return replace(
        result,
        grade=min((colour.grade for colour in colours), key=lambda grade: grade.rank, default=result.grade),
        areas=colours,
        covariance=tuple(tuple(float(v) for v in row) for row in joint[np.ix_(rows, rows)]),
    )


def _corrected(
    samples: Sequence[AreaSample], areas: Sequence[Area], calibration: CardCalibration
) -> tuple[Floats, Floats]:
    """The colours (M, 3) of areas, and the joint covariance (3 M, 3 M) of all that is not known of them."""
    card, placement, correction = calibration.card, calibration.placement, calibration.correction
    assert placement is not None and correction is not None
    count = len(samples)
    encoded = np.array([sample.encoded for sample in samples]).reshape(-1, 3)
    noise = [
        sample.covariance + _light_covariance(sample.encoded, area, placement, card, calibration.shading)
        for sample, area in zip(samples, areas, strict=True)
    ]
    middles = np.array([placement.to_mm(np.array(area.outline)).mean(axis=0) for area in areas]).reshape(-1, 2)
    lab, joint = correction.colours(encoded, np.array(noise).reshape(-1, 3, 3), xy_mm=_held_to_card(middles, card))
    if card.shared_covariance is not None:
        joint = joint + np.kron(np.ones((count, count)), np.array(card.shared_covariance))
    # A brightener's glow, or its lack, is to all colours as a relative change of blue light.
    bluer = np.kron((lab[:, 0] + 16.0) / 116.0, (0.0, 0.0, GLOW_SHARE * card.glow))
    doubts = np.array([_surface_doubt(middle, card) for middle in middles])
    yellower = (doubt_of_blue(calibration.blue_lost) * by_blue(lab)).ravel()
    joint = joint + np.outer(bluer, bluer) + np.outer(yellower, yellower)
    joint = joint + _surface_covariance(lab, doubts, np.array([sample.fall for sample in samples]), calibration.gloss)
    if calibration.fading is not None:
        change = calibration.fading.change(lab)
        lab, joint = lab + change, joint + np.outer(change, change)
    return lab, joint


def _limit(reasons: Sequence[Reason]) -> Grade:
    return worst(*(reason.limit for reason in reasons))


def _light_covariance(encoded: Floats, area: Area, placement: Placement, card: Card, shading: Shading | None) -> Floats:
    """What uneven light leaves unknown about an area, as a covariance (3, 3) in encoded units.

    A common change of brightness: a share of what the card's whites show across the area, or
    where nothing measures it, growing with the distance from the card.
    """
    mm = placement.to_mm(np.array(area.outline))
    beyond = np.linalg.norm(mm.mean(axis=0) - _held_to_card(mm.mean(axis=0)[None], card)[0]) / np.hypot(*card.size_mm)
    relative = LIGHT_PER_CARD * min(float(beyond), 3.0)
    if shading is not None:
        gains = shading.gain(_held_to_card(mm, card))
        relative = float(np.hypot(relative, SHADING_LEFT * np.ptp(np.log(gains), axis=0).max()))
        relative = float(np.hypot(relative, shading.residual / 2))
    linear = linear_from_srgb(encoded)
    step = srgb_from_linear(linear * (1 + relative)) - encoded
    return np.outer(step, step)


def _surface_covariance(lab: Floats, doubts: Floats, falls: Floats, gloss: float) -> Floats:
    """What soaps (M, 3) owe to not being flat, matt and level as the card is: the joint covariance (3 M, 3 M) in Lab.

    The shadow of an edge, relief and a slope of its own change its light; its gloss adds a veil that is not the card's.
    Surfaces of one photo have that in common. `doubts` (M,) say how many times as much as under a window;
    `falls` (M,) are how far the light falls off across each, as deep in a mould: then all of it may be darker;
    `gloss` is the veil that soap's gloss may add where the card's adds little.
    """
    times = np.repeat(doubts, 3)
    darker = times * SURFACE_LIGHT * by_light(lab).ravel()
    veiled = np.where(times, np.hypot(times * SURFACE_VEIL, gloss), 0.0) * by_veil(lab).ravel()
    covariance = np.outer(darker, darker) + np.outer(veiled, veiled)
    shadows = (SHADOW_LIGHT * np.maximum(falls - SHADOW_FROM, 0.0))[:, None] * by_light(lab)
    for place, shadow in enumerate(shadows):
        covariance[3 * place : 3 * place + 3, 3 * place : 3 * place + 3] += np.outer(shadow, shadow)
    return covariance


def _surface_doubt(middle: Floats, card: Card) -> float:
    """How many times as much a surface at a place (2,) in card mm is doubted as one under the card's window."""
    x, y = middle
    window = card.window
    if window is not None and window.x <= x <= window.x + window.w and window.y <= y <= window.y + window.h:
        return 1.0
    on_card = 0.0 <= x <= card.size_mm[0] and 0.0 <= y <= card.size_mm[1]
    return 0.0 if on_card and not card.white_only else BESIDE_THE_CARD


def _held_to_card(mm: Floats, card: Card) -> Floats:
    """Places moved to the nearest point of the card: the light's surface is not carried on beyond it."""
    return np.clip(mm, 0.0, np.array(card.size_mm))


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
