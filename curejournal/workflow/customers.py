"""Use cases of selling: orders over several batches, returns, complaints, what somebody got, whom a recall has to call.

People are numbers in the ledger. Their names are kept apart and can be erased; `name_of` is the one place where a
number becomes a name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import Day, join, msg, msg_n
from curejournal.batch.descriptions import describe
from curejournal.batch.plausibility import Doubt
from curejournal.batch.records import BarsBack, BarsOut, Batch, Complaint, Entry, same_code
from curejournal.batch.sales import WhyOut
from curejournal.journal.changes import NEW_CONTACT, Changes, NewContact, NewEntry
from curejournal.journal.contacts import Contact
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.judging.traceability import descendants, reached_by
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.batches import ask, doubts_about

ERASED = msg("somebody whose name was erased")


class OrderImpossible(CureJournalError):
    """An order that cannot be filled as it is."""


@dataclass(frozen=True)
class HasBars:
    """Somebody who has bars: who, how to reach them, of which batches how many, and when they got the first."""

    who: str
    contact: int | None
    details: str
    bars: Mapping[str, int]
    since: datetime

    @property
    def words(self) -> str:
        """A line of a list to call."""
        what = join(
            ", ",
            (
                msg("{bars} of {code}", bars=msg_n("{number} bar", "{number} bars", bars), code=code)
                for code, bars in self.bars.items()
            ),
        )
        reach = msg(" ({details})", details=self.details) if self.details else ""
        return msg("{who}{reach}: {what}, since {since}", who=self.who, reach=reach, what=what, since=Day(self.since))


def name_of(journal: Journal, contact: int | None, otherwise: str = "") -> str:
    """Who a contact is; `otherwise` where an entry names none, and `ERASED` where the name was erased."""
    if contact is None:
        return otherwise
    known = journal.contact(contact)
    return ERASED if known.erased else known.name


def contact_named(journal: Journal, name: str) -> Contact | None:
    """The contact of a name, in any spelling of case and blanks; None if there is none."""
    wanted = join(" ", name.split()).casefold()
    found = [one for one in journal.contacts() if not one.erased and join(" ", one.name.split()).casefold() == wanted]
    return found[-1] if found else None


def fill_order(
    journal: Journal,
    lines: Sequence[tuple[str, int]],
    *,
    name: str,
    details: str = "",
    order: str = "",
    why: WhyOut = "sold",
    at: datetime,
    by: str,
    now: datetime,
    confirmed: bool = False,
) -> tuple[Entry, ...]:
    """Let bars of several batches go to one customer: all of it is kept, or nothing.

    Parameters
    ----------
    lines : sequence of (code, bars)
    name, details : str
        Whom, and how to reach them in a recall; somebody known by that name is the same customer.
    order : str
        The order's name or number.
    confirmed : bool
        Keep what was asked about: bars of a batch that is not released, say.

    Raises
    ------
    OrderImpossible
        Without a name or a line, or for more bars than there are.
    ImpossibleRecord, ReadingDoubtful
    """
    if not name.strip() or not lines:
        raise OrderImpossible(
            msg("An order needs a name and at least one batch."), msg("Enter whom it goes to, and what.")
        )
    wanted: dict[str, int] = {}
    for code, bars in lines:
        wanted[code] = wanted.get(code, 0) + bars
    _enough(journal, wanted)
    known = contact_named(journal, name)
    number = known.id if known else NEW_CONTACT
    # The ledger says to whom by number alone.
    records = {code: BarsOut(bars, "a customer", why, "", order.strip(), number) for code, bars in wanted.items()}
    doubts: list[Doubt] = []
    for code, record in records.items():
        doubts += doubts_about(journal, code, record, at=at, now=now)
    ask(doubts, confirmed)
    entries = [NewEntry(record, at, batch=code) for code, record in records.items()]
    contact = None if known else NewContact(name.strip(), details.strip())
    return journal.commit(Changes(entries, contact=contact), by=by)


def _enough(journal: Journal, wanted: Mapping[str, int]) -> None:
    batches = {code: journal.batch(code) for code in wanted}
    short = {code: bars for code, bars in wanted.items() if batches[code].bars_cut and bars > batches[code].bars_here}
    if short:
        told = join(
            ", ",
            (
                msg(
                    "{bars} of {code}, where {bars_here} are",
                    bars=bars,
                    code=code,
                    bars_here=max(batches[code].bars_here, 0),
                )
                for code, bars in short.items()
            ),
        )
        raise OrderImpossible(
            msg("There are not that many bars: {told}.", told=told),
            msg("Take fewer, or bars of another batch; nothing was entered."),
        )


def enter_complaint(
    journal: Journal,
    code: str,
    complaint: Complaint,
    picture: bytes | None = None,
    picture_name: str = "",
    *,
    at: datetime,
    by: str,
    now: datetime,
) -> Entry:
    """Enter a complaint, with the photo that came with it, if one did: both are kept, or nothing.

    Raises
    ------
    ImpossibleRecord, NotAPicture, PictureDamaged, PictureTooLarge
    """
    doubts_about(journal, code, complaint, at=at, now=now)
    if picture is None:
        return journal.add(code, complaint, at=at, by=by)
    seen = read_photo(picture)
    facts = PhotoFacts(seen.suffix, seen.width, seen.height, None, None, picture_name)
    made = NewEntry(complaint, at, photo=hashlib.sha256(picture).hexdigest(), batch=code)
    return journal.commit(Changes([made], [(picture, facts)]), by=by)[0]


def erase_name(journal: Journal, contact: int, *, why: str, by: str, now: datetime) -> Entry:
    """Erase a customer's name and details on request; what they got stays on record under a number."""
    if not why.strip():
        raise OrderImpossible(msg("A name is erased for a reason."), msg("Say who asked for it, and when."))
    return journal.erase_contact(contact, why=why.strip(), by=by, at=now)


