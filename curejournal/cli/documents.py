"""What all batches say together, and what leaves the journal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from curejournal import workflow
from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n, quantity
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
    layout_of,
    moment_of,
    now_of,
    open_journal,
    paper_of,
    print_json,
    recipe_of,
    say_entries,
    write_file,
)
from curejournal.cli.speech import tell, tell_all
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
            tell("\t".join((one.material, one.kind, ", ".join(one.batches))))


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
        raise Mistyped(
            msg("A dose of {dose} % of the oils is not possible.", dose=digits(dose)),
            msg("Give one above 0 and up to 100."),
        )
    with open_journal(journal) as kept:
        report = materials.material(kept, name, now_of(kept), dose_pct=dose)
        if pdf is not None:
            write_file(pdf, documents.fact_sheet(kept, name, now_of(kept), "pdf"))
        if markdown is not None:
            write_file(markdown, documents.fact_sheet(kept, name, now_of(kept), "markdown"))
    if as_json:
        print_json(materials.material_as_json(report))
    else:
        tell_all(msg("{what}: {said}", what=what, said=said) for what, said in materials.material_in_words(report))
        if len(report.expected.lots) > 1:
            tell_all(materials.lots_in_words(report.expected.lots))


def find_causes(
    end: Annotated[
        bool, typer.Option("--end", help="Ask what keeps it off its colour, not what discoloured it.")
    ] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say which material turned the batter, by all batches together, and which test pour would tell."""
    with open_journal(journal) as kept:
        answer = materials.which(kept, now_of(kept), "end" if end else "turn")
    if as_json:
        print_json(materials.which_as_json(answer))
    else:
        tell_all(materials.which_in_words(answer))


def test_pour(
    name: Annotated[str, typer.Argument(help="Start the pour that is proposed of this material.")] = "",
    end: Annotated[
        bool, typer.Option("--end", help="To tell what keeps it off its colour, not what discoloured it.")
    ] = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """List the test pours that would tell and those that were made; with a material, start the one proposed of it."""
    with open_journal(journal) as kept:
        found = materials.which(kept, now_of(kept), "end" if end else "turn").found
        if name:
            pour = materials.proposed_pour(found, name)
            started = materials.start_test_pour(kept, pour, by=by, now=now_of(kept))
        made = materials.pours_made(kept)
    if as_json:
        proposed = [workflow.as_json(pour) for pour in found.test_pours]
        made_now = {"started": started.code} if name else {"proposed": proposed}
        print_json(made_now | {"made": [workflow.as_json(one) for one in made]})
        return
    if name:
        tell(msg("{code}: {name}", code=started.code, name=started.name))
        tell(materials.POUR_CAUTION)
        return
    tell_all(map(materials.pour_words, found.test_pours) if found.test_pours else [msg("No test pour is proposed.")])
    for one in made:
        label = msg("{code} · {name}, beside {beside}", code=one.code, name=one.name, beside=one.beside)
        tell(label if one.poured else msg("{label}: not poured yet", label=label))


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
        tell_all(materials.planned_in_words(plans))


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
            join("\t", (use.batch, use.name, use.material, quantity(use.grams, "g"), describe_bars_out(use.gone)))
            for use in uses
        )
        tell_all(rows or [msg("No batch names the lot {name}.", name=name)])


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
    if as_json:
        print_json({"file": str(to), "batches": codes})
    else:
        tell(msg("{to}: the record of {codes}.", to=to, codes=", ".join(codes)))


def portfolio(
    batches: Annotated[
        list[str],
        typer.Argument(
            help="Codes of the batches; all released ones if left out.", default_factory=list, show_default=False
        ),
    ],
    to: Annotated[Path, typer.Argument(help="A new folder, or that of an earlier portfolio; or a .pdf file.")],
    title: Annotated[str, typer.Option("--title", help="The heading; your place's name if left out.")] = "",
    about: Annotated[str, typer.Option("--about", help="A sentence under it.")] = "",
    layout: Annotated[str, typer.Option("--layout", help="gallery, stories or book.")] = "gallery",
    unreleased: Annotated[bool, typer.Option("--unreleased", help="Show batches that are not released, too.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a portfolio of released batches: static pages for any web host, or a PDF. No location is in it."""
    design = documents.Design(title, about, layout_of(layout))
    with open_journal(journal) as kept:
        every = kept.names() if unreleased else documents.offered(kept)
        codes = batches or list(every)
        if to.suffix.lower() == ".pdf":
            write_file(
                to, documents.portfolio_on_paper(kept, codes, now_of(kept), design=design, unreleased=unreleased)
            )
            files = 1
        else:
            files = len(documents.portfolio(kept, codes, to, now_of(kept), design=design, unreleased=unreleased))
    said = {"to": str(to), "batches": codes, "files": files}
    if as_json:
        print_json(said)
    else:
        tell(msg("{to}: {count}.", to=to, count=msg_n("{number} batch", "{number} batches", len(codes))))


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
    if as_json:
        print_json({"file": str(to), "events": due})
    else:
        tell(msg("{to}: {count} due.", to=to, count=msg_n("{number} thing", "{number} things", due)))


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
        proposed = (
            msg("{grams} are proposed for each bar: ", grams=quantity(net.grams_each, "g"))
            if net.grams_each is not None
            else ""
        )
        tell(msg("{to}: labels of {code}. {proposed}{words}", to=to, code=code, proposed=proposed, words=net.words))


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
        raise Mistyped(msg("It has to be one thing."), msg("Name the file to write, or with --enter the file to read."))
    if enter is not None:
        with open_journal(journal) as kept, confirmable():
            wanted = recipe_of(enter)
            entry, doubts = workflow.enter_recipe(kept, code, wanted, by=by, now=now_of(kept), confirmed=confirmed)
        say_entries(code, [entry], doubts, as_json)
        return
    assert to is not None
    if to.suffix.lower() not in (".json", ".csv"):
        raise Mistyped(msg("“{name}” is neither .json nor .csv.", name=to.name), msg("Choose one of them."))
    with open_journal(journal) as kept:
        write_file(to, documents.recipe_out(kept, code, "csv" if to.suffix.lower() == ".csv" else "json"))
    if as_json:
        print_json({"file": str(to), "batch": code})
    else:
        tell(msg("{to}: the recipe of {code}.", to=to, code=code))


def bundle_out(
    code: Code,
    to: Annotated[Path, typer.Argument(help="The file to write.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a batch as one file that another journal can open: history, photos as they are (places in them too)."""
    with open_journal(journal) as kept:
        write_file(to, documents.bundle(kept, code))
    if as_json:
        print_json({"file": str(to), "batch": code})
    else:
        tell(msg("{to}: batch {code}, with its photos as they are.", to=to, code=code))


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
        tell(
            msg(
                "{code}, {name}: {count}.",
                code=batch.code,
                name=batch.name,
                count=msg_n("{number} entry", "{number} entries", len(batch.entries)),
            )
        )
