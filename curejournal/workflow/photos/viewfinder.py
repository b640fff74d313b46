"""What a camera sees before a photo is taken: whether the card is in sight, and what would spoil the photo."""

from __future__ import annotations

import numpy as np

from curejournal.base.messages import join, msg
from curejournal.photo.analysis import Cards
from curejournal.photo.calibrate.calibration import calibrate
from curejournal.photo.find.card_in_photo import find_card_in
from curejournal.photo.read.picture_file import Photo, PictureTooLarge, read_photo

MOST_PIXELS = 4_000_000
"""Of a view: one of 960 pixels across has a fifth. A small file may hold a picture that takes a gigabyte. Ours."""
DARK = 45
"""Of 255: a view without a card whose median is below is too dark to find one in. Ours."""
_PUT_RIGHT = (
    *("card hidden", "mirrored", "card out of frame", "too oblique", "oblique", "card not flat"),
    *("burnt out", "too dark", "dark", "uneven light", "mixed light", "white disturbed", "white covered"),
)
"""What one can still put right, by the codes of reasons. How sharp a photo will be no small view tells."""
READY = msg("The card is in sight, and well lit. Hold still and press.")
NO_CARD_ASKED = msg("Hold still and press.")
NO_CARD = msg("No card is in sight. Lay it flat beside or on the soap, all of it in the picture.")
TOO_DARK = msg("It is too dark to see the card. Find more light; a window by day is best.")


def hint(data: bytes, cards: Cards) -> tuple[bool, str]:
    """Say whether a photo of this view would do, and if not what to do first.

    Parameters
    ----------
    data : bytes
        A small JPEG of what the camera sees.
    cards : Cards
        Without a card only the light is looked at.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo = read_photo(data)
    if photo.width * photo.height > MOST_PIXELS:
        raise PictureTooLarge(msg("This view is larger than any that the app sends."), msg("Take the photo itself."))
    if cards.card is None:
        return (False, TOO_DARK) if _is_dark(photo) else (True, NO_CARD_ASKED)
    found = find_card_in(photo, cards.card, cards.copies)
    if found.placement is None and _is_dark(photo):
        return False, TOO_DARK
    for reason in calibrate(photo, found).reasons:
        if reason.code in _PUT_RIGHT:
            return False, join(" ", (reason.text, reason.remedy))
    return (True, READY) if found.placement else (False, NO_CARD)


def _is_dark(photo: Photo) -> bool:
    return float(np.median(photo.picture().max(axis=2))) < DARK
