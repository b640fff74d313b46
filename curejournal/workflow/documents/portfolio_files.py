"""Use cases of the portfolio: written to a folder, packed, or on paper."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from zipfile import ZIP_STORED, ZipFile

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.batch.records import ColourReading, PhotoNote
from curejournal.documents.portfolio import (
    PortfolioBatch,
    PortfolioPhoto,
    portfolio_pages,
    portfolio_pdf,
)
from curejournal.journal.errors import FolderInUse, in_plain_words
from curejournal.journal.store import Journal
from curejournal.judging.context import build_context
from curejournal.workflow.documents.papers import NothingChosen

MARK = b'<meta name="generator" content="curejournal portfolio">'
_OURS = re.compile(r"[a-z0-9-]+\.(html|jpg|webp|css)")


def portfolio(
    journal: Journal,
    codes: Sequence[str],
    to: Path,
    on: datetime,
    *,
    title: str = "",
    about: str = "",
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[Path, ...]:
    """Write static pages of some batches into a folder; an earlier portfolio there is replaced as a whole.

    Raises
    ------
    NothingChosen, NotInJournal
    FolderInUse
        If the folder holds anything but a portfolio.
    JournalNotWritable, DiskFull
        An earlier portfolio there stays.
    """
    if not codes:
        raise NothingChosen(msg("No batch was chosen for the portfolio."), msg("Name the batches to show."))
    to = to.expanduser().absolute()
    if to.exists() and not _may_be_replaced(to):
        raise FolderInUse(
            msg("{to} holds something else.", to=to), msg("Choose a new folder."), msg("Nothing in it was changed.")
        )
    new, old = to.with_name(f".{to.name}.new"), to.with_name(f".{to.name}.old")
    for left in (new, old):
        shutil.rmtree(left, ignore_errors=True)
    title = title or workflow.place(journal) or "Portfolio"
    written = []
    shown = _shown(journal, codes, on)
    with in_plain_words(to):
        new.mkdir(parents=True)
        for name, data in portfolio_pages(shown, title=title, about=about, made_on=on, software=workflow.SOFTWARE):
            (new / name).write_bytes(data)
            written.append(to / name)
            progress(name)
        if to.exists():
            to.rename(old)
        new.rename(to)
    shutil.rmtree(old, ignore_errors=True)
    return tuple(written)


@dataclass(frozen=True)
class Packed:
    """A portfolio as one file: the folder of its pages (*zip*), or the same on paper (*pdf*)."""

    kind: str
    data: bytes
    batches: int


def portfolio_packed(
    journal: Journal,
    codes: Sequence[str],
    on: datetime,
    kind: str,
    *,
    title: str = "",
    about: str = "",
    tell: Callable[[float, str], None] = lambda part, words: None,
) -> Packed:
    """A portfolio as one file; `tell` hears how far it is.

    Raises
    ------
    NothingChosen, NotInJournal
    """
    if kind == "pdf":
        tell(0.0, msg("laying out the pages"))
        return Packed(kind, portfolio_on_paper(journal, codes, on, title=title, about=about), len(codes))
    done = 0

    def heard(name: str) -> None:
        nonlocal done
        done += name.endswith(".html")
        tell(
            0.95 * done / (len(codes) + 1),
            msg(
                "{done} of {batches}",
                done=min(done, len(codes)),
                batches=msg_n("{number} batch", "{number} batches", len(codes)),
            ),
        )

    with TemporaryDirectory() as place:
        folder = Path(place) / "portfolio"
        files = portfolio(journal, codes, folder, on, title=title, about=about, progress=heard)
        packed = io.BytesIO()
        with ZipFile(packed, "w", ZIP_STORED) as archive:  # pictures do not get smaller
            for file in files:
                archive.write(file, f"portfolio/{file.name}")
    return Packed(kind, packed.getvalue(), len(codes))


def _may_be_replaced(folder: Path) -> bool:
    """Whether it is empty, or holds a portfolio of ours and nothing else that could be lost."""
    if not folder.is_dir():
        return False
    inside = list(folder.iterdir())
    index = folder / "index.html"
    ours = index.is_file() and MARK in index.read_bytes()[:4000]
    return not inside or (ours and all(path.is_file() and _OURS.fullmatch(path.name) for path in inside))


def portfolio_on_paper(
    journal: Journal, codes: Sequence[str], on: datetime, *, title: str = "", about: str = ""
) -> bytes:
    """The same as a PDF.

    Raises
    ------
    NothingChosen, NotInJournal
    """
    if not codes:
        raise NothingChosen(msg("No batch was chosen for the portfolio."), msg("Name the batches to show."))
    title = title or workflow.place(journal) or "Portfolio"
    return portfolio_pdf(_shown(journal, codes, on), title=title, about=about, made_on=on, software=workflow.SOFTWARE)


def _shown(journal: Journal, codes: Sequence[str], on: datetime) -> Iterator[PortfolioBatch]:
    """The chosen batches, one at a time, with the photos that were measured or meant for the story."""
    rules = workflow.current_limits(journal)
    chosen = [journal.batch(code) for code in codes]
    sizes: dict[str, tuple[float, float]] = {}
    for batch in chosen:
        readings: dict[str, list[ColourReading]] = {}
        notes: dict[str, PhotoNote] = {}
        # By its entries, which may have been dated otherwise since: the photo's own date is that of the camera's clock.
        taken: dict[str, datetime] = {}
        for entry in batch.entries:
            if entry.photo:
                taken.setdefault(entry.photo, entry.at)
            if entry.photo and isinstance(entry.record, ColourReading):
                readings.setdefault(entry.photo, []).append(entry.record)
            elif entry.photo and isinstance(entry.record, PhotoNote):
                notes[entry.photo] = entry.record
        photos = []
        for sha256, at in taken.items():
            note = notes.get(sha256, PhotoNote())
            failed = note.why_no_colour not in ("", "taken without a card")
            if failed and sha256 not in readings:
                continue
            measured = tuple(readings.get(sha256, ()))
            photos.append(PortfolioPhoto(journal.photo_bytes(sha256), at, note.caption, measured))
        for card in {reading.card for of_photo in readings.values() for reading in of_photo} - set(sizes):
            size = _card_size(journal, card)
            sizes |= {card: size} if size else {}
        yield PortfolioBatch(batch, build_context(batch, on, rules).journeys, tuple(photos), sizes)


def _card_size(journal: Journal, name: str) -> tuple[float, float] | None:
    try:
        return workflow.find_card(name, journal).size_mm
    except CureJournalError:
        return None  # measured with a card file that is not in the journal
