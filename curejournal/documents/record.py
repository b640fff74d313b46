"""The batch record on paper: what an inspector, a shop or the maker in two years asks for."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.descriptions import describe, describe_lab
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    Batch,
    Decision,
    Entry,
    Event,
    Portion,
    ScalarReading,
    SurfaceNote,
    Weighing,
    Withdrawn,
)
from curejournal.batch.stock import MaterialLot
from curejournal.documents import formatting
from curejournal.documents.citations import rule_and_source
from curejournal.documents.record_making import NO_LOT, after_sale, deviations, lots_rows, making
from curejournal.documents.sheet import Sheet, Swatch, grams, maybe_day
from curejournal.judging.judgement import Judgement, OtherEdition
from curejournal.judging.traceability import LotUse, describe_bars_out
from curejournal.soap.recipe import Alkali, Oil


@dataclass(frozen=True)
class Picture:
    """A picture to show: JPEG, its caption and its text alternative."""

    jpeg: bytes
    caption: str
    alt: str


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


def record_pdf(records: Sequence[BatchRecord], *, place: str, made_on: datetime, software: str) -> bytes:
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
    sheet = Sheet(msg("Batch record {codes}", codes=codes), running[:130], made_on)
    for record in records:
        sheet.add_page()
        sheet.start_section(f"{record.batch.code} {record.batch.name}")
        _head(sheet, record, place)
        sheet.caution(record.judgement.cautions)
        for part in _PARTS:
            part(sheet, record)
    return bytes(sheet.output())


def lot_pdf(lot: str, uses: Sequence[LotUse], *, place: str, made_on: datetime, software: str) -> bytes:
    """One page: where a lot went."""
    sheet = Sheet(
        msg("Lot {lot}", lot=lot),
        msg(
            "Lot {lot} · printed {made_on} · {software}", lot=lot, made_on=formatting.moment(made_on), software=software
        ),
        made_on,
    )
    sheet.add_page()
    sheet.title_line(msg("Where lot {lot} went", lot=lot), place)
    if not uses:
        sheet.say(msg("No batch in this journal names this lot."))
    for material in dict.fromkeys(use.material for use in uses):
        of_it = [use for use in uses if use.material == material]
        into = msg_n("{number} batch", "{number} batches", len({use.batch for use in of_it}))
        sheet.heading(
            msg(
                "{material}: {of_it} in {into}",
                material=material,
                of_it=grams(sum(use.grams for use in of_it)),
                into=into,
            )
        )
        rows = [(use.batch, use.name, maybe_day(use.poured_at), grams(use.grams)) for use in of_it]
        sheet.rows(("batch", "name", "poured", "used"), rows, (20, 70, 35, 25), right=(3,))
    for use in {use.batch: use for use in uses}.values():
        sheet.say(msg("{batch}: {gone}.", batch=use.batch, gone=describe_bars_out(use.gone)))
    return bytes(sheet.output())


def _moment(record: BatchRecord, at: datetime) -> str:
    """A moment of a batch; a clock that is not that of whoever prints it says so."""
    return formatting.moment(at, record.judgement.on.tzinfo)


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
        ("poured", formatting.moment(batch.poured_at, judgement.on.tzinfo) if batch.poured_at else NO_LOT),
        ("cut", f"{maybe_day(batch.event_at('cut'))}{bars}"),
        ("judged", msg("{on}: {headline}", on=formatting.moment(judgement.on), headline=judgement.headline)),
        ("released", formatting.moment(released, judgement.on.tzinfo) if released else msg("not released")),
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


def _materials(sheet: Sheet, record: BatchRecord) -> None:
    sheet.heading("Materials")
    recipe = record.batch.recipe
    if recipe is None:
        sheet.say(msg("No recipe was entered."))
        return
    oils_g = sum(oil.grams for oil in recipe.oils) or 1.0
    rows: list[tuple[str, str, float, str, str]] = [
        (msg("{key} (oil)", key=oil.key), "", oil.grams, oil.lot, _certificate(oil)) for oil in recipe.oils
    ]
    rows += [
        (
            _alkali_name(a),
            "",
            a.grams,
            a.lot,
            msg(
                "purity {purity_low_pct:g} to {purity_high_pct:g} %",
                purity_low_pct=a.purity_low_pct,
                purity_high_pct=a.purity_high_pct,
            ),
        )
        for a in recipe.alkalis
    ]
    rows += [
        (liquid.name, "", liquid.grams, liquid.lot, "" if liquid.water_fraction == 1 else _milk(liquid.water_fraction))
        for liquid in recipe.liquids
    ]
    rows += [(a.name, a.portion or msg("whole batch"), a.grams, a.lot, a.kind) for a in recipe.additives]
    rows += [
        (a.key, "", a.grams, a.lot, msg("acid, {strength_pct:g} %", strength_pct=a.strength_pct)) for a in recipe.acids
    ]
    rows += [
        (
            msg("melted soap") if e.melted else "embeds",
            e.portion or msg("whole batch"),
            e.grams,
            e.batch,
            msg("pieces of a batch"),
        )
        for e in recipe.embeds
    ]
    sheet.rows(
        ("material", "portion", "weighed", msg("% of oils"), "lot", "remark"),
        [(n, p, grams(g), f"{100 * g / oils_g:.1f}", lot or NO_LOT, remark) for n, p, g, lot, remark in rows],
        (42, 27, 20, 17, 26, 32),
        right=(2, 3),
    )
    lots_rows(sheet, record.lots)
    if recipe.batter:
        sheet.say(
            msg(
                "Batter: {batter}.",
                batter=join("; ", (f"{part.portion} {grams(part.grams)}" for part in recipe.batter)),
            )
        )
    for title, uses in ((msg("Embedded in it"), record.parents), (msg("It was embedded in"), record.children)):
        if uses:
            told = (
                msg(
                    "{batch} {name} ({grams}, {poured_at})",
                    batch=u.batch,
                    name=u.name,
                    grams=grams(u.grams),
                    poured_at=maybe_day(u.poured_at),
                )
                for u in uses
            )
            sheet.say(msg("{title}: {told}.", title=title, told=join("; ", told)))


def _certificate(oil: Oil) -> str:
    if oil.certificate_sv is None:
        return ""
    return msg(
        "{sv_from}: {certificate_sv:g} ± {certificate_sv_half_width:g} mg KOH/g",
        sv_from=oil.sv_from or "certificate",
        certificate_sv=oil.certificate_sv,
        certificate_sv_half_width=oil.certificate_sv_half_width,
    )


def _alkali_name(alkali: Alkali) -> str:
    return (
        alkali.kind
        if alkali.solution_pct is None
        else msg("{kind}, {solution_pct:g} % solution", kind=alkali.kind, solution_pct=alkali.solution_pct)
    )


def _milk(water_fraction: float) -> str:
    return msg("{water_fraction:.0f} % water", water_fraction=100 * water_fraction)


def _lye(sheet: Sheet, record: BatchRecord) -> None:
    lye = record.judgement.lye
    sheet.heading(msg("Lye check"))
    if lye is None:
        sheet.say(msg("Not possible without a complete recipe."))
        return
    low, high, worst_low, worst_high = (digits(pct, 1) for pct in (*lye.superfat_interval_pct, *lye.superfat_worst_pct))
    facts = [
        (
            "superfat",
            msg(
                "{superfat_nominal_pct} % of all fat; 95 % interval {low} to {high} %",
                superfat_nominal_pct=digits(lye.superfat_nominal_pct, 1),
                low=low,
                high=high,
            ),
        ),
        (
            msg("with every spread at its worst"),
            msg("{worst_low} to {worst_high} %", worst_low=worst_low, worst_high=worst_high),
        ),
        ("lye", msg("{lye_g} on {fat_g} of fat", lye_g=grams(lye.lye_g), fat_g=grams(lye.fat_g))),
    ]
    if lye.lye_concentration_pct is not None:
        facts.append((msg("lye concentration"), f"{lye.lye_concentration_pct:.1f} %"))
    facts.append(
        (
            msg("water in the fresh batch"),
            msg("{water_g}, {water_share:.1f} %", water_g=grams(lye.water_g), water_share=100 * lye.water_share),
        )
    )
    sheet.facts(facts)
    for doubt in lye.doubts:
        sheet.say(f"{doubt.text} {doubt.do}")
    sheet.say(msg("From published ranges of saponification values, or the certificate where one is named."), 8)


def _process(sheet: Sheet, record: BatchRecord) -> None:
    told = record.batch.of(Event)
    sheet.heading("Process")
    rows = [(_moment(record, entry.at), describe(entry.record), entry.by) for entry in told]
    sheet.rows(("when", "what", msg("entered by")), rows, (35, 75, 40))
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


def _colour(sheet: Sheet, record: BatchRecord) -> None:
    portions = {portion.name: portion for portion in record.batch.portions}
    if not record.judgement.journeys:
        return
    sheet.heading("Colour", room=48)
    for name, journey in record.judgement.journeys.items():
        wanted = _wanted(portions.get(name))
        now = (
            msg("; now {difference_now} ΔE00 from it", difference_now=formatting.figure(journey.difference_now))
            if journey.difference_now
            else ""
        )
        sheet.say(
            msg("{name}: {words}. {wanted}{now}.", name=name, words=journey.words, wanted=wanted, now=now), style="B"
        )
        sheet.swatches([Swatch(point.days, point.lab) for point in journey.points], journey.target_lab, 8)
        rows = [
            (
                _moment(record, point.at),
                f"{point.days:.1f}",
                formatting.lab_with_doubt(point.lab, point.lab_sd),
                formatting.figure(point.difference) if point.difference else "",
                str(point.grade),
            )
            for point in journey.points
        ]
        sheet.rows(
            ("measured", "day", msg("CIELAB D50, 95 %"), "ΔE00", "grade"), rows, (30, 12, 62, 28, 20), right=(1,)
        )
    sheet.say(msg("Measured from photos against a colour card; differences are CIEDE2000 with 95 % intervals."), 8)
    sheet.pictures([(picture.jpeg, picture.caption, picture.alt) for picture in record.pictures])


def _wanted(portion: Portion | None) -> str:
    if portion is None or portion.target_lab is None:
        return msg("No target colour was entered")
    source = msg(", from {target_source}", target_source=portion.target_source) if portion.target_source else ""
    return msg(
        "Target {target_lab}{source}; accepted within {tolerance:g} ΔE00",
        target_lab=describe_lab(portion.target_lab),
        source=source,
        tolerance=portion.tolerance,
    )


def _weights(sheet: Sheet, record: BatchRecord) -> None:
    weighings = record.batch.records(Weighing)
    sheet.heading("Weights")
    if not weighings:
        sheet.say(msg("No weights were entered."))
        return
    drying = record.judgement.drying
    sheet.say(msg("{state}: {words}.", state=drying.state.value, words=drying.words))
    subjects = list(dict.fromkeys(weighing.subject for _, weighing in weighings))[:6]
    by_day: dict[str, dict[str, list[str]]] = {}
    for at, weighing in weighings:
        # Of a tray the weight of one bar is what compares.
        bars = msg(" ({bars} bars)", bars=weighing.bars) if weighing.bars > 1 else ""
        by_day.setdefault(formatting.day(at), {}).setdefault(weighing.subject, []).append(f"{weighing.grams:g}{bars}")
    rows = [(day, *(join(", ", told.get(subject, ())) for subject in subjects)) for day, told in by_day.items()]
    wide = [30.0, *([120.0 / len(subjects)] * len(subjects))]
    head = ("day", *(msg("{subject}, g", subject=subject) for subject in subjects))
    sheet.rows(head, rows, wide, right=tuple(range(1, len(head))))
    left_out = len(dict.fromkeys(weighing.subject for _, weighing in weighings)) - len(subjects)
    if left_out:
        sheet.say(
            msg("Other bars or trays that were weighed: {left_out}; the journal holds them.", left_out=left_out), 8
        )


def _tests(sheet: Sheet, record: BatchRecord) -> None:
    sheet.heading(msg("Alkali and surface"))
    entries = record.batch.of(AlkaliTest)
    # Both in order of time; a test from after the judgement is not in it.
    pairs = zip(entries, record.judgement.alkali.tests, strict=False)
    said = {entry.id: msg("{outcome}: {words}", outcome=test.outcome.value, words=test.words) for entry, test in pairs}
    rows = [(_moment(record, e.at), describe(e.record), said.get(e.id, ""), e.by) for e in entries]
    sheet.rows(("when", "test", msg("what it says"), "by"), rows, (28, 48, 48, 28))
    if not entries:
        sheet.say(msg("No alkali test was entered."))
    surface = [(_moment(record, at), describe(note)) for at, note in record.batch.records(SurfaceNote)]
    sheet.rows(("when", "surface"), surface, (30, 120))


def _gauges(sheet: Sheet, record: BatchRecord) -> None:
    judgement = record.judgement
    sheet.heading(msg("Judgement of {on}: {verdict}", on=formatting.moment(judgement.on), verdict=judgement.verdict))
    rows = [(f.gauge, f.verdict.value, f.words, rule_and_source(f.rule, f.source)) for f in judgement.findings]
    sheet.rows(("check", "says", "because", msg("rule and its source")), rows, (22, 18, 58, 56))
    sheet.say(msg("Rules {rules_version}.", rules_version=judgement.rules_version), 8)


def _release(sheet: Sheet, record: BatchRecord) -> None:
    sheet.heading("Release")
    acts = record.batch.of(Decision)
    for entry in acts:
        at, act = entry.at, entry.record
        sheet.say(
            msg("{act} on {at}, signed by {signed_by}", act=act.act, at=_moment(record, at), signed_by=act.signed_by),
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
    for column, what in enumerate(("name", "date", "signature")):
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
        gauges = join(", ", (f"{finding['gauge']} {finding['verdict']}" for finding in kept["findings"]))
        return msg("{kept} ({gauges}).", kept=kept["headline"], gauges=gauges)
    except (ValueError, KeyError, TypeError):
        return ""


def _corrections(sheet: Sheet, record: BatchRecord) -> None:
    earlier = {entry.id: entry for entry in record.history}
    changed = [entry for entry in record.history if entry.supersedes in earlier]
    if not changed:
        return
    sheet.heading("Corrections")
    sheet.say(msg("What was corrected or taken back stays in the journal."))
    rows = [
        (
            _moment(record, entry.recorded_at),
            entry.by,
            describe(earlier[entry.supersedes or 0].record),
            entry.record.why if isinstance(entry.record, Withdrawn) else describe(entry.record),
        )
        for entry in changed
    ]
    sheet.rows(("when", "by", "was", msg("is, or why it was taken back")), rows, (28, 28, 47, 47))


def _made(sheet: Sheet, record: BatchRecord) -> None:
    making(sheet, record.batch, record.judgement)


def _wrong(sheet: Sheet, record: BatchRecord) -> None:
    deviations(sheet, record.batch, record.judgement)


def _afterwards(sheet: Sheet, record: BatchRecord) -> None:
    after_sale(sheet, record.batch, record.judgement)


_PARTS = (
    *(_materials, _lye, _made, _process, _wrong, _colour, _weights, _tests, _gauges, _release, _afterwards),
    _corrections,
)
