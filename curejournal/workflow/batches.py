"""Use cases of a batch: start it, enter what happened, correct it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import count
from pathlib import Path

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, sentence
from curejournal.batch.plausibility import Doubt
from curejournal.batch.records import (
    BarsOut,
    Batch,
    Entry,
    Portion,
    R,
    Record,
    Renamed,
    TargetSource,
    same_code,
)
from curejournal.batch.validation import ImpossibleRecord, check_record
from curejournal.colour.sample import Lab
from curejournal.journal.backup import Backup
from curejournal.journal.check import Progress
from curejournal.journal.store import Journal, NewEntry
from curejournal.journal.text import plain_text
from curejournal.judging import target, traceability
from curejournal.judging.target import NoColourToPick
from curejournal.soap.recipe import Batter, Embed, Recipe
from curejournal.workflow.corrections import refuse_while_asked
from curejournal.workflow.rules import current_limits
from curejournal.workflow.verdicts import judge_alone, judge_batch, pieces_held


class ReadingDoubtful(CureJournalError):
    """An entry is unlikely enough to be asked about before it is kept."""


class FolderMissing(CureJournalError):
    """A folder that was named is not there."""


class NothingToKeep(CureJournalError):
    """What was to be entered lacks something, or stands so already."""


def start_batch(
    journal: Journal, code: str, name: str, *, at: datetime, by: str, now: datetime, records: Sequence[Record] = ()
) -> Batch:
    """Open a batch with what is known of it already (recipe, portions).

    Raises
    ------
    ImpossibleRecord, CodeInUse, EntryRefused
    """
    empty = Batch(code, name)
    for record in records:
        check_record(empty, record, at, now=now)
    portions = [record.name for record in records if isinstance(record, Portion)]
    if twice := [name for name in portions if portions.count(name) > 1]:
        raise ImpossibleRecord(
            msg("Two portions are called “{twice}”.", twice=twice[0]), msg("Give each a name of its own.")
        )
    return journal.start_batch(code, name, at=at, by=by, records=records)


def rename(journal: Journal, code: str, name: str, *, by: str, now: datetime) -> Entry:
    """Give a batch another name; the earlier one stays in the history, and its code stays.

    Raises
    ------
    EntryRefused, NotInJournal
    """
    return journal.add(code, Renamed(plain_text(name, "name", 120)), at=now, by=by)


def next_code(journal: Journal) -> str:
    """A free code for the next batch: the latest one's with its last number one higher; empty if it has none."""
    codes = list(journal.names())
    found = re.fullmatch(r"(.*?)(\d+)(\D*)", codes[0]) if codes else None
    if found is None:
        return ""
    before, number, after = found.groups()
    later = (f"{before}{int(number) + step:0{len(number)}}{after}" for step in count(1))
    return next(code for code in later if code not in codes)


def enter(
    journal: Journal,
    code: str,
    record: Record,
    *,
    at: datetime,
    by: str,
    now: datetime,
    confirmed: bool = False,
    supersedes: int | None = None,
) -> tuple[Entry, tuple[Doubt, ...]]:
    """Enter one record. An unlikely one is asked about first, and kept once confirmed.

    Raises
    ------
    ImpossibleRecord
        Negative grams, a date before the pour, and the like.
    ReadingDoubtful
        An unlikely record that was not confirmed.
    QuestionStands
        If it corrects what a recall question rests on.
    """
    batch = journal.batch(code)
    doubts = _doubts_in(journal, batch, record, at=at, now=now, supersedes=supersedes)
    ask(doubts, confirmed)
    if supersedes is not None:
        refuse_while_asked(journal, code, [supersedes], [NewEntry(record, at)])
    # What is corrected keeps the photo that it came from.
    photo = next((entry.photo for entry in batch.entries if entry.id == supersedes), None)
    return journal.add(code, record, at=at, by=by, supersedes=supersedes, photo=photo), doubts


def ask(doubts: Sequence[Doubt], confirmed: bool) -> None:
    """Ask about what is unlikely, unless it is confirmed: all of it, and what to do about each.

    Raises
    ------
    ReadingDoubtful
    """
    if doubts and not confirmed:
        texts = join(" ", (doubt.text for doubt in doubts))
        raise ReadingDoubtful(texts, join(" ", dict.fromkeys(doubt.do for doubt in doubts)))


