"""Many photos at once: tags, import and inbox; strips and corrected pictures."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import tzinfo
from pathlib import Path
from typing import Annotated, Any

import typer

from curejournal import workflow
from curejournal.base.messages import join, msg
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
    clock_for,
    corners_of,
    now_of,
    numbers_of,
    open_journal,
    photo_of,
    print_json,
    when_of,
    write_file,
)
from curejournal.cli.speech import tell
from curejournal.documents import formatting
from curejournal.documents.tag_sheet import LABEL_SHEETS, TagLabel, tag_sheet_pdf
from curejournal.journal.store import Journal
from curejournal.workflow import photos
from curejournal.workflow.photos import Answers, InboxItem
from curejournal.workflow.photos.strips import as_test, enrol_strip_key, keep_strip, read_strip_photo, strip_key

TrayCard = Annotated[str, typer.Option("--card", help="The card to look for; its copies are told by their ids.")]
Zone = Annotated[str | None, typer.Option("--zone", help="Where the photos were taken, Europe/Lisbon say.")]
Behind = Annotated[float, typer.Option("--behind", help="Minutes that the camera's clock was behind (ahead: below 0).")]
PhotoHash = Annotated[str, typer.Argument(help="The photo: the beginning of its hash, as the inbox shows it.")]


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
        raise Mistyped(
            msg("There is no sheet “{sheet}” here.", sheet=sheet),
            msg("Use one of {sheets}.", sheets=", ".join(LABEL_SHEETS)),
        )
    with open_journal(journal) as kept:
        one_each = [TagLabel(photos.tag_text(kept, code), code, kept.batch(code).name) for code in codes]
        labels = [label for label in one_each for _ in range(copies)]
    # The first tag of all makes the id that they bear.
    with after(msg("No batch, photo or card was changed.")):
        write_file(pdf, tag_sheet_pdf(labels, LABEL_SHEETS[sheet], skip=skip))
    if as_json:
        print_json({"pdf": str(pdf), "tags": [workflow.as_json(label) for label in labels]})
    else:
        tell(msg("{pdf}: {words}. Print it at 100 %.", pdf=pdf, words=LABEL_SHEETS[sheet].words))


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
    """Take in many photos: each files itself by its tag, date and card, or waits in the inbox. May be run again."""
    with open_journal(journal) as kept, typer.progressbar(length=1000, label="Photos", file=sys.stderr) as bar:

        def show(step: photos.Progress) -> None:
            bar.update(round(1000 * step.done / step.total) - bar.pos)

        arrivals = photos.import_photos(
            kept,
            photos.files_in(paths),
            card=card_of(card_name, journal),
            by=by,
            now=now_of(kept),
            clock=clock_for(kept, zone, behind),
            workers=workers,
            progress=show,
        )
        surfaces = [_surface(kept, arrival.item) if arrival.item else "" for arrival in arrivals]
    if as_json:
        print_json({"photos": [_arrival(arrival) for arrival in arrivals]})
    else:
        for arrival, surface in zip(arrivals, surfaces, strict=True):
            tell(join(" ", filter(None, (_outcome(arrival), arrival.why, surface))))


def _outcome(arrival: photos.Arrival) -> str:
    outcome, batch = msg(arrival.outcome), arrival.item.batch if arrival.item else ""
    if not batch:
        return msg("{name}: {outcome}.", name=arrival.name, outcome=outcome)
    return msg("{name}: {outcome} {batch}.", name=arrival.name, outcome=outcome, batch=batch)


def _arrival(arrival: photos.Arrival) -> dict[str, Any]:
    item = workflow.as_json(arrival.item) if arrival.item else None
    return {"name": arrival.name, "outcome": arrival.outcome, "why": arrival.why, "item": item}


def _surface(journal: Journal, item: InboxItem) -> str:
    """What the surface of a placed photo looks like, for the maker to confirm."""
    words = " ".join(finding.words for finding in photos.unanswered(journal, item))
    return words and msg(
        "{words} If it is so, enter it: curejournal batch surface {batch}.", words=words, batch=item.batch
    )


def tray(card_name: TrayCard = "window", journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List the photos that wait for you, and what is asked about each."""
    with open_journal(journal) as kept:
        items, own = photos.inbox_items(kept, card_of(card_name, journal), now_of(kept)), workflow.time_zone(kept)
    if as_json:
        print_json({"photos": [workflow.as_json(item) for item in items]})
    else:
        _say_items(items, own)


