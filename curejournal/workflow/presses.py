"""Presses at the pour, as a phone sends them: each checked like any input, kept once, and answered by its key.

A phone keeps a press until it is answered here, and sends it again until then. The press bears its own key and time.
Entries stand in the journal in the order in which they came; when each thing happened is its press's time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from curejournal.base.bounds import NAME_CHARACTERS
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import day_and_time, join, msg
from curejournal.batch.descriptions import describe
from curejournal.batch.plausibility import Doubt
from curejournal.batch.records import Batch, Entry, Event, EventKind, Record, ScalarReading
from curejournal.batch.refusals import ImpossibleRecord
from curejournal.documents import formatting
from curejournal.journal.changes import Changes, NewEntry, Press
from curejournal.journal.errors import EntryRefused, NotInJournal, OnlyToRead, SignatureStays, SignedByOther
from curejournal.journal.store import Journal
from curejournal.workflow.batches import doubts_about
from curejournal.workflow.settings import calendar, time_zone

ONCE_WITHIN = timedelta(seconds=4)
"""Two presses of one happening, for one portion, are one if they are no further apart. Ours: a second press by mistake
follows within two seconds; nothing at a pour truly happens twice in four."""
MOST_SKEW = timedelta(minutes=2)
"""How far a phone's clock may be from the server's and still be believed. Ours."""
OLDEST = timedelta(days=30)
"""How long ago something may have been pressed, or have happened, that comes from a phone. Ours."""
MOST_PRESSES = 50
MOST_BYTES = 100_000
"""In one sending. Ours: a phone sends the rest after the answer."""
_LATEST_MS = 4_102_444_800_000  # the year 2100: what is beyond no clock says

REFUSALS = (ImpossibleRecord, EntryRefused, NotInJournal, OnlyToRead, SignatureStays, SignedByOther)
"""What speaks against a press itself. Anything else, such as a full disk, passes: the phone sends the press again."""

What = EventKind | Literal["temperature", "undo"]
State = Literal["kept", "asked", "refused"]
Key = Annotated[str, Field(pattern=r"^[0-9a-f]{16}-[0-9]{1,9}$")]
Milliseconds = Annotated[int, Field(ge=0, le=_LATEST_MS)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Pressed(_Strict):
    """One press as a phone kept it: its key, who pressed, what for, and when by the phone's clock (ms since 1970).

    `happened` is when it was, if not at the press; `of` is the key of the press that an *undo* takes back; `confirmed`
    says that what was asked about it was answered.
    """

    key: Key
    by: Annotated[str, Field(min_length=1, max_length=80)]
    batch: Annotated[str, Field(min_length=1, max_length=40)]
    what: What
    at: Milliseconds
    portion: Annotated[str, Field(max_length=NAME_CHARACTERS)] = ""
    happened: Milliseconds | None = None
    note: Annotated[str, Field(max_length=500)] = ""
    value: FiniteFloat | None = None
    bars: Annotated[int, Field(ge=1, le=100_000)] | None = None
    of: Key | None = None
    confirmed: bool = False


class Sending(_Strict):
    """What a phone sends at once: for which journal, when by its clock, its minutes east of UTC, and the presses."""

    journal: Annotated[str, Field(max_length=40)]
    sent_at: Milliseconds
    offset: Annotated[int, Field(ge=-900, le=900)]
    presses: Annotated[list[dict[str, Any]], Field(max_length=MOST_PRESSES)]


@dataclass(frozen=True)
class Answer:
    """What became of a press; `made_by` is the key whose entries stand for it, and `at` is when it happened.

    A press that was *asked* about, or *refused*, made no entry; `words` say why.
    """

    key: str
    state: State
    words: str
    made_by: str = ""
    at: datetime | None = None


class NotASending(CureJournalError):
    """What came is no sending of presses at all."""


def read_sending(data: bytes) -> Sending:
    """Read what a phone sent; the presses in it are read one by one later, so that a bad one stops no other.

    Raises
    ------
    NotASending
    """
    if len(data) > MOST_BYTES:
        raise NotASending(msg("Too much was sent at once."))
    try:
        return Sending.model_validate_json(data)
    except ValidationError as fault:
        raise NotASending(msg("What was sent is not a list of presses.")) from fault


def keep_presses(journal: Journal, sending: Sending, *, clock: datetime, person: str = "") -> list[Answer]:
    """Keep each press in turn, and answer all of them.

    Parameters
    ----------
    journal : Journal
        As the person who sends may write in it.
    sending : Sending
        From the phone; nothing in it is believed unchecked.
    clock : datetime
        The server's time.
    person : str
        Who is signed in; presses of anybody else are refused. Empty where nobody signs in.

    Raises
    ------
    CureJournalError
        If the journal cannot be written at all now; what came before is kept.
    """
    return [_answered(journal, press, sending, clock, person) for press in sending.presses]


def _answered(journal: Journal, raw: dict[str, Any], sending: Sending, clock: datetime, person: str) -> Answer:
    key = str(raw.get("key"))[:80]
    try:
        press = Pressed.model_validate(raw)
        if person and press.by != person:
            who = {"by": press.by, "person": person}
            raise ImpossibleRecord(
                msg("{by} pressed this, and {person} is signed in.", **who), msg("It waits until {by} signs in.", **who)
            )
        at = _when(press, sending, clock)
        return _undone(journal, press, clock) if press.what == "undo" else _kept(journal, press, sending, clock, at)
    except ValidationError:
        return Answer(key, "refused", msg("This is not a press that the journal knows."))
    except REFUSALS as fault:
        return Answer(key, "refused", join(" ", [part for part in (fault.what, fault.do) if part]))


def _when(press: Pressed, sending: Sending, clock: datetime) -> datetime:
    """When it happened: by the phone's clock if that is about right, else by how long ago it was pressed."""
    pressed, sent = _moment(press.at), _moment(sending.sent_at)
    skew = clock - sent
    at = pressed if abs(skew) <= MOST_SKEW else pressed + skew
    if press.happened is not None:
        at += _moment(press.happened) - pressed
    if not clock - OLDEST <= at <= clock + MOST_SKEW or pressed - sent > MOST_SKEW:
        raise ImpossibleRecord(
            msg("By its phone this was on {at} UTC, which is not possible.", at=day_and_time(at)),
            msg("Set the phone's clock, and enter it again with its time."),
        )
    return min(at, clock)


