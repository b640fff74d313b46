"""Settings of early journals that are entries of the workshop today: of version 0001 of the tables, and of its exports.

What is made of them must never change: a journal that is upgraded tomorrow gets what one got that was upgraded today.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

NOBODY = "not recorded"
"""The author of what was set: settings had none."""
TAG_PRESS = "tag id"
"""The key of the press that gives a journal the id in its tags: of two at once, one counts."""


@dataclass(frozen=True)
class Former:
    """An entry that a setting becomes."""

    kind: str
    at: datetime
    by: str
    photo: str | None
    record: dict[str, Any]
    press_key: str | None = None


def entries_of_settings(rows: Iterable[tuple[str, Any, datetime]], photos: Collection[str]) -> Iterator[Former]:
    """The entries that settings become, in their order.

    Parameters
    ----------
    rows : iterable of (name, value, when it was set)
        Every setting, earlier values too, in their order.
    photos : collection of str
        The hashes of the photos that are there: what was said about any other stays a setting.
    """
    keys: dict[str, Any] = {}
    tagged = False
    for name, value, at in rows:
        if name == "tag id" and not tagged:
            tagged = True
            yield Former("tag id", at, NOBODY, None, {"written": value}, TAG_PRESS)
        elif name == "strip keys":
            changed = {key: enrolled for key, enrolled in value.items() if keys.get(key) != enrolled}
            keys |= changed
            for enrolled in changed.values():
                yield Former("strip key", at, NOBODY, None, enrolled)
        elif name.startswith("photo ") and name.removeprefix("photo ") in photos:
            said = {
                "of_batch": value.get("batch") or "",
                "taken_at": value.get("at") or "",
                "portions": value.get("portions"),
                "areas": list(value["areas"].items()) if value.get("areas") is not None else None,
                "colour": False if value.get("colour") is False else None,
                "confirmed": value.get("confirmed", []),
                "aside": value.get("aside", ""),
                "after": value.get("after", 0),
            }
            yield Former("photo answers", at, value.get("by") or NOBODY, name.removeprefix("photo "), said)
