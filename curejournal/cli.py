"""The terminal: one short function per use case.

Exit codes: 0 done; 1 refused, for the reason given, and nothing was changed;
2 the command itself was mistyped; 3 no colour could be measured.
"""

from __future__ import annotations

import getpass
import json
import os
import subprocess
import sys
import time
import tomllib
import urllib.request
import webbrowser
from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo
from datetime import time as clock_time
from pathlib import Path
from typing import Annotated, Any, Literal, cast, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import platformdirs
import typer

from curejournal import demo as demonstration
from curejournal import lessons, publish, workflow
from curejournal.colour.sample import Lab
from curejournal.cure.judgement import LYE
from curejournal.cure.records import (
    AlkaliMethod,
    AlkaliTest,
    BarsOut,
    Event,
    EventKind,
    IntendedSource,
    Portion,
    Record,
    Weighing,
    WhyOut,
)
from curejournal.cure.words import in_words
from curejournal.errors import CureJournalError
from curejournal.intake import Progress, files_in, take_in_all
from curejournal.journal.backup import Backup, last_backup
from curejournal.journal.backup import restore as restore_backup
from curejournal.journal.exchange import bring_in
from curejournal.journal.store import Journal, utc_now
from curejournal.report.tag_sheet import LABEL_SHEETS, TagLabel, tag_sheet_pdf
from curejournal.soap.lye import LyeCheck, check_lye
from curejournal.soap.recipe import Recipe
from curejournal.sorting import TrayItem, tag_text
from curejournal.strips import enrol_strip_key, keep_strip, read_strip_photo, strip_key
from curejournal.tray import Clock, corrected_photo, item_of, set_aside, set_clock
from curejournal.tray import place as place_photo
from curejournal.tray import tray as waiting_photos

NO_COLOUR = 3
DATA = Path(platformdirs.user_data_path("curejournal"))
DATABASE_URL = "CUREJOURNAL_DATABASE_URL"

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="A photo-based cure and batch quality journal for cold-process soap. Every command takes --json. "
    "Exit codes: 0 done; 1 refused, nothing changed; 2 mistyped; 3 no colour could be measured.",
)
batch_app = typer.Typer(no_args_is_help=True, help="Start, list and show batches, and note what happens to them.")
app.add_typer(batch_app, name="batch")

