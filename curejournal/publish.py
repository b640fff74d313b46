"""The use cases that leave the journal: fact sheets, records, portfolio, calendar, labels, recipes and bundles.

Like `workflow`, which they stand on: faces call these and show what comes back.
"""

from __future__ import annotations

import re
import shutil
import tomllib
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import Literal

from curejournal import workflow
from curejournal.cure import lineage, materials
from curejournal.cure.judgement import Judgement, look_at
from curejournal.cure.lineage import LotUse
from curejournal.cure.records import Batch, ColourReading, PhotoNote
from curejournal.errors import CureJournalError
from curejournal.journal.bundle import read_bundle, take_bundle, write_bundle
from curejournal.journal.faults import DataRefused, FolderInUse
from curejournal.journal.recipe_file import fields_from_csv, fields_from_json, recipe_csv, recipe_json
from curejournal.journal.store import Journal
from curejournal.lessons import MaterialReport as MaterialReport
from curejournal.lessons import MaterialUnknown as MaterialUnknown
from curejournal.lessons import all_materials as all_materials
from curejournal.lessons import material as material
from curejournal.lessons import material_in_words as material_in_words
from curejournal.report import wording
from curejournal.report.calendar import Task, calendar_ics
from curejournal.report.fact_sheet import FactSheet, fact_sheet_markdown, fact_sheet_pdf
from curejournal.report.labels import Label, NetWeight, labels_pdf, propose_net_weight
from curejournal.report.portfolio import (
    PortfolioBatch,
    PortfolioPhoto,
    in_measured_colours,
    portfolio_pages,
    portfolio_pdf,
)
from curejournal.report.record import BatchRecord, Picture, lot_pdf, record_pdf
from curejournal.soap.recipe import Recipe

MARK = b'<meta name="generator" content="curejournal portfolio">'
_OURS = re.compile(r"[a-z0-9-]+\.(html|jpg|webp|css)")
PICTURE_PX = 900


class NothingChosen(CureJournalError):
    """Nothing is there to be shown."""


# --- materials -----------------------------------------------------------------------------


def fact_sheet(journal: Journal, name: str, on: datetime, form: Literal["pdf", "markdown"] = "pdf") -> bytes:
    """One page on a material.

    Raises
    ------
    MaterialUnknown
    """
    report = material(journal, name, on)
    shown = max(report.history.uses, key=lambda use: (use.story.journey.moments, use.story.poured_at is not None))
    batch = journal.batch(shown.story.batch)
    pictures = tuple(_picture(journal, batch, sha256, balanced=True) for sha256 in shown.story.photos)
    sheet = FactSheet(report.history, report.expected, report.effect, pictures if form == "pdf" else ())
    if form == "pdf":
        return fact_sheet_pdf(sheet, made_on=on, software=workflow.SOFTWARE)
    return fact_sheet_markdown(sheet, made_on=on, software=workflow.SOFTWARE).encode()


# --- records and lots ----------------------------------------------------------------------


def batch_record(journal: Journal, codes: Sequence[str], on: datetime) -> bytes:
    """The records of some batches as one PDF.

    Raises
    ------
    NothingChosen, NotInJournal
    """
    if not codes:
        raise NothingChosen("No batch was chosen.", "Name a batch, a day on which batches were poured, or a lot.")
    every = journal.all_batches()
    records = [_record(journal, journal.batch(code), every, on) for code in codes]
    return record_pdf(records, place=journal.setting("place", ""), made_on=on, software=workflow.SOFTWARE)


def poured_on(journal: Journal, day: date, zone: tzinfo) -> tuple[str, ...]:
    """Codes of the batches that were poured on a day."""
    return tuple(
        batch.code
        for batch in journal.all_batches()
        if batch.poured_at is not None and batch.poured_at.astimezone(zone).date() == day
    )


def lot(journal: Journal, name: str) -> tuple[LotUse, ...]:
    """Where a lot went."""
    return lineage.where_did_it_go(journal.all_batches(), name)


def lot_page(journal: Journal, name: str, on: datetime) -> bytes:
    """Where a lot went, as a PDF."""
    place = journal.setting("place", "")
    return lot_pdf(name, lot(journal, name), place=place, made_on=on, software=workflow.SOFTWARE)


def _record(journal: Journal, batch: Batch, every: Sequence[Batch], on: datetime) -> BatchRecord:
    """A batch embedded in another is known there by its code, as an embed or as the lot of an additive."""
    by_code = {other.code.casefold(): other for other in every}
    parents = tuple(
        LotUse(parent.code, parent.name, parent.poured_at, name, lot, grams)
        for name, lot, grams in (lineage.lots_of(batch.recipe) if batch.recipe else ())
        if (parent := by_code.get(lot.strip().casefold())) is not None and parent.code != batch.code
    )
    children = tuple(use for use in lineage.where_did_it_go(every, batch.code) if use.batch != batch.code)
    judgement = workflow.judge_batch(journal, batch.code, on)
    shown: dict[str, None] = {}
    for story in materials.stories(batch, judgement.journeys):
        shown |= dict.fromkeys(story.photos)
    pictures = tuple(_picture(journal, batch, sha256) for sha256 in list(shown)[:6])
    return BatchRecord(batch, judgement, journal.history(batch.code), parents, children, pictures)


