"""The records that a photo makes, and the entries that bring the journal to them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime

from curejournal.base.messages import msg
from curejournal.batch.readings import PARTS, Part, Subject
from curejournal.batch.records import ColourReading, PhotoNote, Record, SurfaceNote, Withdrawn, of_kind
from curejournal.journal.store import NewEntry
from curejournal.photo.measure.measurement import AreaColour, Measurement
from curejournal.workflow.photos.case import Case
from curejournal.workflow.photos.context import PhotoContext
from curejournal.workflow.software import SOFTWARE


def records_of(case: Case) -> tuple[Record, ...]:
    """The note of the photo, a reading of each named area that has a colour, and the film that the maker confirmed.

    An area without a name is left out.
    """
    measurement = case.analysis.measurement
    pairs = [] if case.why else list(zip(measurement.areas, case.match.names, strict=True))
    left_out: tuple[Part, ...] = tuple(region for region in case.match.regions if region in PARTS)
    own = [portion.name for portion in case.batch.portions] if case.batch else []
    readings = [
        colour_reading(measurement, area, Subject.of(name, own), left_out)
        for area, name in pairs
        if area.sample is not None and name
    ]
    return (_note(case, bool(readings)), *readings, *_film(case))


def _film(case: Case) -> tuple[SurfaceNote, ...]:
    """The soda ash that the maker said a paler part of the window to be, noted once."""
    layers, filed = case.analysis.layers, case.context.filed
    if case.answers.portions is None or layers is None or of_kind((entry for _, entry in filed), SurfaceNote):
        return ()
    regions = case.match.regions
    film = [layer.share for layer, region in zip(layers.layers, regions, strict=False) if region == "film"]
    if case.why or not film:
        return ()
    # It lies on the outside: this is no look at what the cut faces show.
    return (SurfaceNote("ash", None, round(100 * sum(film), 1), msg("as seen in the photo's window"), True),)


def _note(case: Case, coloured: bool) -> PhotoNote:
    """The note that files a photo; with the misfits of the card's patches, if it was measured."""
    earlier = (note.record.caption for note in of_kind((entry for _, entry in case.context.filed), PhotoNote))
    caption = next(earlier, "") if case.answers.caption is None else case.answers.caption
    if not coloured:
        return PhotoNote(caption, case.why)
    measurement = case.analysis.measurement
    errors = tuple((patch.id, round(patch.error, 2)) for patch in measurement.patches if patch.error is not None)
    return PhotoNote(caption, "", measurement.card, errors)


def colour_reading(
    measurement: Measurement, area: AreaColour, subject: Subject, left_out: tuple[Part, ...] = ()
) -> ColourReading:
    """The record of an area that has a colour."""
    assert area.sample is not None
    return ColourReading(
        portion=subject.portion,
        lab=area.sample.lab,
        covariance=area.sample.covariance,
        grade=area.grade.value,
        reasons=tuple(reason.text for reason in area.sample.reasons),
        pixels=area.pixels,
        spread=area.sample.spread,
        card=measurement.card,
        area=json.dumps([[round(v, 1) for v in point] for point in area.outline]),
        corners=tuple((round(x, 1), round(y, 1)) for x, y in measurement.corners),
        model=measurement.model,
        software=SOFTWARE,
        part=subject.part,
        left_out=left_out,
    )


def entries_for(
    sha256: str, context: PhotoContext, batch: str, at: datetime, records: Sequence[Record]
) -> tuple[tuple[str, NewEntry], ...]:
    """What brings the entries of a photo to these records: corrections that stay in the history.

    What the maker noted by it, its surface or a strip, goes with it.
    """
    left, changes = list(records), []
    by_itself = [entry for _, entry in context.filed if isinstance(entry.record, (PhotoNote, ColourReading))]
    for code, entry in context.filed:
        new: Record | None = entry.record
        when = at if entry.at in {one.at for one in by_itself} else entry.at
        if entry in by_itself:
            new = next((record for record in left if code == batch and _same_thing(record, entry.record)), None)
            left = [record for record in left if record is not new]
        if new is None or code != batch:
            why = msg("corrected: the photo shows {batch} otherwise", batch=batch)
            changes.append((code, NewEntry(Withdrawn(why), context.now, entry.id)))
        if new is not None and (code, new, when) != (batch, entry.record, entry.at):
            changes.append((batch, NewEntry(new, when, entry.id if code == batch else None, sha256)))
    return (*changes, *((batch, NewEntry(record, at, photo=sha256)) for record in left))


def _same_thing(new: Record, old: Record) -> bool:
    """Whether one record can correct the other: the note of the photo, or the colour of one area."""
    return type(new) is type(old) and getattr(new, "area", None) == getattr(old, "area", None)
