"""A photo that is measured without being kept; what is kept is analysed by `photo.analysis.analyse`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from curejournal.base.messages import msg
from curejournal.colour.sample import Grade, Lab
from curejournal.photo.card import Card
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.placement import Points
from curejournal.photo.read.picture_file import read_photo

Box = tuple[float, float, float, float]
Corners = Sequence[tuple[float, float]]
Places = Mapping[str, Box] | Mapping[str, Points]
"""Where each portion is: boxes x0, y0, x1, y1 or outlines, in pixels of the upright full-size picture."""


def measure_photo(data: bytes, card: Card, areas: Places | None = None, corners: Corners | None = None) -> Measurement:
    """Measure a photo without keeping it; without areas the card's window is measured as a whole.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge, CornersInvalid
    """
    photo = read_photo(data)
    places = [Area(name, outline_of(place)) for name, place in (areas or {}).items()]
    return measure(photo, card, places, corners)


def swatch(data: bytes, card: Card, areas: Places | None = None) -> tuple[Lab, str]:
    """The colour of a swatch photographed with a card, and where it is from; the photo is not kept.

    Raises
    ------
    NoColourToPick
        Unless exactly one area has a colour, better than indicative.
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    from curejournal.judging.target import NoColourToPick

    measurement = measure_photo(data, card, areas)
    seen = [area for area in measurement.areas if area.sample is not None and area.grade.rank < Grade.INDICATIVE.rank]
    if len(seen) != 1 or seen[0].sample is None:
        why = msg("{seen} areas have a colour", seen=len(seen)) if len(seen) > 1 else measurement.why_no_colour
        raise NoColourToPick(
            msg("No swatch could be measured: {why}", why=why),
            msg("Show one swatch in the card's window, or one area."),
        )
    return seen[0].sample.lab, msg("photographed with card {card}", card=measurement.card)


def outline_of(place: Box | Points) -> Points:
    """A box as its corners, an outline as it is."""
    sides = [side for side in place if not isinstance(side, tuple)]
    return Area.box("", *sides).outline if sides else tuple(at for at in place if isinstance(at, tuple))
