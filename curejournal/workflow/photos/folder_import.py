"""Many photos at once: each looked at, kept, dated, and filed under its batch, or laid in the tray.

May be interrupted at any moment and run again: what was kept is known by its
hash, what was filed is filed once, and what was looked at need not be looked at again.
"""

from __future__ import annotations

import hashlib
import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

import cv2

from curejournal.base.errors import CureJournalError
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.read.picture_file import NotAPicture, Photo, Taken, read_photo, taken_from_name
from curejournal.workflow.photos.inbox import Clock, file_if_clear, item_of
from curejournal.workflow.photos.proposal import (
    Answers,
    State,
    TrayItem,
    card_copies,
    is_no_original,
    keep_answers,
    look_as_json,
    look_name,
)

Outcome = State | Literal["already there", "not a photo"]

# Endings of moving pictures, and their signature (ISO/IEC 14496-12: "ftyp" at byte 4) with the brands of still ones.
_MOVING = (".mov", ".mp4", ".m4v", ".avi", ".mkv", ".webm", ".3gp")
_STILL_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"avif", b"heim", b"heis")
# Ours: pictures under way for each worker, so that memory stays flat.
_UNDER_WAY = 2


@dataclass(frozen=True)
class Source:
    """A file to take in: its name and how to read it."""

    name: str
    read: Callable[[], bytes]


@dataclass(frozen=True)
class Arrival:
    """What became of one file. `item` is its place in the tray; None where nothing was kept."""

    name: str
    outcome: Outcome
    why: str
    item: TrayItem | None = None


@dataclass(frozen=True)
class Progress:
    """How far an intake is: `done` of `total` files, and the latest."""

    done: int
    total: int
    latest: Arrival


class IntakeInterrupted(CureJournalError):
    """A worker of an intake was stopped from outside."""


def files_in(paths: Sequence[Path]) -> list[Source]:
    """The files among some paths and in the folders among them, in order; hidden ones are left out."""
    found: list[Path] = []
    for path in paths:
        inside = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
        found += [file for file in inside if not any(part.startswith(".") for part in file.relative_to(path).parts)]
    return [Source(file.name, file.read_bytes) for file in dict.fromkeys(found)]


def take_in_all(
    journal: Journal,
    sources: Sequence[Source],
    *,
    card: Card,
    by: str,
    now: datetime,
    clock: Clock,
    workers: int = 2,
    progress: Callable[[Progress], None] = lambda step: None,
) -> list[Arrival]:
    """Take in many photos, in the order in which they were taken.

    Parameters
    ----------
    card : Card
        The card to look for; its enrolled copies are told by the id in their slot.
    clock : Clock
        The zone where photos do not tell theirs, and how far the camera's clock was behind.
    workers : int
        Processes that look at photos; 1 looks in this one.
    progress : callable
        Told after each file.

    Returns
    -------
    list of Arrival
        One for each source, in the order of the sources.

    Raises
    ------
    IntakeInterrupted, DiskFull, JournalBusy, JournalNotWritable
        What was taken in stays; run it again for the rest.
    """
    ordered = sorted(_first_pass(sources), key=lambda first: (first.taken is None, first.sort_by, first.number))
    copies = card_copies(journal, card)
    arrivals: dict[int, Arrival] = {}
    begun: dict[str, int] = {}

    def arrived(number: int, arrival: Arrival) -> None:
        arrivals[number] = arrival
        progress(Progress(len(arrivals), len(sources), arrival))

    with _kept_so_far(), _Looker(workers) as look:
        under_way: deque[tuple[_First, bytes, Photo, Callable[[], bytes]]] = deque()

        def finish() -> None:
            first, data, photo, result = under_way.popleft()
            arrived(first.number, _settle(journal, first, data, photo, result, card=card, by=by, now=now, clock=clock))

        for first in ordered:
            if first.refusal:
                arrived(first.number, Arrival(first.name, "not a photo", first.refusal))
                continue
            if first.sha256 in begun or journal.find_photo(first.sha256) is not None:
                while under_way:  # it may be one of these
                    finish()
                same = arrivals[begun[first.sha256]] if first.sha256 in begun else None
                if same is not None and same.item is None:  # refused when it was looked at
                    arrived(first.number, replace(same, name=first.name))
                else:
                    arrived(first.number, _known(journal, first, card=card, by=by, now=now))
                continue
            try:
                data = sources[first.number].read()
                photo = read_photo(data)
            except (OSError, CureJournalError) as fault:  # read a moment ago: a stick pulled out, say
                arrived(first.number, Arrival(first.name, "not a photo", _refusal(fault)))
                continue
            begun[first.sha256] = first.number
            under_way.append((first, data, photo, look(data, card, copies)))
            if len(under_way) >= _UNDER_WAY * workers:
                finish()
        while under_way:
            finish()
    # What came later may tell what an earlier photo shows.
    with _kept_so_far():
        waiting = [photo.sha256 for photo in journal.unfiled_photos()]
        cleared = {sha256: file_if_clear(journal, sha256, card, by=by, now=now) for sha256 in waiting}
    return [_latest(arrivals[number], cleared) for number in range(len(sources))]


