"""When a photo was taken: by its EXIF date, by a date in its name, and by how its camera's clock is to be read.

The file's own date proves nothing and is never asked.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo

from curejournal.base.messages import msg
from curejournal.journal.photos import PhotoFacts
from curejournal.photo.analysis import PhotoAnalysis
from curejournal.photo.read.picture_file import Taken, read_photo, taken_from_name

# Words that phones and programs write into the names of pictures (common practice, no source).
_SCREENSHOT = re.compile(r"screen[-_ ]?(shot|cap)|bildschirmfoto", re.IGNORECASE)
_EDITED = re.compile(r"(^|[-_ (])(edited|edit|bearbeitet)(?![a-z])\)?|(?<=^img_)e(?=\d)|~\d(?=\.)", re.IGNORECASE)
# Cameras write no PNG, and their sides are as 3 : 2 at most or 16 : 9 (common practice, no source); screens are longer
# than 3 : 2.
SCREEN_SHAPE = 1.55


@dataclass(frozen=True)
class Clock:
    """How a camera's clock is to be read: in which zone, and how far it was behind (its time plus this is right)."""

    zone: tzinfo
    behind: timedelta = field(default_factory=timedelta)

    def moment(self, taken: Taken) -> datetime:
        """When a photo was really taken."""
        local = taken.local + self.behind
        if taken.offset is None:
            return local.replace(tzinfo=self.zone)
        return datetime.fromisoformat(replace(taken, local=local).isoformat)


def when_taken(data: bytes, name: str, zone: tzinfo) -> datetime | None:
    """When a photo says it was taken, by its EXIF date or its name; None if neither tells.

    Raises
    ------
    NotAPicture, PictureDamaged, PictureTooLarge
    """
    taken = read_photo(data).taken or taken_from_name(name)
    return Clock(zone).moment(taken) if taken else None


def facts_of(analysis: PhotoAnalysis, name: str, zone: tzinfo) -> PhotoFacts:
    """What a photo says of itself; its date by its camera's clock."""
    taken, seen = analysis.taken or taken_from_name(name), analysis.measurement
    undated = PhotoFacts(analysis.suffix, seen.width, seen.height, None, None, name)
    # The name of a copy tells when the copy was made, if anything.
    if taken is None or (taken.source == "file name" and no_original(undated)):
        return undated
    return replace(undated, taken_at=Clock(zone).moment(taken), taken_from=taken.source)


def no_original(facts: PhotoFacts) -> str:
    """What a picture seems to be instead of a photo as taken, by its name, kind and shape; else empty."""
    sides = sorted((facts.width, facts.height))
    like_a_screen = facts.suffix == ".png" and sides[1] > SCREEN_SHAPE * sides[0]
    if like_a_screen or (facts.taken_from != "exif" and _SCREENSHOT.search(facts.original_name)):
        return "a screenshot"
    return msg("an edited copy") if _EDITED.search(facts.original_name) else ""


def plain_stem(name: str) -> str:
    """A file's name without its ending and the marks of an edited copy."""
    return _EDITED.sub("", name).partition(".")[0].casefold()


def in_second_hour(names: Sequence[str], dates: Sequence[Taken | None], zone: tzinfo) -> dict[int, datetime]:
    """When those of several photos were taken that lie in the second of two hours of one name, where clocks go back.

    Phones number their photos: of two whose local times lie in that hour and run against the order of their names, the
    later name is of the second hour, and so are those after it. They are named by their numbers.
    """
    found: dict[int, datetime] = {}
    latest: datetime | None = None
    second = False
    for number in sorted(range(len(names)), key=names.__getitem__):
        taken = dates[number]
        if taken is None or taken.offset is not None or not _comes_twice(taken.local, zone):
            latest, second = None, False
            continue
        second = second or (latest is not None and taken.local < latest)
        if second:
            found[number] = taken.local.replace(tzinfo=zone, fold=1)
        latest = taken.local
    return found


def _comes_twice(local: datetime, zone: tzinfo) -> bool:
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first is not None and second is not None and second < first