def place(
    photo: PhotoHash,
    batch: Annotated[str | None, typer.Option("--batch", help="The batch it belongs to.")] = None,
    portion: Annotated[
        list[str] | None, typer.Option("--portion", help="What each colour in it is, in order; empty leaves one out.")
    ] = None,
    area: Annotated[list[str] | None, typer.Option("--area", help=f"A portion's place: {AREA_EXAMPLE}.")] = None,
    corners: Annotated[str | None, typer.Option("--corners", help='The card\'s corners: "x,y x,y x,y x,y".')] = None,
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
    with open_journal(journal) as kept:
        sha256, shown, own = photo_of(kept, photo), card_of(card_name, journal), workflow.time_zone(kept)
        if aside is not None:
            photos.set_aside(kept, sha256, why=aside, by=by)
            item = photos.item_of(kept, sha256, shown, now_of(kept))
        else:
            new = Answers(
                batch=batch,
                at=when_of(at, kept) if at else None,
                portions=None if portion is None else tuple(portion),
                areas=areas_of(area),
                corners=tuple(corners_of(corners) or ()),
                colour=False if no_colour else None,
                confirmed=photos.ALL if confirmed else (),
            )
            item = photos.place(kept, sha256, new, card=shown, by=by, now=now_of(kept))
        surface = _surface(kept, item)
    if as_json:
        print_json(workflow.as_json(item))
    else:
        _say_items([item], own)
        if surface:
            tell(surface)


def clock_of(
    hashes: Annotated[list[str], typer.Argument(metavar="PHOTOS...", help="The beginnings of the photos' hashes.")],
    zone: Zone = None,
    behind: Behind = 0.0,
    card_name: TrayCard = "window",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Correct the time zone or the camera's clock for a set of photos that are kept already."""
    with open_journal(journal) as kept:
        chosen = [photo_of(kept, photo) for photo in hashes]
        clock, own = clock_for(kept, zone, behind), workflow.time_zone(kept)
        items = photos.set_clock(kept, chosen, clock, card=card_of(card_name, journal), by=by, now=now_of(kept))
    if as_json:
        print_json({"photos": [workflow.as_json(item) for item in items]})
    else:
        _say_items(items, own)


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
    made = photos.corrected_photo(bytes_of(photo), card_of(card_name, journal), longest, flag=flag)
    if made is not None:
        write_file(out, made.jpeg)
    words = made.words if made else "No picture: nothing was learnt from a card in it; `measure` says why."
    if as_json:
        print_json(
            {"picture": str(out) if made else None, "clipped": made.clipped_share if made else None, "words": words}
        )
    else:
        tell(words)
    if made is None:
        raise typer.Exit(NO_COLOUR)


def strip_key_of(
    photo: Annotated[Path, typer.Argument(help="The packet's key beside the card.")],
    name: Annotated[str, typer.Option("--name", help="What to call it.")],
    lot: Annotated[str, typer.Option("--lot", help="The lot on the packet.")],
    area: Annotated[list[str], typer.Option("--area", help='A colour of the key by its pH: "8.5=x0,y0,x1,y1".')],
    card_name: TrayCard = "window",
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Enrol the colour key of a packet of pH strips, once."""
    places = {numbers_of(ph, 1, '"8.5=x0,y0,x1,y1"')[0]: place for ph, place in (areas_of(area) or {}).items()}
    with open_journal(journal) as kept:
        key = enrol_strip_key(kept, bytes_of(photo), card_of(card_name, journal), name, lot, places, by=by)
    if as_json:
        print_json(workflow.as_json(key))
    else:
        tell(msg("{name}: {steps} colours of lot {lot}.", name=name, steps=len(key.steps), lot=lot))


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
    data, entry = bytes_of(photo), None
    with open_journal(journal) as kept:
        x0, y0, x1, y1 = numbers_of(pad, 4, '"x0,y0,x1,y1"')
        read = read_strip_photo(
            data, card_of(card_name, journal), strip_key(kept, key), workflow.outline_of((x0, y0, x1, y1)), lot
        )
        if keep:
            now = now_of(kept)
            when = when_of(at, kept) if at else now
            source, test = photos.Source(photo.name, lambda: data), as_test(read, strength)
            entry = keep_strip(kept, code, source, test, at=when, by=by, now=now, confirmed=confirmed)
    if as_json:
        print_json({"reading": workflow.as_json(read), "entry": workflow.as_json(entry) if entry else None})
    else:
        ph = msg("pH {ph:.1f}, 95 % interval ± {half_width:.2f}", ph=read.ph, half_width=read.half_width)
        tell(msg("{ph}; kept.", ph=ph) if entry else msg("{ph}.", ph=ph))


def _say_items(items: Sequence[InboxItem], zone: tzinfo) -> None:
    for item in items:
        when = formatting.moment(item.at, zone) if item.at else msg("no date")
        state = join(" ", filter(None, (msg(item.state), item.batch)))
        told = msg("{photo}  {name}, {when}: {state}.", photo=item.sha256[:10], name=item.name, when=when, state=state)
        named = [question for question in item.questions if question.kind == "portions"]
        choose = [msg("Each is one of: {choices}.", choices=join(", ", one.choices)) for one in named if one.choices]
        tell(join(" ", filter(None, (told, item.why, *choose))))
