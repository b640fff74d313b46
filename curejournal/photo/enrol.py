"""Learn what colours a printed card really has, from photos in which a chart with known colours lies beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.colour.correction import fit_white_balance
from curejournal.colour.illumination import Shading
from curejournal.colour.models import by_veil
from curejournal.colour.sample import Grade, Reason, as_matrix3, refusal, worst
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.photo.calibrate import card_quality, quality
from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.calibrate.samples import evened, light_across, sample_patches
from curejournal.photo.card import Card, centres_of
from curejournal.photo.find.card_in_photo import find_card_in
from curejournal.photo.placement import Placement
from curejournal.photo.read.picture_file import Photo

Floats = NDArray[np.float64]

# Ours: brightness between chart and card in one photo, which nothing measures; a lamp at arm's length gives 3 to 5%.
LIGHT_BETWEEN = 0.025
# Ours, the veil (Y of white 1) of the card's surface beyond the chart's, as an sd, with one photo and with several: on
# 21 path-traced photos of card and chart it is -0.01 to 0.04, and differs as much between the photos of one card.
VEIL_BETWEEN, VEIL_LEFT = 0.015, 0.005
# Ours: editions of a chart differ by ΔE00 0.9 on average; on 22 photos of real charts neither fits better by a tenth.
OTHER_FITS = 0.85
# Ours: plain office paper, as in cards/sheet.toml.
PAPER_WHITE = (95.0, 0.5, -2.0)


class EnrolmentRefused(CureJournalError):
    """None of the photos can say what the card's colours are."""


def enrol(
    card: Card,
    photos: Sequence[Photo],
    chart: Card | None,
    *,
    copy_id: str = "",
    other_edition: Card | None = None,
    edition_known: bool = True,
) -> tuple[Card, tuple[Reason, ...]]:
    """A card whose reference colours are those measured against a chart beside it, or against its own white paper.

    Parameters
    ----------
    card : Card
        The printed card; its own values, if any, are not used.
    photos : sequence of Photo
        Each with the card and the chart in it; several are averaged, and their spread counts.
    chart : Card or None
        With published or measured colours. None takes the card's own paper, photographed in daylight, for plain
        white: its colours are then only relative, sound for following one batch.
    copy_id : str
        The id on this printed copy.
    other_edition : Card, optional
        The same chart with the values of its other edition.
    edition_known : bool
        Whether the maker said that `chart` is the edition that lies there. If not, the values between the two are
        taken, and half their difference is in the card's covariance.

    Returns
    -------
    card : Card
        Of kind *enrolled* or *relative*; patches that no photo shows lose their reference.
    reasons : tuple of Reason
        What was doubtful, and the photos that were left out.

    Raises
    ------
    EnrolmentRefused
        If no photo is good enough.
    """
    if chart is not None and chart.kind not in ("published", "measured", "enrolled"):
        raise EnrolmentRefused(
            msg("The colours of “{name}” are not known themselves.", name=chart.name),
            msg("Use a chart with published colours."),
        )
    taught, reasons, misfits = [], [], []
    for number, photo in enumerate(photos, start=1):
        one = _taught(photo, card, chart)
        if not isinstance(one, _Taught):
            worst_fault = max(one, key=lambda fault: fault.limit.rank)
            reasons.append(replace(worst_fault, text=f"Photo {number} was left out. {worst_fault.text}"))
            continue
        other = _taught(photo, card, other_edition) if other_edition else []
        if isinstance(other, _Taught):
            misfits.append((one.misfit, other.misfit))
            one = one if edition_known else _between(one, other)
        taught.append(one)
    if not taught:
        if not reasons:
            raise EnrolmentRefused(msg("No photo was given."), msg("Photograph the card beside the chart."))
        raise EnrolmentRefused(reasons[0].text, reasons[0].remedy)
    reasons += _about_edition(chart, other_edition, misfits, edition_known=edition_known)
    labs, joints = np.array([one.lab for one in taught]), np.array([one.joint for one in taught])
    if chart is not None:
        labs, joints = _unveiled(labs), joints + _veil_covariance(labs)
    found = _combined(card, labs, joints, chart, copy_id)
    if other_edition is not None and not edition_known:
        found = replace(found, provenance=f"{found.provenance}; its edition is not known")
    return found, (*reasons, *card_quality.about_paper(found))


