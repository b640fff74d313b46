"""Batches: start, note, weigh, test, look, measure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, cast, get_args

import typer

from curejournal import workflow
from curejournal.base.messages import join, msg, msg_n, quantity, sentence
from curejournal.batch.descriptions import alkali_words, describe
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import (
    AlkaliMethod,
    AlkaliTest,
    Event,
    EventKind,
    PacketCheck,
    Record,
    ScalarReading,
    SurfaceLook,
    SurfaceNote,
    Weighed,
    WeighedHow,
    Weighing,
    WeighingCheck,
)
from curejournal.cli.options import (
    DAYS_BEGINNING,
    DEFAULT_JOURNAL,
    ME,
    AsJson,
    At,
    By,
    Code,
    Confirmed,
    JournalAt,
    confirmable,
    enter_record,
    now_of,
    numbers_of,
    one_of,
    open_journal,
    portions_of,
    print_json,
    recipe_of,
    say_entries,
    when_of,
    write_file,
)
from curejournal.cli.speech import tell, tell_all
from curejournal.documents import formatting
from curejournal.judging.alkali import NO_TEMPERATURE
from curejournal.judging.judgement import LYE
from curejournal.judging.traceability import lots_of
from curejournal.soap.lye import LyeCheck, alkalis_for, check_lye
from curejournal.soap.lye_words import answer, figures
from curejournal.soap.scaling import mould_g, scale
from curejournal.workflow import documents


def batch_start(
    code: Code,
    name: Annotated[str, typer.Option("--name", help="What soap it is.")],
    recipe: Annotated[Path | None, typer.Option("--recipe", help="A recipe file (TOML; see README).")] = None,
    portion: Annotated[
        list[str] | None, typer.Option("--portion", help='"NAME" or "NAME=L,a,b", its colour when cured.')
    ] = None,
    control: Annotated[
        list[str] | None, typer.Option("--control", help="A portion that is a control: unscented or kept, to compare.")
    ] = None,
    tolerance: Annotated[float, typer.Option("--tolerance", help="The colour difference (ΔE00) you accept.")] = 3.0,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Start a batch."""
    planned = recipe_of(recipe) if recipe else None
    records: list[Record] = [planned] if planned else []
    records += portions_of(portion or [], control or [], tolerance)
    with open_journal(journal) as kept:
        moment = when_of(at, kept, DAYS_BEGINNING) if at else now_of(kept)
        # First: once it is started, nothing is to be refused.
        pieces = workflow.doubts_about_pieces(kept, code, planned, now_of(kept)) if planned else ()
        batch = workflow.start_batch(kept, code, name, at=moment, by=by, now=now_of(kept), records=records)
    lye = check_lye(batch.recipe) if batch.recipe else None
    if as_json:
        told = {"batch": workflow.as_json(batch), "lye": workflow.as_json(lye) if lye else None}
        print_json(told | {"doubts": [workflow.as_json(doubt) for doubt in pieces]})
    else:
        tell(msg("{code}, {name}: started.", code=code, name=name))
        for doubt in pieces:
            tell(msg("- {text} {do}", text=doubt.text, do=doubt.do))
        if lye:
            _say_lye(lye)


