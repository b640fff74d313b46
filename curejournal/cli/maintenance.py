"""The journal itself: verify, history, backup, data out and in."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Annotated

import typer

from curejournal import workflow
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.cli.options import (
    DEFAULT_JOURNAL,
    ME,
    AsJson,
    By,
    Code,
    JournalAt,
    Mistyped,
    days_of,
    now_of,
    open_journal,
    paper_of,
    print_json,
    rules_of,
)
from curejournal.cli.speech import said, tell, tell_all
from curejournal.documents import formatting
from curejournal.journal.backup import Backup, last_backup
from curejournal.journal.backup import restore as restore_backup
from curejournal.journal.check import Problem, Progress
from curejournal.journal.exchange import bring_in
from curejournal.journal.salvage import salvage as salvage_journal
from curejournal.journal.seals import HEAD, shown_head
from curejournal.journal.store import Journal, utc_now
from curejournal.judging.limits import Limits
from curejournal.workflow import readers


@contextmanager
def _long_work(label: str, again: str = "") -> Iterator[Progress | None]:
    """Show how far it is and how long it will take, where somebody looks; interrupted, say what comes of it."""
    try:
        if not sys.stderr.isatty():
            yield None
            return
        with typer.progressbar(length=1000, label=said(label), file=sys.stderr) as bar:
            yield lambda done, total: bar.update(round(1000 * done / total) - bar.pos)
    except KeyboardInterrupt:
        print(file=sys.stderr)
        tell(msg("Interrupted: the journal is as it was."), to=sys.stderr)
        if again:
            tell(again, to=sys.stderr)
        raise typer.Exit(130) from None


_GOES_ON = msg("Give the same command again, and it goes on with the photos that are copied already.")


def check(
    head: Annotated[
        str, typer.Option("--head", help="A head that was printed earlier: is all that was there then still here?")
    ] = "",
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Verify every row, photo and reference of the journal; exit 1 if anything was changed, damaged or taken out."""
    goes_on = msg("Give the same command again within a day, and it goes on with the photos that it has not seen.")
    with open_journal(journal) as kept, _long_work(msg("Checking"), goes_on) as progress:
        problems = [*kept.check(progress), *_without_head(kept, head)]
        now = kept.head()
    damaged = any(problem.serious for problem in problems)
    if as_json:
        print_json({"problems": [workflow.as_json(problem) for problem in problems], "head": now})
    else:
        tell_all(_where_and_what(problem) for problem in problems)
        if not damaged:
            tell(msg("Everything verifies. Head: {head}", head=shown_head(now)))
    if damaged:
        raise typer.Exit(1)


def _without_head(journal: Journal, head: str) -> list[Problem]:
    printed = "".join(head.split()).lower()
    if not printed:
        return []
    if not HEAD.fullmatch(printed):
        raise Mistyped(
            msg("“{head}” is not a head.", head=head), msg("Give the 16 characters as printed: 0 to 9 and a to f.")
        )
    if journal.holds_head(printed):
        return []
    return [
        Problem(
            msg("the journal never had this head: what was in it then is not all here"), msg("head {head}", head=head)
        )
    ]


def salvage(
    source: Annotated[Path, typer.Argument(help="The damaged journal's folder; nothing in it is changed.")],
    to: Annotated[Path, typer.Argument(help="A new folder for the journal.")],
    as_json: AsJson = False,
) -> None:
    """Write all that is sound in a damaged journal into a new one; exit 1 if anything could not be had."""
    made = salvage_journal(source, to, utc_now)
    if as_json:
        print_json(workflow.as_json(made))
    else:
        kept = [
            msg_n("{number} batch", "{number} batches", made.kept["batch"]),
            msg_n("{number} entry", "{number} entries", made.kept["entry"]),
            msg_n("{number} card", "{number} cards", made.kept["card"]),
        ]
        tell_all(_where_and_what(problem) for problem in made.lost)
        tell(
            msg(
                "{to}: {kept} and {count}, all as they were kept. Open it with --journal {to}",
                to=to,
                kept=join(", ", kept),
                count=msg_n("{number} photo", "{number} photos", made.photos),
            )
        )
    if made.lost:
        raise typer.Exit(1)