def what_they_got(journal: Journal, contact: int) -> tuple[tuple[str, Entry], ...]:
    """Everything on record of a customer, oldest first: bars out and back, complaints; each with its batch."""
    kinds = (BarsOut, BarsBack, Complaint)
    return tuple(
        (code, entry) for code, entry in journal.entries_of_contact(contact) if isinstance(entry.record, kinds)
    )


def who_has_lot(journal: Journal, lot: str) -> tuple[HasBars, ...]:
    """Who has bars with a lot in them, directly or through pieces of other batches."""
    uses = reached_by(journal.all_batches(), lot)
    return who_has(journal, [use.batch for use in uses])


def recall_list(journal: Journal, code: str) -> tuple[HasBars, ...]:
    """Whom a recall of a batch has to call: who has bars of it, or of any batch that has pieces of it."""
    own = journal.batch(code)
    ways = descendants(journal.all_batches(), own.code)
    return who_has(journal, [own.code, *(way[-1] for way in ways)])


def who_has(journal: Journal, codes: Iterable[str]) -> tuple[HasBars, ...]:
    """Who has bars of some batches, what came back taken off; those who have most come first."""
    found: dict[tuple[int | None, str], dict[str, int]] = {}
    since: dict[tuple[int | None, str], datetime] = {}
    for code in dict.fromkeys(codes):
        batch = journal.batch(code)
        for at, out in batch.records(BarsOut):
            if out.left_the_house:
                key = _whom(out.contact, out.to)
                found.setdefault(key, {})[batch.code] = found.get(key, {}).get(batch.code, 0) + out.bars
                since[key] = min(since.get(key, at), at)
        _take_back(batch, found)
    people = [
        HasBars(name_of(journal, number, to), number, _details(journal, number), bars, since[(number, to)])
        for (number, to), every in found.items()
        if (bars := {code: count for code, count in every.items() if count > 0})
    ]
    return tuple(sorted(people, key=lambda one: -sum(one.bars.values())))


def _take_back(batch: Batch, found: dict[tuple[int | None, str], dict[str, int]]) -> None:
    for _, back in batch.records(BarsBack):
        key = _whom(back.contact, back.to)
        if key in found and batch.code in found[key]:
            found[key][batch.code] -= back.bars


def _whom(contact: int | None, to: str) -> tuple[int | None, str]:
    return (contact, "") if contact is not None else (None, join(" ", to.split()))


def _details(journal: Journal, contact: int | None) -> str:
    return "" if contact is None else journal.contact(contact).details


def open_complaints(journal: Journal) -> tuple[tuple[str, Entry[Complaint]], ...]:
    """Complaints without an outcome, oldest first, each with its batch."""
    found = [
        (batch.code, entry)
        for batch in journal.all_batches()
        for entry in batch.of(Complaint)
        if not entry.record.outcome
    ]
    return tuple(sorted(found, key=lambda pair: pair[1].at))


def history_words(journal: Journal, contact: int) -> tuple[str, ...]:
    """What a customer got, line by line."""
    return tuple(
        msg("{at} {code}: {record}", at=Day(entry.at), code=code, record=describe(entry.record))
        for code, entry in what_they_got(journal, contact)
    )


def orders(journal: Journal, order: str) -> tuple[tuple[str, Entry], ...]:
    """What went out under an order, over all batches."""
    return tuple(
        (batch.code, entry)
        for batch in journal.all_batches()
        for entry in batch.of(BarsOut)
        if same_code(entry.record.order, order)
    )