def lye(
    recipe: Annotated[Path, typer.Argument(help="A recipe file (TOML; see README).")],
    factor: Annotated[float | None, typer.Option("--factor", help="Scale it first: 2 is twice as much.")] = None,
    grams: Annotated[float | None, typer.Option("--grams", help="Scale it first to this mass of batter.")] = None,
    mould: Annotated[
        str | None, typer.Option("--mould", help='Scale it first to a mould, inside: "LENGTH,WIDTH,DEPTH" in cm.')
    ] = None,
    superfat: Annotated[
        float | None, typer.Option("--superfat", help="Say what lye gives this superfat, %, of the recipe's own kinds.")
    ] = None,
    save: Annotated[Path | None, typer.Option("--save", help="Write the recipe as scaled: .json or .csv.")] = None,
    as_json: AsJson = False,
) -> None:
    """Check a recipe's lye before the pour: the superfat as an interval, from published saponification values."""
    wanted = recipe_of(recipe)
    if mould is not None:
        length, width, depth = numbers_of(mould, 3, '"25,9,6.5"')
        grams = mould_g(length, width, depth)
    if factor is not None or grams is not None:
        wanted = scale(wanted, factor, to_g=grams)
    if superfat is not None:
        wanted = replace(wanted, alkalis=alkalis_for(wanted, superfat))
    checked = check_lye(wanted)
    if save is not None:
        write_file(save, documents.recipe_text(wanted, "csv" if save.suffix.lower() == ".csv" else "json"))
    if as_json:
        print_json(workflow.as_json(checked) | {"recipe": workflow.as_json(wanted)})
        return
    if factor is not None or grams is not None:
        tell_all(
            msg("{grams} {name}", grams=quantity(f"{item:.1f}", "g"), name=name) for name, _, item in lots_of(wanted)
        )
    if superfat is not None:
        weighed = (replace(alkali, grams=round(alkali.grams, 1)) for alkali in wanted.alkalis)
        tell_all(msg("Weigh {alkali}.", alkali=alkali_words(alkali)) for alkali in weighed)
    _say_lye(checked)


def _say_lye(checked: LyeCheck) -> None:
    tell(answer(checked))
    for name, value in figures(checked):
        tell(msg("{name}: {value}", name=name, value=value))
    for found in checked.doubts:
        tell(msg("- {text} {do}", text=found.text, do=found.do))
    tell(LYE)


