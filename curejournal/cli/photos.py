"""Cards and single photos."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from curejournal import workflow
from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n
from curejournal.cli.options import (
    AREA_EXAMPLE,
    DEFAULT_JOURNAL,
    ME,
    NO_COLOUR,
    AsJson,
    At,
    By,
    Code,
    Confirmed,
    JournalAt,
    Mistyped,
    after,
    areas_of,
    bytes_of,
    card_of,
    corners_of,
    has_journal,
    now_of,
    open_journal,
    paper_of,
    print_json,
    when_of,
    write_file,
)
from curejournal.cli.speech import tell, tell_all
from curejournal.workflow import photos as adding

Edition = Literal["before", "since", "unknown", "home"]


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
    shown, size = card_of(name, journal), paper_of(paper)
    if (values is None) != (not save_as):
        raise Mistyped(msg("--values and --save-as go together."), msg("Give the file and a new name."))
    if values is not None:
        with open_journal(journal) as kept:
            shown, doubts = workflow.card_with_values(
                kept, shown, bytes_of(values), source=values.name, name=save_as, copy_id=copy_id
            )
        for doubt in doubts:
            tell(doubt, to=sys.stderr)
    if pdf is not None:
        with after(msg("The card {name} is kept.", name=save_as) if save_as else ""):
            write_file(pdf, workflow.card_to_print(shown, size, copy_id))
    drifts: tuple[workflow.PatchDrift, ...] = ()
    if has_journal(journal):
        with open_journal(journal) as kept:
            drifts = workflow.card_drift(kept, shown.name) or ()
    if as_json:
        print_json({**workflow.card_as_json(shown), "drifting": [workflow.as_json(drift) for drift in drifts]})
    elif pdf is not None:
        tell(msg("{pdf}: print it at 100 %, then measure the two lines on the sheet.", pdf=pdf))
    else:
        width, height = shown.size_mm
        tell(
            msg(
                "{title}: {width:g} x {height:g} mm, {count}.",
                title=shown.title or shown.name,
                width=width,
                height=height,
                count=msg_n("{number} patch", "{number} patches", len(shown.patches)),
            )
        )
        tell(msg("Its values: {provenance}.", provenance=shown.provenance))
        tell(msg("Its patches, in their order: {ids}.", ids=", ".join(patch.id for patch in shown.patches)))
        for drift in drifts:
            tell(
                msg(
                    "{patch} no longer fits as it did ({at_first:.1f} at first, {now:.1f} now).",
                    patch=drift.patch,
                    at_first=drift.at_first,
                    now=drift.now,
                )
            )
        if drifts:
            tell(msg("The card has faded or is stained: print a new one and enrol it."))


def enrol(
    photos: Annotated[list[Path], typer.Argument(help="Photos with the printed card and the chart side by side.")],
    copy_id: Annotated[str, typer.Option("--copy-id", help="The id on the printed card; its name from now on.")],
    card_name: Annotated[str, typer.Option("--card", help="Which card was printed.")] = "window",
    beside: Annotated[str, typer.Option("--beside", help="The chart with known colours.")] = "chart24",
    edition: Annotated[
        Edition,
        typer.Option("--edition", help="When the 24-patch chart was made: before or since November 2014, or at home."),
    ] = "unknown",
    relative: Annotated[
        bool, typer.Option("--relative", help="No chart: photos in daylight, the card's white paper is the measure.")
    ] = False,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Measure a printed card's own colours beside a chart with known ones, and keep them."""
    with open_journal(journal) as kept:
        told = workflow.chart_made(edition) if beside == "chart24" else card_of(beside, journal)
        chart = None if relative else told
        enrolled, doubts = workflow.enrol_card(
            kept,
            card_of(card_name, journal),
            [bytes_of(p) for p in photos],
            chart,
            copy_id,
            edition_known=edition != "unknown" or beside != "chart24",
        )
    if as_json:
        print_json({"card": workflow.card_as_json(enrolled), "doubts": doubts})
    else:
        tell_all(
            [
                msg(
                    "Enrolled as {copy_id}: {count} known.",
                    copy_id=copy_id,
                    count=msg_n("{number} patch", "{number} patches", len(enrolled.references)),
                ),
                *doubts,
            ]
        )


NO_AREA = msg(
    "The card was found, but no area was given: say where the soap is, --area {example}.", example=AREA_EXAMPLE
)


