"""A whole camera roll into the journal: each photo is analysed, proposed and committed, or waits.

May be interrupted at any moment and run again: what was kept is known by its hash, what was filed is filed once, and
what was analysed need not be analysed again.
"""

from __future__ import annotations

import hashlib
import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import cv2

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal
from curejournal.photo.analysis import Cards, PhotoAnalysis, analyse
from curejournal.photo.card import Card
from curejournal.photo.read.picture_file import NotAPicture, taken_from_name
from curejournal.workflow.photos.adding import Arrival, Source
from curejournal.workflow.photos.answers import Answers
from curejournal.workflow.photos.commit import cards_for, commit, keep_analysis
from curejournal.workflow.photos.dates import Clock, facts_of, in_second_hour
from curejournal.workflow.photos.inbox import file_if_clear, item_of
from curejournal.workflow.photos.items import InboxItem
from curejournal.workflow.photos.processes import end_with_parent
from curejournal.workflow.photos.propose import Filing

# Endings of moving pictures, and their signature (ISO/IEC 14496-12: "ftyp" at byte 4) with the brands of still ones.
_MOVING = (".mov", ".mp4", ".m4v", ".avi", ".mkv", ".webm", ".3gp")
_STILL_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"avif", b"heim", b"heis")
# Ours: pictures under way for each worker, so that memory stays flat.
_UNDER_WAY = 2
_VIDEO = msg("a video, not a photo")


@dataclass(frozen=True)
class Progress:
    """How far an import is: `done` of `total` files are read, and the name of the latest."""

    done: int
    total: int
    name: str


class ImportInterrupted(CureJournalError):
    """A worker of an import was stopped from outside."""


def files_in(paths: Sequence[Path]) -> list[Source]:
    """The files among some paths and in the folders among them, in order; hidden ones are left out."""
    found: list[Path] = []
    for path in paths:
        inside = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
        found += [file for file in inside if not any(part.startswith(".") for part in file.relative_to(path).parts)]
    return [Source(file.name, file.read_bytes) for file in dict.fromkeys(found)]