JournalAt = Annotated[
    Path,
    typer.Option("--journal", envvar="CUREJOURNAL_JOURNAL", help="The journal's folder.", show_default=False),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
By = Annotated[str, typer.Option("--by", envvar="CUREJOURNAL_BY", help="Who enters this.")]
At = Annotated[str | None, typer.Option("--at", help="When it happened, 2026-10-03T14:30; now if left out.")]
Confirmed = Annotated[bool, typer.Option("--confirmed", help="Keep an unlikely value that was asked about.")]
Code = Annotated[str, typer.Argument(help="The batch's code.")]
Statement = Annotated[str, typer.Option("--statement", help="What you sign, in your words.")]
DEFAULT_JOURNAL = DATA / "journal"
ME = getpass.getuser()


class Mistyped(CureJournalError):
    """A value on the command line that cannot be read."""


@app.callback()
def every_command(
    url: Annotated[
        str | None,
        typer.Option("--url", envvar=DATABASE_URL, help="The journal's database, if it is on a PostgreSQL server."),
    ] = None,
) -> None:
    """Take what stands before every command."""
    if url:
        os.environ[DATABASE_URL] = url


def main() -> None:
    """Run the command line; errors that a maker can understand become a sentence and an exit code."""
    try:
        app()
    except CureJournalError as error:
        if "--json" in sys.argv:
            print(json.dumps({"error": {"what": error.what, "safe": error.safe, "do": error.do}}, ensure_ascii=False))
        else:
            print(error, file=sys.stderr)
        sys.exit(1)


# --- cards and photos --------------------------------------------------------------------------


@app.command()
def card(
    name: Annotated[str, typer.Argument(help="A card's name, or a card file ending in .toml.")] = "window",
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write the card as a PDF, true to scale.")] = None,
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    copy_id: Annotated[str, typer.Option("--copy-id", help="An id of your own for this printed copy, W-02 say.")] = "",
    values: Annotated[
        Path | None,
        typer.Option("--values", help="A file of measured colours: CGATS (ISO 28178) or CSV (id,L,a,b)."),
    ] = None,
    save_as: Annotated[str, typer.Option("--save-as", help="With --values: the name of the card so made.")] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Show a card, print it, or give it the colours that an instrument measured."""
    shown = _card(name, journal)
    if (values is None) != (not save_as):
        raise Mistyped("--values and --save-as go together.", "Give the file and a new name.")
    if values is not None:
        with _opened(journal) as kept:
            shown, doubts = workflow.card_with_values(kept, shown, _bytes(values), source=values.name, name=save_as)
        print("\n".join(doubts), end="\n" if doubts else "", file=sys.stderr)
    if pdf is not None:
        if paper not in ("a4", "letter"):
            raise Mistyped(f"There is no paper “{paper}” here.", "Use --paper a4 or --paper letter.")
        pdf.write_bytes(workflow.card_to_print(shown, "a4" if paper == "a4" else "letter", copy_id))
    drifts: tuple[workflow.PatchDrift, ...] = ()
    if _has_journal(journal):
        with _opened(journal) as kept:
            drifts = workflow.card_drift(kept, shown.name) or ()
    if as_json:
        _print({**workflow.card_as_json(shown), "drifting": [workflow.as_json(drift) for drift in drifts]})
    elif pdf is not None:
        print(f"{pdf}: print it at 100 %, then measure the two lines on the sheet.")
    else:
        width, height = shown.size_mm
        print(f"{shown.title or shown.name}: {width:g} x {height:g} mm, {len(shown.patches)} patches.")
        print(f"Its values: {shown.provenance}.")
        for drift in drifts:
            print(f"{drift.patch} no longer fits as it did ({drift.at_first:.1f} at first, {drift.now:.1f} now).")
        if drifts:
            print("The card has faded or is stained: print a new one and enrol it.")


@app.command()
def enrol(
    photos: Annotated[list[Path], typer.Argument(help="Photos with the printed card and the chart side by side.")],
    copy_id: Annotated[str, typer.Option("--copy-id", help="The id on the printed card; its name from now on.")],
    card_name: Annotated[str, typer.Option("--card", help="Which card was printed.")] = "window",
    beside: Annotated[str, typer.Option("--beside", help="The chart with known colours.")] = "chart24",
    relative: Annotated[
        bool, typer.Option("--relative", help="No chart: photos in daylight, the card's white paper is the measure.")
    ] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Measure a printed card's own colours beside a chart with known ones, and keep them."""
    with _opened(journal) as kept:
        chart = None if relative else _card(beside, journal)
        enrolled, doubts = workflow.enrol_card(
            kept, _card(card_name, journal), [_bytes(p) for p in photos], chart, copy_id
        )
    if as_json:
        _print({"card": workflow.card_as_json(enrolled), "doubts": doubts})
    else:
        print("\n".join([f"Enrolled as {copy_id}: {len(enrolled.references)} patches known.", *doubts]))


@app.command()
def measure(
    photo: Annotated[Path, typer.Argument(help="The photo.")],
    card_name: Annotated[str, typer.Option("--card", help="window, chart24, a card of the journal, or a .toml file.")],
    corners: Annotated[str | None, typer.Option("--corners", help='The card\'s corners: "x,y x,y x,y x,y".')] = None,
    area: Annotated[list[str] | None, typer.Option("--area", help='An area: "NAME=x0,y0,x1,y1".')] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Measure colours in a photo against a card in it, and keep nothing."""
    found = workflow.measure_photo(_bytes(photo), _card(card_name, journal), _areas(area), _corners(corners))
    if as_json:
        _print(workflow.measurement_as_json(found))
    else:
        for row in found.areas:
            if row.sample:
                pairs = zip("Lab", row.sample.lab, row.sample.sd, strict=True)
                values = ", ".join(f"{axis} {value:.1f} ± {1.96 * sd:.1f}" for axis, value, sd in pairs)
                print(f"{row.name}: {values} ({row.grade})")
            else:
                print(f"{row.name}: no colour")
        print(f"Grade: {found.grade}.")
        for reason in [*found.reasons, *(reason for row in found.areas for reason in row.reasons)]:
            print(f"- {reason.text} {reason.remedy}")
    if not found.usable:
        raise typer.Exit(NO_COLOUR)


@app.command("take-in")
def take_in(
    code: Code,
    photos: Annotated[list[Path], typer.Argument(help="Photos of this batch.")],
    card_name: Annotated[str | None, typer.Option("--card", help="The card in them; without it no colour.")] = None,
    portion: Annotated[str, typer.Option("--portion", help="What the card's window shows.")] = "",
    area: Annotated[list[str] | None, typer.Option("--area", help='A portion\'s place: "NAME=x0,y0,x1,y1".')] = None,
    corners: Annotated[str | None, typer.Option("--corners", help='The card\'s corners: "x,y x,y x,y x,y".')] = None,
    caption: Annotated[str, typer.Option("--caption")] = "",
    keep: Annotated[bool, typer.Option("--keep", help="Keep a photo without colour for the story.")] = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Take photos into the journal: dated, measured, filed under their batch."""
    results = []
    with _opened(journal) as kept:
        zone, now = _zone(kept), _now(kept)
        the_card = _card(card_name, journal) if card_name else None
        for photo in photos:
            results.append(
                workflow.take_in(
                    kept,
                    code,
                    _bytes(photo),
                    name=photo.name,
                    card=the_card,
                    by=by,
                    now=now,
                    zone=zone,
                    areas=_areas(area),
                    portion=portion,
                    corners=_corners(corners),
                    at=_moment(at, zone) if at else None,
                    caption=caption,
                    keep_without_colour=keep or the_card is None,
                )
            )
    if as_json:
        _print({"photos": [_taken(result) for result in results]})
    else:
        for result in results:
            print(f"{result.name}: {result.outcome}. {result.why}".rstrip())
    if any(result.outcome == "not kept" for result in results):
        raise typer.Exit(NO_COLOUR)


# --- many photos -------------------------------------------------------------------------------

TrayCard = Annotated[str, typer.Option("--card", help="The card to look for; its copies are told by their ids.")]
Zone = Annotated[str | None, typer.Option("--zone", help="Where the photos were taken, Europe/Lisbon say.")]
Behind = Annotated[float, typer.Option("--behind", help="Minutes that the camera's clock was behind (ahead: below 0).")]
PhotoHash = Annotated[str, typer.Argument(help="The photo: the beginning of its hash, as the tray shows it.")]


@app.command()
def tags(
    codes: Annotated[list[str], typer.Argument(help="The codes of the batches.")],
    pdf: Annotated[Path, typer.Option("--pdf", help="The PDF to write.")],
    sheet: Annotated[str, typer.Option("--sheet", help=", ".join(LABEL_SHEETS))] = "a4",
    skip: Annotated[int, typer.Option("--skip", help="How many labels of the first sheet are used up.")] = 0,
    copies: Annotated[int, typer.Option("--copies", help="How many of each.", min=1, max=500)] = 1,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Print batch tags, true to scale: a tag in a photo files it under its batch."""
    if sheet not in LABEL_SHEETS:
        raise Mistyped(f"There is no sheet “{sheet}” here.", f"Use one of {', '.join(LABEL_SHEETS)}.")
    with _opened(journal) as kept:
        labels = [TagLabel(tag_text(kept, code), code, kept.batch(code).name) for code in codes for _ in range(copies)]
    _write(pdf, tag_sheet_pdf(labels, LABEL_SHEETS[sheet], skip=skip))
    if as_json:
        _print({"pdf": str(pdf), "tags": [workflow.as_json(label) for label in labels]})
    else:
        print(f"{pdf}: {LABEL_SHEETS[sheet].words}. Print it at 100 %.")


@app.command()
def intake(
    paths: Annotated[list[Path], typer.Argument(help="Photos, or folders of them.", exists=True)],
    card_name: TrayCard = "window",
    zone: Zone = None,
    behind: Behind = 0.0,
    workers: Annotated[int, typer.Option("--workers", help="Processes that look at photos.", min=1, max=64)] = 2,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Take in many photos: each files itself by its tag, date and card, or waits in the tray. May be run again."""
    with _opened(journal) as kept, typer.progressbar(length=1000, label="Photos", file=sys.stderr) as bar:

        def show(step: Progress) -> None:
            bar.update(round(1000 * step.done / step.total) - bar.pos)

        arrivals = take_in_all(
            kept,
            files_in(paths),
            card=_card(card_name, journal),
            by=by,
            now=_now(kept),
            clock=_clock(kept, zone, behind),
            workers=workers,
            progress=show,
        )
    if as_json:
        _print({"photos": [workflow.as_json(arrival) for arrival in arrivals]})
    else:
        for arrival in arrivals:
            where = f" {arrival.item.batch}" if arrival.item else ""
            print(f"{arrival.name}: {arrival.outcome}{where}. {arrival.why}".rstrip())


@app.command()
def tray(card_name: TrayCard = "window", journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the photos that wait for you, and what is asked about each."""
    with _opened(journal) as kept:
        items = waiting_photos(kept, _card(card_name, journal), _now(kept))
    _print({"photos": [workflow.as_json(item) for item in items]}) if as_json else _say_items(items)


@app.command()
def place(
    photo: PhotoHash,
    batch: Annotated[str | None, typer.Option("--batch", help="The batch it belongs to.")] = None,
    portion: Annotated[
        list[str] | None, typer.Option("--portion", help="What each colour in it is, in order; empty leaves one out.")
    ] = None,
    area: Annotated[list[str] | None, typer.Option("--area", help='A portion\'s place: "NAME=x0,y0,x1,y1".')] = None,
    no_colour: Annotated[bool, typer.Option("--no-colour", help="Keep it for the story alone.")] = False,
    aside: Annotated[str | None, typer.Option("--aside", help="Set it aside, for this reason.")] = None,
    confirmed: Annotated[bool, typer.Option("--confirmed", help="What is doubtful is right as it is.")] = False,
    card_name: TrayCard = "window",
    at: Annotated[str | None, typer.Option("--at", help="When it was taken.")] = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Place a waiting photo, or correct a placed one; corrections stay in the history."""
    with _opened(journal) as kept:
        sha256, shown = _photo(kept, photo), _card(card_name, journal)
        if aside is not None:
            set_aside(kept, sha256, why=aside, by=by)
            item = item_of(kept, sha256, shown, _now(kept))
        else:
            item = place_photo(
                kept,
                sha256,
                card=shown,
                by=by,
                now=_now(kept),
                batch=batch,
                at=_moment(at, _zone(kept)) if at else None,
                portions=portion,
                areas={name: _box(*box) for name, box in (_areas(area) or {}).items()} or None,
                colour=False if no_colour else None,
                confirmed=confirmed,
            )
    _print(workflow.as_json(item)) if as_json else _say_items([item])


@app.command("clock")
def clock_of(
    photos: Annotated[list[str], typer.Argument(help="The photos: the beginnings of their hashes.")],
    zone: Zone = None,
    behind: Behind = 0.0,
    card_name: TrayCard = "window",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Correct the time zone or the camera's clock for a set of photos that are kept already."""
    with _opened(journal) as kept:
        hashes = [_photo(kept, photo) for photo in photos]
        clock = _clock(kept, zone, behind)
        items = set_clock(kept, hashes, clock, card=_card(card_name, journal), by=by, now=_now(kept))
    _print({"photos": [workflow.as_json(item) for item in items]}) if as_json else _say_items(items)


@app.command()
def corrected(
    photo: Annotated[Path, typer.Argument(help="The photo.")],
    out: Annotated[Path, typer.Argument(help="The JPEG to write; it has no data of place, time or camera.")],
    card_name: TrayCard = "window",
    longest: Annotated[int, typer.Option("--longest", help="Pixels of its longer side.", min=16, max=20_000)] = 2048,
    flag: Annotated[bool, typer.Option("--flag", help="Hatch what was clipped and has no true colour.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a whole photo as it would look in standard light."""
    made = corrected_photo(_bytes(photo), _card(card_name, journal), longest, flag=flag)
    if made is not None:
        _write(out, made.jpeg)
    words = made.words if made else "No picture: nothing was learnt from a card in it; `measure` says why."
    if as_json:
        _print({"picture": str(out) if made else None, "clipped": made.clipped_share if made else None, "words": words})
    else:
        print(words)
    if made is None:
        raise typer.Exit(NO_COLOUR)


@app.command("strip-key")
def strip_key_of(
    photo: Annotated[Path, typer.Argument(help="The packet's key beside the card.")],
    name: Annotated[str, typer.Option("--name", help="What to call it.")],
    lot: Annotated[str, typer.Option("--lot", help="The lot on the packet.")],
    area: Annotated[list[str], typer.Option("--area", help='A colour of the key by its pH: "8.5=x0,y0,x1,y1".')],
    card_name: TrayCard = "window",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enrol the colour key of a packet of pH strips, once."""
    boxes = {_numbers(ph, 1, '"8.5=x0,y0,x1,y1"')[0]: _box(*box) for ph, box in (_areas(area) or {}).items()}
    with _opened(journal) as kept:
        key = enrol_strip_key(kept, _bytes(photo), _card(card_name, journal), name, lot, boxes)
    _print(workflow.as_json(key)) if as_json else print(f"{name}: {len(key.steps)} colours of lot {lot}.")


@app.command()
def strip(
    code: Code,
    photo: Annotated[Path, typer.Argument(help="The strip beside the card.")],
    key: Annotated[str, typer.Option("--key", help="The packet's key.")],
    lot: Annotated[str, typer.Option("--lot", help="The lot on the strip's packet.")],
    pad: Annotated[str, typer.Option("--pad", help='Where its pad is: "x0,y0,x1,y1".')],
    strength: Annotated[float, typer.Option("--strength", help="Grams of soap in 100 ml of distilled water.")] = 1.0,
    keep: Annotated[bool, typer.Option("--keep", help="Keep it as an alkali test; otherwise it is only read.")] = False,
    confirmed: Confirmed = False,
    card_name: TrayCard = "window",
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Read a pH strip from a photo, by its packet's enrolled key."""
    data, entry = _bytes(photo), None
    with _opened(journal) as kept:
        x0, y0, x1, y1 = _numbers(pad, 4, '"x0,y0,x1,y1"')
        read = read_strip_photo(data, _card(card_name, journal), strip_key(kept, key), _box(x0, y0, x1, y1), lot)
        if keep:
            now = _now(kept)
            when = _moment(at, _zone(kept)) if at else now
            entry = keep_strip(
                kept,
                code,
                data,
                read,
                name=photo.name,
                strength_pct=strength,
                at=when,
                by=by,
                now=now,
                confirmed=confirmed,
            )
    if as_json:
        _print({"reading": workflow.as_json(read), "entry": workflow.as_json(entry) if entry else None})
    else:
        print(f"pH {read.ph:.1f}, 95 % interval {read.low:.1f} to {read.high:.1f}{'; kept.' if entry else '.'}")


def _say_items(items: Sequence[TrayItem]) -> None:
    for item in items:
        when = f"{item.at:%Y-%m-%d %H:%M}" if item.at else "no date"
        print(f"{item.sha256[:10]}  {item.name}, {when}: {item.state} {item.batch}".rstrip() + f". {item.why}".rstrip())


# --- batches -----------------------------------------------------------------------------------


@batch_app.command("start")
def batch_start(
    code: Code,
    name: Annotated[str, typer.Option("--name", help="What soap it is.")],
    recipe: Annotated[Path | None, typer.Option("--recipe", help="A recipe file (TOML; see README).")] = None,
    portion: Annotated[
        list[str] | None, typer.Option("--portion", help='"NAME" or "NAME=L,a,b", its colour when cured.')
    ] = None,
    tolerance: Annotated[float, typer.Option("--tolerance", help="The colour difference (ΔE00) you accept.")] = 3.0,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Start a batch."""
    records: list[Record] = [_recipe(recipe)] if recipe else []
    records += [_portion(text, order, tolerance) for order, text in enumerate(portion or [])]
    with _opened(journal) as kept:
        moment = _moment(at, _zone(kept)) if at else _now(kept)
        batch = workflow.start_batch(kept, code, name, at=moment, by=by, now=_now(kept), records=records)
    lye = check_lye(batch.recipe) if batch.recipe else None
    if as_json:
        _print({"batch": workflow.as_json(batch), "lye": workflow.as_json(lye) if lye else None})
    else:
        print(f"{code}, {name}: started.")
        if lye:
            _say_lye(lye)


@app.command()
def lye(
    recipe: Annotated[Path, typer.Argument(help="A recipe file (TOML; see README).")], as_json: AsJson = False
) -> None:
    """Check a recipe's lye before the pour: the superfat as an interval, from published saponification values."""
    checked = check_lye(_recipe(recipe))
    _print(workflow.as_json(checked)) if as_json else _say_lye(checked)


def _say_lye(checked: LyeCheck) -> None:
    (low, high), (worst, _) = checked.superfat_interval_pct, checked.superfat_worst_pct
    nominal = checked.superfat_nominal_pct
    print(f"Superfat {nominal:.1f} %, 95 % interval {low:.1f} to {high:.1f} %, at worst {worst:.1f} %.")
    share = 100 * checked.water_share
    print(f"Water {checked.water_g:.0f} g, {share:.1f} % of the fresh batch: no bar can lose more.")
    for found in checked.doubts:
        print(f"- {found.text} {found.do}")
    print(LYE)


@batch_app.command("rename")
def batch_rename(
    code: Code,
    name: Annotated[str, typer.Argument(help="What it is called from now on. Its code stays.")],
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Give a batch another name; the earlier one stays in the history."""
    with _opened(journal) as kept:
        entry = workflow.rename(kept, code, name, by=by, now=_now(kept))
    _print(workflow.as_json(entry)) if as_json else print(f"{code}: {in_words(entry.record)}")


@batch_app.command("list")
def batch_list(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the batches."""
    with _opened(journal) as kept:
        heads = kept.batches()
    if as_json:
        _print({"batches": [workflow.as_json(head) for head in heads]})
    else:
        for head in heads:
            print(f"{head.code}\t{head.name}\t{head.started_at:%Y-%m-%d}\t{head.photos} photos")


@batch_app.command("show")
def batch_show(code: Code, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """Show everything that was entered for a batch."""
    with _opened(journal) as kept:
        batch = kept.batch(code)
    if as_json:
        _print(workflow.as_json(batch))
    else:
        print(f"{batch.code}, {batch.name}")
        for entry in batch.entries:
            print(f"{entry.at:%Y-%m-%d %H:%M}  {entry.by}: {in_words(entry.record)}")


@batch_app.command("note")
def batch_note(
    code: Code,
    what: Annotated[str, typer.Argument(help="trace, poured, gel, unmoulded, cut or note.")],
    portion: Annotated[str, typer.Option("--portion")] = "",
    text: Annotated[str, typer.Option("--text", help="A remark.")] = "",
    bars: Annotated[int | None, typer.Option("--bars", help="How many bars, when cut.")] = None,
    temperature: Annotated[float | None, typer.Option("--temperature", help="°C.")] = None,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note what happened to a batch."""
    kind = cast(EventKind, _one_of(what, EventKind))
    _enter(journal, code, Event(kind, portion, text, temperature, bars), at, by, False, as_json)


@app.command(context_settings={"ignore_unknown_options": True})
def weigh(
    code: Code,
    subject: Annotated[str, typer.Argument(help="The marked bar or tray: always the same ones.")],
    grams: Annotated[float, typer.Argument(help="What the scale shows, less the tare.")],
    resolution: Annotated[float, typer.Option("--resolution", help="The scale's step in grams.")] = 1.0,
    tare: Annotated[float, typer.Option("--tare", help="Grams of the empty tray, already taken off.")] = 0.0,
    bars: Annotated[int, typer.Option("--bars", help="How many bars lie on the tray.")] = 1,
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter a weight."""
    record = Weighing(subject, grams, resolution, tare, bars, confirmed)
    _enter(journal, code, record, at, by, confirmed, as_json)


@app.command(context_settings={"ignore_unknown_options": True})
def test(
    code: Code,
    method: Annotated[str, typer.Argument(help="strip, meter or titration.")],
    ph: Annotated[float | None, typer.Option("--ph", help="The pH that was read.")] = None,
    half_width: Annotated[float | None, typer.Option("--half-width", help="How far off it may be, in pH.")] = None,
    strength: Annotated[float | None, typer.Option("--strength", help="Grams of soap in 100 ml of water.")] = 1.0,
    temperature: Annotated[float | None, typer.Option("--temperature", help="°C of the solution.")] = None,
    soap: Annotated[float | None, typer.Option("--soap", help="Titration: grams of soap.")] = None,
    acid: Annotated[
        list[float] | None, typer.Option("--acid", help="Titration: ml of acid, for each replicate.")
    ] = None,
    acid_strength: Annotated[
        float | None, typer.Option("--acid-strength", help="Titration: mol/l of the acid.")
    ] = None,
    blank: Annotated[float, typer.Option("--blank", help="Titration: ml of the blank.")] = 0.0,
    bar_weight: Annotated[float | None, typer.Option("--bar-weight", help="Grams of the marked bar that day.")] = None,
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter an alkali test: a pH strip, a pH meter, or a titration of free caustic alkali."""
    kind = cast(AlkaliMethod, _one_of(method, AlkaliMethod))
    record = AlkaliTest(
        kind,
        ph,
        half_width,
        None if method == "titration" else strength,
        temperature,
        soap,
        tuple(acid or ()),
        acid_strength,
        blank,
        bar_weight,
    )
    _enter(journal, code, record, at, by, confirmed, as_json)


# --- judgement ---------------------------------------------------------------------------------


@app.command()
def judge(
    code: Code,
    on: Annotated[str | None, typer.Option("--on", help="As it stood then: 2026-11-25 or 2026-11-25T18:00.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say whether a batch is ready, with the evidence, and what to do next."""
    with _opened(journal) as kept:
        moment = _moment(on, _zone(kept)) if on else _now(kept)
        judgement = workflow.judge_batch(kept, code, moment)
        recalls = workflow.recall(kept, code, moment)
        expected = lessons.expected(kept, code, moment)
    if as_json:
        more = {
            "recalls": [workflow.as_json(one) for one in recalls],
            "expected": lessons.planned_as_json(expected),
        }
        _print(workflow.as_json(judgement) | more)
        return
    print(judgement.headline)
    for one in recalls:
        print("\n".join(f"Recall {one.batch}? {line}" for line in one.words))
    for finding in judgement.findings:
        print(f"- {finding.gauge}: {finding.verdict}. {finding.words}")
    if expected:
        print("\n".join(f"Expected: {line}" for line in lessons.planned_in_words(expected)))
    print(f"Next: {judgement.next_step}")
    for caution in judgement.cautions:
        print(caution)


@app.command()
def release(
    code: Code,
    statement: Statement,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Sign the release of a batch whose verdict is ready; the evidence is frozen with it."""
    _sign(journal, code, "release", by, statement, as_json)


@app.command()
def hold(
    code: Code, statement: Statement, by: By = ME, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False
) -> None:
    """Sign that a batch is kept back, for the reason you state; the evidence is frozen with it."""
    _sign(journal, code, "hold", by, statement, as_json)


@app.command()
def withdraw(
    code: Code, statement: Statement, by: By = ME, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False
) -> None:
    """Sign that an earlier release no longer holds; the evidence is frozen with it, and a recall question answered."""
    _sign(journal, code, "withdraw", by, statement, as_json)


def _sign(
    journal: Path, code: str, act: Literal["release", "hold", "withdraw"], by: str, statement: str, as_json: bool
) -> None:
    with _opened(journal) as kept:
        entry = workflow.decide(kept, code, act, signed_by=by, statement=statement, on=_now(kept))
    _print(workflow.as_json(entry)) if as_json else print(f"{code}: {in_words(entry.record)}")


@app.command("out")
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
    _enter(journal, code, BarsOut(bars, to, cast(WhyOut, _one_of(why, WhyOut)), note), at, by, confirmed, as_json)


@app.command()
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
    sources: dict[IntendedSource, bool] = {
        "cured earlier batch": bool(like),
        "control portion": bool(control),
        "batter before fragrance": reading is not None,
        "swatch": lab is not None or photo is not None,
    }
    named = [source for source, given in sources.items() if given]
    if len(named) != 1 or (lab is not None and photo is not None):
        raise Mistyped("It has to be one source.", "Give one of --like, --control, --reading, --lab, --photo.")
    with _opened(journal) as kept:
        typed = _lab(lab) if lab is not None else None
        words = "as typed"
        if photo is not None:
            typed, words = workflow.swatch(_bytes(photo), _card(card_name, journal), _areas(area))
        entry, doubts = workflow.set_intended(
            kept,
            code,
            portion,
            named[0],
            by=by,
            now=_now(kept),
            from_batch=like,
            from_portion=like_portion or control,
            reading=reading,
            lab=typed,
            lab_from=words,
            tolerance=tolerance,
            confirmed=confirmed,
        )
    if as_json:
        _print({"entry": workflow.as_json(entry), "doubts": [workflow.as_json(doubt) for doubt in doubts]})
    else:
        print(f"{code}: {in_words(entry.record)}")


@app.command()
def due(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List what is due: weigh, photograph, test, release."""
    with _opened(journal) as kept:
        items = workflow.due_now(kept, _now(kept))
    if as_json:
        _print({"due": [{"batch": batch.code, **workflow.as_json(item)} for batch, item in items]})
    else:
        for batch, item in items:
            print(f"{item.when:%Y-%m-%d}  {batch.code} {batch.name}: {item.words} ({item.why})")


# --- what all batches say together, and what leaves the journal ---------------------------------


@app.command("materials")
def materials_list(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the materials that recipes name, with the batches that held them."""
    with _opened(journal) as kept:
        found = lessons.all_materials(kept, _now(kept))
    if as_json:
        rows = [{"material": h.material, "kind": h.kind, "batches": h.batches, "doses_pct": h.doses_pct} for h in found]
        _print({"materials": rows})
    else:
        for one in found:
            print(f"{one.material}\t{one.kind}\t{', '.join(one.batches)}")


@app.command()
def material(
    name: Annotated[str, typer.Argument(help="The material, as in the recipes.")],
    dose: Annotated[float | None, typer.Option("--dose", help="The planned dose, % of the oils.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write its fact sheet, one page.")] = None,
    markdown: Annotated[Path | None, typer.Option("--markdown", help="Write its fact sheet as Markdown.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what a material did in earlier batches, and what to expect of it."""
    with _opened(journal) as kept:
        report = lessons.material(kept, name, _now(kept), dose_pct=dose)
        for path, form in ((pdf, "pdf"), (markdown, "markdown")):
            if path is not None:
                _write(path, publish.fact_sheet(kept, name, _now(kept), "pdf" if form == "pdf" else "markdown"))
    if as_json:
        _print(lessons.material_as_json(report))
    else:
        print("\n".join(f"{what}: {said}" for what, said in lessons.material_in_words(report)))


@app.command("which")
def which_did_it(
    end: Annotated[bool, typer.Option("--end", help="Ask what keeps it off its colour, not what turned it.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say which material turned the batter, by all batches together, and which test pour would tell."""
    with _opened(journal) as kept:
        answer = lessons.which(kept, _now(kept), "end" if end else "turn")
    _print(lessons.which_as_json(answer)) if as_json else print("\n".join(lessons.which_in_words(answer)))


@app.command()
def expect(
    recipe: Annotated[Path, typer.Argument(help="A recipe file: .toml, .json or .csv.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say what a planned pour may do, by what its materials did before."""
    with _opened(journal) as kept:
        plans = lessons.planned(kept, _recipe(recipe), _now(kept))
    if as_json:
        _print({"portions": lessons.planned_as_json(plans)})
    else:
        print("\n".join(lessons.planned_in_words(plans)))


@app.command("lot")
def lot_uses(
    name: Annotated[str, typer.Argument(help="The lot of any material.")],
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write it as a page.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Say where a lot went."""
    with _opened(journal) as kept:
        uses = publish.lot(kept, name)
        if pdf is not None:
            _write(pdf, publish.lot_page(kept, name, _now(kept)))
    if as_json:
        _print({"lot": name, "uses": [workflow.as_json(use) for use in uses]})
    else:
        rows = (f"{use.batch}\t{use.name}\t{use.material}\t{use.grams:g} g" for use in uses)
        print("\n".join(rows) or f"No batch names the lot {name}.")


@app.command()
def record(
    to: Annotated[Path, typer.Argument(help="The PDF to write.")],
    batches: Annotated[list[str] | None, typer.Argument(help="Codes of the batches.")] = None,
    day: Annotated[str | None, typer.Option("--day", help="All batches poured that day, 2026-09-08.")] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="All batches that hold this lot.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write the batch record: of batches, of a day, or of all that a lot went into."""
    with _opened(journal) as kept:
        codes = list(batches or [])
        codes += publish.poured_on(kept, _moment(day, _zone(kept)).date(), _zone(kept)) if day else ()
        codes += [use.batch for use in publish.lot(kept, lot)] if lot else []
        codes = list(dict.fromkeys(codes))
        _write(to, publish.batch_record(kept, codes, _now(kept)))
    _print({"file": str(to), "batches": codes}) if as_json else print(f"{to}: the record of {', '.join(codes)}.")


@app.command()
def portfolio(
    to: Annotated[Path, typer.Argument(help="A new folder, or that of an earlier portfolio; or a .pdf file.")],
    batches: Annotated[list[str] | None, typer.Argument(help="Codes of the batches; all if left out.")] = None,
    title: Annotated[str, typer.Option("--title", help="The heading; your place's name if left out.")] = "",
    about: Annotated[str, typer.Option("--about", help="A sentence under it.")] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a portfolio: static pages that work from a folder or any web host, or a PDF. No location is in it."""
    with _opened(journal) as kept:
        codes = batches or [head.code for head in kept.batches()]
        if to.suffix.lower() == ".pdf":
            _write(to, publish.portfolio_on_paper(kept, codes, _now(kept), title=title, about=about))
            files = 1
        else:
            files = len(publish.portfolio(kept, codes, to, _now(kept), title=title, about=about))
    said = {"to": str(to), "batches": codes, "files": files}
    _print(said) if as_json else print(f"{to}: {len(codes)} batches.")


@app.command("calendar")
def calendar_file(
    to: Annotated[Path, typer.Argument(help="The .ics file to write.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write what is due as a calendar file; imported again, its events move instead of being doubled."""
    with _opened(journal) as kept:
        due = len(workflow.due_now(kept, _now(kept)))
        _write(to, publish.calendar_file(kept, _now(kept), _zone(kept)))
    _print({"file": str(to), "events": due}) if as_json else print(f"{to}: {due} things are due.")


@app.command()
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
    if paper not in ("a4", "letter"):
        raise Mistyped(f"There is no paper “{paper}” here.", "Use --paper a4 or --paper letter.")
    with _opened(journal) as kept:
        sheet: Literal["a4", "letter"] = "a4" if paper == "a4" else "letter"
        text = tag_text(kept, code) if tag else ""
        made = publish.labels(kept, code, _now(kept), count=count, with_weight=weight, tag=text, paper=sheet)
        _write(to, made)
        net = publish.net_weight(kept, code)
    if as_json:
        _print({"file": str(to), "net_weight": workflow.as_json(net)})
    else:
        proposed = f"{net.grams_each} g are proposed for each bar: " if net.grams_each is not None else ""
        print(f"{to}: labels of {code}. {proposed}{net.words}")


@app.command("recipe")
def recipe_out(
    code: Code,
    to: Annotated[Path, typer.Argument(help="The file to write: .json, or .csv for a spreadsheet.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a batch's recipe to pass on; batch start --recipe reads it again."""
    if to.suffix.lower() not in (".json", ".csv"):
        raise Mistyped(f"“{to.name}” is neither .json nor .csv.", "Choose one of them.")
    with _opened(journal) as kept:
        _write(to, publish.recipe_out(kept, code, "csv" if to.suffix.lower() == ".csv" else "json"))
    _print({"file": str(to), "batch": code}) if as_json else print(f"{to}: the recipe of {code}.")


@app.command("bundle")
def bundle_out(
    code: Code,
    to: Annotated[Path, typer.Argument(help="The file to write.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write a batch as one file that another journal can open: history, photos as they are (places in them too)."""
    with _opened(journal) as kept:
        _write(to, publish.bundle(kept, code))
    _print({"file": str(to), "batch": code}) if as_json else print(f"{to}: batch {code}, with its photos as they are.")


@app.command("open-bundle")
def bundle_in(
    file: Annotated[Path, typer.Argument(help="The bundle.")],
    code: Annotated[str, typer.Option("--code", help="Another code for it here.")] = "",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter the batch of a bundle as a new one, after all of it was verified."""
    with _opened(journal) as kept:
        batch = publish.open_bundle(kept, _bytes(file), code=code, by=by, now=_now(kept), zone=_zone(kept))
    if as_json:
        _print({"batch": batch.code, "entries": len(batch.entries)})
    else:
        print(f"{batch.code}, {batch.name}: {len(batch.entries)} entries.")


# --- the journal itself ------------------------------------------------------------------------


@app.command()
def check(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """Verify every photo's hash and every reference of the journal; exit 1 if anything is wrong."""
    with _opened(journal) as kept:
        problems = kept.check()
    if as_json:
        _print({"problems": [workflow.as_json(problem) for problem in problems]})
    else:
        print("\n".join(str(problem) for problem in problems) or "Everything verifies.")
    if problems:
        raise typer.Exit(1)


@app.command()
def history(code: Code, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List everything that was ever entered for a batch: when, by whom, and what it corrected or took back."""
    with _opened(journal) as kept:
        entries = kept.history(code)
    if as_json:
        _print({"entries": [{**workflow.as_json(entry), "words": in_words(entry.record)} for entry in entries]})
        return
    later = {entry.supersedes: entry.id for entry in entries}
    for entry in entries:
        about = f" (instead of {entry.supersedes})" if entry.supersedes else ""
        about += f" (no longer counts: see {later[entry.id]})" if entry.id in later else ""
        recorded = f"{entry.by}, written down {entry.recorded_at:%Y-%m-%d %H:%M} UTC"
        print(f"{entry.id}\t{entry.at:%Y-%m-%d %H:%M}\t{in_words(entry.record)}{about}\t{recorded}")


@app.command()
def undo(
    entry: Annotated[int, typer.Argument(help="The number of the entry, as in history.")],
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Undo an entry: it is taken back, and what it corrected counts again. Nothing leaves the history."""
    with _opened(journal) as kept:
        made = workflow.undo(kept, entry, why=why, by=by, now=_now(kept))
    if as_json:
        _print({"entries": [workflow.as_json(new) for new in made]})
    else:
        print("\n".join(f"{new.id}\t{in_words(new.record)}" for new in made))


@app.command()
def backup(
    to: Annotated[Path, typer.Argument(help="The file to write, or a folder: its name is then the time.")],
    every: Annotated[
        float | None, typer.Option("--every", help="Days: do nothing if the folder has a younger one (for a timer).")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write the whole journal into one file, verified while it is written; exit 1 if a photo was missing or damaged."""
    if every is not None and not to.is_dir():
        raise Mistyped(f"{to} is no folder.", "With --every, give the folder in which the backups are kept.")
    latest = last_backup(to)
    if latest and every is not None and utc_now() - latest < timedelta(days=every):
        said = f"The last backup is of {latest:%Y-%m-%d %H:%M} UTC: none is due."
        _print({"path": None, "why": said}) if as_json else print(said)
        return
    with _opened(journal) as kept:
        made = kept.backup(to)
    _say_data(made, f"{made.path}: everything, with {made.photos} photos.", as_json)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="The backup.")],
    to: Annotated[Path, typer.Argument(help="A new folder: nothing is ever replaced.")],
    as_json: AsJson = False,
) -> None:
    """Make a journal of a backup, in a new folder, after all of it was verified."""
    made = restore_backup(file, to, utc_now)
    _say_data(made, f"{to}: restored, with {made.photos} photos. Open it with --journal {to}", as_json)


@app.command()
def export(
    to: Annotated[Path, typer.Argument(help="A new folder.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write everything: as JSON with its schema, as tables for spreadsheets (CSV), and the photos as they came."""
    with _opened(journal) as kept:
        made = kept.export(to)
    _say_data(
        made, f"{to}: everything, with {made.photos} photos. For yourself: photos say where they were taken.", as_json
    )


@app.command("import")
def import_(
    source: Annotated[Path, typer.Argument(help="A journal.json, or a folder of tables (CSV), as export writes them.")],
    to: Annotated[Path, typer.Argument(help="A new folder for the journal.")],
    as_json: AsJson = False,
) -> None:
    """Make a journal of exported data, in a new folder, after all of it was verified."""
    made = bring_in(source, to, utc_now)
    _say_data(made, f"{to}: a journal, with {made.photos} photos. Open it with --journal {to}", as_json)


def _say_data(made: Backup, said: str, as_json: bool) -> None:
    _print(workflow.as_json(made)) if as_json else print(said)
    if made.left_out:
        print(f"{len(made.left_out)} photos are missing or damaged and not in it.", file=sys.stderr)
        raise typer.Exit(1)


@app.command()
def move(
    to: Annotated[Path, typer.Argument(help="A new folder; the same one, if only the database moves to a server.")],
    to_url: Annotated[
        str | None, typer.Option("--to-url", help="The address of a PostgreSQL database to move it into.")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Copy the journal to another folder, to a PostgreSQL server or from one, compared row by row; this one stays."""
    with _opened(journal) as kept:
        kept.copy_to(to, url=to_url)
        batches = len(kept.batches())
    if as_json:
        _print({"journal": str(to), "batches": batches, "on_a_server": to_url is not None})
    else:
        print(f"{to}: {batches} batches, every row and photo the same. The old journal is as it was.")


@app.command()
def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where the demo's journal goes.")] = DATA / "demo",
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_app: Annotated[bool, typer.Option("--no-app", help="Build the journal and print its verdicts, no app.")] = False,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    as_json: AsJson = False,
) -> None:
    """Measure the demo's pictures, judge its batches, and open the app on them."""
    pictures = demonstration.pictures_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with Journal.open(folder) as kept:
        with typer.progressbar(length=1000, label="Measuring the pictures", file=sys.stderr) as bar:

            def show(step: demonstration.Step) -> None:
                bar.update(round(1000 * step.done / step.total) - bar.pos)

            demonstration.build_demo(kept, pictures, show)
        verdicts = {batch.code: workflow.judge_batch(kept, batch.code, _now(kept)) for batch in kept.batches()}
        names = {batch.code: batch.name for batch in kept.batches()}
    if as_json:
        _print(
            {"journal": str(folder), "verdicts": {code: workflow.as_json(value) for code, value in verdicts.items()}}
        )
    else:
        for code, value in verdicts.items():
            print(f"{code} {names[code]}: {value.headline}")
    os.environ.pop(DATABASE_URL, None)  # the demo is in its folder
    if not no_app:
        _serve(folder, port, not no_open)


@app.command()
def serve(
    port: Annotated[int, typer.Option("--port")] = 8501,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open a browser window.")] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Open the app on this computer (127.0.0.1 only)."""
    with _opened(journal):
        pass  # a journal that cannot be opened is said here, not in the browser
    if as_json:
        _print({"address": f"http://127.0.0.1:{port}", "journal": str(journal)})
    _serve(journal, port, not no_open)


def _serve(folder: Path, port: int, open_browser: bool) -> None:
    ui = Path(__file__).with_name("ui")
    command = [sys.executable, "-m", "streamlit", "run", str(ui / "start.py"), "--server.port", str(port)]
    environment = {**os.environ, "CUREJOURNAL_JOURNAL": str(folder.resolve())}
    # The settings (127.0.0.1 alone, permitted hosts, no telemetry) are in the folder it runs in.
    with subprocess.Popen(command, cwd=ui, env=environment) as server:
        try:
            if open_browser and _answers(port, server):
                webbrowser.open(f"http://127.0.0.1:{port}")
            server.wait()
        except KeyboardInterrupt:
            server.terminate()
    if server.returncode not in (0, -15, -2, 130):
        raise CureJournalError(f"The app stopped with code {server.returncode}.", f"Is port {port} in use? Try --port.")


def _answers(port: int, server: subprocess.Popen[bytes]) -> bool:
    for _ in range(120):
        if server.poll() is not None:
            return False
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1):
                return True
        except OSError:
            time.sleep(0.25)
    return False


# --- reading what was typed --------------------------------------------------------------------


def _opened(folder: Path) -> Journal:
    return Journal.open(folder, url=os.environ.get(DATABASE_URL) or None)


def _now(journal: Journal) -> datetime:
    return workflow.calendar(journal, datetime.now().astimezone())


def _zone(journal: Journal) -> tzinfo:
    name = journal.setting("time zone")
    zone = ZoneInfo(name) if name else datetime.now().astimezone().tzinfo
    assert zone is not None
    return zone


def _moment(text: str, zone: tzinfo) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as fault:
        raise Mistyped(f"“{text}” is no date.", "Write it as 2026-10-03T14:30.") from fault
    if len(text) <= 10:  # a day without a time: its end, so that the whole day counts
        moment = datetime.combine(moment.date(), clock_time(23, 59))
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def _clock(journal: Journal, zone: str | None, behind_minutes: float) -> Clock:
    try:
        where = ZoneInfo(zone) if zone else _zone(journal)
    except (ZoneInfoNotFoundError, ValueError) as fault:
        raise Mistyped(f"There is no time zone “{zone}”.", "Write it as Europe/Lisbon.") from fault
    return Clock(where, timedelta(minutes=behind_minutes))


def _photo(journal: Journal, beginning: str) -> str:
    found = journal.photos_named(beginning.lower())
    if len(found) != 1 or len(beginning) < 4:
        raise Mistyped(f"{len(found)} photos begin with “{beginning}”.", "Give more of the hash; the tray shows it.")
    return found[0].sha256


def _box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as fault:
        raise Mistyped(f"{path} cannot be written ({fault.strerror}).", "Choose another place.") from fault


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise Mistyped(
            f"The file {path} cannot be read ({fault.strerror}).", "Check the name and try again."
        ) from fault


def _text(path: Path) -> str:
    try:
        return _bytes(path).decode("utf-8")
    except UnicodeDecodeError as fault:
        raise Mistyped(f"The file {path} is not a text file (UTF-8).", "Choose the right file.") from fault


def _card(name: str, journal: Path) -> workflow.Card:
    if name.endswith(".toml"):
        return workflow.find_card(_text(Path(name)) + "\n")
    if _has_journal(journal):
        with _opened(journal) as kept:
            return workflow.find_card(name, kept)
    return workflow.find_card(name)


def _has_journal(folder: Path) -> bool:
    return (folder / "journal.sqlite").is_file() or bool(os.environ.get(DATABASE_URL))


def _numbers(text: str, count: int, example: str) -> tuple[float, ...]:
    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != count:
        raise Mistyped(f"“{text}” cannot be read.", f"Write it as {example}.")
    return numbers


def _corners(text: str | None) -> list[tuple[float, float]] | None:
    if text is None:
        return None
    points = [_numbers(part, 2, '"x,y x,y x,y x,y"') for part in text.split()]
    return [(x, y) for x, y in points]


def _areas(texts: list[str] | None) -> dict[str, workflow.Box] | None:
    if not texts:
        return None
    areas: dict[str, workflow.Box] = {}
    for text in texts:
        name, _, numbers = text.rpartition("=")
        if not name or name in areas:
            raise Mistyped(f"“{text}” cannot be read, or its name comes twice.", 'Write it as "NAME=x0,y0,x1,y1".')
        x0, y0, x1, y1 = _numbers(numbers, 4, '"NAME=x0,y0,x1,y1"')
        areas[name] = (x0, y0, x1, y1)
    return areas


def _portion(text: str, order: int, tolerance: float) -> Portion:
    name, equals, lab = text.rpartition("=")
    if not equals:
        return Portion(text, order, tolerance=tolerance)
    return Portion(name, order, _lab(lab), "swatch", tolerance)


def _lab(text: str) -> Lab:
    lightness, a, b = _numbers(text, 3, '"L,a,b"')
    return lightness, a, b


def _one_of(text: str, choices: object) -> str:
    known = get_args(choices)
    if text not in known:
        raise Mistyped(f"“{text}” is not known here.", f"Use one of {', '.join(known)}.")
    return text


def _recipe(path: Path) -> Recipe:
    if path.suffix.lower() in (".json", ".csv"):
        return publish.recipe_in(_text(path).lstrip("\ufeff"), "csv" if path.suffix.lower() == ".csv" else "json")
    try:
        fields = tomllib.loads(_text(path))
    except (ValueError, RecursionError) as fault:
        raise Mistyped(f"The recipe {path} cannot be read: {fault}.", "Correct it; the README shows one.") from fault
    return workflow.recipe_from(fields)


def _enter(journal: Path, code: str, record: Record, at: str | None, by: str, confirmed: bool, as_json: bool) -> None:
    with _opened(journal) as kept:
        now = _now(kept)
        moment = _moment(at, _zone(kept)) if at else now
        entry, doubts = workflow.enter(kept, code, record, at=moment, by=by, now=now, confirmed=confirmed)
    if as_json:
        _print({"entry": workflow.as_json(entry), "doubts": [workflow.as_json(doubt) for doubt in doubts]})
    else:
        print(f"{code}: {in_words(record)}")


def _taken(result: workflow.TakenIn) -> dict[str, Any]:
    return {
        "name": result.name,
        "outcome": result.outcome,
        "why": result.why,
        "photo": result.photo.sha256 if result.photo else None,
        "measurement": workflow.measurement_as_json(result.measurement) if result.measurement else None,
        "entries": [entry.id for entry in result.entries],
    }


def _print(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))