def batch_rename(
    code: Code,
    name: Annotated[str, typer.Argument(help="What it is called from now on. Its code stays.")],
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Give a batch another name; the earlier one stays in the history."""
    with open_journal(journal) as kept:
        entry = workflow.rename(kept, code, name, by=by, now=now_of(kept))
    if as_json:
        print_json(workflow.as_json(entry))
    else:
        tell(msg("{code}: {record}", code=code, record=describe(entry.record)))


def batch_portion(
    code: Code,
    name: Annotated[str, typer.Argument(help="The portion; one that the batch has not is added.")],
    control: Annotated[
        bool | None, typer.Option("--control/--no-control", help="A control: unscented or kept, to compare with.")
    ] = None,
    tolerance: Annotated[float | None, typer.Option("--tolerance", help="The ΔE00 you accept from now on.")] = None,
    batter: Annotated[float | None, typer.Option("--batter", help="Grams of batter that it got.")] = None,
    confirmed: Confirmed = False,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Add a portion, or say of one that it is a control, what you accept, how much batter it got."""
    with open_journal(journal) as kept, confirmable():
        entries, doubts = workflow.set_portion(
            kept,
            code,
            name,
            by=by,
            now=now_of(kept),
            control=control,
            tolerance=tolerance,
            batter_g=batter,
            confirmed=confirmed,
        )
    say_entries(code, entries, doubts, as_json)


def batch_list(journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the batches."""
    with open_journal(journal) as kept:
        heads = kept.batches()
    if as_json:
        print_json({"batches": [workflow.as_json(head) for head in heads]})
    else:
        for head in heads:
            tell(
                join(
                    "\t",
                    (
                        head.code,
                        head.name,
                        formatting.day(head.started_at),
                        msg_n("{number} photo", "{number} photos", head.photos),
                    ),
                )
            )


def batch_show(code: Code, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """Show everything that was entered for a batch."""
    with open_journal(journal) as kept:
        batch, zone = kept.batch(code), workflow.time_zone(kept)
    if as_json:
        print_json(workflow.as_json(batch))
    else:
        tell(msg("{code}, {name}", code=batch.code, name=batch.name))
        for entry in batch.entries:
            tell(
                msg(
                    "{at}  {by}: {record}",
                    at=formatting.moment(entry.at, zone),
                    by=entry.by,
                    record=describe(entry.record),
                )
            )


def batch_note(
    code: Code,
    what: Annotated[str, typer.Argument(help=f"{', '.join(get_args(EventKind))}.")],
    portion: Annotated[str, typer.Option("--portion")] = "",
    text: Annotated[str, typer.Option("--text", help="A remark.")] = "",
    bars: Annotated[int | None, typer.Option("--bars", help="How many bars, when cut.")] = None,
    temperature: Annotated[float | None, typer.Option("--temperature", help="°C.")] = None,
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note what happened to a batch."""
    kind = cast(EventKind, one_of(what, EventKind))
    enter_record(journal, code, Event(kind, portion, text, temperature, bars), at, by, confirmed, as_json)


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
    enter_record(journal, code, record, at, by, confirmed, as_json)


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
    packet: Annotated[str, typer.Option("--packet", help="Strip: which packet it is from.")] = "",
    bar: Annotated[str, typer.Option("--bar", help="Which bar was tested.")] = "",
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter an alkali test: a pH strip, a pH meter, or a titration of free caustic alkali."""
    kind = cast(AlkaliMethod, one_of(method, AlkaliMethod))
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
        bar,
        packet,
    )
    enter_record(journal, code, record, at, by, confirmed, as_json)
    if record.ph is not None and temperature is None and not as_json:
        tell(sentence(NO_TEMPERATURE, msg(": add it with --temperature.")))


def surface(
    code: Code,
    look: Annotated[str, typer.Argument(help=f"{', '.join(get_args(SurfaceLook))}.")],
    count: Annotated[
        int | None, typer.Option("--count", help="How many spots; of a lye pocket, how many bars.")
    ] = None,
    area: Annotated[float | None, typer.Option("--area", help="Part of the surface, %.")] = None,
    note: Annotated[str, typer.Option("--note", help="A remark.")] = "",
    outside_only: Annotated[bool, typer.Option("--outside-only", help="No cut face was looked at.")] = False,
    set_aside: Annotated[int | None, typer.Option("--set-aside", help="How many affected bars were taken out.")] = None,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter what the bars look like."""
    record = SurfaceNote(cast(SurfaceLook, one_of(look, SurfaceLook)), count, area, note, outside_only, set_aside)
    enter_record(journal, code, record, at, by, confirmed=False, as_json=as_json)


def reading(
    code: Code,
    kind: Annotated[str, typer.Argument(help=f"{', '.join(f'{k.name} ({k.unit})' for k in KINDS.values())}.")],
    value: Annotated[float, typer.Argument(help="In the unit of its kind.")],
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enter any other measured quantity, such as the temperature or humidity of the room."""
    enter_record(journal, code, ScalarReading(kind, value), at, by, confirmed=False, as_json=as_json)


def weighed(
    code: Code,
    covers: Annotated[str, typer.Argument(help=f"{', '.join(get_args(Weighed))}.")],
    how: Annotated[str, typer.Argument(help=f"{', '.join(get_args(WeighedHow))}.")],
    batter: Annotated[float | None, typer.Option("--batter", help="Grams of all batter, without its pot.")] = None,
    resolution: Annotated[float, typer.Option("--resolution", help="The scale's step in grams.")] = 1.0,
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note what guards against a blunder in the recipe's weights: lye and oils weighed twice, say."""
    record = WeighingCheck(
        cast(Weighed, one_of(covers, Weighed)), cast(WeighedHow, one_of(how, WeighedHow)), batter, resolution
    )
    enter_record(journal, code, record, at, by, confirmed, as_json)


def packet(
    code: Code,
    name: Annotated[str, typer.Argument(help="The packet of strips, as it is named in the tests.")],
    strip: Annotated[float, typer.Option("--strip", help="What the strip read.")],
    meter: Annotated[float, typer.Option("--meter", help="What a calibrated meter read in the same solution.")],
    half_width: Annotated[float, typer.Option("--half-width", help="How far off the strip may be, in pH.")] = 0.5,
    meter_half_width: Annotated[float, typer.Option("--meter-half-width", help="The same for the meter.")] = 0.1,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Note what strips of a packet read in soap beside a calibrated meter; it counts for all batches."""
    record = PacketCheck(name, strip, meter, half_width, meter_half_width)
    enter_record(journal, code, record, at, by, confirmed=False, as_json=as_json)