def import_photos(
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
    """Take in many photos: each is read once, analysed and kept, then all are filed in the order they were taken in.

    Parameters
    ----------
    card : Card
        The card to look for; its enrolled copies are told by the id in their slot.
    clock : Clock
        The zone where photos do not tell theirs, and how far the camera's clock was behind.
    workers : int
        Processes that analyse photos; 1 analyses in this one.
    progress : callable
        Told after each file.

    Returns
    -------
    list of Arrival
        One for each source, in the order of the sources.

    Raises
    ------
    ImportInterrupted, DiskFull, JournalBusy, JournalNotWritable
        What was taken in stays; run it again for the rest.
    """
    received: list[_Received] = []
    with _kept_so_far(), _Analyser(workers) as analyser:
        for one in _receive(journal, sources, cards_for(journal, card), analyser, by, clock):
            received.append(one)
            progress(Progress(len(received), len(sources), one.name))
    with _kept_so_far():
        arrivals = {one.number: _filed(journal, one, card, by, now) for one in _as_taken(received, clock)}
        # What came later may tell what an earlier photo shows.
        waiting = [photo.sha256 for photo in journal.unfiled_photos()]
        cleared = {sha256: file_if_clear(journal, sha256, card, by=by, now=now) for sha256 in waiting}
    return [_latest(arrivals[number], cleared) for number in range(len(sources))]


@contextmanager
def _kept_so_far() -> Iterator[None]:
    try:
        yield
    except CureJournalError as fault:
        raise fault.after(msg("What was taken in so far is kept: the same photos again go on from there.")) from fault


@dataclass(frozen=True)
class _Received:
    """A file that was read once. It is kept, unless there is a `refusal`.

    `analysis` is None for a photo that was there already, or came twice; `at` is when it was taken, if the journal does
    not have it so yet.
    """

    number: int
    name: str
    sha256: str = ""
    analysis: PhotoAnalysis | None = None
    facts: PhotoFacts | None = None
    refusal: str = ""
    at: datetime | None = None


def _receive(
    journal: Journal, sources: Sequence[Source], cards: Cards, analyser: _Analyser, by: str, clock: Clock
) -> Iterator[_Received]:
    """Read each file once, and keep those that are photos; some are under way at a time."""
    stems = {_stem(source.name) for source in sources if not source.name.lower().endswith(_MOVING)}
    under_way: deque[tuple[_Received, bytes, Callable[[], PhotoAnalysis]]] = deque()
    begun: dict[str, _Received] = {}

    def finish() -> _Received:
        one, data, result = under_way.popleft()
        begun[one.sha256] = _kept(journal, one, data, result, by, clock)
        return begun[one.sha256]

    for number, source in enumerate(sources):
        data, refusal = _read(source, stems)
        one = _Received(number, source.name, hashlib.sha256(data).hexdigest(), refusal=refusal)
        if refusal:
            yield one
        elif one.sha256 in begun:
            while under_way:  # it may be one of these
                yield finish()
            yield replace(one, facts=begun[one.sha256].facts, refusal=begun[one.sha256].refusal)
        elif known := journal.find_photo(one.sha256):
            yield replace(one, facts=known.facts)
        else:
            begun[one.sha256] = one
            under_way.append((one, data, analyser.begin(data, cards)))
            if len(under_way) >= _UNDER_WAY * analyser.workers:
                yield finish()
    while under_way:
        yield finish()


def _read(source: Source, stems: set[str]) -> tuple[bytes, str]:
    """A file's bytes, and why it is not a photo; a video is not even read: it may be larger than the memory."""
    if source.name.lower().endswith(_MOVING):
        live = _stem(source.name) in stems
        return b"", msg("the moving part of a live photo; its photo is taken in") if live else _VIDEO
    try:
        data = source.read()
    except OSError as fault:  # a stick pulled out, say
        return b"", msg("the file cannot be read ({strerror})", strerror=fault.strerror)
    return data, _VIDEO if data[4:8] == b"ftyp" and data[8:12] not in _STILL_BRANDS else ""


def _stem(name: str) -> str:
    return name.rpartition(".")[0].casefold()


def _kept(
    journal: Journal,
    one: _Received,
    data: bytes,
    result: Callable[[], PhotoAnalysis],
    by: str,
    clock: Clock,
) -> _Received:
    """Keep a photo that was analysed; it waits, until it is filed."""
    try:
        analysis = result()
    except BrokenProcessPool as fault:
        raise ImportInterrupted(msg("The import was interrupted."), msg("Run it again.")) from fault
    except NotAPicture:
        return replace(one, refusal="not a photo that can be read (JPEG, HEIC, PNG, TIFF or WebP)")
    except CureJournalError as fault:
        return replace(one, refusal=f"{fault.what} {fault.do}")
    facts = facts_of(analysis, one.name, clock.zone)
    # With the photo, so that nobody ever sees it with the wrong time.
    answers = Answers(at=facts.taken_at + clock.behind, by=by) if facts.taken_at and clock.behind else Answers()
    waits = InboxItem(one.sha256, one.name, "needs you", "", None)
    commit(journal, Filing(waits, facts, answers), by=by, original=data)
    keep_analysis(journal, analysis)
    return replace(one, analysis=analysis, facts=facts)


def _as_taken(received: Sequence[_Received], clock: Clock) -> list[_Received]:
    """Files in the order in which they were taken; where clocks go back, in that of the two hours (`dates`)."""
    taken = [
        (one.analysis.taken or taken_from_name(one.name)) if one.analysis and one.facts and one.facts.taken_at else None
        for one in received
    ]
    second = {} if clock.behind else in_second_hour([one.name for one in received], taken, clock.zone)
    told = [replace(one, at=second.get(number)) for number, one in enumerate(received)]

    def moment(one: _Received) -> tuple[bool, datetime, int]:
        at = one.at or (one.facts.taken_at if one.facts else None)
        return (at is None, at.astimezone(UTC) if at else datetime.max, one.number)

    return sorted(told, key=moment)


def _filed(journal: Journal, one: _Received, card: Card, by: str, now: datetime) -> Arrival:
    """File a photo if nothing about it needs to be asked; one that was kept before too, if it waits."""
    if one.refusal:
        return Arrival(one.name, "not a photo", one.refusal)
    if one.analysis is None and journal.entries_of_photo(one.sha256):
        item = item_of(journal, one.sha256, card, now)
        return Arrival(one.name, "already there", msg("This photo is in the journal already."), item)
    item = file_if_clear(journal, one.sha256, card, by=by, now=now, analysis=one.analysis, at=one.at)
    return Arrival(one.name, item.state, item.why, item)


def _latest(arrival: Arrival, cleared: dict[str, InboxItem]) -> Arrival:
    item = cleared.get(arrival.item.sha256) if arrival.item else None
    return arrival if item is None else replace(arrival, outcome=item.state, why=item.why, item=item)


class _Analyser:
    """Analyses photos in worker processes, or right here with one worker."""

    def __init__(self, workers: int) -> None:
        # Not forked: the app has threads.
        spawn = multiprocessing.get_context("spawn")
        self.workers = workers
        self._pool = ProcessPoolExecutor(workers, spawn, _one_thread) if workers > 1 else None

    def __enter__(self) -> _Analyser:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def begin(self, data: bytes, cards: Cards) -> Callable[[], PhotoAnalysis]:
        """Begin to analyse a photo; what comes back gives the result."""
        return partial(analyse, data, cards) if self._pool is None else self._pool.submit(analyse, data, cards).result


def _one_thread() -> None:
    # One thread for each process: more only get into each other's way.
    cv2.setNumThreads(1)
    end_with_parent()
