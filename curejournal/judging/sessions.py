"""Readings of one portion, gathered into the moments they were taken at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from curejournal.batch.records import ColourReading, Entry
from curejournal.colour.sample import Grade, Lab, Matrix3, as_matrix3, worst
from curejournal.judging.curves import Array

SETTING_SD = 0.9
"""Least doubt (Lab units, each coordinate) of a reading against one taken in another setting. Real photos
corrected by a chart differ by 2 to 3 ΔE00 in pairs across settings, which three independent coordinates of
0.9 to 1.1 make; ours, from the project's real-chart photos."""

INDICATIVE_SD = 2.5
"""The same for readings graded *indicative* (no colour chart): ours, from 4 to 6 ΔE00 by white balance alone."""

SAME_PHOTO_SD = 0.5
"""The same for the difference of two areas in one photo. Ours."""

OTHER_INSTRUMENT_SD = 0.35
"""What the readings of one card share (Lab units, each coordinate) against a colour from another instrument: printing
inks and soap are metamers, and the card's own values have an error. Ours, from the study of the window card: photos in
many lights are off by 1.37 ΔE00 and differ in pairs by 1.74 (means, fresh seed), and 1.37² - 1.74² / 2 is about 0.6²
for the three coordinates. Photos always taken in one light share more."""

ONE_SETTING = timedelta(minutes=90)
"""Photos closer in time than this share their light, so they count as one moment. Ours."""


@dataclass(frozen=True)
class Session:
    """One moment's colour: its readings combined. `against_control` says that a control in the same photo was used.

    `relative_cards` are the cards of unknown colours that it was read with: such readings compare with their own alone.
    """

    at: datetime
    lab: Lab
    covariance: Matrix3
    grade: Grade
    entries: tuple[int, ...]
    against_control: bool = False
    relative_cards: frozenset[str] = frozenset()


def sessions(
    readings: Sequence[Entry[ColourReading]],
    *,
    control: Sequence[Entry[ColourReading]] = (),
    reference_lab: Lab | None = None,
) -> tuple[Session, ...]:
    """Combine usable readings by moment.

    Parameters
    ----------
    readings : sequence of Entry
        Entries whose record is a `ColourReading` of the portion. Those graded *not usable* are left out.
    control : sequence of Entry
        Readings of a control portion. Where one is in the same photo, the
        portion is read as `reference_lab` plus the difference of the two, which is
        known better than either.
    reference_lab : Lab, optional
        The control's own colour; by default the mean of its readings.

    Returns
    -------
    tuple of Session
        In order of time.

    """
    controls: dict[str | None, ColourReading] = {
        entry.photo: entry.record for entry in control if entry.photo and _usable(entry)
    }
    if reference_lab is None and controls:
        mean = np.mean([reading.lab for reading in controls.values()], axis=0)
        reference_lab = (float(mean[0]), float(mean[1]), float(mean[2]))
    usable = sorted((entry for entry in readings if _usable(entry)), key=lambda entry: entry.at)
    moments: list[list[Entry[ColourReading]]] = []
    for entry in usable:
        if moments and entry.at - moments[-1][0].at <= ONE_SETTING:
            moments[-1].append(entry)
        else:
            moments.append([entry])
    return _combined(moments, controls, np.array(reference_lab)) if moments else ()


def _combined(
    moments: Sequence[Sequence[Entry[ColourReading]]], controls: dict[str | None, ColourReading], reference: Array
) -> tuple[Session, ...]:
    """All moments at once, which is five times faster than one by one."""
    paired = [[entry for entry in moment if entry.photo in controls] for moment in moments]
    used = [with_control or moment for with_control, moment in zip(paired, moments, strict=True)]
    each = [entry for entries in used for entry in entries]
    labs = np.array([entry.record.lab for entry in each])
    covariances = np.array([entry.record.covariance for entry in each])
    for i, entry in enumerate(each):
        if entry.photo in controls:
            labs[i] += reference - controls[entry.photo].lab
            # Correction, light and camera are shared; what is left is each area's own noise.
            covariances[i] = np.eye(3) * SAME_PHOTO_SD**2
    precisions = np.linalg.inv(covariances + 1e-6 * np.eye(3))
    starts = np.cumsum([0, *(len(entries) for entries in used[:-1])])
    total = np.linalg.inv(np.add.reduceat(precisions, starts))
    labs = (total @ np.add.reduceat(precisions @ labs[..., None], starts))[..., 0]
    grades = [worst(*(Grade(entry.record.grade) for entry in moment)) for moment in moments]
    alone = [INDICATIVE_SD if grade is Grade.INDICATIVE else SETTING_SD for grade in grades]
    floors = [SAME_PHOTO_SD if beside else sd for beside, sd in zip(paired, alone, strict=True)]
    return tuple(
        Session(
            at=moment[0].at,
            lab=(float(lab[0]), float(lab[1]), float(lab[2])),
            covariance=as_matrix3(covariance),
            grade=grade,
            entries=tuple(entry.id for entry in moment),
            against_control=bool(beside),
            relative_cards=frozenset()
            if beside
            else frozenset(e.record.card for e in moment if Grade(e.record.grade) is Grade.RELATIVE),
        )
        for moment, lab, covariance, grade, beside in zip(
            moments, labs, _at_least(total, np.array(floors)), grades, paired, strict=True
        )
    )


def _at_least(covariances: Array, sds: Array) -> Array:
    """Covariances (m, 3, 3) with no direction known better than `sds` (m,)."""
    values, vectors = np.linalg.eigh(covariances)
    return np.asarray((vectors * np.maximum(values, sds[:, None] ** 2)[:, None]) @ vectors.transpose(0, 2, 1))


def _usable(entry: Entry[ColourReading]) -> bool:
    return Grade(entry.record.grade) is not Grade.NOT_USABLE