@dataclass(frozen=True)
class _Seen:
    """The printed card in one photo: encoded patches as in its mean light, their noise, and which can be used."""

    placement: Placement
    shading: Shading | None
    encoded: Floats
    noise: Floats
    good: NDArray[np.bool_]


@dataclass(frozen=True)
class _Taught:
    """What one photo says of the card's patches: `lab` (N, 3), their joint covariance (3 N, 3 N), and by how much the
    chart's own colours misfit, ΔE00 on average.
    """

    lab: Floats
    joint: Floats
    misfit: float = 0.0


def _between(one: _Taught, other: _Taught) -> _Taught:
    """The middle of what two editions say; half of their difference is common to all patches."""
    apart = np.nan_to_num((one.lab - other.lab) / 2).ravel()
    return _Taught((one.lab + other.lab) / 2, (one.joint + other.joint) / 2 + np.outer(apart, apart))


def _unveiled(labs: Floats) -> Floats:
    """What photos say (P, N, 3), less the veil by which each is lighter than the one with the least.

    The surface of a card mirrors more or less than the chart's beside it, as light and camera stand: the same light is
    added to all patches, and shows in the dark ones. What a photo has more of than another is no colour of the card.
    """
    luminance = ((labs[..., 0] + 16.0) / 116.0) ** 3
    usual = np.ma.masked_invalid(luminance).mean(axis=0).filled(np.nan)
    veils = []
    for one in luminance:
        seen = np.isfinite(one)
        # Lighter by a share of its own light as well, see `LIGHT_BETWEEN`; an eye sees a difference in the dark.
        terms = np.column_stack([np.ones(int(seen.sum())), usual[seen]]) / (0.02 + usual[seen, None])
        veils.append(np.linalg.lstsq(terms, (one - usual)[seen] / (0.02 + usual[seen]))[0][0])
    more = np.array(veils) - min(veils)
    return lab_from_linear(np.maximum(linear_from_lab(labs) - more[:, None, None], 0.0))


def _veil_covariance(labs: Floats) -> Floats:
    """What the card's gloss beside the chart's leaves unknown, (3 N, 3 N)."""
    veiled = (VEIL_BETWEEN if len(labs) == 1 else VEIL_LEFT) * by_veil(np.nan_to_num(labs).max(axis=0)).ravel()
    return np.outer(veiled, veiled)


def _about_edition(
    chart: Card | None, other: Card | None, misfits: Sequence[tuple[float, float]], *, edition_known: bool
) -> list[Reason]:
    """Say which edition of the chart was taken, and if the pictures fit the other better."""
    if chart is None or other is None or not misfits:
        return []
    own, others = np.mean(np.array(misfits), axis=0)
    reasons = []
    if not edition_known:
        text = msg("The chart's edition is not known: its white has L* 95.2 or, before November 2014, 96.5.")
        reasons.append(
            Reason("edition unknown", text, msg("Find the date on its back, and enrol the card again with it."))
        )
    if others < OTHER_FITS * own:
        text = msg(
            "The chart's colours fit “{name}” better ({others:.1f} against {own:.1f}).",
            name=other.title or other.name,
            others=others,
            own=own,
        )
        reasons.append(
            Reason("other edition", text, msg("Look at the date on its back; enrol the card with that edition."))
        )
    return reasons


def _seen(photo: Photo, card: Card) -> _Seen | list[Reason]:
    found = find_card_in(photo, card)
    placement, picture, scale = found.placement, found.picture, found.scale
    if placement is None:
        return [found.refusal] if found.refusal else []
    samples = sample_patches(picture, scale, placement, card.patches, photo.encoding)
    light = light_across(picture, scale, placement, card, photo.encoding)
    shading = light.shading if light else None
    faults = quality.about_light_across(light, placement.corners)
    faults += card_quality.about_placement(card, placement, photo.width, photo.height)
    if worst(*(fault.limit for fault in faults)) is not Grade.MEASURED:
        return faults
    encoded = samples.encoded if shading is None else evened(samples.encoded, card.patches, shading)
    good = samples.seen & ~samples.burnt
    noise = np.array([np.diag(np.square(sd)) for sd in samples.noise_sd])
    encoded, noise = np.where(good[:, None], encoded, 0.5), np.where(good[:, None, None], noise, 1.0)
    return _Seen(placement, shading, encoded, noise, good)