def doubts_about(
    journal: Journal, code: str, record: Record, *, at: datetime, now: datetime, supersedes: int | None = None
) -> tuple[Doubt, ...]:
    """What is unlikely about a record, before it is kept; the entry that it corrects is left out of account.

    Raises
    ------
    ImpossibleRecord
    """
    return _doubts_in(journal, journal.batch(code), record, at=at, now=now, supersedes=supersedes)


def _doubts_in(
    journal: Journal, batch: Batch, record: Record, *, at: datetime, now: datetime, supersedes: int | None
) -> tuple[Doubt, ...]:
    others = tuple(entry for entry in batch.entries if entry.id != supersedes)
    doubts = check_record(replace(batch, entries=others), record, at, now=now)
    if isinstance(record, Recipe):
        doubts += doubts_about_pieces(journal, batch.code, record, now)
    if isinstance(record, BarsOut) and record.why in ("sold", "given") and not doubts and batch.kind != "earlier stock":
        judged = judge_batch(journal, batch.code, at)
        if judged.verdict == "hold":
            doubts += (
                Doubt(
                    "on hold",
                    msg("The batch was not to be {why} then: {headline}.", why=record.why, headline=judged.headline),
                    msg("Did they really go out? If so, keep this, and ask yourself whether to call them back."),
                ),
            )
    return doubts


def doubts_about_pieces(journal: Journal, code: str, recipe: Recipe, now: datetime) -> tuple[Doubt, ...]:
    """What is unlikely, or unsafe, about the pieces of other batches that a recipe takes."""
    codes = [head.code for head in journal.batches()] if recipe.embeds else []
    unknown = [e.batch for e in recipe.embeds if not any(same_code(e.batch, known) for known in codes)]
    doubts = [
        Doubt(
            "no such batch",
            msg("The journal has no batch “{missing}” to embed.", missing=missing),
            msg("Is the code right?"),
        )
        for missing in unknown
    ]
    planned = Batch(code, "", (Entry(0, now, "", now, recipe),))
    held = pieces_held(journal, planned, lambda parent: judge_alone(journal, parent, now))
    if held:
        titrate = msg("It may be poured; sell none of it before three of its bars were titrated, each under its name.")
        do = titrate if recipe.rebatch else msg("Leave them out until that batch is settled.")
        doubts.append(Doubt("pieces held", sentence(held, "."), do))
    return tuple(doubts)


def back_up(journal: Journal, folder: str, progress: Progress | None = None) -> Backup:
    """Write the whole journal into one file in a folder of this computer; `progress` as in `Journal.backup`.

    Raises
    ------
    BackupRefused, JournalNotWritable, DiskFull
    """
    to = Path(folder).expanduser()
    if not folder.strip() or not to.is_dir():
        raise FolderMissing(
            msg("There is no folder “{folder}”.", folder=folder),
            msg("Name an existing folder, on another disk or a stick for instance."),
        )
    return journal.backup(to, progress)


def enter_recipe(
    journal: Journal, code: str, recipe: Recipe, *, by: str, now: datetime, confirmed: bool = False
) -> tuple[Entry, tuple[Doubt, ...]]:
    """Enter a batch's recipe; one that was entered earlier is corrected by it, and stays in the history.

    Raises
    ------
    ImpossibleRecord, ReadingDoubtful
    """
    last = last_entry(journal.batch(code), Recipe)
    at, corrects = (last.at, last.id) if last is not None else (now, None)
    return enter(journal, code, recipe, at=at, by=by, now=now, confirmed=confirmed, supersedes=corrects)