def _picture(journal: Journal, batch: Batch, sha256: str, *, balanced: bool = False) -> Picture:
    taken = [entry for entry in batch.entries if entry.photo == sha256]
    at = taken[0].at if taken else None
    caption = wording.moment(at) if at else ""
    if at and batch.poured_at and at >= batch.poured_at:
        caption += f", {wording.age(batch.poured_at, at)} old"
    if balanced and at:
        readings = tuple(entry.record for entry in taken if isinstance(entry.record, ColourReading))
        photo = PortfolioPhoto(journal.photo_bytes(sha256), at, "", readings)
        jpeg = in_measured_colours(photo, PICTURE_PX)
    else:
        jpeg = workflow.small_picture(journal, sha256, PICTURE_PX)
    return Picture(jpeg, caption, f"Photo of {batch.name}, {caption or 'undated'}")


# --- portfolio -----------------------------------------------------------------------------


def portfolio(
    journal: Journal,
    codes: Sequence[str],
    to: Path,
    on: datetime,
    *,
    title: str = "",
    about: str = "",
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[Path, ...]:
    """Write static pages of some batches into a folder; an earlier portfolio there is replaced as a whole.

    Raises
    ------
    NothingChosen, NotInJournal
    FolderInUse
        If the folder holds anything but a portfolio.
    """
    if not codes:
        raise NothingChosen("No batch was chosen for the portfolio.", "Name the batches to show.")
    to = to.expanduser().absolute()
    if to.exists() and not _may_be_replaced(to):
        raise FolderInUse(f"{to} holds something else.", "Choose a new folder.", "Nothing in it was changed.")
    new, old = to.with_name(f".{to.name}.new"), to.with_name(f".{to.name}.old")
    for left in (new, old):
        shutil.rmtree(left, ignore_errors=True)
    new.mkdir(parents=True)
    title = title or journal.setting("place", "") or "Portfolio"
    written = []
    shown = _shown(journal, codes, on)
    for name, data in portfolio_pages(shown, title=title, about=about, made_on=on, software=workflow.SOFTWARE):
        (new / name).write_bytes(data)
        written.append(to / name)
        progress(name)
    if to.exists():
        to.rename(old)
    new.rename(to)
    shutil.rmtree(old, ignore_errors=True)
    return tuple(written)


def _may_be_replaced(folder: Path) -> bool:
    """Whether it is empty, or holds a portfolio of ours and nothing else that could be lost."""
    if not folder.is_dir():
        return False
    inside = list(folder.iterdir())
    index = folder / "index.html"
    ours = index.is_file() and MARK in index.read_bytes()[:4000]
    return not inside or (ours and all(path.is_file() and _OURS.fullmatch(path.name) for path in inside))


def portfolio_on_paper(
    journal: Journal, codes: Sequence[str], on: datetime, *, title: str = "", about: str = ""
) -> bytes:
    """The same as a PDF.

    Raises
    ------
    NothingChosen, NotInJournal
    """
    if not codes:
        raise NothingChosen("No batch was chosen for the portfolio.", "Name the batches to show.")
    title = title or journal.setting("place", "") or "Portfolio"
    return portfolio_pdf(_shown(journal, codes, on), title=title, about=about, made_on=on, software=workflow.SOFTWARE)


def _shown(journal: Journal, codes: Sequence[str], on: datetime) -> Iterator[PortfolioBatch]:
    """The chosen batches, one at a time, with the photos that were measured or meant for the story."""
    rules = workflow.house_rules(journal)
    chosen = [journal.batch(code) for code in codes]
    sizes: dict[str, tuple[float, float]] = {}
    for batch in chosen:
        readings: dict[str, list[ColourReading]] = {}
        notes: dict[str, PhotoNote] = {}
        for entry in batch.entries:
            if entry.photo and isinstance(entry.record, ColourReading):
                readings.setdefault(entry.photo, []).append(entry.record)
            elif entry.photo and isinstance(entry.record, PhotoNote):
                notes[entry.photo] = entry.record
        photos = []
        for kept in journal.photos_of(batch.code):
            note = notes.get(kept.sha256, PhotoNote())
            failed = note.why_no_colour not in ("", "taken without a card")
            if failed and kept.sha256 not in readings:
                continue
            at = kept.facts.taken_at or kept.received_at
            measured = tuple(readings.get(kept.sha256, ()))
            photos.append(PortfolioPhoto(journal.photo_bytes(kept.sha256), at, note.caption, measured))
        for card in {reading.card for of_photo in readings.values() for reading in of_photo} - set(sizes):
            size = _card_size(journal, card)
            sizes |= {card: size} if size else {}
        yield PortfolioBatch(batch, look_at(batch, on, rules).journeys, tuple(photos), sizes)


def _card_size(journal: Journal, name: str) -> tuple[float, float] | None:
    try:
        return workflow.find_card(name, journal).size_mm
    except CureJournalError:
        return None  # measured with a card file that is not in the journal


# --- calendar and labels -------------------------------------------------------------------


def calendar_file(journal: Journal, on: datetime, zone: tzinfo) -> bytes:
    """What is due in all batches, as an iCalendar file."""
    started = {head.code: head.started_at for head in journal.batches()}
    tasks = [Task(batch.code, batch.name, started[batch.code], item) for batch, item in workflow.due_now(journal, on)]
    title = journal.setting("place", "") or "Soap that is curing"
    return calendar_ics(tasks, on=on, zone=zone, software=workflow.SOFTWARE, title=title)


def net_weight(journal: Journal, code: str) -> NetWeight:
    """What net weight a batch's label can bear."""
    return propose_net_weight(journal.batch(code))


def labels(
    journal: Journal,
    code: str,
    on: datetime,
    *,
    count: int | None = None,
    with_weight: bool = False,
    tag: str = "",
    paper: Literal["a4", "letter"] = "a4",
) -> bytes:
    """Labels of a batch as a PDF.

    Parameters
    ----------
    journal, code, on
        Which batch, and the time.
    count : int, optional
        How many; as many as bars were cut by default, or one.
    with_weight : bool
        Print the net weight that is proposed.
    tag : str
        A batch tag's text, to be printed as a QR code.
    paper : str
        *a4* or *letter*.

    Raises
    ------
    NothingChosen
        For less than one label.
    """
    batch = journal.batch(code)
    judgement = workflow.judge_batch(journal, code, on)
    number = count if count is not None else max(batch.bars_cut, 1)
    if not 1 <= number <= 2000:
        raise NothingChosen(f"{number} labels cannot be printed.", "Ask for 1 to 2000.")
    grams = propose_net_weight(batch).grams_each if with_weight else None
    label = Label(code, batch.name, batch.poured_at, _cured_words(judgement), grams, tag)
    return labels_pdf([label] * number, paper=paper, made_on=on, software=workflow.SOFTWARE)


def _cured_words(judgement: Judgement) -> str:
    if judgement.released_at is not None:
        return f"released {wording.day(judgement.released_at)}"
    if judgement.verdict == "ready":
        return "cured; not released yet"
    about = judgement.from_about[1]
    if judgement.verdict == "not yet" and about is not None:
        return f"curing until about {wording.day(about)}"
    return "on hold" if judgement.verdict == "hold" else "curing"


# --- taking part ---------------------------------------------------------------------------


def recipe_out(journal: Journal, code: str, form: Literal["json", "csv"]) -> bytes:
    """A batch's recipe for others: JSON, or a table for spreadsheets.

    Raises
    ------
    NothingChosen
        If no recipe was entered.
    """
    recipe = journal.batch(code).recipe
    if recipe is None:
        raise NothingChosen(f"The batch {code} has no recipe.", "Enter one first.")
    return recipe_text(recipe, form)


def recipe_text(recipe: Recipe, form: Literal["json", "csv"]) -> bytes:
    """A recipe for others: JSON, or a table for spreadsheets."""
    # The mark tells spreadsheets that it is UTF-8.
    return recipe_json(recipe).encode() if form == "json" else recipe_csv(recipe).encode("utf-8-sig")


def recipe_in(text: str, form: Literal["json", "csv", "toml"]) -> Recipe:
    """A recipe from another's JSON or table, or from one's own recipe file.

    Raises
    ------
    DataRefused, RecipeUnreadable
    """
    if form == "toml":
        try:
            return workflow.recipe_from(tomllib.loads(text))
        except (ValueError, RecursionError) as fault:
            raise DataRefused(f"This recipe cannot be read: {fault}.", "Correct it; the README shows one.") from fault
    return workflow.recipe_from(fields_from_json(text) if form == "json" else fields_from_csv(text))


def bundle(journal: Journal, code: str) -> bytes:
    """One batch with its history, its photos as they are and its cards, for another journal.

    Raises
    ------
    NotInJournal, JournalDamaged
    """
    return write_bundle(journal, code, workflow.SOFTWARE)


def open_bundle(journal: Journal, source: bytes, *, code: str = "", by: str, now: datetime, zone: tzinfo) -> Batch:
    """Enter another journal's batch as a new one, after all of it was verified.

    Raises
    ------
    DataRefused, NotAPicture, PictureDamaged, PictureTooLarge, CodeInUse
        Nothing is entered then.
    """
    found = read_bundle(source)
    for photo in found.data.photos:  # what is no picture stays out
        workflow.when_taken(found.photos[photo.sha256], photo.original_name, zone)
    return journal.batch(take_bundle(journal, found, code=code, by=by, now=now))
