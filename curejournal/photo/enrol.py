"""Learn what colours a printed card really has, from photos in which a chart with known colours lies beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curejournal.base.counting import how_many
from curejournal.base.errors import CureJournalError
from curejournal.colour.correction import fit_white_balance
from curejournal.colour.illumination import Shading
from curejournal.colour.sample import Grade, Reason, as_matrix3, worst
from curejournal.colour.spaces import lab_from_linear, linear_from_lab, linear_from_srgb, srgb_from_linear
from curejournal.photo.card import Card
from curejournal.photo.find.placement import Placement
from curejournal.photo.find.refusals import refusal
from curejournal.photo.measure import quality
from curejournal.photo.measure.calibration import centres_of, evened, learn, light_across, locate
from curejournal.photo.measure.sampling import sample_patches
from curejournal.photo.read.picture_file import Photo

Floats = NDArray[np.float64]

# Ours: brightness between chart and card in one photo, which nothing measures; a lamp at arm's length gives 3 to 5%.
LIGHT_BETWEEN = 0.03
# Ours: plain office paper, as in cards/sheet.toml.
PAPER_WHITE = (95.0, 0.5, -2.0)


class EnrolmentRefused(CureJournalError):
    """None of the photos can say what the card's colours are."""


def enrol(
    card: Card, photos: Sequence[Photo], chart: Card | None, *, copy_id: str = ""
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
            f"The colours of “{chart.name}” are not known themselves.", "Use a chart with published colours."
        )
    labs, joints, reasons = [], [], []
    for number, photo in enumerate(photos, start=1):
        seen = _seen(photo, card)
        taught = seen if isinstance(seen, list) else _taught(photo, card, seen, chart)
        if isinstance(taught, list):
            worst_fault = max(taught, key=lambda fault: fault.limit.rank)
            reasons.append(replace(worst_fault, text=f"Photo {number} was left out. {worst_fault.text}"))
            continue
        labs.append(taught[0])
        joints.append(taught[1])
    if not labs:
        if not reasons:
            raise EnrolmentRefused("No photo was given.", "Photograph the card beside the chart.")
        raise EnrolmentRefused(reasons[0].text, reasons[0].remedy)
    found = _combined(card, np.array(labs), np.array(joints), chart, copy_id)
    return found, (*reasons, *quality.about_paper(found))


@dataclass(frozen=True)
class _Seen:
    """The printed card in one photo: encoded patches as in its mean light, their noise, and which can be used."""

    placement: Placement
    shading: Shading | None
    encoded: Floats
    noise: Floats
    good: NDArray[np.bool_]


def _seen(photo: Photo, card: Card) -> _Seen | list[Reason]:
    placement, picture, scale = locate(photo, card)
    if isinstance(placement, Reason):
        return [placement]
    samples = sample_patches(picture, scale, placement, card.patches, photo.encoding)
    shading, faults = light_across(picture, scale, placement, card, photo)
    faults += quality.about_placement(card, placement, photo.width, photo.height)
    if worst(*(fault.limit for fault in faults)) is not Grade.MEASURED:
        return faults
    encoded = samples.encoded if shading is None else evened(samples.encoded, card.patches, shading)
    good = samples.seen & ~samples.burnt
    noise = np.array([np.diag(np.square(sd)) for sd in samples.noise_sd])
    encoded, noise = np.where(good[:, None], encoded, 0.5), np.where(good[:, None, None], noise, 1.0)
    return _Seen(placement, shading, encoded, noise, good)


def _taught(photo: Photo, card: Card, seen: _Seen, chart: Card | None) -> tuple[Floats, Floats] | list[Reason]:
    """The colours (N, 3) of the card's patches in one photo and their joint covariance (3 N, 3 N), or the faults."""
    if chart is None:
        white = seen.good & np.array([patch.role == "white" for patch in card.patches])
        if not white.any():
            return [refusal("no white", "No clean white of the card can be seen.", "Lower the exposure a little.")]
        balance = fit_white_balance(seen.encoded[white], np.tile(PAPER_WHITE, (int(white.sum()), 1)))
        lab, joint = balance.colours(seen.encoded, seen.noise, material=card.made_of)
        return np.where(seen.good[:, None], lab, np.nan), joint
    lesson = learn(photo, chart)
    if lesson.grade is not Grade.MEASURED or not lesson.correction or not lesson.placement:
        return list(lesson.reasons)
    # Light on the nearest edges of the two, since nothing measures it between.
    middle = seen.placement.to_pixels(centres_of(card.patches))
    beside = np.clip(lesson.placement.to_mm(middle), 0.0, chart.size_mm)
    encoded = seen.encoded
    if seen.shading:
        chart_middle = lesson.placement.to_pixels(np.array([chart.size_mm]) / 2)
        facing = np.clip(seen.placement.to_mm(chart_middle), 0.0, card.size_mm)
        encoded = srgb_from_linear(linear_from_srgb(encoded) * seen.shading.gain(facing))
    lab, joint = lesson.correction.colours(encoded, seen.noise, xy_mm=beside, material=card.made_of)
    brighter = (lab_from_linear(linear_from_lab(lab) * (1 + LIGHT_BETWEEN)) - lab).ravel()
    return np.where(seen.good[:, None], lab, np.nan), joint + np.outer(brighter, brighter)


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
    how = how_many(len(labs), "photo")
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
