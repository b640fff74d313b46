"""Lend the balance of a photo with the card to one of the same minute without it: to show it, never to measure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from curejournal.colour.spaces import lab_from_linear, linear_from_srgb
from curejournal.documents.pictures import shrunk
from curejournal.documents.soap_pictures import gains_by
from curejournal.documents.true_colour import GAINS, Gains, Seen
from curejournal.photo.read.picture_file import Photo, read_photo

LOOKED_AT_PX = 200
"""The longer side of the picture in which soap is looked for. Ours."""
MOST_STOPS = 2.0
"""By how much two exposures of one minute may differ. Ours: beyond it another place is photographed."""
ALIKE = np.array([12.0, 6.0, 6.0])
"""How far soap may be from its measured L*, a*, b*, and still be that soap in the same light. Ours: half of the way
from one usual white balance to the next."""
SOAP_SHARE = 0.02
"""The least share of the picture that has the soap's colour. Ours: a bar on a bench has 5% and more."""


def lent_balance(data: bytes, beside: bytes, seen: Sequence[Seen]) -> Gains | None:
    """Find the factor for each channel by which a photo is shown as one with a card beside it in time.

    Parameters
    ----------
    data, beside : bytes
        The photo without a card, and the one with it.
    seen : sequence of Seen
        What was measured in the latter.

    Returns
    -------
    ndarray of shape (3,) or None
        In linear light. None unless both are known to be of one camera, their exposures are near each other where they
        are known, and soap of a measured colour is in the photo. Without exposures its own brightness is kept.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    photo, measured = read_photo(data), read_photo(beside)
    own, others = photo.exposure, measured.exposure
    gains = gains_by(measured, seen) if own.same_camera(others) else None
    if gains is None:
        return None
    known = own.given is not None and others.given is not None
    if own.given is not None and others.given is not None:
        if abs(np.log2(own.given / others.given)) > MOST_STOPS:
            return None
        gains = gains * (others.given / own.given)
    else:
        gains = gains / float(gains[1])
    if (gains < GAINS[0]).any() or (gains > GAINS[1]).any():
        return None
    return gains if _shows_soap(photo, gains, seen, with_lightness=known) else None


def _shows_soap(photo: Photo, gains: Gains, seen: Sequence[Seen], *, with_lightness: bool) -> bool:
    """Whether enough of a photo, so balanced, has one of the measured colours."""
    picture = shrunk(photo, LOOKED_AT_PX)
    lab = lab_from_linear(np.clip(linear_from_srgb(picture.reshape(-1, 3) / 255.0) * gains, 0.0, 1.0))
    least = SOAP_SHARE * len(lab)
    # Of unknown exposure, lightness tells nothing; hue and chroma do.
    alike = ALIKE if with_lightness else np.array([np.inf, *ALIKE[1:]])
    return any(int((np.abs(lab - np.array(one.lab)) < alike).all(axis=1).sum()) >= least for one in seen)
