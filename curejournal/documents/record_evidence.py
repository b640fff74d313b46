"""What was measured and tested of a batch, on its record: colour, weights, alkali, surface, and what the checks say."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from curejournal.base.messages import join, msg
from curejournal.batch.descriptions import describe, describe_lab
from curejournal.batch.records import AlkaliTest, Batch, Portion, SurfaceNote, Weighing
from curejournal.colour.sample import Grade
from curejournal.documents import formatting
from curejournal.documents.citations import rule_and_source
from curejournal.documents.ribbon import ribbon_of
from curejournal.documents.sheet import Picture, Sheet
from curejournal.judging.judgement import Judgement


def moment(at: datetime, judgement: Judgement) -> str:
    """Write a moment of a batch; a clock that is not that of whoever prints it says so."""
    return formatting.moment(at, judgement.on.tzinfo)


def colours(sheet: Sheet, batch: Batch, judgement: Judgement, pictures: Sequence[Picture]) -> None:
    """Each portion: what its colour does, its ribbon, its readings; and a few pictures."""
    portions = {portion.name: portion for portion in batch.portions}
    if not judgement.journeys:
        return
    sheet.heading(msg("Colour"), room=48)
    for name, journey in judgement.journeys.items():
        wanted = _wanted(portions.get(name))
        now = (
            msg("; now {difference_now} ΔE00 from it", difference_now=formatting.figure(journey.difference_now))
            if journey.difference_now
            else ""
        )
        sheet.say(
            msg("{name}: {words}. {wanted}{now}.", name=name, words=journey.words, wanted=wanted, now=now), style="B"
        )
        if journey.points:
            last = journey.points[-1]
            sheet.ribbon(ribbon_of(journey, name, last.days, end=formatting.day_of_month(last.at)), 7)
        rows = [
            (
                moment(point.at, judgement),
                f"{point.days:.1f}",
                formatting.lab_with_doubt(point.lab, point.lab_sd),
                formatting.figure(point.difference) if point.difference else "",
                msg("approximate") if point.grade is Grade.INDICATIVE else msg(str(point.grade)),
            )
            for point in journey.points
        ]
        sheet.rows(
            (msg("measured"), msg("day"), msg("CIELAB D50, 95%"), "ΔE00", msg("grade")),
            rows,
            (30, 12, 62, 28, 20),
            right=(1,),
        )
    sheet.say(msg("Measured from photos against a colour card; differences are CIEDE2000 with 95% intervals."), 8)
    sheet.pictures(pictures)


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


def weights(sheet: Sheet, batch: Batch, judgement: Judgement) -> None:
    """Weights by day, and what they say of drying."""
    weighings = batch.records(Weighing)
    sheet.heading(msg("Weights"))
    if not weighings:
        sheet.say(msg("No weights were entered."))
        return
    drying = judgement.drying
    sheet.say(msg("{state}: {words}.", state=drying.state.value, words=drying.words))
    subjects = list(dict.fromkeys(weighing.subject for _, weighing in weighings))[:6]
    by_day: dict[str, dict[str, list[str]]] = {}
    for at, weighing in weighings:
        # Of a tray the weight of one bar is what compares.
        bars = msg(" ({bars} bars)", bars=weighing.bars) if weighing.bars > 1 else ""
        by_day.setdefault(formatting.day(at), {}).setdefault(weighing.subject, []).append(f"{weighing.grams:g}{bars}")
    rows = [(day, *(join(", ", told.get(subject, ())) for subject in subjects)) for day, told in by_day.items()]
    wide = [30.0, *([120.0 / len(subjects)] * len(subjects))]
    head = (msg("day"), *(msg("{subject}, g", subject=subject) for subject in subjects))
    sheet.rows(head, rows, wide, right=tuple(range(1, len(head))))
    left_out = len(dict.fromkeys(weighing.subject for _, weighing in weighings)) - len(subjects)
    if left_out:
        sheet.say(
            msg("Other bars or trays that were weighed: {left_out}; the journal holds them.", left_out=left_out), 8
        )


def tests(sheet: Sheet, batch: Batch, judgement: Judgement) -> None:
    """Alkali tests and surface checks."""
    sheet.heading(msg("Alkali and surface"))
    entries = batch.of(AlkaliTest)
    # Both in order of time; a test from after the judgement is not in it.
    pairs = zip(entries, judgement.alkali.tests, strict=False)
    said = {entry.id: msg("{outcome}: {words}", outcome=test.outcome.value, words=test.words) for entry, test in pairs}
    rows = [(moment(e.at, judgement), describe(e.record), said.get(e.id, ""), e.by) for e in entries]
    sheet.rows((msg("when"), msg("test"), msg("what it says"), msg("by")), rows, (28, 48, 48, 28))
    if not entries:
        sheet.say(msg("No alkali test was entered."))
    surface = [(moment(at, judgement), describe(note)) for at, note in batch.records(SurfaceNote)]
    sheet.rows((msg("when"), msg("surface")), surface, (30, 120))


def checks(sheet: Sheet, judgement: Judgement) -> None:
    """The verdict and every check, with its rule and source."""
    sheet.heading(msg("Judgement of {on}: {verdict}", on=formatting.moment(judgement.on), verdict=judgement.verdict))
    rows = [
        (msg(f.check), msg(f.verdict.value), f.words, rule_and_source(f.rule, f.source)) for f in judgement.findings
    ]
    sheet.rows((msg("check"), msg("says"), msg("because"), msg("rule and its source")), rows, (22, 18, 58, 56))
    sheet.say(msg("Rules {rules_version}.", rules_version=judgement.rules_version), 8)
