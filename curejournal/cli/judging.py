"""The verdict, signed acts, bars that leave, and what is due."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, cast

import typer

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Act, BarsOut, TargetSource, WhyOut
from curejournal.cli.options import (
    DEFAULT_JOURNAL,
    ME,
    AsJson,
    At,
    By,
    Code,
    Confirmed,
    JournalAt,
    Mistyped,
    Statement,
    areas_of,
    bytes_of,
    card_of,
    enter_record,
    lab_of,
    now_of,
    one_of,
    open_journal,
    print_json,
    when_of,
)
from curejournal.cli.speech import tell, tell_all
from curejournal.documents import formatting
from curejournal.journal.seals import shown_head
from curejournal.workflow import materials


def judge(
    code: Code,
    on: Annotated[str | None, typer.Option("--on", help="As it stood then: 2026-11-25 or 2026-11-25T18:00.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say whether a batch is ready, with the evidence, and what to do next."""
    with open_journal(journal) as kept:
        moment = when_of(on, kept) if on else now_of(kept)
        judgement = workflow.judge_batch(kept, code, moment)
        recalls = workflow.recall(kept, code, moment)
        expected = materials.expected(kept, code, moment)
        edition = workflow.released_under(kept, code, moment)
    if as_json:
        more = {
            "recalls": [workflow.as_json(one) for one in recalls],
            "expected": materials.planned_as_json(expected),
            "other_edition": edition and workflow.as_json(edition),
        }
        print_json(workflow.as_json(judgement) | more)
        return
    tell(judgement.headline)
    if judgement.released_at is not None:
        tell(msg("Released {on}.", on=formatting.day(judgement.released_at)))
    if edition is not None:
        tell(edition.words)
    for one in recalls:
        tell_all(msg("Recall {batch}? {line}", batch=one.batch, line=line) for line in one.words)
    if recalls:
        tell(msg("Answer it, signed: `batch withdraw {code}`, or `batch keep-on-sale {code}`.", code=code))
    for finding in judgement.findings:
        tell(msg("- {check}: {verdict}. {words}", check=finding.check, verdict=finding.verdict, words=finding.words))
    if expected:
        tell_all(msg("Expected: {line}", line=line) for line in materials.planned_in_words(expected))
    tell(msg("Next: {next_step}", next_step=judgement.next_step))
    for caution in judgement.cautions:
        tell(caution)