@contextmanager
def _kept_so_far() -> Iterator[None]:
    try:
        yield
    except CureJournalError as fault:
        raise fault.after("What was taken in so far is kept: the same photos again go on from there.") from fault


def _latest(arrival: Arrival, cleared: dict[str, TrayItem]) -> Arrival:
    item = cleared.get(arrival.item.sha256) if arrival.item else None
    return arrival if item is None else replace(arrival, outcome=item.state, why=item.why, item=item)


# --- one file ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _First:
    """What the header of a file tells."""

    number: int
    name: str
    sha256: str
    taken: Taken | None
    refusal: str

    @property
    def sort_by(self) -> datetime:
        return self.taken.local if self.taken else datetime.min


def _first_pass(sources: Sequence[Source]) -> Iterator[_First]:
    stems = {_stem(source.name) for source in sources if not source.name.lower().endswith(_MOVING)}
    for number, source in enumerate(sources):
        refusal, taken, sha256 = "", None, ""
        try:
            # A video is not read: it may be larger than the memory.
            named_moving = source.name.lower().endswith(_MOVING)
            data = b"" if named_moving else source.read()
            sha256 = hashlib.sha256(data).hexdigest()
            if named_moving and _stem(source.name) in stems:
                refusal = "the moving part of a live photo; its photo is taken in"
            elif named_moving or (data[4:8] == b"ftyp" and data[8:12] not in _STILL_BRANDS):
                refusal = "a video, not a photo"
            else:
                photo = read_photo(data)
                taken = photo.taken or taken_from_name(source.name)
        except (OSError, CureJournalError) as fault:
            refusal = _refusal(fault)
        yield _First(number, source.name, sha256, taken, refusal)


def _refusal(fault: OSError | CureJournalError) -> str:
    if isinstance(fault, OSError):
        return f"the file cannot be read ({fault.strerror})"
    if isinstance(fault, NotAPicture):
        return "not a photo that can be read (JPEG, HEIC, PNG, TIFF or WebP)"
    return f"{fault.what} {fault.do}"


def _stem(name: str) -> str:
    return name.rpartition(".")[0].casefold()


def _settle(
    journal: Journal,
    first: _First,
    data: bytes,
    photo: Photo,
    result: Callable[[], bytes],
    *,
    card: Card,
    by: str,
    now: datetime,
    clock: Clock,
) -> Arrival:
    """Keep a photo that was looked at, and file it if nothing needs to be asked."""
    try:
        seen = result()
    except BrokenProcessPool as fault:
        raise IntakeInterrupted("The intake was interrupted.", "Run it again.") from fault
    except CureJournalError as fault:
        return Arrival(first.name, "not a photo", _refusal(fault))
    taken = first.taken
    facts = PhotoFacts(photo.suffix, photo.width, photo.height, None, taken.source if taken else None, first.name)
    if taken is not None and taken.source == "file name" and is_no_original(facts):
        taken = None  # the name of a copy tells when the copy was made, if anything
    at = Clock(clock.zone).moment(taken) if taken else None
    facts = replace(facts, taken_at=at, taken_from=taken.source if taken else None)
    if taken is not None and clock.behind:
        # Before the photo is kept, so that nobody ever sees it with the wrong time.
        keep_answers(journal, first.sha256, Answers(at=clock.moment(taken).isoformat(), by=by))
    journal.keep_photo(data, facts)
    journal.derived(first.sha256, look_name(card), lambda: seen)
    item = file_if_clear(journal, first.sha256, card, by=by, now=now)
    return Arrival(first.name, item.state, item.why, item)


def _known(journal: Journal, first: _First, *, card: Card, by: str, now: datetime) -> Arrival:
    """A photo that is kept already: filed now, if an earlier intake was interrupted before that."""
    if journal.entries_of_photo(first.sha256):
        item = item_of(journal, first.sha256, card, now)
        return Arrival(first.name, "already there", "This photo is in the journal already.", item)
    item = file_if_clear(journal, first.sha256, card, by=by, now=now)
    return Arrival(first.name, item.state, item.why, item)


# --- workers -------------------------------------------------------------------------------


class _Looker:
    """Looks at photos in worker processes, or right here with one worker."""

    def __init__(self, workers: int) -> None:
        # Not forked: the app has threads.
        spawn = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(workers, spawn, _one_thread) if workers > 1 else None

    def __enter__(self) -> Callable[[bytes, Card, dict[str, Card]], Callable[[], bytes]]:
        return self._look

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def _look(self, data: bytes, card: Card, copies: dict[str, Card]) -> Callable[[], bytes]:
        if self._pool is None:
            return lambda: look_as_json(data, card, copies)
        future: Future[bytes] = self._pool.submit(look_as_json, data, card, copies)
        return future.result


def _one_thread() -> None:
    # One thread for each process: more only get into each other's way.
    cv2.setNumThreads(1)
