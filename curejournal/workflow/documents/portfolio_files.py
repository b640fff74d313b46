"""Use cases of the portfolio: written to a folder, packed, or on paper."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from zipfile import ZIP_STORED, ZipFile

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import Batch, ColourReading, PhotoNote
from curejournal.colour.sample import Lab
from curejournal.documents.portfolio import portfolio_pages
from curejournal.documents.portfolio_paper import portfolio_pdf
from curejournal.documents.portfolio_soap import Design, PortfolioBatch, Shot, soap_of
from curejournal.documents.ribbon import main_portion
from curejournal.documents.share_square import square
from curejournal.documents.soap_pictures import Cut
from curejournal.journal.errors import FolderInUse, in_plain_words
from curejournal.journal.store import Journal
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.context import build_context
from curejournal.photo.analysis import NO_CARD
from curejournal.workflow.documents.papers import NothingChosen
from curejournal.workflow.photos.showing import Shown, comparable, cover, shown_photos, true_picture
from curejournal.workflow.readers import reader_of

MARK = b'<meta name="generator" content="curejournal portfolio">'
_OURS = re.compile(r"[a-z0-9-]+\.(html|jpg|webp|css|js)")
PLAIN = Design()
FEW = 2
"""From so many pictures without a card on, those with a card are left to the time-lapse. Ours."""


class NotReleased(CureJournalError):
    """A batch that is not released is not shown to customers unasked."""


def portfolio(
    journal: Journal,
    codes: Sequence[str],
    to: Path,
    on: datetime,
    *,
    design: Design = PLAIN,
    unreleased: bool = False,
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[Path, ...]:
    """Write static pages of some batches into a folder; an earlier portfolio there is replaced as a whole.

    Raises
    ------
    NothingChosen, NotReleased, NotInJournal
    FolderInUse
        If the folder holds anything but a portfolio.
    JournalNotWritable, DiskFull
        An earlier portfolio there stays.
    """
    if not codes:
        raise NothingChosen(msg("No batch was chosen for the portfolio."), msg("Name the batches to show."))
    if not unreleased:
        _require_released(journal, codes)
    to = to.expanduser().absolute()
    if to.exists() and not _may_be_replaced(to):
        raise FolderInUse(
            msg("{to} holds something else.", to=to), msg("Choose a new folder."), msg("Nothing in it was changed.")
        )
    new, old = to.with_name(f".{to.name}.new"), to.with_name(f".{to.name}.old")
    for left in (new, old):
        shutil.rmtree(left, ignore_errors=True)
    design = _named(journal, design)
    written = []
    shown = _shown(journal, codes, on)
    with in_plain_words(to):
        new.mkdir(parents=True)
        for name, data in portfolio_pages(
            shown, design, made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal)
        ):
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
    design: Design = PLAIN,
    unreleased: bool = False,
    tell: Callable[[float, str], None] = lambda part, words: None,
) -> Packed:
    """A portfolio as one file; `tell` hears how far it is.

    Raises
    ------
    NothingChosen, NotReleased, NotInJournal
    """
    if kind == "pdf":
        tell(0.0, msg("laying out the pages"))
        return Packed(kind, portfolio_on_paper(journal, codes, on, design=design, unreleased=unreleased), len(codes))
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
        files = portfolio(journal, codes, folder, on, design=design, unreleased=unreleased, progress=heard)
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
    journal: Journal,
    codes: Sequence[str],
    on: datetime,
    *,
    design: Design = PLAIN,
    unreleased: bool = False,
) -> bytes:
    """The same as a PDF.

    Raises
    ------
    NothingChosen, NotReleased, NotInJournal
    """
    if not codes:
        raise NothingChosen(msg("No batch was chosen for the portfolio."), msg("Name the batches to show."))
    if not unreleased:
        _require_released(journal, codes)
    shown = _shown(journal, codes, on)
    return portfolio_pdf(
        shown, _named(journal, design), made_on=on, software=workflow.SOFTWARE, voice=reader_of(journal)
    )


def _named(journal: Journal, design: Design) -> Design:
    """The design with a heading: the place's name, where none was given."""
    return design if design.title else replace(design, title=workflow.place(journal) or "Portfolio")


def square_picture(journal: Journal, code: str, on: datetime) -> bytes:
    """One picture of a batch as a square JPEG for sharing.

    Raises
    ------
    NothingChosen
        For a batch without a photo that can be shown.
    """
    (shown,) = _shown(journal, [code], on)
    if shown.cover is None:
        raise NothingChosen(msg("{code} has no photo that can be shown.", code=code), msg("Add one first."))
    return square(soap_of(shown), workflow.place(journal))


def offered(journal: Journal) -> tuple[str, ...]:
    """Codes of the batches that are released: what is shown to customers, unless the maker says otherwise."""
    underway = {one.code for one in journal.underway()}
    return tuple(code for code in journal.names() if code not in underway or journal.batch(code).released_at)


def _require_released(journal: Journal, codes: Sequence[str]) -> None:
    missing = [code for code in codes if journal.batch(code).released_at is None]
    if missing:
        raise NotReleased(
            msg("Not released: {codes}.", codes=join(", ", missing)),
            msg("Release them first, or say that they may be shown all the same."),
            msg("Nothing was written."),
        )


def _shown(journal: Journal, codes: Sequence[str], on: datetime) -> Iterator[PortfolioBatch]:
    """The chosen batches, one at a time, with what may be shown of their photos."""
    rules = workflow.current_limits(journal)
    for code in codes:
        batch = journal.batch(code)
        yield portfolio_batch(journal, batch, build_context(batch, on, rules).journeys)


def portfolio_batch(journal: Journal, batch: Batch, journeys: Mapping[str, ColourSeries]) -> PortfolioBatch:
    """What a portfolio shows of a batch."""
    notes = {entry.photo: entry.record for entry in batch.of(PhotoNote)}
    seen: dict[str, dict[str, Lab]] = {}
    for reading in batch.of(ColourReading):
        seen.setdefault(reading.photo or "", {})[reading.record.subject] = reading.record.lab

    def failed(photo: Shown) -> bool:
        note = notes.get(photo.sha256, PhotoNote())
        return photo.balance == "none" and note.why_no_colour not in ("", NO_CARD.text)

    photos = [photo for photo in shown_photos(batch) if not failed(photo)]
    portion = main_portion(journeys)
    stands, shot = cover(photos, portion), cache(partial(_shot, journal))  # one photo is one shot, wherever it stands
    soap = [photo for photo in photos if photo.balance != "measured"]
    return PortfolioBatch(
        batch,
        journeys,
        shot(stands) if stands else None,
        tuple(shot(photo) for photo in (soap if len(soap) >= FEW else photos)),
        tuple((shot(photo), seen.get(photo.sha256, {})) for photo in comparable(photos, portion)),
    )


def _shot(journal: Journal, photo: Shown) -> Shot:
    def draw(longest: int, cut: Cut) -> bytes:
        return true_picture(journal, photo, longest, cut)

    return Shot(photo.at, photo.caption, draw, photo.balance != "none")
