"""Learn what colours a printed card really has, from photos in which a chart with known colours lies beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from curejournal.colour.sample import Grade, Reason, as_matrix3, worst
from curejournal.colour.spaces import lab_from_linear, linear_from_lab
from curejournal.errors import CureJournalError
from curejournal.photo import doubts
from curejournal.photo.card import Card
from curejournal.photo.learn import centres_of, evened, learn, light_across, locate
from curejournal.photo.reading import Photo
from curejournal.photo.sampling import sample_patches

Floats = NDArray[np.float64]

# Ours: brightness between chart and card in one photo, which nothing measures; a lamp at arm's length gives 3 to 5%.
LIGHT_BETWEEN = 0.03


class EnrolmentRefused(CureJournalError):
    """None of the photos can say what the card's colours are."""


def enrol(card: Card, photos: Sequence[Photo], chart: Card, *, copy_id: str = "") -> tuple[Card, tuple[Reason, ...]]:
    """A card whose reference colours are those measured against a chart beside it.

    Parameters
    ----------
    card : Card
        The printed card; its own values, if any, are not used.
    photos : sequence of Photo
        Each with the card and the chart in it; several are averaged, and their spread counts.
    chart : Card
        With published or measured colours.
    copy_id : str
        The id on this printed copy.

    Returns
    -------
    card : Card
        Of kind *enrolled*; patches that no photo shows lose their reference.
    reasons : tuple of Reason
        What was doubtful, and the photos that were left out.

    Raises
    ------
    EnrolmentRefused
        If no photo is good enough.
    """
    if chart.kind not in ("published", "measured", "enrolled"):
        raise EnrolmentRefused(
            f"The colours of “{chart.name}” are not known themselves.", "Use a chart with published colours."
        )
    labs, joints, reasons = [], [], []
    for number, photo in enumerate(photos, start=1):
        lesson = learn(photo, chart)
        faults = list(lesson.reasons)
        placement, picture, scale = locate(photo, card)
        if isinstance(placement, Reason):
            faults.append(placement)
        else:
            faults += doubts.about_placement(card, placement, photo.width, photo.height)
        clear = worst(*(fault.limit for fault in faults)) is Grade.MEASURED
        if isinstance(placement, Reason) or not (clear and lesson.correction and lesson.placement):
            worst_fault = max(faults, key=lambda fault: fault.limit.rank)
            reasons.append(replace(worst_fault, text=f"Photo {number} was left out. {worst_fault.text}"))
            continue
        samples = sample_patches(picture, scale, placement, card.patches, photo.encoding)
        shading, light_reasons = light_across(picture, scale, placement, card, photo)
        reasons += light_reasons
        encoded = samples.encoded if shading is None else evened(samples.encoded, card.patches, shading)
        good = samples.seen & ~samples.burnt
        noise = np.array([np.diag(np.square(sd)) for sd in samples.noise_sd])
        # Light on the nearest edge of the chart, since nothing measures it beyond.
        middle = placement.to_pixels(centres_of(card.patches))
        beside = np.clip(lesson.placement.to_mm(middle), 0.0, chart.size_mm)
        lab, joint = lesson.correction.colours(
            np.where(good[:, None], encoded, 0.5), np.where(good[:, None, None], noise, 1.0), xy_mm=beside
        )
        brighter = lab_from_linear(linear_from_lab(lab) * (1 + LIGHT_BETWEEN)) - lab
        labs.append(np.where(good[:, None], lab, np.nan))
        joints.append(joint + np.outer(brighter.ravel(), brighter.ravel()))
    if not labs:
        first = (
            reasons[0]
            if reasons
            else doubts.refusal("no photo", "No photo was given.", "Photograph the card beside the chart.")
        )
        raise EnrolmentRefused(first.text, first.remedy)
    return _combined(card, np.array(labs), np.array(joints), chart, copy_id), tuple(reasons)


def _combined(card: Card, labs: Floats, joints: Floats, chart: Card, copy_id: str) -> Card:
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
    return replace(
        card,
        patches=tuple(patches),
        kind="enrolled",
        provenance=f"enrolled from {len(labs)} photo(s) beside “{chart.name}”; that chart: {chart.provenance}",
        copy_id=copy_id or card.copy_id,
        shared_covariance=shared,
    )


def _positive(matrix: Floats) -> Floats:
    """The nearest covariance: symmetric, no negative variance."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)
