"""What all batches say together, and what leaves the journal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from curejournal import workflow
from curejournal.base.counting import digits, how_many
from curejournal.cli.options import (
    DEFAULT_JOURNAL,
    ME,
    AsJson,
    By,
    Code,
    Confirmed,
    JournalAt,
    Mistyped,
    bytes_of,
    confirmable,
    moment_of,
    now_of,
    open_journal,
    paper_of,
    print_json,
    recipe_of,
    say_entries,
    write_file,
)
from curejournal.judging.traceability import describe_bars_out
from curejournal.workflow import documents, materials
from curejournal.workflow.photos import tag_text

Codes = Annotated[list[str], typer.Argument(help="Codes of the batches.", default_factory=list, show_default=False)]


def materials_list(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the materials that recipes name, with the batches that held them."""
    with open_journal(journal) as kept:
        found = materials.all_materials(kept)
    if as_json:
        rows = [{"material": h.material, "kind": h.kind, "batches": h.batches, "doses_pct": h.doses_pct} for h in found]
        print_json({"materials": rows})
    else:
        for one in found:
            print(f"{one.material}\t{one.kind}\t{', '.join(one.batches)}")


def material(
    name: Annotated[str, typer.Argument(help="The material, as in the recipes.")],
    dose: Annotated[float | None, typer.Option("--dose", help="The planned dose, % of its portion's batter.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write its fact sheet, one page.")] = None,
    markdown: Annotated[Path | None, typer.Option("--markdown", help="Write its fact sheet as Markdown.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what a material did in earlier batches, and what to expect of it."""
    if dose is not None and not 0 < dose <= 100:
        raise Mistyped(f"A dose of {digits(dose)} % of the oils cannot be.", "Give one above 0 and up to 100.")
    with open_journal(journal) as kept:
        report = materials.material(kept, name, now_of(kept), dose_pct=dose)
        if pdf is not None:
            write_file(pdf, documents.fact_sheet(kept, name, now_of(kept), "pdf"))
        if markdown is not None:
            write_file(markdown, documents.fact_sheet(kept, name, now_of(kept), "markdown"))
    if as_json:
        print_json(materials.material_as_json(report))
    else:
        print("\n".join(f"{what}: {said}" for what, said in materials.material_in_words(report)))
        if len(report.expected.lots) > 1:
            print("\n".join(materials.lots_in_words(report.expected.lots)))


def find_causes(
    end: Annotated[bool, typer.Option("--end", help="Ask what keeps it off its colour, not what turned it.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say which material turned the batter, by all batches together, and which test pour would tell."""
    with open_journal(journal) as kept:
        answer = materials.which(kept, now_of(kept), "end" if end else "turn")
    print_json(materials.which_as_json(answer)) if as_json else print("\n".join(materials.which_in_words(answer)))


def expect(
    recipe: Annotated[Path, typer.Argument(help="A recipe file: .toml, .json or .csv.")],
    portion: Annotated[
        list[str] | None, typer.Option("--portion", help="Another portion that gets as much batter, for each.")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what a planned pour may do, by what its materials did before."""
    with open_journal(journal) as kept:
        plans = materials.planned(kept, recipe_of(recipe), now_of(kept), portions=portion or ())
    if as_json:
        print_json({"portions": materials.planned_as_json(plans)})
    else:
        print("\n".join(materials.planned_in_words(plans)))


def lot_uses(
    name: Annotated[str, typer.Argument(help="The lot of any material.")],
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write it as a page.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say where a lot went."""
    with open_journal(journal) as kept:
        uses = documents.lot(kept, name)
        if pdf is not None:
            write_file(pdf, documents.lot_page(kept, name, now_of(kept)))
    if as_json:
        print_json({"lot": name, "uses": [workflow.as_json(use) for use in uses]})
    else:
        rows = (
            f"{use.batch}\t{use.name}\t{use.material}\t{use.grams:g} g\t{describe_bars_out(use.gone)}" for use in uses
        )
        print("\n".join(rows) or f"No batch names the lot {name}.")


def record(
    batches: Annotated[
        list[str], typer.Argument(help="Codes of the batches.", default_factory=list, show_default=False)
    ],
    to: Annotated[Path, typer.Argument(help="The PDF to write.")],
    day: Annotated[str | None, typer.Option("--day", help="All batches poured that day, 2026-09-08.")] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="All batches that this lot reaches.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write the batch record: of batches, of a day, or of all that a lot went into."""
    with open_journal(journal) as kept:
        codes = list(batches)
        zone = workflow.time_zone(kept)
        codes += documents.poured_on(kept, moment_of(day, zone).date(), zone) if day else ()
        codes += [use.batch for use in documents.lot(kept, lot)] if lot else []
        codes = list(dict.fromkeys(codes))
        write_file(to, documents.batch_record(kept, codes, now_of(kept)))
    print_json({"file": str(to), "batches": codes}) if as_json else print(f"{to}: the record of {', '.join(codes)}.")


def portfolio(
    batches: Annotated[
        list[str],
        typer.Argument(help="Codes of the batches; all if left out.", default_factory=list, show_default=False),
    ],
    to: Annotated[Path, typer.Argument(help="A new folder, or that of an earlier portfolio; or a .pdf file.")],
    title: Annotated[str, typer.Option("--title", help="The heading; your place's name if left out.")] = "",
    about: Annotated[str, typer.Option("--about", help="A sentence under it.")] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a portfolio of some batches, or all: static pages for any web host, or a PDF. No location is in it."""
    with open_journal(journal) as kept:
        codes = batches or [head.code for head in kept.batches()]
        if to.suffix.lower() == ".pdf":
            write_file(to, documents.portfolio_on_paper(kept, codes, now_of(kept), title=title, about=about))
            files = 1
        else:
            files = len(documents.portfolio(kept, codes, to, now_of(kept), title=title, about=about))
    said = {"to": str(to), "batches": codes, "files": files}
    print_json(said) if as_json else print(f"{to}: {how_many(len(codes), 'batch')}.")


def calendar_file(
    to: Annotated[Path, typer.Argument(help="The .ics file to write.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write what is due as a calendar file; imported again, its events move instead of being doubled."""
    with open_journal(journal) as kept:
        made = documents.calendar_file(kept, now_of(kept), workflow.time_zone(kept))
        write_file(to, made)
    due = made.count(b"BEGIN:VEVENT")
    print_json({"file": str(to), "events": due}) if as_json else print(f"{to}: {how_many(due, 'thing')} due.")


def labels(
    code: Code,
    to: Annotated[Path, typer.Argument(help="The PDF to write.")],
    count: Annotated[int | None, typer.Option("--count", help="How many; one for each bar if left out.")] = None,
    weight: Annotated[bool, typer.Option("--weight", help="Print the net weight that is proposed.")] = False,
    tag: Annotated[bool, typer.Option("--tag", help="Print the batch tag, by which photos file themselves.")] = False,
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write labels, and say what net weight they can bear."""
    sheet = paper_of(paper)
    with open_journal(journal) as kept:
        text = tag_text(kept, code) if tag else ""
        made = documents.labels(kept, code, now_of(kept), count=count, with_weight=weight, tag=text, paper=sheet)
        write_file(to, made)
        net = documents.net_weight(kept, code)
    if as_json:
        print_json({"file": str(to), "net_weight": workflow.as_json(net)})
    else:
        proposed = f"{net.grams_each} g are proposed for each bar: " if net.grams_each is not None else ""
        print(f"{to}: labels of {code}. {proposed}{net.words}")


def recipe_out(
    code: Code,
    to: Annotated[Path | None, typer.Argument(help="The file to write: .json, or .csv for a spreadsheet.")] = None,
    enter: Annotated[
        Path | None, typer.Option("--enter", help="A recipe file to enter for the batch; it corrects an earlier one.")
    ] = None,
    confirmed: Confirmed = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a batch's recipe to pass on (batch start --recipe reads it), or with `--enter` enter or correct it."""
    if (to is None) == (enter is None):
        raise Mistyped("It has to be one thing.", "Name the file to write, or with --enter the file to read.")
    if enter is not None:
        with open_journal(journal) as kept, confirmable():
            wanted = recipe_of(enter)
            entry, doubts = workflow.enter_recipe(kept, code, wanted, by=by, now=now_of(kept), confirmed=confirmed)
        say_entries(code, [entry], doubts, as_json)
        return
    assert to is not None
    if to.suffix.lower() not in (".json", ".csv"):
        raise Mistyped(f"“{to.name}” is neither .json nor .csv.", "Choose one of them.")
    with open_journal(journal) as kept:
        write_file(to, documents.recipe_out(kept, code, "csv" if to.suffix.lower() == ".csv" else "json"))
    print_json({"file": str(to), "batch": code}) if as_json else print(f"{to}: the recipe of {code}.")


def bundle_out(
    code: Code,
    to: Annotated[Path, typer.Argument(help="The file to write.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a batch as one file that another journal can open: history, photos as they are (places in them too)."""
    with open_journal(journal) as kept:
        write_file(to, documents.bundle(kept, code))
    print_json({"file": str(to), "batch": code}) if as_json else print(
        f"{to}: batch {code}, with its photos as they are."
    )


def bundle_in(
    file: Annotated[Path, typer.Argument(help="The bundle.")],
    code: Annotated[str, typer.Option("--code", help="Another code for it here.")] = "",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter the batch of a bundle as a new one, after all of it was verified."""
    with open_journal(journal) as kept:
        zone = workflow.time_zone(kept)
        batch = documents.open_bundle(kept, bytes_of(file), code=code, by=by, now=now_of(kept), zone=zone)
    if as_json:
        print_json({"batch": batch.code, "entries": len(batch.entries)})
    else:
        print(f"{batch.code}, {batch.name}: {how_many(len(batch.entries), 'entry')}.")
