"""The use cases: everything a face can ask for, in the order in which its parts are done.

Faces call these and show what comes back. Times come in as arguments; only
faces ask what day it is.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, tzinfo
from importlib.metadata import version
from itertools import count
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import TypeAdapter, ValidationError

from curejournal.colour.difference import Interval, difference_interval
from curejournal.colour.sample import Grade, Lab
from curejournal.cure import intended, lineage
from curejournal.cure.checks import Doubt, check_record
from curejournal.cure.intended import NoColourToPick as NoColourToPick
from curejournal.cure.intended import Picked
from curejournal.cure.judgement import DueThing, Judgement, judge
from curejournal.cure.lineage import Recall as Recall
from curejournal.cure.records import (
    BarsOut,
    Batch,
    ColourReading,
    Decision,
    Entry,
    IntendedSource,
    PhotoNote,
    Record,
    Renamed,
    Withdrawn,
)
from curejournal.cure.rules import HouseRules, Verdict
from curejournal.errors import CureJournalError
from curejournal.journal.backup import Backup
from curejournal.journal.photos import KeptPhoto, PhotoFacts
from curejournal.journal.store import Journal, NewEntry
from curejournal.journal.words import plain_text
from curejournal.photo import card as cards
from curejournal.photo.card import Card as Card
from curejournal.photo.cgats import read_values, with_values
from curejournal.photo.enrol import enrol
from curejournal.photo.health import PatchDrift as PatchDrift
from curejournal.photo.health import drifting
from curejournal.photo.measure import Area, AreaColour, measure
from curejournal.photo.measure import Measurement as Measurement
from curejournal.photo.reading import Photo, Taken, read_photo, taken_from_name
from curejournal.report import pictures
from curejournal.report.card_sheet import Paper as Paper
from curejournal.report.card_sheet import card_pdf
from curejournal.soap.recipe import Embed, Recipe

SOFTWARE = f"curejournal {version('curejournal')}"
Corners = Sequence[tuple[float, float]]
Box = tuple[float, float, float, float]


class PhotoUndated(CureJournalError):
    """Nobody knows when a photo was taken."""


class ReadingDoubtful(CureJournalError):
    """An entry is unlikely enough to be asked about before it is kept."""


class RecipeUnreadable(CureJournalError):
    """A recipe file lacks something or holds what no recipe has."""


class FolderMissing(CureJournalError):
    """A folder that was named is not there."""


class NotReady(CureJournalError):
    """A release was asked for that the evidence does not carry."""


@dataclass(frozen=True)
class TakenIn:
    """What became of one photo: kept with its readings, already there, or left out for a reason."""

    name: str
    outcome: Literal["kept", "kept without colour", "already there", "not kept"]
    why: str
    photo: KeptPhoto | None
    measurement: Measurement | None
    entries: tuple[Entry, ...] = ()


# --- cards ---------------------------------------------------------------------------------


def find_card(name_or_text: str, journal: Journal | None = None) -> Card:
    """A card by name (of the journal's own cards first, then the built-in ones), or from the text of its file.

    Raises
    ------
    CardDefinitionInvalid
    """
    if "\n" in name_or_text:
        return cards.read_card(name_or_text)
    if journal is not None and name_or_text in {kept.name for kept in journal.cards()}:
        return cards.read_card(journal.card_text(name_or_text))
    return cards.read_card(cards.built_in_card_text(name_or_text))


def card_names(journal: Journal | None = None) -> tuple[str, ...]:
    """The cards that can be used by name, the journal's own first."""
    own = tuple(kept.name for kept in journal.cards()) if journal is not None else ()
    return own + tuple(name for name in cards.built_in_cards() if name not in own)


def card_to_print(card: Card, paper: Paper, copy_id: str = "") -> bytes:
    """The PDF of a card, true to scale."""
    return card_pdf(replace(card, copy_id=copy_id) if copy_id else card, paper)


def enrol_card(
    journal: Journal, card: Card, photos: Sequence[bytes], chart: Card | None, copy_id: str
) -> tuple[Card, list[str]]:
    """Measure a printed card beside a chart and keep it in the journal under its copy id.

    Without a chart its own white paper in daylight serves, and its colours are only relative.

    Returns the enrolled card, and what was doubtful in plain words.

    Raises
    ------
    EnrolmentRefused, NotAPicture
    """
    enrolled, reasons = enrol(card, [read_photo(data) for data in photos], chart, copy_id=copy_id)
    enrolled = replace(enrolled, name=copy_id, title=f"{card.title}, copy {copy_id}")
    journal.keep_card(copy_id, cards.card_text(enrolled), copy_id)
    return enrolled, [f"{reason.text} {reason.remedy}" for reason in reasons]


def card_with_values(
    journal: Journal, card: Card, data: bytes, *, source: str, name: str
) -> tuple[Card, tuple[str, ...]]:
    """Give a card the measured colours of a file (CGATS or CSV, called `source`) and keep it under a name.

    Returns the card, and what is doubtful about it in sentences.

    Raises
    ------
    ValuesUnreadable
    """
    measured, doubts = with_values(card, read_values(data), source)
    measured = replace(measured, name=name, title=f"{card.title or card.name}, {name}")
    journal.keep_card(name, cards.card_text(measured), card.copy_id)
    return measured, doubts


# --- photos --------------------------------------------------------------------------------


def measure_photo(
    data: bytes, card: Card, areas: Mapping[str, Box] | None = None, corners: Corners | None = None
) -> Measurement:
    """Measure a photo without keeping it. `areas` are boxes x0, y0, x1, y1 in pixels of the upright full-size picture.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid
    """
    return measure(read_photo(data), card, _boxes(areas), corners)


def take_in(
    journal: Journal,
    code: str,
    data: bytes,
    *,
    name: str,
    card: Card | None,
    by: str,
    now: datetime,
    zone: tzinfo,
    areas: Mapping[str, Box] | None = None,
    portion: str = "",
    corners: Corners | None = None,
    at: datetime | None = None,
    caption: str = "",
    keep_without_colour: bool = False,
) -> TakenIn:
    """Measure a photo and file it under a batch with its readings, in one transaction.

    Parameters
    ----------
    journal, code
        Where it goes.
    data, name
        The file and its name, which may tell the date.
    card : Card, optional
        None keeps the picture for the story alone.
    areas : mapping of portion to box, optional
        Which parts of the picture show which portion; through a card's window none is needed, and `portion`
        names what is seen (the batch's only portion if empty).
    at : datetime, optional
        When it was taken, if the maker says so; otherwise its EXIF date, then the date in its name.
    keep_without_colour : bool
        Keep a photo in which nothing can be measured, for the story; otherwise it is left out.

    Raises
    ------
    PhotoUndated, ImpossibleRecord, NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid, JournalError
        Nothing is kept then.
    """
    batch = journal.batch(code)
    known = journal.find_photo(hashlib.sha256(data).hexdigest())
    if known and known.sha256 in {entry.photo for entry in batch.entries}:
        return TakenIn(name, "already there", "This photo is already in this batch.", known, None)
    photo = read_photo(data)
    when, source = _when(photo, name, at, zone)
    measurement = measure(photo, card, _boxes(areas), corners) if card else None
    if measurement is not None and not measurement.usable and not keep_without_colour:
        return TakenIn(name, "not kept", reason_for_none(measurement), None, measurement)
    readings = _readings(batch, measurement, portion) if measurement else []
    why_no_colour = "" if readings else (reason_for_none(measurement) if measurement else "taken without a card")
    records: list[Record] = [photo_note(measurement if readings else None, caption, why_no_colour), *readings]
    for record in records:
        check_record(batch, record, when, now=now)
    if when > now:
        raise PhotoUndated(f"The photo's date {when:%d %B %Y %H:%M} lies in the future.", "Set the right date with it.")
    facts = PhotoFacts(photo.suffix, photo.width, photo.height, when, source, name)
    kept = journal.keep_photo(data, facts)
    entries = journal.add_many(code, [NewEntry(record, when, photo=kept.sha256) for record in records], by=by)
    return TakenIn(name, "kept" if readings else "kept without colour", why_no_colour, kept, measurement, entries)


def when_taken(data: bytes, name: str, zone: tzinfo) -> datetime | None:
    """When a photo says it was taken, by its EXIF date or its name; None if neither tells.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return _when(photo, name, None, zone)[0] if photo.taken or taken_from_name(name) else None


def small_picture(journal: Journal, sha256: str, longest: int) -> bytes:
    """A kept photo as a small upright JPEG; made once, then read."""
    return journal.derived(
        sha256, f"small-{longest}.jpg", lambda: pictures.small(read_photo(journal.photo_bytes(sha256)), longest)
    )


def marked_picture(data: bytes, measurement: Measurement | None, longest: int) -> bytes:
    """A photo as a JPEG with what was found in it drawn in: the card, the areas, the faulty places.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return pictures.marked(photo, measurement, longest) if measurement else pictures.small(photo, longest)


def photo_note(measurement: Measurement | None, caption: str, why_no_colour: str) -> PhotoNote:
    """The note that files a photo; with the misfits of the card's patches, if it was measured."""
    if measurement is None:
        return PhotoNote(caption, why_no_colour)
    errors = tuple((patch.id, round(patch.error, 2)) for patch in measurement.patches if patch.error is not None)
    return PhotoNote(caption, why_no_colour, measurement.card, errors)


def card_drift(journal: Journal, name: str) -> tuple[PatchDrift, ...] | None:
    """The patches of a card that no longer fit as they did, from all photos taken with it; None if too few to say."""
    notes = sorted(
        (entry for batch in journal.all_batches() for entry in batch.of(PhotoNote)), key=lambda entry: entry.at
    )
    records = [entry.record for entry in notes if isinstance(entry.record, PhotoNote)]
    return drifting([dict(note.patch_errors) for note in records if note.card == name and note.patch_errors])


def _when(
    photo: Photo, name: str, at: datetime | None, zone: tzinfo
) -> tuple[datetime, Literal["exif", "file name", "maker"]]:
    if at is not None:
        return at, "maker"
    taken: Taken | None = photo.taken or taken_from_name(name)
    if taken is None:
        raise PhotoUndated(
            f"Nothing in “{name}” says when it was taken.",
            "Give the date and time with it; the file's own date proves nothing.",
        )
    if taken.offset is None:
        return taken.local.replace(tzinfo=zone), taken.source
    return datetime.fromisoformat(taken.isoformat), taken.source


def _boxes(areas: Mapping[str, Box] | None) -> list[Area]:
    return [Area.box(name, *box) for name, box in (areas or {}).items()]


def reason_for_none(measurement: Measurement) -> str:
    """Why nothing was measured, and what to do about it."""
    reasons = measurement.reasons + tuple(reason for area in measurement.areas for reason in area.reasons)
    worst = max(reasons, key=lambda reason: reason.limit.rank, default=None)
    return f"{worst.text} {worst.remedy}" if worst else "No area was marked."


def _readings(batch: Batch, measurement: Measurement, portion: str) -> list[ColourReading]:
    names = [known.name for known in batch.portions]
    readings = []
    for area in measurement.areas:
        if area.sample is None:
            continue
        seen = area.name
        if area.name == "window":
            if not portion and len(names) > 1:
                raise CureJournalError(
                    f"This batch has the portions {', '.join(names)}.", "Say which one the window shows."
                )
            seen = portion or (names[0] if names else "soap")
        readings.append(colour_reading(measurement, area, seen))
    return readings


def colour_reading(measurement: Measurement, area: AreaColour, portion: str) -> ColourReading:
    """The record of an area that has a colour."""
    assert area.sample is not None
    return ColourReading(
        portion=portion,
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
    )


# --- batches -------------------------------------------------------------------------------


def start_batch(
    journal: Journal, code: str, name: str, *, at: datetime, by: str, now: datetime, records: Sequence[Record] = ()
) -> Batch:
    """Open a batch with what is known of it already (recipe, portions).

    Raises
    ------
    ImpossibleRecord, JournalError
    """
    empty = Batch(code, name)
    for record in records:
        check_record(empty, record, at, now=now)
    return journal.start_batch(code, name, at=at, by=by, records=records)


def rename(journal: Journal, code: str, name: str, *, by: str, now: datetime) -> Entry:
    """Give a batch another name; the earlier one stays in the history, and its code stays.

    Raises
    ------
    EntryRefused, NotInJournal
    """
    return journal.add(code, Renamed(plain_text(name, "name", 120)), at=now, by=by)


def next_code(journal: Journal) -> str:
    """A free code for the next batch: the latest one's with its last number one higher; empty if it has none."""
    heads = journal.batches()
    found = re.fullmatch(r"(.*?)(\d+)(\D*)", heads[0].code) if heads else None
    if found is None:
        return ""
    before, number, after = found.groups()
    codes = {head.code for head in heads}
    later = (f"{before}{int(number) + step:0{len(number)}}{after}" for step in count(1))
    return next(code for code in later if code not in codes)


def enter(
    journal: Journal,
    code: str,
    record: Record,
    *,
    at: datetime,
    by: str,
    now: datetime,
    confirmed: bool = False,
    supersedes: int | None = None,
) -> tuple[Entry, tuple[Doubt, ...]]:
    """Enter one record. An unlikely one is asked about first, and kept once confirmed.

    Raises
    ------
    ImpossibleRecord
        Negative grams, a date before the pour, and the like.
    ReadingDoubtful
        An unlikely record that was not confirmed.
    """
    doubts = doubts_about(journal, code, record, at=at, now=now, supersedes=supersedes)
    if doubts and not confirmed:
        raise ReadingDoubtful(" ".join(doubt.text for doubt in doubts), doubts[0].do)
    return journal.add(code, record, at=at, by=by, supersedes=supersedes), doubts


def doubts_about(
    journal: Journal, code: str, record: Record, *, at: datetime, now: datetime, supersedes: int | None = None
) -> tuple[Doubt, ...]:
    """What is unlikely about a record, before it is kept; the entry that it corrects is left out of account.

    Raises
    ------
    ImpossibleRecord
    """
    batch = journal.batch(code)
    others = tuple(entry for entry in batch.entries if entry.id != supersedes)
    doubts = check_record(replace(batch, entries=others), record, at, now=now)
    if isinstance(record, Recipe) and record.embeds:
        codes = [head.code for head in journal.batches()]
        unknown = [e.batch for e in record.embeds if not any(lineage.same_code(e.batch, code) for code in codes)]
        doubts += tuple(
            Doubt("no such batch", f"The journal has no batch “{code}” to embed.", "Is the code right?")
            for code in unknown
        )
    return doubts


def take_back(journal: Journal, entry: Entry, *, why: str, by: str, now: datetime) -> Entry:
    """Take an entry back; it stays in the history with the reason.

    Raises
    ------
    ImpossibleRecord
        Without a reason.
    """
    check_record(Batch("", ""), Withdrawn(why), now)
    return journal.withdraw(entry.id, why=why, by=by, at=now)


def undo(journal: Journal, entry_id: int, *, why: str, by: str, now: datetime) -> tuple[Entry, ...]:
    """Undo one act: take an entry back and bring back what it corrected or took back.

    Raises
    ------
    ImpossibleRecord
        Without a reason.
    """
    check_record(Batch("", ""), Withdrawn(why), now)
    return journal.undo(entry_id, why=why, by=by, at=now)


def difference(first: ColourReading, second: ColourReading) -> Interval:
    """How far two kept colours lie apart, ΔE00; their errors count as independent."""
    covariance = np.add(first.covariance, second.covariance)
    return difference_interval(first.lab, second.lab, covariance)


def is_closed(batch: Batch) -> bool:
    """Whether nothing is left to judge: released, and nothing entered since but bars that left."""
    judged_by = (entry for entry in batch.entries if not isinstance(entry.record, BarsOut))
    latest = max(judged_by, key=lambda entry: entry.id, default=None)
    return latest is not None and isinstance(latest.record, Decision) and latest.record.act == "release"


def back_up(journal: Journal, folder: str) -> Backup:
    """Write the whole journal into one file in a folder of this computer.

    Raises
    ------
    BackupRefused, JournalNotWritable, DiskFull
    """
    to = Path(folder).expanduser()
    if not folder.strip() or not to.is_dir():
        raise FolderMissing(f"There is no folder “{folder}”.", "Name a folder that is there: a disk or stick, say.")
    return journal.backup(to)


def house_rules(journal: Journal) -> HouseRules:
    """The maker's limits, as kept in the journal, or the defaults."""
    return HouseRules(**journal.setting("house rules", {}))


def keep_house_rules(journal: Journal, rules: HouseRules) -> HouseRules:
    """Keep the maker's limits; earlier ones stay in the history."""
    journal.set_setting("house rules", asdict(rules))
    return rules


def judge_batch(journal: Journal, code: str, on: datetime) -> Judgement:
    """The verdict on a batch as it stood at a time, with its evidence; a recall names all that it reaches."""
    judgement = judge(journal.batch(code), on, house_rules(journal))
    if not judgement.recall:
        return judgement
    return replace(judgement, recall=lineage.recall(journal.all_batches(), code, judgement.recall).words)


def recall(journal: Journal, code: str, on: datetime) -> tuple[Recall, ...]:
    """The recall questions that concern a batch: its own, and those of batches that have pieces in it.

    Each names every batch that it reaches, and the bars that others have. Empty if nothing raises one.
    """
    batch, rules = journal.batch(code), house_rules(journal)
    every = journal.all_batches()
    found = []
    for one in (batch, *lineage.ancestors(every, batch.code)):
        questions = judge(one, on, rules).recall
        if questions:
            found.append(lineage.recall(every, one.code, questions))
    return tuple(found)


def embed_of(journal: Journal, code: str, grams: float, portion: str, on: datetime) -> Embed:
    """Pieces of a batch as they are put into another: with the most water that can be left in them."""
    judgement = judge_batch(journal, code, on)
    most = lineage.most_water_left(judgement.lye, judgement.drying)
    return Embed(journal.batch(code).code, grams, portion, water_high_fraction=most)


def swatch(data: bytes, card: Card, areas: Mapping[str, Box] | None = None) -> tuple[Lab, str]:
    """The colour of a swatch photographed with a card, and where it is from; the photo is not kept.

    Raises
    ------
    NoColourToPick
        Unless exactly one area has a colour, better than indicative.
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    measurement = measure_photo(data, card, areas)
    seen = [area for area in measurement.areas if area.sample is not None and area.grade.rank < Grade.INDICATIVE.rank]
    if len(seen) != 1 or seen[0].sample is None:
        why = f"{len(seen)} areas have a colour" if len(seen) > 1 else reason_for_none(measurement)
        raise NoColourToPick(
            f"No swatch could be measured: {why}", "Show one swatch in the card's window, or one area."
        )
    return seen[0].sample.lab, f"photographed with card {measurement.card}"


def set_intended(
    journal: Journal,
    code: str,
    portion: str,
    source: IntendedSource,
    *,
    by: str,
    now: datetime,
    from_batch: str = "",
    from_portion: str = "",
    reading: int | None = None,
    lab: Lab | None = None,
    lab_from: str = "as typed",
    tolerance: float | None = None,
    confirmed: bool = False,
) -> tuple[Entry, tuple[Doubt, ...]]:
    """Set the colour that a portion should have when cured, in a new entry that follows the old one.

    Parameters
    ----------
    journal, code, portion
        What it is for.
    source : str
        *cured earlier batch* needs `from_batch` and `from_portion`; *control portion* `from_portion`; *batter before
        fragrance* `reading`, the number of an entry of this batch; *swatch* `lab` (CIELAB D50/2), and `lab_from` says
        where that is from.
    tolerance : float, optional
        The ΔE00 accepted from now on; as before if left out.
    confirmed : bool
        Take a colour that was asked about.

    Raises
    ------
    NoColourToPick, ImpossibleRecord, ReadingDoubtful
    """
    batch = journal.batch(code)
    old = {known.name: known for known in batch.portions}.get(portion)
    if old is None:
        known = ", ".join(known.name for known in batch.portions) or "none"
        raise NoColourToPick(f"{code} has no portion “{portion}”.", f"Its portions: {known}.")
    if source == "cured earlier batch":
        earlier = journal.batch(from_batch)
        picked = intended.from_earlier_batch(batch, earlier, from_portion or portion, house_rules(journal))
    elif source == "control portion":
        picked = intended.from_control(batch, from_portion)
    elif source == "batter before fragrance":
        picked = intended.from_batter(batch, reading or 0)
    elif lab is None:
        raise NoColourToPick("A swatch needs its colour.", "Give its L*, a* and b*, or a photo of it with a card.")
    else:
        picked = Picked(lab, f"swatch {lab_from}")
    if picked.doubts and not confirmed:
        raise ReadingDoubtful(" ".join(doubt.text for doubt in picked.doubts), picked.doubts[0].do)
    new = replace(old, intended_lab=picked.lab, intended_source=source, intended_from=picked.words)
    if tolerance is not None:
        new = replace(new, tolerance=tolerance)
    entry, doubts = enter(journal, code, new, at=now, by=by, now=now, confirmed=confirmed)
    return entry, (*picked.doubts, *doubts)


def due_now(journal: Journal, on: datetime) -> list[tuple[Batch, DueThing]]:
    """What is due in all batches, most pressing first."""
    rules = house_rules(journal)
    return all_due((batch, judge(batch, on, rules)) for batch in journal.all_batches())


def all_due(judged: Iterable[tuple[Batch, Judgement]]) -> list[tuple[Batch, DueThing]]:
    """What is due in judged batches, most pressing first."""
    return sorted(
        ((batch, item) for batch, judgement in judged for item in judgement.due), key=lambda pair: pair[1].when
    )


def decide(
    journal: Journal,
    code: str,
    act: Literal["release", "hold", "withdraw"],
    *,
    signed_by: str,
    statement: str,
    on: datetime,
) -> Entry:
    """Sign a release, a hold or a withdrawal; the judgement as it stands is frozen with it.

    Raises
    ------
    NotReady
        A release when the verdict is not *ready*, or when pieces in it are of a batch that is held, withdrawn or
        under a recall question; a withdrawal of what was not released.
    ImpossibleRecord
        Without a name or a statement.
    """
    judgement = judge_batch(journal, code, on)
    if act == "release":
        if judgement.verdict != "ready":
            raise NotReady(f"This batch is not ready: {judgement.headline}", judgement.next_step)
        _refuse_pieces_of_a_held_batch(journal, code, on)
    batch = journal.batch(code)
    if act == "withdraw" and not any(earlier.act == "release" for _, earlier in batch.records(Decision)):
        raise NotReady("This batch was never released, so nothing can be withdrawn.", "Sign a hold to keep it back.")
    decision = Decision(
        act, signed_by, statement, judgement.rules_version, json.dumps(as_json(judgement), ensure_ascii=False)
    )
    check_record(batch, decision, on, now=on)
    return journal.add(code, decision, at=on, by=signed_by)


def _refuse_pieces_of_a_held_batch(journal: Journal, code: str, on: datetime) -> None:
    rules = house_rules(journal)
    for parent in lineage.ancestors(journal.all_batches(), journal.batch(code).code):
        judged = judge(parent, on, rules)
        acts = [act for at, act in parent.records(Decision) if at <= on]
        # What keeps the pieces back is their safety, not that their colour settled elsewhere.
        unsafe = [f.gauge for f in judged.findings if f.verdict is Verdict.HOLD and f.gauge != "colour"]
        signed = acts[-1].act if acts and acts[-1].act != "release" else ""
        if unsafe or signed or judged.recall:
            why = ", ".join(unsafe) or {"hold": "signed hold", "withdraw": "withdrawn"}.get(signed, "recall question")
            raise NotReady(
                f"It has pieces of batch {parent.code} in it, which is held back ({why}).",
                f"Settle {parent.code} first; or hold this batch with it.",
            )


def calendar(journal: Journal, now: datetime) -> datetime:
    """What day it is in this journal: today, save in the demo, whose calendar stands still."""
    stands_at = journal.setting("calendar stands at")
    return datetime.fromisoformat(stands_at) if stands_at else now


def recipe_from(fields: Mapping[str, Any]) -> Recipe:
    """A recipe from plain data, as in a recipe file.

    Raises
    ------
    RecipeUnreadable
    """
    try:
        return TypeAdapter(Recipe).validate_python(fields)
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise RecipeUnreadable(
            f"The recipe cannot be read: {place}: {first['msg']}.", "Correct it and try again."
        ) from fault


# --- for scripts ---------------------------------------------------------------------------


def as_json(value: Any) -> Any:
    """Any of our frozen values as plain JSON data."""
    return TypeAdapter(type(value)).dump_python(value, mode="json")


def card_as_json(card: Card) -> dict[str, Any]:
    """A whole card, so that anyone can draw it."""
    return {
        "name": card.name,
        "title": card.title,
        "kind": card.kind,
        "provenance": card.provenance,
        "copy_id": card.copy_id,
        "size_mm": list(card.size_mm),
        "markers": [as_json(marker) for marker in card.markers],
        "patches": [as_json(patch) for patch in card.patches],
        "window": as_json(card.window) if card.window else None,
        "slots": {name: as_json(slot) for name, slot in (card.slots or {}).items()},
    }


def measurement_as_json(measurement: Measurement) -> dict[str, Any]:
    """A measurement as the command line's contract has it; a colour that is not claimed is null."""
    return {
        "photo": {"width": measurement.width, "height": measurement.height, "taken_at": measurement.taken_at},
        "card": {
            "name": measurement.card,
            "kind": measurement.card_kind,
            "found": measurement.found,
            "corners": [list(corner) for corner in measurement.corners],
            "model": measurement.model,
            "error": measurement.card_error,
        },
        "grade": measurement.grade.value,
        "reasons": [as_json(reason) for reason in measurement.reasons],
        "areas": [
            {
                "name": area.name,
                "lab": list(area.sample.lab) if area.sample else None,
                "lab_sd": list(area.sample.sd) if area.sample else None,
                "lab_interval95": [list(pair) for pair in area.sample.interval95] if area.sample else None,
                "pixels": area.pixels,
                "grade": area.grade.value,
                "reasons": [as_json(reason) for reason in area.reasons],
                "outline": [list(point) for point in area.outline],
            }
            for area in measurement.areas
        ],
        "covariance": [list(row) for row in measurement.covariance],
    }
