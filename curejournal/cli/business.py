"""Batches after the pour: what darkened, where they lie, their own rules; orders, returns, complaints, recalls."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, cast

import typer

from curejournal import workflow
from curejournal.batch.descriptions import describe
from curejournal.batch.making import Place
from curejournal.batch.records import WhyOut
from curejournal.batch.sales import BarsBack, Complaint
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
    batch_app,
    confirmable,
    enter_record,
    now_of,
    numbers_of,
    one_of,
    open_journal,
    print_json,
    when_of,
)
from curejournal.journal.store import Journal
from curejournal.workflow import customers, materials


@batch_app.command("darkened")
def darkened(
    code: Code,
    portion: Annotated[str, typer.Option("--portion", help="Which portion; the whole batch if left out.")] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say, the moment it darkens, what all earlier batches with these materials did, and which photo to take when."""
    with open_journal(journal) as kept:
        answer = materials.when_it_darkens(kept, code, now_of(kept), portion)
    print_json(workflow.as_json(answer)) if as_json else print("\n".join(answer.words))


@batch_app.command("place")
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


@batch_app.command("rules")
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
    print_json(said) if as_json else print(f"{of}: {told} ({why})")


def _moment(at: str | None, kept: Journal) -> datetime:
    return when_of(at, kept) if at else now_of(kept)


@batch_app.command("order")
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
            raise Mistyped(f"“{text}” cannot be read.", 'Write it as "CODE=BARS".')
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
        print("\n".join(describe(entry.record) for entry in entries))


@batch_app.command("back")
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


@batch_app.command("complaint")
def complaint(
    code: Code,
    what: Annotated[str, typer.Argument(help="What was complained of.")],
    outcome: Annotated[str, typer.Option("--outcome", help="What became of it.")] = "",
    bars: Annotated[int | None, typer.Option("--bars", help="Of how many bars.")] = None,
    name: Annotated[str, typer.Option("--name", help="By whom, if that is a customer on record.")] = "",
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note a complaint, and what became of it."""
    with open_journal(journal) as kept:
        known = customers.contact_named(kept, name) if name else None
    record = Complaint(what, outcome, bars, known.id if known else None)
    enter_record(journal, code, record, at, by, confirmed=False, as_json=as_json)


@batch_app.command("recall")
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
        print("\n".join(one.words for one in people) or "Nobody has bars of it, as far as this journal knows.")
