"""A batch's dates in one frame: before and after under one handle, and a time-lapse that plays in place."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from curejournal.base.messages import msg
from curejournal.ui.components.scripted import scripted
from curejournal.ui.i18n import tr

_film = scripted("film")
MOST = 8
"""Pictures in one frame. Ours: as many as a strip under it shows at a thumb's width, and light for a phone."""


@dataclass(frozen=True)
class Frame:
    """A picture, its date, and what it shows for who cannot see it."""

    jpeg: bytes
    date: str
    alt: str


def show(frames: Sequence[Frame], key: str, *, first: int = 0, chooses: bool = True) -> None:
    """Show two of some pictures under one handle, the earlier one to be chosen; or one picture alone."""
    _film(
        key=key,
        data={
            "frames": [
                {
                    "src": f"data:image/jpeg;base64,{base64.b64encode(frame.jpeg).decode()}",
                    "date": tr(frame.date),
                    "alt": tr(frame.alt),
                }
                for frame in frames
            ],
            "first": first,
            "chooses": chooses,
            "words": {
                name: tr(text)
                for name, text in {
                    "handle": msg("How much of the later picture is shown"),
                    "play": msg("Play"),
                    "stop": msg("Stop"),
                    "large": msg("Large"),
                    "strip": msg("Earlier picture"),
                }.items()
            },
        },
    )


def some_of(count: int) -> list[int]:
    """Choose which of many pictures are shown: the first, the last, and others evenly between."""
    if count <= MOST:
        return list(range(count))
    return sorted({round(step * (count - 1) / (MOST - 1)) for step in range(MOST)})
