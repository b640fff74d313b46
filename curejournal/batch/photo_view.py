"""How a photo is shown."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PhotoView:
    """How a photo is shown. Nothing is measured from it.

    `place` is an outline, in pixels of the upright picture, where `portion` is seen: a photo without a card is balanced
    so that it shows the portion's measured colour of that day there. `same_light` says that the light and the camera's
    white balance were those of the photo with a card of the same minutes: a camera left to itself sets it again each
    time, so only the maker can know. `crop` is left, top, right and bottom as shares of
    the picture after it was turned clockwise by `turn_deg`. A `cover` stands for its batch.
    """

    portion: str = ""
    place: tuple[tuple[float, float], ...] = ()
    crop: tuple[float, float, float, float] | None = None
    turn_deg: float = 0.0
    cover: bool = False
    same_light: bool = False