def measure(
    photo: Annotated[Path, typer.Argument(help="The photo.")],
    card_name: Annotated[str, typer.Option("--card", help="window, chart24, a card of the journal, or a .toml file.")],
    corners: Annotated[str | None, typer.Option("--corners", help='The card\'s corners: "x,y x,y x,y x,y".')] = None,
    area: Annotated[list[str] | None, typer.Option("--area", help=f"An area: {AREA_EXAMPLE}.")] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Measure colours in a photo against a card in it, and keep nothing."""
    found = workflow.measure_photo(bytes_of(photo), card_of(card_name, journal), areas_of(area), corners_of(corners))
    if as_json:
        print_json(workflow.measurement_as_json(found))
    else:
        for row in found.areas:
            if row.sample:
                pairs = zip("Lab", row.sample.lab, row.sample.sd, strict=True)
                values = ", ".join(f"{axis} {digits(value, 1)} ± {1.96 * sd:.1f}" for axis, value, sd in pairs)
                scale = msg(" on this card's own scale") if found.is_relative else ""
                tell(
                    msg("{name}: {values}{scale} ({grade})", name=row.name, values=values, scale=scale, grade=row.grade)
                )
            else:
                tell(msg("{name}: no colour", name=row.name))
        tell(msg("Grade: {grade}.", grade=found.grade) if found.areas or not found.usable else NO_AREA)
        for reason in [*found.reasons, *(reason for row in found.areas for reason in row.reasons)]:
            tell(msg("- {text} {remedy}", text=reason.text, remedy=reason.remedy))
    if not found.usable:
        raise typer.Exit(NO_COLOUR)


def take_in(
    code: Code,
    photos: Annotated[list[Path], typer.Argument(help="Photos of this batch.")],
    card_name: Annotated[str | None, typer.Option("--card", help="The card in them; without it no colour.")] = None,
    portion: Annotated[str, typer.Option("--portion", help="What the card's window shows.")] = "",
    area: Annotated[list[str] | None, typer.Option("--area", help=f"A portion's place: {AREA_EXAMPLE}.")] = None,
    corners: Annotated[str | None, typer.Option("--corners", help='The card\'s corners: "x,y x,y x,y x,y".')] = None,
    caption: Annotated[str, typer.Option("--caption")] = "",
    keep: Annotated[bool, typer.Option("--keep", help="Keep a photo without colour for the story.")] = False,
    confirmed: Confirmed = False,
    at: At = None,
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Take photos into the journal: dated, measured, filed under their batch."""
    places, seen = areas_of(area), tuple(corners_of(corners) or ())
    sources = [adding.Source(photo.name, partial(bytes_of, photo)) for photo in photos]
    with open_journal(journal) as kept:
        the_card = card_of(card_name, journal) if card_name else None
        answers = adding.Answers(
            at=when_of(at, kept) if at else None,
            areas=places,
            corners=seen,
            window="" if places else portion,
            caption=caption or None,
            confirmed=adding.ALL if confirmed else (),
        )
        arrivals = adding.add_photos(
            kept, code, sources, the_card, answers, by=by, now=now_of(kept), story=keep or the_card is None
        )
    if as_json:
        print_json({"photos": [_as_json(arrival) for arrival in arrivals]})
    else:
        for arrival in arrivals:
            told = msg("{name}: {outcome}.", name=arrival.name, outcome=msg(arrival.outcome))
            tell(join(" ", filter(None, (told, arrival.why))))
    if any(arrival.outcome == "left out" for arrival in arrivals):
        raise typer.Exit(NO_COLOUR)


def _as_json(arrival: adding.Arrival) -> dict[str, Any]:
    measured = arrival.analysis and arrival.analysis.measurement
    return {
        "name": arrival.name,
        "outcome": arrival.outcome,
        "why": arrival.why,
        "photo": arrival.item.sha256 if arrival.item else None,
        "measurement": workflow.measurement_as_json(measured) if measured and measured.card else None,
        "entries": [entry.id for entry in arrival.entries],
    }


def contribute(
    code: Code,
    folder: Annotated[Path, typer.Argument(help="A new folder.")],
    card_name: Annotated[str, typer.Option("--card", help="The card in them.")] = "window",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write one batch's pictures to a folder that you may give away: card and window alone. Nothing is sent."""
    with open_journal(journal) as kept:
        count = adding.contribute(kept, code, card_of(card_name, journal), folder)
    if as_json:
        print_json({"folder": str(folder), "pictures": count})
    else:
        tell(
            msg(
                "{folder}: {count}. Look at each, read STATEMENT.txt, and sign it if you agree.",
                folder=folder,
                count=msg_n("{number} picture", "{number} pictures", count),
            )
        )