def history(code: Code, journal: JournalAt = DEFAULT_JOURNAL, as_json: AsJson = False) -> None:
    """List everything that was ever entered for a batch: when, by whom, and what it corrected or took back."""
    with open_journal(journal) as kept:
        entries, zone = kept.history(code), workflow.time_zone(kept)
    if as_json:
        print_json({"entries": [{**workflow.as_json(entry), "words": describe(entry.record)} for entry in entries]})
        return
    later = {entry.supersedes: entry.id for entry in entries}
    for entry in entries:
        about = msg(" (instead of {earlier})", earlier=entry.supersedes) if entry.supersedes else ""
        if entry.id in later:
            about += msg(" (no longer counts: see {later})", later=later[entry.id])
        written = formatting.moment(entry.recorded_at.astimezone(zone))
        recorded = msg("{by}, written down {at}", by=entry.by, at=written)
        tell(join("\t", (str(entry.id), formatting.moment(entry.at, zone), describe(entry.record) + about, recorded)))


def undo(
    entry: Annotated[int, typer.Argument(help="The number of the entry, as in history.")],
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    by: By = ME,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Undo an entry: it is taken back, and what it corrected counts again. Nothing leaves the history."""
    with open_journal(journal) as kept:
        made = workflow.undo(kept, entry, why=why, by=by, now=now_of(kept))
    if as_json:
        print_json({"entries": [workflow.as_json(new) for new in made]})
    else:
        tell_all(join("\t", (str(new.id), describe(new.record))) for new in made)


def settings(
    rule: Annotated[
        list[str] | None, typer.Option("--rule", help='A limit of the rules in force: "min_age_days=35".')
    ] = None,
    time_zone: Annotated[
        str | None, typer.Option("--time-zone", help='Europe/Lisbon, say; "" for that of this computer.')
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="The name that papers and portfolios bear.")] = None,
    paper: Annotated[
        str | None, typer.Option("--paper", help="a4 or letter: what records, fact sheets and portfolios are on.")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Show the journal's house rules, time zone, place and paper, or set them; earlier ones stay in the history."""
    size = next(one for one in readers.PAPERS if one.lower() == paper_of(paper)) if paper else None
    with open_journal(journal) as kept:
        rules = rules_of(rule or [], workflow.current_limits(kept))
        habits = replace(readers.kept_habits(kept), paper=size) if size else None
        workflow.keep_settings(
            kept, zone=time_zone, name=place, rules=rules if rule else None, habits=asdict(habits) if habits else None
        )
        zone, name = str(workflow.time_zone(kept)), workflow.place(kept)
        size = readers.kept_habits(kept).paper
    if as_json:
        said = {"rules": asdict(rules), "rules_version": rules.version, "time_zone": zone, "place": name}
        print_json({**said, "paper": size.lower()})
        return
    for limit in fields(Limits):
        about = limit.metadata
        bounds = msg("{low:g} to {high:g}; usual {usual:g}", low=about["low"], high=about["high"], usual=limit.default)
        tell(
            msg(
                "{name} = {value:g} {unit}: {words} ({bounds})",
                name=limit.name,
                value=getattr(rules, limit.name),
                unit=about["unit"],
                words=about["words"],
                bounds=bounds,
            )
        )
    tell(msg("time zone: {zone}\nplace: {place}\npaper: {paper}", zone=zone, place=name or msg("none"), paper=size))


def backup(
    to: Annotated[Path, typer.Argument(help="The file to write, or a folder: its name is then the time.")],
    every: Annotated[
        float | None, typer.Option("--every", help="Days: do nothing if the folder has a younger one (for a timer).")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write the whole journal into one file, verified while it is written; exit 1 if a photo was missing or damaged."""
    if every is not None:
        if not to.is_dir():
            raise Mistyped(
                msg("{to} is not a folder.", to=to), msg("With --every, give the folder in which the backups are kept.")
            )
        apart, latest = days_of(every), last_backup(to)
        if latest and utc_now() - latest < apart:
            said = msg("The last backup is of {at} UTC: none is due.", at=formatting.moment(latest))
            if as_json:
                print_json({"path": None, "why": str(said)})
            else:
                tell(said)
            return
    with open_journal(journal) as kept, _long_work(msg("Backing up"), _GOES_ON) as progress:
        made = kept.backup(to, progress)
    said = msg(
        "{file}: everything, with {photos}. Head: {head}",
        file=made.path,
        photos=_photos_in(made),
        head=shown_head(made.head),
    )
    _say_data(made, said, as_json)


def restore(
    file: Annotated[Path, typer.Argument(help="The backup.")],
    to: Annotated[Path, typer.Argument(help="A new folder: nothing is ever replaced.")],
    as_json: AsJson = False,
) -> None:
    """Make a journal of a backup, in a new folder, after all of it was verified."""
    with _long_work(msg("Restoring"), _GOES_ON) as progress:
        made = restore_backup(file, to, utc_now, progress)
    _say_data(
        made, msg("{to}: restored, with {photos}. Open it with --journal {to}", to=to, photos=_photos_in(made)), as_json
    )


def export(
    to: Annotated[Path, typer.Argument(help="A new folder.")],
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Write everything: as JSON with its schema, as tables for spreadsheets (CSV), and the photos as they came."""
    with open_journal(journal) as kept, _long_work(msg("Exporting"), _GOES_ON) as progress:
        made = kept.export(to, progress)
    _say_data(
        made,
        msg(
            "{to}: everything, with {photos}. For yourself: photos say where they were taken.",
            to=to,
            photos=_photos_in(made),
        ),
        as_json,
    )


def import_(
    source: Annotated[Path, typer.Argument(help="A journal.json, or a folder of tables (CSV), as export writes them.")],
    to: Annotated[Path, typer.Argument(help="A new folder for the journal.")],
    as_json: AsJson = False,
) -> None:
    """Make a journal of exported data, in a new folder, after all of it was verified."""
    with _long_work(msg("Importing"), _GOES_ON) as progress:
        made = bring_in(source, to, progress)
    _say_data(
        made,
        msg("{to}: a journal, with {photos}. Open it with --journal {to}", to=to, photos=_photos_in(made)),
        as_json,
    )


def _where_and_what(problem: Problem) -> str:
    return msg("{where}: {what}", where=problem.where, what=problem.what)


def _photos_in(made: Backup) -> str:
    return msg_n("{number} photo", "{number} photos", made.photos)


def _say_data(made: Backup, said: str, as_json: bool) -> None:
    if as_json:
        print_json(workflow.as_json(made))
    else:
        tell(said)
    if made.left_out:
        tell(
            msg(
                "{count} missing or damaged, and not in it.",
                count=msg_n("{number} photo", "{number} photos", len(made.left_out)),
            ),
            to=sys.stderr,
        )
        raise typer.Exit(1)


def move(
    to: Annotated[Path, typer.Argument(help="A new folder; the same one, if only the database moves to a server.")],
    to_url: Annotated[
        str | None, typer.Option("--to-url", help="The address of a PostgreSQL database to move it into.")
    ] = None,
    journal: JournalAt = DEFAULT_JOURNAL,
    as_json: AsJson = False,
) -> None:
    """Copy the journal to another folder, to a PostgreSQL server or from one, compared row by row; this one stays."""
    with open_journal(journal) as kept, _long_work(msg("Copying"), _GOES_ON) as progress:
        kept.copy_to(to, url=to_url, progress=progress)
        batches = len(kept.batches())
    if as_json:
        print_json({"journal": str(to), "batches": batches, "on_a_server": to_url is not None})
    else:
        tell(
            msg(
                "{to}: {count}, every row and photo the same. The old journal is as it was.",
                to=to,
                count=msg_n("{number} batch", "{number} batches", batches),
            )
        )