def release(
    code: Code,
    statement: Statement,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Sign the release of a batch whose verdict is ready; the evidence is frozen with it."""
    _sign(journal, code, "release", by, statement, as_json)


def hold(
    code: Code,
    statement: Statement,
    lift: Annotated[bool, typer.Option("--lift", help="Sign that the hold is over; that is no release.")] = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Sign that a batch is kept back, or with `--lift` that it no longer is; the evidence is frozen with it."""
    _sign(journal, code, "lift hold" if lift else "hold", by, statement, as_json)


def keep_on_sale(
    code: Code, statement: Statement, by: By = ME, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False
) -> None:
    """Sign that a released batch stays on sale in spite of what was read later; it answers the recall question."""
    _sign(journal, code, "keep on sale", by, statement, as_json)


def withdraw(
    code: Code, statement: Statement, by: By = ME, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False
) -> None:
    """Sign that an earlier release no longer holds; the evidence is frozen with it, and a recall question answered."""
    _sign(journal, code, "withdraw", by, statement, as_json)


def _sign(journal: Path, code: str, act: Act, by: str, statement: str, as_json: bool) -> None:
    with open_journal(journal) as kept:
        entry = workflow.decide(kept, code, act, signed_by=by, statement=statement, on=now_of(kept))
        head = kept.seal_of(entry.id)
    if as_json:
        print_json({**workflow.as_json(entry), "head": head})
    else:
        tell(
            msg(
                "{code}: {record}\nHead of the journal with it: {head}",
                code=code,
                record=describe(entry.record),
                head=shown_head(head),
            )
        )


def accept_colour(
    code: Code,
    portion: Annotated[str, typer.Argument(help="The portion whose colour is accepted as it is.")],
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Accept a colour that is off its target, as it is now; the target and what materials did stay as they are."""
    with open_journal(journal) as kept:
        record = workflow.accepted_colour(kept, code, portion, why, now_of(kept))
    enter_record(journal, code, record, at, by, confirmed=False, as_json=as_json)


def bars_out(
    code: Code,
    bars: Annotated[int, typer.Argument(help="How many bars.")],
    to: Annotated[str, typer.Option("--to", help="Whom to ask in a recall: a market, a shop, a person.")] = "",
    why: Annotated[str, typer.Option("--why", help="sold, sample, retained, given or scrapped.")] = "sold",
    note: Annotated[str, typer.Option("--note", help="A remark.")] = "",
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note bars that left: sold, given, sampled, retained or scrapped."""
    enter_record(journal, code, BarsOut(bars, to, cast(WhyOut, one_of(why, WhyOut)), note), at, by, confirmed, as_json)


def intend(
    code: Code,
    portion: Annotated[str, typer.Argument(help="The portion that should end at this colour.")],
    like: Annotated[str, typer.Option("--like", help="A cured earlier batch; its portion by --portion.")] = "",
    like_portion: Annotated[str, typer.Option("--portion", help="With --like: its portion, if named otherwise.")] = "",
    control: Annotated[str, typer.Option("--control", help="A control portion of this batch.")] = "",
    reading: Annotated[
        int | None, typer.Option("--reading", help="A reading of the batter before fragrance: its number in history.")
    ] = None,
    lab: Annotated[str | None, typer.Option("--lab", help='A swatch, typed: "L,a,b".')] = None,
    photo: Annotated[Path | None, typer.Option("--photo", help="A swatch, photographed with a card.")] = None,
    card_name: Annotated[str, typer.Option("--card", help="With --photo: the card in it.")] = "window",
    area: Annotated[list[str] | None, typer.Option("--area", help='With --photo: "NAME=x0,y0,x1,y1".')] = None,
    tolerance: Annotated[float | None, typer.Option("--tolerance", help="The ΔE00 you accept from now on.")] = None,
    confirmed: Confirmed = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Set the colour a portion should have when cured, from one of four sources; the earlier one stays on record."""
    sources: dict[TargetSource, bool] = {
        "cured earlier batch": bool(like),
        "control portion": bool(control),
        "batter before fragrance": reading is not None,
        "swatch": lab is not None or photo is not None,
    }
    named = [source for source, given in sources.items() if given]
    if len(named) != 1 or (lab is not None and photo is not None):
        raise Mistyped(
            msg("It has to be one source."), msg("Give one of --like, --control, --reading, --lab, --photo.")
        )
    with open_journal(journal) as kept:
        typed = lab_of(lab) if lab is not None else None
        words, read_with = "as typed", ""
        if photo is not None:
            card = card_of(card_name, journal)
            (typed, words), read_with = workflow.swatch(bytes_of(photo), card, areas_of(area)), card.name
        entry, doubts = workflow.set_target(
            kept,
            code,
            portion,
            named[0],
            by=by,
            now=now_of(kept),
            from_batch=like,
            from_portion=like_portion or control,
            reading=reading,
            lab=typed,
            lab_from=words,
            lab_card=read_with,
            tolerance=tolerance,
            confirmed=confirmed,
        )
    if as_json:
        print_json({"entry": workflow.as_json(entry), "doubts": [workflow.as_json(doubt) for doubt in doubts]})
    else:
        tell(msg("{code}: {record}", code=code, record=describe(entry.record)))


def due(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List what is due: weigh, photograph, test, release."""
    with open_journal(journal) as kept:
        items, zone = workflow.due_now(kept, now_of(kept)), workflow.time_zone(kept)
    if as_json:
        print_json({"due": [{"batch": batch.code, **workflow.as_json(item)} for batch, item in items]})
    else:
        for batch, item in items:
            tell(
                msg(
                    "{on}  {code} {name}: {words} ({why})",
                    on=formatting.day(item.when.astimezone(zone)),
                    code=batch.code,
                    name=batch.name,
                    words=item.words,
                    why=item.why,
                )
            )
