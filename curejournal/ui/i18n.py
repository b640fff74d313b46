"""Say texts to the session's reader: language, units and dates.

The code's sentences are messages (`base.messages`), or are said on the spot with `_`. `tr` says any message to the
reader; what a maker typed is a plain string, and stays as it is. Babel extracts the catalogue
`texts/curejournal.pot` from the code; a file `texts/LANGUAGE.po` beside it (gettext's format) adds a language.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

import streamlit as st

from curejournal.base.counting import digits
from curejournal.base.messages import Day, Spoken, localise, msg
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.journal.store import Journal
from curejournal.workflow.settings import change_settings, settings_of

if TYPE_CHECKING:
    import altair as alt

TEXTS = Path(__file__).with_name("texts")
Units = Literal["g and °C", "oz and °F"]
Dates = Literal["3 Dec 2026", "Dec 3, 2026", "2026-12-03"]
UNITS: tuple[Units, ...] = get_args(Units)
DATES: tuple[Dates, ...] = get_args(Dates)
SOURCE_LANGUAGE = "en"


@dataclass(frozen=True)
class Habits:
    """How this journal's makers read: units, dates, language."""

    units: Units = "g and °C"
    dates: Dates = "3 Dec 2026"
    language: str = SOURCE_LANGUAGE


USUAL = Habits()


def kept_habits(journal: Journal) -> Habits:
    """The habits kept in a journal; what it does not know is as usual."""
    kept = settings_of(journal).habits
    return Habits(
        next((units for units in UNITS if units == kept.get("units")), USUAL.units),
        next((dates for dates in DATES if dates == kept.get("dates")), USUAL.dates),
        next((one for one in languages() if one == kept.get("language")), USUAL.language),
    )


def keep_habits(journal: Journal, habits: Habits) -> None:
    """Keep how makers read; earlier habits stay in the history."""
    change_settings(journal, habits=asdict(habits))


def use(habits: Habits) -> None:
    """Speak so from now on, in this session."""
    st.session_state["speaks"] = habits


def habits() -> Habits:
    """How this session speaks."""
    found = st.session_state.get("speaks", USUAL)
    return found if isinstance(found, Habits) else USUAL


def languages() -> tuple[str, ...]:
    """The languages that there are texts for."""
    return (SOURCE_LANGUAGE, *sorted(path.stem for path in TEXTS.glob("*.po")))


def language_name(code: str) -> str:
    """A language by its own name."""
    from babel import Locale

    return str(Locale.parse(code).get_display_name() or code)


def _(template: str, /, **values: Any) -> str:
    """Say a sentence of ours to the reader; its gaps are named as in `str.format`."""
    return str(tr(msg(template, **values)))


def tr(text: Any) -> Any:
    """Say a message to the reader; anything else stays as it is."""
    now = habits()
    return text if now == USUAL else localise(text, Reader(now))


def word_of(choice: Any) -> str:
    """Say one of our own words that stand alone, such as a choice of a form."""
    return str(tr(choice if isinstance(choice, Spoken) else msg(str(choice))))


def localised(format_func: Callable[[Any], Any]) -> Callable[[Any], str]:
    """Make a `format_func` whose result is said to the reader."""
    return lambda choice: str(tr(format_func(choice)))


@dataclass(frozen=True)
class Reader:
    """A reader's way of hearing: a `base.messages.Voice`."""

    habits: Habits

    def template(self, singular: str, plural: str, number: float) -> str:
        """Find a template in the reader's language; what the catalogue lacks stays English."""
        if self.habits.language == SOURCE_LANGUAGE:
            return plural if plural and number != 1 else singular
        return _catalogue(self.habits.language).find(singular, plural, number)

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
def _catalogue(language: str) -> _Catalogue:
    from gettext import c2py  # gettext's own reading of a plural expression

    from babel.messages.pofile import read_po

    with (TEXTS / f"{language}.po").open("rb") as file:
        catalogue = read_po(file)
    texts = {
        str(m.id[0] if isinstance(m.id, (tuple, list)) else m.id): m.string
        if isinstance(m.string, str)
        else tuple(m.string)
        for m in catalogue
        if m.id and m.string
    }
    return _Catalogue(texts, c2py(catalogue.plural_expr))


def localise_chart(chart: alt.Chart | alt.LayerChart) -> alt.Chart | alt.LayerChart:
    """Say a chart's messages to the reader: titles, names, what its points say."""
    if habits() == USUAL:
        return chart
    spoken: alt.Chart | alt.LayerChart = type(chart).from_dict(_spoken(chart.to_dict()))
    return spoken


def _spoken(part: Any) -> Any:
    if isinstance(part, Mapping):
        return {str(tr(key)): _spoken(value) for key, value in part.items()}
    if isinstance(part, list):
        return [_spoken(one) for one in part]
    return tr(part)


# What is typed in the maker's units -----------------------------------------------------------------


def weight_input(label: str, value: float | None = None, *, step: float = 0.1, **options: Any) -> float | None:
    """Ask for a weight in the maker's unit; grams come back. A shown value that is left alone comes back as it was."""
    if habits().units == USUAL.units:
        return st.number_input(tr(label), value=value, step=step, **options)
    options = {**options, "format": "%.3f", "key": f"{options['key']}-oz"}
    shown = None if value is None else round(value / GRAMS_IN_OUNCE, 3)
    label = re.sub(", g$", ", oz", tr(label).replace("Grams", "Ounces").replace("grams", "ounces"))
    typed = st.number_input(label, value=shown, step=0.01, **options)
    return value if typed == shown else None if typed is None else typed * GRAMS_IN_OUNCE


def temperature_input(label: str, value: float | None = None, *, step: float = 0.5, **options: Any) -> float | None:
    """Ask for a temperature in the maker's unit; °C comes back."""
    if habits().units == USUAL.units:
        return st.number_input(tr(label), value=value, step=step, **options)
    shown = None if value is None else round(1.8 * value + 32, 1)
    options = {**options, "key": f"{options['key']}-f"}
    typed = st.number_input(tr(label).replace("°C", "°F"), value=shown, step=1.0, **options)
    return value if typed == shown else None if typed is None else (typed - 32) / 1.8
