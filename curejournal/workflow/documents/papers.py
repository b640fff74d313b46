"""Use cases on paper: fact sheets, batch records, lots, labels, the calendar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta, tzinfo
from typing import Literal

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch, Decision, MakingDetails
from curejournal.batch.stock import MaterialLot
from curejournal.documents import formatting
from curejournal.documents.calendar import CalendarTask, calendar_ics
from curejournal.documents.fact_sheet import FactSheet, fact_sheet_markdown, fact_sheet_pdf
from curejournal.documents.labels import Label, NetWeight, labels_pdf, propose_net_weight
from curejournal.documents.lot_page import lot_pdf
from curejournal.documents.record import BatchRecord, record_pdf
from curejournal.documents.ribbon import main_portion, until_now
from curejournal.documents.sheet import Picture
from curejournal.journal.seals import shown_head
from curejournal.journal.store import Journal
from curejournal.judging import traceability
from curejournal.judging.checks.alkali import NOT_TITRATED
from curejournal.judging.findings import passed_untitrated
from curejournal.judging.judgement import Judgement
from curejournal.judging.traceability import LotUse
from curejournal.materials import history
from curejournal.soap.ingredients import ingredient_list
from curejournal.workflow.materials import material
from curejournal.workflow.photos.showing import shown_photos, true_picture
from curejournal.workflow.readers import reader_of
from curejournal.workflow.stock import lots_in, own_names

PICTURE_PX = 900


class NothingChosen(CureJournalError):
    """Nothing is there to be shown."""


def fact_sheet(journal: Journal, name: str, on: datetime, form: Literal["pdf", "markdown"] = "pdf") -> bytes:
    """A sheet on a material: a page that tells it, and its figures overleaf.

    Raises
    ------
    MaterialUnknown
    """
    report = material(journal, name, on)
    sheet = FactSheet(report.history, report.expected, report.effect, ())
    if form == "markdown":
        return fact_sheet_markdown(sheet, made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal)).encode()
    uses = report.history.uses
    if uses:
        shown = max(uses, key=lambda use: (use.story.journey.moments, use.story.poured_at is not None)).story
        batch = journal.batch(shown.batch)
        pictures = tuple(_picture(journal, batch, sha256, shown.portion) for sha256 in shown.photos[-2:])
        soaps = tuple(_picture(journal, batch, sha256) for sha256 in _then_and_now(batch, shown))
        sheet = replace(sheet, pictures=pictures, soaps=soaps)
    return fact_sheet_pdf(
        sheet, made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal), place=workflow.place(journal)
    )


def _then_and_now(batch: Batch, story: history.Story) -> tuple[str, ...]:
    """The pictures of the bars, without a card, from nearest to the turn and from the end; none below two."""
    bars = [photo for photo in shown_photos(batch) if photo.balance in ("soap", "light")]
    if len(bars) < 2 or story.turn_days is None or story.poured_at is None:
        return ()
    turn = story.poured_at + timedelta(days=story.turn_days)
    then = min(bars[:-1], key=lambda photo: abs(photo.at - turn))
    return then.sha256, bars[-1].sha256


def batch_record(journal: Journal, codes: Sequence[str], on: datetime) -> bytes:
    """The records of some batches as one PDF.

    Raises
    ------
    NothingChosen, NotInJournal
    """
    if not codes:
        raise NothingChosen(
            msg("No batch was chosen."), msg("Name a batch, a day on which batches were poured, or a lot.")
        )
    every = journal.all_batches()
    records = [_record(journal, journal.batch(code), every, on) for code in codes]
    return record_pdf(
        records, place=workflow.place(journal), made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal)
    )


def poured_on(journal: Journal, day: date, zone: tzinfo) -> tuple[str, ...]:
    """Codes of the batches that were poured on a day."""
    return tuple(
        batch.code
        for batch in journal.all_batches()
        if batch.poured_at is not None and batch.poured_at.astimezone(zone).date() == day
    )


def lot(journal: Journal, name: str) -> tuple[LotUse, ...]:
    """Where a lot went, and whatever has pieces of that in it."""
    return traceability.reached_by(journal.all_batches(), name)


def lot_page(journal: Journal, name: str, on: datetime) -> bytes:
    """Where a lot went, as a PDF."""
    place = workflow.place(journal)
    return lot_pdf(
        name, lot(journal, name), place=place, made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal)
    )


def _record(journal: Journal, batch: Batch, every: Sequence[Batch], on: datetime) -> BatchRecord:
    """A batch embedded in another is known there by its code, as an embed or as the lot of an additive."""
    by_code = {other.code.casefold(): other for other in every}
    parents = tuple(
        LotUse(parent.code, parent.name, parent.poured_at, name, lot, grams)
        for name, lot, grams in (traceability.lots_of(batch.recipe) if batch.recipe else ())
        if (parent := by_code.get(lot.strip().casefold())) is not None and parent.code != batch.code
    )
    children = tuple(use for use in traceability.where_did_it_go(every, batch.code) if use.batch != batch.code)
    judgement = workflow.judge_batch(journal, batch.code, on)
    shown: dict[str, None] = {}
    for story in history.stories(batch, judgement.journeys):
        shown |= dict.fromkeys(story.photos)
    in_time = [photo.sha256 for photo in shown_photos(batch) if photo.sha256 in shown]
    pictures = tuple(_picture(journal, batch, sha256) for sha256 in in_time[:6])
    edition = workflow.released_under(journal, batch.code, on)
    heads = {act.id: shown_head(journal.seal_of(act.id)) for act in batch.of(Decision)}
    return BatchRecord(
        batch,
        judgement,
        journal.history(batch.code),
        parents,
        children,
        pictures,
        edition,
        heads,
        lots=lots_in(journal, batch.recipe),
    )


def _picture(journal: Journal, batch: Batch, sha256: str, portion: str = "") -> Picture:
    """A photo in its true colour, cut to the soap; in the record its whole is one tap away, in the journal."""
    shown = next(photo for photo in shown_photos(batch) if photo.sha256 == sha256)
    caption = formatting.moment(shown.at, workflow.time_zone(journal))
    if batch.poured_at and shown.at >= batch.poured_at:
        caption += msg(", {at} old", at=formatting.age(batch.poured_at, shown.at))
    jpeg = true_picture(journal, shown.around(portion), PICTURE_PX)
    return Picture(jpeg, caption, msg("Photo of {name}, {caption}", name=batch.name, caption=caption))


def calendar_file(journal: Journal, on: datetime, zone: tzinfo) -> bytes:
    """What is due in all batches, as an iCalendar file."""
    started = {head.code: head.started_at for head in journal.batches()}
    tasks = [
        CalendarTask(batch.code, batch.name, started[batch.code], item) for batch, item in workflow.due_now(journal, on)
    ]
    title = workflow.place(journal) or msg("Soap that is curing")
    return calendar_ics(tasks, on=on, zone=zone, software=workflow.SOFTWARE, voice=reader_of(journal), title=title)


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
    paper: workflow.Paper = "a4",
    with_ingredients: bool = False,
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
    with_ingredients : bool
        Print who made it, the list of ingredients and how long it keeps.

    Raises
    ------
    NothingChosen
        For less than one label, or for an ingredient list where a name is not known.
    """
    batch = journal.batch(code)
    judgement = workflow.judge_batch(journal, code, on)
    number = count if count is not None else max(batch.bars_cut, 1)
    if not 1 <= number <= 2000:
        raise NothingChosen(msg("{the_number} labels cannot be printed.", the_number=number), msg("Ask for 1 to 2000."))
    grams = propose_net_weight(batch).grams_each if with_weight else None
    main = main_portion(judgement.journeys)
    label = Label(
        code,
        batch.name,
        batch.poured_at,
        _cured_words(judgement),
        grams,
        tag,
        across=_across(batch, judgement),
        ribbon=until_now(judgement.journeys[main], main, judgement.on) if main else None,
    )
    if with_ingredients:
        made = batch.records(MakingDetails)
        best_before = made[-1][1].best_before if made else None
        listed = _ingredients(batch, lots_in(journal, batch.recipe))
        label = replace(label, maker=workflow.place(journal), ingredients=listed, best_before=best_before)
    return labels_pdf([label] * number, paper=paper, made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal))


