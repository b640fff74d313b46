"""The batch record on paper: what an inspector, a shop or the maker in two years asks for."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from curejournal.base.counting import digits
from curejournal.base.messages import Voice, join, msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import BarsOut, Batch, Decision, Entry, Event, ScalarReading, Withdrawn
from curejournal.batch.stock import MaterialLot
from curejournal.documents import formatting
from curejournal.documents.record_evidence import checks, colours, moment, tests, weights
from curejournal.documents.record_making import NO_LOT, after_sale, deviations, making
from curejournal.documents.record_recipe import lye_check, materials
from curejournal.documents.sheet import Picture, Sheet, maybe_day
from curejournal.judging.judgement import Judgement, OtherEdition
from curejournal.judging.traceability import LotUse


@dataclass(frozen=True)
class BatchRecord:
    """All that the record of one batch shows.

    `history` is every entry that it ever had, corrected ones too. `parents` are batches that went into it,
    `children` batches that it went into. `pictures` are a few of its photos. `edition` says that its release was
    signed under another edition of the rules. `heads` are the journal's heads with each signed act, by its entry.
    `lots` are what is known of the lots that it names.
    """

    batch: Batch
    judgement: Judgement
    history: tuple[Entry, ...] = ()
    parents: tuple[LotUse, ...] = ()
    children: tuple[LotUse, ...] = ()
    pictures: tuple[Picture, ...] = ()
    edition: OtherEdition | None = None
    heads: Mapping[int, str] = field(default_factory=dict)
    lots: tuple[MaterialLot, ...] = ()


def record_pdf(
    records: Sequence[BatchRecord], *, place: str, made_on: datetime, software: str, voice: Voice | None = None
) -> bytes:
    """The records of one batch or several, each beginning on a page of its own.

    Parameters
    ----------
    records : sequence of BatchRecord
        At least one.
    place : str
        Who made it; empty if it is not known.
    made_on : datetime
        When the record is printed.
    software : str
        Named at the foot of each page.
    voice : Voice, optional
        How its reader is spoken to; English, grams and °C if left out.

    Returns
    -------
    bytes
        A PDF.

    """
    codes = join(", ", (record.batch.code for record in records))
    running = msg(
        "Batch record {codes} · printed {made_on} · {software}",
        codes=codes,
        made_on=formatting.moment(made_on),
        software=software,
    )
    sheet = Sheet(msg("Batch record {codes}", codes=codes), running, made_on, voice=voice)
    for record in records:
        sheet.add_page()
        sheet.start_section(f"{record.batch.code} {record.batch.name}")
        _head(sheet, record, place)
        sheet.caution(record.judgement.cautions)
        _body(sheet, record)
    return bytes(sheet.output())


def _body(sheet: Sheet, record: BatchRecord) -> None:
    batch, judgement = record.batch, record.judgement
    materials(sheet, batch, record.lots, record.parents, record.children)
    lye_check(sheet, judgement.lye)
    making(sheet, batch, judgement)
    _process(sheet, record)
    deviations(sheet, batch, judgement)
    colours(sheet, batch, judgement, record.pictures)
    weights(sheet, batch, judgement)
    tests(sheet, batch, judgement)
    checks(sheet, judgement)
    _release(sheet, record)
    after_sale(sheet, batch, judgement)
    _corrections(sheet, record)


def _head(sheet: Sheet, record: BatchRecord, place: str) -> None:
    batch, judgement = record.batch, record.judgement
    sheet.title_line(
        f"{batch.code}  {batch.name}", msg("Batch record") + (msg(" · {place}", place=place) if place else "")
    )
    released = judgement.released_at
    bars = (
        msg(", {bars_cut}", bars_cut=msg_n("{number} bar", "{number} bars", batch.bars_cut)) if batch.bars_cut else ""
    )
    facts = [
        (msg("poured"), formatting.moment(batch.poured_at, judgement.on.tzinfo) if batch.poured_at else NO_LOT),
        (msg("cut"), maybe_day(batch.event_at("cut")) + bars),
        (msg("judged"), msg("{on}: {headline}", on=formatting.moment(judgement.on), headline=judgement.headline)),
        (msg("released"), formatting.moment(released, judgement.on.tzinfo) if released else msg("not released")),
    ]
    sheet.facts(facts, 22)
    for question in judgement.recall:
        sheet.say(question, style="B")
    gone = batch.records(BarsOut)
    if gone:
        left = msg(", {bars_out} here", bars_out=batch.bars_cut - batch.bars_out) if batch.bars_cut else ""
        told = join("; ", (msg("{at}: {out}", at=maybe_day(at), out=describe(out)) for at, out in gone))
        sheet.say(
            msg(
                "{bars_out} gone{left}. {told}.",
                bars_out=msg_n("{number} bar", "{number} bars", batch.bars_out),
                left=left,
                told=told,
            ),
            8.5,
        )


def _process(sheet: Sheet, record: BatchRecord) -> None:
    told = record.batch.of(Event)
    sheet.heading(msg("Process"))
    rows = [(moment(entry.at, record.judgement), describe(entry.record), entry.by) for entry in told]
    sheet.rows((msg("when"), msg("what"), msg("entered by")), rows, (35, 75, 40))
    if not told:
        sheet.say(msg("Nothing was noted."))
    for kind in dict.fromkeys(reading.kind for _, reading in record.batch.records(ScalarReading)):
        values = [reading.value for _, reading in record.batch.records(ScalarReading) if reading.kind == kind]
        readings = msg_n("{number} reading", "{number} readings", len(values))
        unit = f" {KINDS[kind].unit}" if kind in KINDS else ""
        sheet.say(
            msg(
                "{kind}: {readings}, {lowest} to {highest}{unit}.",
                kind=kind,
                readings=readings,
                lowest=digits(min(values)),
                highest=digits(max(values)),
                unit=unit,
            ),
            8.5,
        )


def _release(sheet: Sheet, record: BatchRecord) -> None:
    sheet.heading(msg("Release"))
    acts = record.batch.of(Decision)
    for entry in acts:
        at, act = entry.at, entry.record
        sheet.say(
            msg(
                "{act} on {at}, signed by {signed_by}",
                act=act.act,
                at=moment(at, record.judgement),
                signed_by=act.signed_by,
            ),
            style="B",
        )
        sheet.say(
            msg("“{statement}” (rules {rules_version})", statement=act.statement, rules_version=act.rules_version)
        )
        said = _frozen(act.evidence)
        if said:
            sheet.say(msg("The judgement as it stood then: {said}", said=said), 8.5)
        if entry.id in record.heads:
            sheet.say(msg("Head of the journal with it: {id}", id=record.heads[entry.id]), 8.5)
        if record.edition is not None and at == record.edition.released_at:
            sheet.say(record.edition.words, style="" if record.edition.releasable else "B")
    if not acts:
        sheet.say(msg("Nobody has signed a release, a hold or a withdrawal of this batch."))
    sheet.ln(11)
    if sheet.will_page_break(12):
        sheet.add_page()
    third = sheet.epw / 3
    sheet.set_draw_color(60)
    for column, what in enumerate((msg("name"), msg("date"), msg("signature"))):
        x, y = sheet.l_margin + column * third, sheet.get_y()
        sheet.line(x, y, x + third - 5, y)
        sheet.set_xy(x, y + 0.6)
        sheet.type(7.5)
        sheet.cell(third - 5, 4, what)
        sheet.set_y(y)
    sheet.ln(7)


def _frozen(evidence: str) -> str:
    """Headline and checks out of the evidence that was frozen with a signed act."""
    try:
        kept = json.loads(evidence)
        # Until 0.2 a check was called a gauge, and is so in what was signed then.
        found = [(finding.get("check") or finding["gauge"], finding["verdict"]) for finding in kept["findings"]]
        checks = join(", ", (f"{check} {verdict}" for check, verdict in found))
        return msg("{headline} ({checks}).", headline=kept["headline"], checks=checks)
    except (ValueError, KeyError, TypeError):
        return ""


def _corrections(sheet: Sheet, record: BatchRecord) -> None:
    earlier = {entry.id: entry for entry in record.history}
    changed = [entry for entry in record.history if entry.supersedes in earlier]
    if not changed:
        return
    sheet.heading(msg("Corrections"))
    sheet.say(msg("What was corrected or taken back stays in the journal."))
    rows = [
        (
            moment(entry.recorded_at.astimezone(record.judgement.on.tzinfo), record.judgement),
            entry.by,
            describe(earlier[entry.supersedes or 0].record),
            entry.record.why if isinstance(entry.record, Withdrawn) else describe(entry.record),
        )
        for entry in changed
    ]
    sheet.rows((msg("when"), msg("by"), msg("was"), msg("is, or why it was taken back")), rows, (28, 28, 47, 47))