def _kept(journal: Journal, press: Pressed, sending: Sending, clock: datetime, at: datetime) -> Answer:
    zone = time_zone(journal)
    batch, now = journal.batch(press.batch), calendar(journal, clock.astimezone(zone))
    record = _record(batch, press)
    stands_still = now != clock.astimezone(zone)
    when = now if stands_still else _in_order(batch, press, at).astimezone(zone)
    phone = _moment(press.at).astimezone(timezone(timedelta(minutes=sending.offset)))
    once = ONCE_WITHIN if isinstance(record, Event) and record.kind != "note" else timedelta(0)
    changes = Changes([NewEntry(record, when, batch=press.batch)], press=Press(press.key, phone, once))
    made = journal.already(changes)  # its answer was lost on the way, or it is a slip of the finger
    if not made:
        doubts = doubts_about(journal, press.batch, record, at=when, now=now)
        if doubts and not press.confirmed:
            return Answer(press.key, "asked", _question(doubts))
        made = journal.commit(changes, by=press.by)
    elif made[0].press == press.key and (made[0].pressed_at, made[0].record) != (phone, record):
        # The browser of a phone was copied to another, and both count on; taken for the first, this would be lost.
        raise ImpossibleRecord(msg("Another press was kept under the key of this one."), msg("Enter it again."))
    return _said(press, made, zone)


def _said(press: Pressed, made: tuple[Entry, ...], zone: tzinfo) -> Answer:
    words = join("; ", (describe(entry.record) for entry in made))
    at = made[0].at
    said = msg("{at:%H:%M}{zone}: {record}", at=at, zone=formatting.offset(at, zone), record=words)
    return Answer(press.key, "kept", said, made[0].press or "", at)


def _question(doubts: tuple[Doubt, ...]) -> str:
    return join(" ", [text for doubt in doubts for text in (doubt.text, doubt.do)])


def _in_order(batch: Batch, press: Pressed, at: datetime) -> datetime:
    """Not before what the same phone pressed earlier: where its clock is wrong, the sending alone tells times."""
    if press.happened is not None:
        return at
    phone, _, number = press.key.partition("-")
    told = (entry.press.partition("-") for entry in batch.entries if entry.press)
    earlier = {
        f"{phone}-{other}" for one, _, other in told if one == phone and other.isdecimal() and int(other) < int(number)
    }
    pressed = _moment(press.at)
    before = [e.at for e in batch.entries if e.press in earlier and e.pressed_at and e.pressed_at <= pressed]
    return max([at, *(when for when in before if when - at < MOST_SKEW)])


def _record(batch: Batch, press: Pressed) -> Record:
    names = [portion.name for portion in batch.portions]
    if press.portion and press.portion not in names:
        raise ImpossibleRecord(msg("{batch} has no portion “{name}”.", batch=batch.code, name=press.portion))
    if press.what == "temperature":
        if press.value is None:
            raise ImpossibleRecord(msg("The temperature is missing."), msg("Enter it again."))
        # The batter's temperature stands in the chart of the batch; that of one portion beside what was done with it.
        if press.portion:
            return Event("note", press.portion, "temperature", press.value)
        return ScalarReading(msg("batter temperature"), press.value)
    assert press.what != "undo"
    note = press.note.strip()
    if press.what == "note" and not note:
        raise ImpossibleRecord(msg("The note is empty."), msg("Enter it again."))
    return Event(press.what, press.portion, note, bars=press.bars if press.what == "cut" else None)


def _undone(journal: Journal, press: Pressed, clock: datetime) -> Answer:
    """Take back all that one press made; asked again, it is done already."""
    if press.of is None:
        raise ImpossibleRecord(msg("What was to be undone is not named."))
    now = calendar(journal, clock.astimezone(time_zone(journal)))
    standing = _standing(journal, press.batch)
    made = [entry.id for entry in journal.entries_of_press(press.of) if entry.id in standing()]
    if made:
        try:
            journal.undo(*made, why=msg("undone at once"), by=press.by, at=now)
        except CureJournalError:
            if standing().issuperset(made):
                raise
    return Answer(press.key, "kept", msg("Undone."), press.of)


def _standing(journal: Journal, code: str) -> Callable[[], set[int]]:
    return lambda: {entry.id for entry in journal.batch(code).entries}


def _moment(milliseconds: int) -> datetime:
    return datetime.fromtimestamp(milliseconds / 1000, UTC)
