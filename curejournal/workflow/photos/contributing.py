"""Make a folder of pictures that a maker may give away. Nothing is sent."""

from __future__ import annotations

from pathlib import Path

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.journal.store import Journal
from curejournal.photo.card import Card
from curejournal.photo.contribution import STATEMENT, GivenPicture, give_picture
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.cards import find_card
from curejournal.workflow.photos.commit import cards_for, kept_analysis


class NothingToGive(CureJournalError):
    """There is no picture that could be given away, or no place to put it."""


def contribute(journal: Journal, code: str, card: Card, folder: Path) -> int:
    """Write one batch's pictures, cropped to card and window, with their figures and a statement to sign.

    Parameters
    ----------
    journal : Journal
    code : str
        The batch.
    card : Card
        Which card lies in its photos; enrolled copies are known by their ids.
    folder : Path
        New, or empty.

    Returns
    -------
    int
        How many pictures were written.

    Raises
    ------
    NothingToGive, NotInJournal, PictureDamaged
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise NothingToGive(
            msg("{folder} is not an empty folder.", folder=folder),
            msg("Choose a new one, so that nothing is mixed up."),
        )
    copies = cards_for(journal, card).copies
    given: list[GivenPicture] = []
    for photo in journal.photos_of(code):
        seen = kept_analysis(journal, photo.sha256, card).measurement
        if not seen.found:
            continue
        used = find_card(seen.card, journal) if seen.card in {copy.name for copy in copies.values()} else card
        picture = give_picture(read_photo(journal.photo_bytes(photo.sha256)), used, len(given) + 1)
        given += [picture] if picture else []
    if not given:
        raise NothingToGive(
            msg("No photo of {code} shows the card with its window.", code=code),
            msg("Take one with the card on the soap."),
        )
    folder.mkdir(parents=True, exist_ok=True)
    for number, picture in enumerate(given, start=1):
        (folder / f"picture-{number:03}.png").write_bytes(picture.png)
        (folder / f"picture-{number:03}.json").write_bytes(picture.figures)
    (folder / "STATEMENT.txt").write_text(STATEMENT, "utf-8")
    return len(given)