def _across(batch: Batch, judgement: Judgement) -> str:
    """What stands across a label that is not for sale."""
    if batch.kind == "test pour":
        return msg("TEST, NOT FOR SALE")
    return "" if judgement.released_at is not None or batch.kind == "earlier stock" else msg("NOT RELEASED")


def _ingredients(batch: Batch, lots: tuple[MaterialLot, ...]) -> str:
    if batch.recipe is None:
        raise NothingChosen(msg("{code} has no recipe to list.", code=batch.code), msg("Enter it first."))
    listed = ingredient_list(batch.recipe, *own_names(lots))
    if listed.unnamed:
        raise NothingChosen(
            msg("No name is known for {unnamed}, so the list would not be whole.", unnamed=join(", ", listed.unnamed)),
            msg("Take it from the supplier's document, and enter it with the lot."),
        )
    return listed.text


def _cured_words(judgement: Judgement) -> str:
    if judgement.verdict == "hold":
        return msg("on hold")
    if judgement.released_at is not None:
        released = msg("released {released_at}", released_at=formatting.day(judgement.released_at))
        return join("; ", [released, *([NOT_TITRATED] if passed_untitrated(judgement.findings) else [])])
    if judgement.verdict == "ready":
        cured = msg("cured; not released yet")
        return (
            msg("{cured}; {not_titrated}", cured=cured, not_titrated=NOT_TITRATED)
            if passed_untitrated(judgement.findings)
            else cured
        )
    about = judgement.from_about[1]
    if judgement.verdict == "not yet" and about is not None and about > judgement.on:
        return msg("curing until about {about}", about=formatting.day(about))
    return "curing"
