"""Readers: the units, dates, language and paper that a journal's makers read in, and how each is written.

A file `texts/LANGUAGE.po` beside this one (gettext's format) adds a language. Babel extracts the catalogue
`texts/curejournal.pot` from the code.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

from curejournal.base.counting import digits
from curejournal.base.messages import Day
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.workflow.settings import keep_settings, settings_of

if TYPE_CHECKING:
    from curejournal.journal.store import Journal

TEXTS = Path(__file__).with_name("texts")
Units = Literal["g and °C", "oz and °F"]
Dates = Literal["3 Dec 2026", "Dec 3, 2026", "2026-12-03"]
Paper = Literal["A4", "Letter"]
UNITS: tuple[Units, ...] = get_args(Units)
DATES: tuple[Dates, ...] = get_args(Dates)
PAPERS: tuple[Paper, ...] = get_args(Paper)
SOURCE_LANGUAGE = "en"


@dataclass(frozen=True)
class Habits:
    """How this journal's makers read: units, dates, language, and the paper that they print on."""

    units: Units = "g and °C"
    dates: Dates = "3 Dec 2026"
    language: str = SOURCE_LANGUAGE
    paper: Paper = "A4"


USUAL = Habits()


def kept_habits(journal: Journal) -> Habits:
    """The habits kept in a journal; what it does not know is as usual."""
    kept = settings_of(journal).habits
    return Habits(
        next((units for units in UNITS if units == kept.get("units")), USUAL.units),
        next((dates for dates in DATES if dates == kept.get("dates")), USUAL.dates),
        next((one for one in languages() if one == kept.get("language")), USUAL.language),
        next((paper for paper in PAPERS if paper == kept.get("paper")), USUAL.paper),
    )


def keep_habits(journal: Journal, habits: Habits, *, zone: str | None = None, name: str | None = None) -> None:
    """Keep how makers read, in one write with the time zone and the name that papers bear, if those are given.

    Raises
    ------
    ZoneUnknown, EntryRefused
    """
    keep_settings(journal, zone=zone, name=name, habits=asdict(habits))


def reader_of(journal: Journal) -> Reader | None:
    """How a journal's papers and command line speak; nothing where that is English, grams, °C and A4."""
    kept = kept_habits(journal)
    return None if kept == USUAL else Reader(kept)


def languages() -> tuple[str, ...]:
    """The languages that there are texts for."""
    return (SOURCE_LANGUAGE, *sorted(path.stem for path in TEXTS.glob("*.po")))


def language_name(code: str) -> str:
    """A language by its own name."""
    from babel import Locale

    return str(Locale.parse(code).get_display_name() or code)


@dataclass(frozen=True)
class Reader:
    """A reader's way of hearing: a `base.messages.Voice`."""

    habits: Habits

    @property
    def paper(self) -> Paper:
        """The size of the pages that are printed."""
        return self.habits.paper

    def template(self, singular: str, plural: str, number: float) -> str:
        """Find a template in the reader's language; what the catalogue lacks stays English."""
        if self.habits.language == SOURCE_LANGUAGE:
            return plural if plural and number != 1 else singular
        return _catalogue(TEXTS / f"{self.habits.language}.po").find(singular, plural, number)

    def quantity(self, value: float, decimals: int, unit: str) -> str:
        """Write a weight or a temperature in the reader's unit, no coarser than it was."""
        if self.habits.units == USUAL.units:
            return f"{digits(value, decimals)}\u00a0{unit}"
        if unit == "g":
            return f"{ounces(value, decimals)}\u00a0oz"
        # What was typed in °F has many decimals in °C.
        return f"{digits(1.8 * value + 32, min(decimals, 1))}\u00a0°F"

    def day(self, day: date, *, with_year: bool, long_month: bool) -> str:
        """Write a calendar day; the names of months are Babel's."""
        if self.habits.dates == "2026-12-03" and with_year:
            return day.isoformat()
        month = "MMMM" if long_month else "MMM"
        if self.habits.dates == "Dec 3, 2026":
            form = f"{month} d, y" if with_year else f"{month} d"
        else:
            form = f"d {month} y" if with_year else f"d {month}"
        if self.habits.language == SOURCE_LANGUAGE:
            name = Day(day, with_year=False, long_month=long_month).partition(" ")[2]
            parts = {month: name, "d": str(day.day), "d,": f"{day.day},", "y": str(day.year)}
            return " ".join(parts[part] for part in form.split(" "))
        from babel.dates import format_date

        return format_date(day, form, self.habits.language)


def ounces(grams: float, decimals: int = 0) -> str:
    """A weight in ounces, no coarser than it was in grams: a step of 0.01 oz is 0.28 g."""
    return f"{grams / GRAMS_IN_OUNCE:.{min(decimals + 2, 3)}f}"


@dataclass(frozen=True)
class _Catalogue:
    texts: Mapping[str, str | tuple[str, ...]]
    form_of: Callable[[int], int]

    def find(self, singular: str, plural: str, number: float) -> str:
        found = self.texts.get(singular)
        if isinstance(found, tuple):
            found = found[self.form_of(round(number))] if plural else found[0]
        return found or (plural if plural and number != 1 else singular)


@cache
def _catalogue(path: Path) -> _Catalogue:
    from gettext import c2py  # gettext's own reading of a plural expression

    from babel.messages.pofile import read_po

    with path.open("rb") as file:
        catalogue = read_po(file)
    texts = {
        str(m.id[0] if isinstance(m.id, (tuple, list)) else m.id): m.string
        if isinstance(m.string, str)
        else tuple(m.string)
        for m in catalogue
        if m.id and m.string
    }
    return _Catalogue(texts, c2py(catalogue.plural_expr))