def _taught(photo: Photo, card: Card, chart: Card | None) -> _Taught | list[Reason]:
    """What one photo says of the card's patches, or its faults."""
    seen = _seen(photo, card)
    if isinstance(seen, list):
        return seen
    if chart is None:
        white = seen.good & np.array([patch.role == "white" for patch in card.patches])
        if not white.any():
            return [
                refusal("no white", msg("No clean white of the card can be seen."), msg("Lower the exposure a little."))
            ]
        balance = fit_white_balance(seen.encoded[white], np.tile(PAPER_WHITE, (int(white.sum()), 1)))
        lab, joint = balance.colours(seen.encoded, seen.noise, material=card.made_of)
        return _Taught(np.where(seen.good[:, None], lab, np.nan), joint)
    calibration = learn(photo, chart)
    if calibration.grade is not Grade.MEASURED or not calibration.correction or not calibration.placement:
        return list(calibration.reasons)
    # Light on the nearest edges of the two, since nothing measures it between.
    middle = seen.placement.to_pixels(centres_of(card.patches))
    beside = np.clip(calibration.placement.to_mm(middle), 0.0, chart.size_mm)
    encoded = seen.encoded
    if seen.shading:
        chart_middle = calibration.placement.to_pixels(np.array([chart.size_mm]) / 2)
        facing = np.clip(seen.placement.to_mm(chart_middle), 0.0, card.size_mm)
        encoded = srgb_from_linear(linear_from_srgb(encoded) * seen.shading.gain(facing))
    lab, joint = calibration.correction.colours(encoded, seen.noise, xy_mm=beside, material=card.made_of)
    brighter = (lab_from_linear(linear_from_lab(lab) * (1 + LIGHT_BETWEEN)) - lab).ravel()
    misfit = float(np.nanmean(calibration.errors))
    return _Taught(np.where(seen.good[:, None], lab, np.nan), joint + np.outer(brighter, brighter), misfit)


def _combined(card: Card, labs: Floats, joints: Floats, chart: Card | None, copy_id: str) -> Card:
    """The mean over photos of labs (P, N, 3), and what is shared and what is each patch's own in joints (P, 3 N, 3 N).

    The photos' own covariance does not shrink with their number, since most of it is the chart's; the spread of the
    mean between photos is added.
    """
    seen = np.isfinite(labs[..., 0])
    count = seen.sum(axis=0)
    number = len(card.patches)
    blocks = joints.reshape(len(joints), number, 3, number, 3).transpose(0, 1, 3, 2, 4)
    pairs = seen[:, :, None] & seen[:, None, :] & ~np.eye(number, dtype=bool)
    shared = as_matrix3(_positive(blocks[pairs].mean(axis=0)))
    patches = []
    for k, patch in enumerate(card.patches):
        if not count[k]:
            patches.append(replace(patch, lab_d50=None, covariance=None))
            continue
        mean = labs[seen[:, k], k].mean(axis=0)
        own = _positive(blocks[seen[:, k], k, k].mean(axis=0) - np.array(shared))
        if count[k] > 1:
            own = own + np.diag(labs[seen[:, k], k].var(axis=0, ddof=1)) / count[k]
        lab = (float(mean[0]), float(mean[1]), float(mean[2]))
        patches.append(replace(patch, lab_d50=lab, covariance=as_matrix3(own)))
    how = msg_n("{number} photo", "{number} photos", len(labs))
    return replace(
        card,
        patches=tuple(patches),
        kind="enrolled" if chart else "relative",
        provenance=(
            f"enrolled from {how} beside “{chart.name}”; that chart: {chart.provenance}"
            if chart
            else f"relative: {how} against its own white paper, taken for L* 95"
        ),
        copy_id=copy_id or card.copy_id,
        shared_covariance=shared,
    )


def _positive(matrix: Floats) -> Floats:
    """The nearest covariance: symmetric, no negative variance."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)