def set_portion(
    journal: Journal,
    code: str,
    name: str,
    *,
    by: str,
    now: datetime,
    control: bool | None = None,
    tolerance: float | None = None,
    batter_g: float | None = None,
    confirmed: bool = False,
) -> tuple[tuple[Entry, ...], tuple[Doubt, ...]]:
    """Add a portion, or say more of one: all of it is kept, or nothing; what was entered earlier stays in the history.

    Parameters
    ----------
    journal, code, name
        Which portion.
    control : bool, optional
        Whether it is a control, unscented or kept, to compare with.
    tolerance : float, optional
        The ΔE00 accepted from now on.
    batter_g : float, optional
        How much batter it got, g: kept with the recipe.
    confirmed : bool
        Keep what was asked about.

    Raises
    ------
    NothingToKeep, ImpossibleRecord, ReadingDoubtful
    """
    batch = journal.batch(code)
    last, recipe = last_entry(batch, Portion, name), last_entry(batch, Recipe)
    old = last.record if last is not None else Portion(name, len(batch.portions))
    new = replace(
        old,
        control=old.control if control is None else control,
        tolerance=old.tolerance if tolerance is None else tolerance,
    )
    made: list[NewEntry] = []
    if last is None or new != old:
        made.append(NewEntry(new, last.at if last is not None else now, last.id if last is not None else None))
    if batter_g is not None:
        if recipe is None:
            raise NothingToKeep(
                msg("{code} has no recipe whose batter could be divided.", code=code), msg("Enter its recipe first.")
            )
        others = tuple(part for part in recipe.record.batter if part.portion != name)
        divided = replace(recipe.record, batter=(*others, Batter(name, batter_g)))
        made.append(NewEntry(divided, recipe.at, recipe.id))
    if not made:
        raise NothingToKeep(
            msg("The portion {name} of {code} is so already.", name=name, code=code),
            msg("Say what is to be otherwise."),
        )
    doubts = tuple(
        doubt
        for item in made
        for doubt in doubts_about(journal, code, item.record, at=item.at, now=now, supersedes=item.supersedes)
    )
    ask(doubts, confirmed)
    return journal.add_many(code, made, by=by), doubts


def last_entry(batch: Batch, kind: type[R], name: str | None = None) -> Entry[R] | None:
    """The entry of a kind that counts: the last one; of portions the last of this name."""
    found = [entry for entry in batch.of(kind) if name is None or getattr(entry.record, "name", "") == name]
    return found[-1] if found else None


def set_target(
    journal: Journal,
    code: str,
    portion: str,
    source: TargetSource,
    *,
    by: str,
    now: datetime,
    from_batch: str = "",
    from_portion: str = "",
    reading: int | None = None,
    lab: Lab | None = None,
    lab_from: str = "as typed",
    lab_card: str = "",
    tolerance: float | None = None,
    confirmed: bool = False,
) -> tuple[Entry, tuple[Doubt, ...]]:
    """Set the colour that a portion should have when cured, in a new entry that follows the old one.

    Parameters
    ----------
    journal, code, portion
        What it is for.
    source : str
        *cured earlier batch* needs `from_batch` and `from_portion`; *control portion* `from_portion`; *batter before
        fragrance* `reading`, the number of an entry of this batch; *swatch* `lab` (CIELAB D50/2); `lab_from` says
        where that is from, and `lab_card` names the card that it was photographed with.
    tolerance : float, optional
        The ΔE00 accepted from now on; as before if left out.
    confirmed : bool
        Take a colour that was asked about.

    Raises
    ------
    NoColourToPick, ImpossibleRecord, ReadingDoubtful
    """
    batch = journal.batch(code)
    old = {known.name: known for known in batch.portions}.get(portion)
    if old is None:
        known = join(", ", (known.name for known in batch.portions)) or "none"
        raise NoColourToPick(
            msg("{code} has no portion “{portion}”.", code=code, portion=portion),
            msg("Its portions: {known}.", known=known),
        )
    if source == "cured earlier batch":
        earlier = journal.batch(from_batch)
        picked = target.from_earlier_batch(batch, earlier, from_portion or portion, current_limits(journal))
    elif source == "control portion":
        picked = target.from_control(batch, from_portion)
    elif source == "batter before fragrance":
        picked = target.from_batter(batch, reading or 0)
    elif lab is None:
        raise NoColourToPick(
            msg("A swatch needs its colour."), msg("Give its L*, a* and b*, or a photo of it with a card.")
        )
    else:
        picked = target.from_swatch(batch, lab, lab_from, lab_card)
    ask(picked.doubts, confirmed)
    new = replace(
        old,
        target_lab=picked.lab,
        target_source=source,
        target_from=picked.words,
        target_card=picked.card,
        target_sd=round(picked.sd, 3),
    )
    if tolerance is not None:
        new = replace(new, tolerance=tolerance)
    entry, doubts = enter(journal, code, new, at=now, by=by, now=now, confirmed=confirmed)
    return entry, (*picked.doubts, *doubts)


def embed_of(journal: Journal, code: str, grams: float, portion: str, on: datetime) -> Embed:
    """Pieces of a batch as they are put into another: with the most water that can be left in them."""
    judgement = judge_batch(journal, code, on)
    most = traceability.most_water_left(judgement.lye, judgement.drying)
    return Embed(journal.batch(code).code, grams, portion, water_high_fraction=most)
