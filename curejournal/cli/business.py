"""Batches after the pour: what darkened, where they lie, their own rules; orders, returns, complaints, recalls."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated, cast, get_args

import typer

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.batch.making import Place
from curejournal.batch.records import WhyOut
from curejournal.batch.room_log import Unit, summary
from curejournal.batch.sales import BarsBack, Complaint
from curejournal.batch.stock import LotKind, MaterialLot
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
    bytes_of,
    confirmable,
    enter_record,
    now_of,
    numbers_of,
    one_of,
    open_journal,
    print_json,
    when_of,
)
from curejournal.cli.speech import tell, tell_all
from curejournal.journal.contacts import Contact
from curejournal.journal.store import Journal
from curejournal.workflow import customers, materials, room, stock


def darkened(
    code: Code,
    portion: Annotated[str, typer.Option("--portion", help="Which portion; the whole batch if left out.")] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say, the moment it darkens, what all earlier batches with these materials did, and which photo to take when."""
    with open_journal(journal) as kept:
        answer = materials.when_it_darkens(kept, code, now_of(kept), portion)
    if as_json:
        print_json(workflow.as_json(answer))
    else:
        tell_all(answer.words)


def place(
    code: Code,
    rack: Annotated[str, typer.Argument(help="The rack or shelf.")],
    tray: Annotated[str, typer.Option("--tray", help="The tray.")] = "",
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note where a batch lies: what is due says so."""
    enter_record(journal, code, Place(rack, tray), at, by, confirmed=False, as_json=as_json)


def rules(
    of: Annotated[str, typer.Argument(help="The batch's code, or with --recipe a recipe's name.")],
    limits: Annotated[list[str], typer.Argument(help='Limits: "min_age_days=200".')],
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept with them.")],
    recipe: Annotated[bool, typer.Option("--recipe", help="For all batches of a recipe.")] = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Set limits for one batch, or for a recipe, each at least as strict as the workshop's."""
    wanted = {}
    for text in limits:
        name, _, number = text.partition("=")
        (wanted[name],) = numbers_of(number, 1, '"min_age_days=200"')
    with open_journal(journal) as kept:
        if recipe:
            workflow.set_recipe_rules(kept, of, wanted, why)
        else:
            workflow.set_batch_rules(kept, of, wanted, why, by=by, now=now_of(kept))
    told = ", ".join(f"{name} {value:g}" for name, value in wanted.items())
    said = {"of": of, "recipe": recipe, "limits": wanted, "why": why}
    if as_json:
        print_json(said)
    else:
        tell(msg("{of}: {told} ({why})", of=of, told=told, why=why))


def _moment(at: str | None, kept: Journal) -> datetime:
    return when_of(at, kept) if at else now_of(kept)


def order(
    lines: Annotated[list[str], typer.Argument(help='Bars of each batch: "CODE=BARS".')],
    name: Annotated[str, typer.Option("--name", help="Who gets them; kept apart from the ledger.")],
    details: Annotated[str, typer.Option("--details", help="How to reach them in a recall.")] = "",
    number: Annotated[str, typer.Option("--order", help="The order's name or number.")] = "",
    why: Annotated[str, typer.Option("--why", help="sold, sample or given.")] = "sold",
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Let bars of one batch or several go to a customer: all of the order is kept, or nothing."""
    wanted = []
    for text in lines:
        code, equals, bars = text.rpartition("=")
        if not equals or not bars.isdigit():
            raise Mistyped(msg("“{text}” cannot be read.", text=text), msg('Write it as "CODE=BARS".'))
        wanted.append((code, int(bars)))
    with open_journal(journal) as kept, confirmable():
        entries = customers.fill_order(
            kept,
            wanted,
            name=name,
            details=details,
            order=number,
            why=cast(WhyOut, one_of(why, WhyOut)),
            at=_moment(at, kept),
            by=by,
            now=now_of(kept),
            confirmed=confirmed,
        )
    if as_json:
        print_json({"entries": [workflow.as_json(entry) for entry in entries]})
    else:
        tell_all(describe(entry.record) for entry in entries)


def back(
    code: Code,
    bars: Annotated[int, typer.Argument(help="How many bars came back.")],
    why: Annotated[str, typer.Option("--why", help="The reason.")],
    name: Annotated[str, typer.Option("--name", help="From whom.")] = "",
    sellable: Annotated[bool, typer.Option("--sellable", help="They may go out again.")] = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note bars that came back."""
    with open_journal(journal) as kept:
        known = customers.contact_named(kept, name) if name else None
    record = BarsBack(bars, why, "" if known else name, known.id if known else None, sellable)
    enter_record(journal, code, record, at, by, confirmed=False, as_json=as_json)


def complaint(
    code: Code,
    what: Annotated[str, typer.Argument(help="What was complained of.")],
    outcome: Annotated[str, typer.Option("--outcome", help="What became of it.")] = "",
    bars: Annotated[int | None, typer.Option("--bars", help="Of how many bars.")] = None,
    name: Annotated[str, typer.Option("--name", help="By whom, if that is a customer on record.")] = "",
    photo: Annotated[Path | None, typer.Option("--photo", help="The photo that came with it.")] = None,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note a complaint, with the photo that came with it, and what became of it."""
    with open_journal(journal) as kept:
        known = customers.contact_named(kept, name) if name else None
        record = Complaint(what, outcome, bars, known.id if known else None)
        picture, its_name = (bytes_of(photo), photo.name) if photo is not None else (None, "")
        made = customers.enter_complaint(
            kept, code, record, picture, its_name, at=_moment(at, kept), by=by, now=now_of(kept)
        )
    if as_json:
        print_json({"entry": workflow.as_json(made), "doubts": []})
    else:
        tell(msg("{code}: {record}", code=code, record=describe(record)))


def recall(
    code: Annotated[str, typer.Argument(help="The batch's code, or with --lot a lot of any material.")],
    lot: Annotated[bool, typer.Option("--lot", help="Who has bars with this lot in them.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """List whom a recall has to call: who has bars of a batch, or of anything that has pieces of it or a lot in it."""
    with open_journal(journal) as kept:
        people = customers.who_has_lot(kept, code) if lot else customers.recall_list(kept, code)
    if as_json:
        print_json({"people": [workflow.as_json(one) for one in people]})
    else:
        tell_all([one.words for one in people] or [msg("Nobody has bars of it, as far as this journal knows.")])


def outcome(
    what: Annotated[str, typer.Argument(help=f"{', '.join(materials.OUTCOMES)}.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what goes with an outcome over all batches: spots, ash, softness; materials, lots and figures weighed."""
    with open_journal(journal) as kept:
        answer = materials.causes_of_outcome(kept, what, now_of(kept))
    if as_json:
        print_json(workflow.as_json(answer))
    else:
        tell_all(answer.words)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as fault:
        raise Mistyped(msg("“{text}” is not a valid date.", text=text), msg("Write it as 2026-10-03.")) from fault


def lot_enter(
    material: Annotated[str, typer.Argument(help="The material, as recipes name it.")],
    lot: Annotated[str, typer.Argument(help="Its lot.")],
    kind: Annotated[str, typer.Option("--kind", help=f"{', '.join(get_args(LotKind))}.")] = "other",
    supplier: Annotated[str, typer.Option("--supplier")] = "",
    received: Annotated[str, typer.Option("--received", help="The day, 2026-10-03.")] = "",
    opened: Annotated[str, typer.Option("--opened", help="The day.")] = "",
    best_before: Annotated[str, typer.Option("--best-before", help="The day.")] = "",
    accepted_by: Annotated[str, typer.Option("--accepted-by", help="Who accepted it.")] = "",
    on_hand: Annotated[float | None, typer.Option("--on-hand", help="Grams that are left.")] = None,
    inci: Annotated[str, typer.Option("--inci", help="Its name in an ingredient list.")] = "",
    allergens: Annotated[str, typer.Option("--allergens", help="As the supplier states them.")] = "",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter a lot with its supplier and dates, or say more of one."""
    record = MaterialLot(
        material,
        lot,
        cast(LotKind, one_of(kind, LotKind)),
        supplier,
        _day(received),
        _day(opened),
        _day(best_before),
        accepted_by,
        "",
        on_hand,
        inci,
        allergens,
    )
    with open_journal(journal) as kept:
        entry = stock.enter_lot(kept, record, by=by, now=now_of(kept))
    if as_json:
        print_json(workflow.as_json(entry))
    else:
        tell(describe(record))


def room_import(
    file: Annotated[Path, typer.Argument(help="A room logger's file: any columns, delimiter, unit.")],
    unit: Annotated[str | None, typer.Option("--unit", help="C or F, if the file does not say it.")] = None,
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="If the file does not tell.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep it; otherwise it is only shown.")] = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Read a room logger's file, and with --keep add it to the workshop's log."""
    named: dict[str | None, Unit | None] = {None: None, "C": "°C", "F": "°F"}
    if unit not in named:
        raise Mistyped(msg("“{unit}” is not known here.", unit=unit), msg("Use C or F."))
    with open_journal(journal) as kept:
        zone = workflow.time_zone(kept)
        read = room.preview_room_file(bytes_of(file), zone, unit=named[unit], day_first=day_first)
        new = room.keep_room_file(kept, read, file.name, by=by, now=now_of(kept))[0] if keep else 0
    if as_json:
        questions = [workflow.as_json(one) for one in read.questions]
        print_json({"readings": len(read.readings), "left_out": read.left_out, "new": new, "questions": questions})
        return
    tell(summary(read))
    tell_all([*read.notes, *(question.text for question in read.questions)])
    tell(
        msg("{count} kept.", count=msg_n("{number} reading", "{number} readings", new))
        if keep
        else msg("Nothing was kept: add --keep.")
    )


def _known(kept: Journal, name: str) -> Contact:
    found = customers.contact_named(kept, name)
    if found is None:
        raise Mistyped(
            msg("No customer on record is called “{name}”.", name=name),
            msg("“curejournal customer list” names them; who was erased is not there."),
        )
    return found


def customer_list(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the customers on record."""
    with open_journal(journal) as kept:
        found = [one for one in kept.contacts() if not one.erased]
    if as_json:
        print_json({"customers": [{"id": one.id, "name": one.name, "details": one.details} for one in found]})
    else:
        tell_all([one.name for one in found] or [msg("Nobody is on record.")])


def customer_show(
    name: Annotated[str, typer.Argument(help="Who.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what a customer got, brought back and complained of."""
    with open_journal(journal) as kept:
        known = _known(kept, name)
        entries, lines = customers.what_they_got(kept, known.id), customers.history_words(kept, known.id)
    if as_json:
        print_json({"id": known.id, "entries": [{"batch": code, **workflow.as_json(one)} for code, one in entries]})
    else:
        tell_all(lines or [msg("Nothing is on record of {name}.", name=known.name)])


def customer_erase(
    name: Annotated[str, typer.Argument(help="Whose name.")],
    why: Annotated[str, typer.Option("--why", help="Who asked for it, and when; it is kept.")],
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Erase a customer's name and details for good, on request; what they got stays on record under a number."""
    with open_journal(journal) as kept:
        known = _known(kept, name)
        made = customers.erase_name(kept, known.id, why=why, by=by, now=now_of(kept))
    if as_json:
        print_json({"id": known.id, "entry": workflow.as_json(made)})
    else:
        tell(
            msg(
                "The name of customer {id} is erased. Backups and exports that were made before still hold it: delete "
                "those yourself.",
                id=known.id,
            )
        )
