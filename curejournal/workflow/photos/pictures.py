"""Photos as pictures to be shown: small, with what was found drawn in, in standard light."""

from __future__ import annotations

from collections.abc import Sequence

from curejournal.documents import pictures
from curejournal.journal.store import Journal
from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.card import Card
from curejournal.photo.corrected_picture import CorrectedPicture, corrected_picture
from curejournal.photo.measure.measurement import Measurement
from curejournal.photo.placement import Points
from curejournal.photo.read.picture_file import read_photo
from curejournal.workflow.cards import find_card
from curejournal.workflow.photos.answers import answers_to
from curejournal.workflow.photos.commit import kept_analysis


def small_picture(journal: Journal, sha256: str, longest: int) -> bytes:
    """A kept photo as a small upright JPEG; made once, then read."""
    return journal.derived(
        sha256, f"small-{longest}.jpg", lambda: pictures.small(read_photo(journal.photo_bytes(sha256)), longest)
    )


def marked_picture(data: bytes, measurement: Measurement | None, longest: int) -> bytes:
    """A photo as a JPEG with what was found in it drawn in: the card, the areas, the faulty places.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return pictures.marked(photo, measurement, longest) if measurement else pictures.small(photo, longest)


def outlined_picture(
    journal: Journal, sha256: str, areas: Sequence[Points], faults: Sequence[Points], longest: int
) -> bytes:
    """A kept photo as a JPEG, cut to some areas and faults that are outlined in it.

    Raises
    ------
    NotInJournal, PictureDamaged
    """
    return pictures.outlined(read_photo(journal.photo_bytes(sha256)), areas, faults, longest)


def outlined_photo(data: bytes, areas: Sequence[Points], longest: int) -> bytes:
    """The same of a photo that is not kept.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    return pictures.outlined(read_photo(data), areas, (), longest)


def corrected(
    journal: Journal, sha256: str, card: Card, longest: int = 2048, *, flag: bool = False
) -> CorrectedPicture | None:
    """A kept photo as it would look in standard light; None where its card taught nothing, see `photo.picture`."""
    seen = kept_analysis(journal, sha256, card).measurement
    used = card if seen.card == card.name else find_card(seen.card, journal)
    corners = answers_to(journal, sha256).marks_for(card).corners
    return corrected_photo(journal.photo_bytes(sha256), used, longest, flag=flag, corners=corners)


def corrected_photo(
    data: bytes, card: Card, longest: int = 2048, *, flag: bool = False, corners: Points = ()
) -> CorrectedPicture | None:
    """The same of a photo that is not kept; `corners` are the card's, where the maker marked them.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    return corrected_picture(photo, learn(photo, card, corners or None), longest, flag=flag)
