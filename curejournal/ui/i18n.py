"""What the app says, in the maker's language, units and way of writing dates.

Pages take `st` from here instead of Streamlit: the same functions, whose words go through `worded` first. The texts of
the code are the catalogue: `texts/curejournal.pot` lists all of them, and a file `texts/LANGUAGE.po` beside it
(gettext's format) adds a language. A text with gaps ("{bars} bars left") is known again by what stands between them,
so that the core can write plain sentences and need not know who reads them.

A weight or a temperature in a sentence of ours has a no-break space before its unit (SI Brochure, 9th edition, 5.4.3
wants a space there): by that it is told from what a maker typed, which is shown as typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from functools import cache, lru_cache, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args

import streamlit as plain_st

from curejournal.base.counting import digits
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.journal.store import Journal
from curejournal.workflow.settings import change_settings, settings_of

if TYPE_CHECKING:
    import altair as alt

# Pages take `st` from here: mypy wants that said.
__all__ = (
    "DATES",
    "GRAMS_IN_OUNCE",
    "UNITS",
    "USUAL",
    "Habits",
    "habits",
    "keep_habits",
    "kept_habits",
    "language_name",
    "languages",
    "st",
    "temperature_input",
    "use",
    "weight_input",
    "worded",
    "worded_chart",
)

TEXTS = Path(__file__).with_name("texts")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

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
    plain_st.session_state["speaks"] = habits


def habits() -> Habits:
    """How this session speaks."""
    found = plain_st.session_state.get("speaks", USUAL)
    return found if isinstance(found, Habits) else USUAL


def languages() -> tuple[str, ...]:
    """The languages that there are texts for."""
    return (SOURCE_LANGUAGE, *sorted(path.stem for path in TEXTS.glob("*.po")))


def language_name(code: str) -> str:
    """A language by its own name."""
    from babel import Locale

    return str(Locale.parse(code).get_display_name() or code)


def worded(text: str) -> str:
    """A text of ours as this session's maker reads it."""
    now = habits()
    return text if now == USUAL else _worded(text, now)


@lru_cache(maxsize=20_000)
def _worded(text: str, now: Habits) -> str:
    if now.language != SOURCE_LANGUAGE:
        text = _catalogue(now.language).say(text)
    if now.units != USUAL.units:
        text = _GRAMS.sub(lambda found: f"{ounces(float(found[1]), len(found[2] or ''))}\u00a0oz", text)
        text = _CELSIUS.sub(_fahrenheit, text)
    if now.dates != USUAL.dates:
        text = _DAY.sub(lambda found: _day(found, now.dates), text)
    return text


_GRAMS = re.compile(r"(\d+(?:\.(\d+))?)\u00a0g\b")
_CELSIUS = re.compile(r"([-\u2212]?\d+(?:\.(\d+))?)\u00a0°C")
_DAY = re.compile(rf"\b(\d{{1,2}}) ({'|'.join(f'{m[:3]}(?:{m[3:]})?' for m in _MONTHS)})(?: (\d{{4}}))?\b")


def ounces(grams: float, decimals: int = 0) -> str:
    """A weight in ounces, no coarser than it was in grams: a step of 0.01 oz is 0.28 g."""
    return f"{grams / GRAMS_IN_OUNCE:.{min(decimals + 2, 3)}f}"


def _fahrenheit(found: re.Match[str]) -> str:
    # What was typed in °F has many decimals in °C.
    celsius = float(found[1].replace("\u2212", "-"))
    return f"{digits(1.8 * celsius + 32, min(len(found[2] or ''), 1))}\u00a0°F"


def _day(found: re.Match[str], dates: Dates) -> str:
    day, month, year = int(found[1]), found[2], found[3]
    if dates == "2026-12-03":
        number = 1 + next(k for k, name in enumerate(_MONTHS) if name.startswith(month[:3]))
        return f"{year}-{number:02d}-{day:02d}" if year else found[0]
    return f"{month} {day}, {year}" if year else f"{month} {day}"


# Languages ------------------------------------------------------------------------------------------


class _Catalogue:
    """The translations of one language; texts with gaps are tried the wordiest first."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self._whole = {msgid: msgstr for msgid, msgstr in texts.items() if not _GAP.search(msgid)}
        gapped = [(msgid, msgstr) for msgid, msgstr in texts.items() if _GAP.search(msgid)]
        gapped.sort(key=lambda pair: -len(_GAP.sub("", pair[0])))
        self._gapped = [(_longest_part(msgid), _pattern(msgid), msgstr) for msgid, msgstr in gapped]

    def say(self, text: str) -> str:
        """A text in this language: whole, or else part by part; what the catalogue lacks stays English."""
        inner = text.strip()
        if not inner:
            return text
        known = self._find(inner)
        if known is None and inner[0].isupper():  # words that became a sentence
            known = self._find(inner[0].lower() + inner[1:])
            known = known and known[0].upper() + known[1:]
        if known is not None:
            return text.replace(inner, known)
        if inner[-1] in ".:;,":
            return text.replace(inner, self.say(inner[:-1]) + inner[-1])
        parts = re.split(r"((?<=[.:;?!])\s+| · |, )", inner, maxsplit=1)
        return text if len(parts) == 1 else text.replace(inner, self.say(parts[0]) + parts[1] + self.say(parts[2]))

    def _find(self, text: str) -> str | None:
        if text in self._whole:
            return self._whole[text]
        for part, pattern, msgstr in self._gapped:
            found = pattern.fullmatch(text) if part in text else None
            if found:
                # What stands in a gap may be ours too: a state's word, a sentence.
                said = msgstr
                for name, value in found.groupdict().items():
                    said = said.replace(f"{{{name}}}", self.say(value))
                return said
        return None


_GAP = re.compile(r"\{(\w+)\}")


def _longest_part(msgid: str) -> str:
    return max(re.split(r"\{\w+\}", msgid), key=len)


def _pattern(msgid: str) -> re.Pattern[str]:
    """What a text with gaps can have become."""
    parts = re.split(r"\{(\w+)\}", msgid)
    return re.compile(
        "".join(re.escape(part) if k % 2 == 0 else f"(?P<{part}>.*?)" for k, part in enumerate(parts)), re.DOTALL
    )


@cache
def _catalogue(language: str) -> _Catalogue:
    from babel.messages.pofile import read_po

    with (TEXTS / f"{language}.po").open("rb") as file:
        return _Catalogue({str(m.id): str(m.string) for m in read_po(file) if m.id and m.string})


def worded_chart(chart: alt.Chart | alt.LayerChart) -> alt.Chart | alt.LayerChart:
    """A chart in the maker's words: titles, names, what its points say."""
    if habits() == USUAL:
        return chart
    reworded: alt.Chart | alt.LayerChart = type(chart).from_dict(_reworded(chart.to_dict()))
    return reworded


def _reworded(part: Any) -> Any:
    if isinstance(part, Mapping):
        # What names a field, a mark or a colour is Vega-Lite's own.
        return {key: part[key] if key in _VEGAS_OWN else _reworded(part[key]) for key in part}
    if isinstance(part, list):
        return [_reworded(one) for one in part]
    return worded(part) if isinstance(part, str) else part


_VEGAS_OWN = set(
    re.findall(r"\S+", "$schema field type mark name param format config timeUnit shape stroke fill color")
)


# Streamlit, worded ----------------------------------------------------------------------------------

_WORDS = ("label", "body", "text", "help", "placeholder", "caption", "alt", "title", "page_title")
_CHOICES = ("radio", "selectbox", "multiselect", "pills", "segmented_control", "select_slider")
_FIRST = set(
    re.findall(
        r"\w+",
        """title header subheader caption markdown text button form_submit_button download_button toggle checkbox slider
        number_input text_input text_area file_uploader camera_input date_input datetime_input expander popover
        success info warning error spinner radio selectbox multiselect pills segmented_control select_slider""",
    )
)
"""The functions whose first argument is words."""


class _Worded:
    """Streamlit, save that its words go through `worded`."""

    def __getattr__(self, name: str) -> Any:
        thing = getattr(plain_st, name)
        return _telling(name, thing) if name in _FIRST or name in ("progress", "page_link", "image") else thing


def _telling(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(function)
    def tell(*args: Any, **options: Any) -> Any:
        given = list(args)
        if given and isinstance(given[0], str) and name in _FIRST:
            given[0] = worded(given[0])
        if name == "progress" and len(given) > 1:
            given[1] = worded(given[1])
        for word in _WORDS:
            if isinstance(options.get(word), str):
                options[word] = worded(options[word])
        if name in _CHOICES:
            say = options.get("format_func", str)
            options["format_func"] = lambda choice: worded(say(choice))
        if name == "download_button":
            # A run of the page begun by the press would race with the making of the file, and take it away.
            options.setdefault("on_click", "ignore")
        return function(*given, **options)

    return tell


if TYPE_CHECKING:
    import streamlit as st
else:
    st = _Worded()


# What is typed in the maker's units -----------------------------------------------------------------


def weight_input(label: str, value: float | None = None, *, step: float = 0.1, **options: Any) -> float | None:
    """Ask for a weight in the maker's unit; grams come back. A shown value that is left alone comes back as it was."""
    if habits().units == USUAL.units:
        return st.number_input(label, value=value, step=step, **options)
    options = {**options, "format": "%.3f", "key": f"{options['key']}-oz"}
    shown = None if value is None else round(value / GRAMS_IN_OUNCE, 3)
    label = re.sub(", g$", ", oz", label.replace("Grams", "Ounces").replace("grams", "ounces"))
    typed = st.number_input(label, value=shown, step=0.01, **options)
    return value if typed == shown else None if typed is None else typed * GRAMS_IN_OUNCE


def temperature_input(label: str, value: float | None = None, *, step: float = 0.5, **options: Any) -> float | None:
    """Ask for a temperature in the maker's unit; °C comes back."""
    if habits().units == USUAL.units:
        return st.number_input(label, value=value, step=step, **options)
    shown = None if value is None else round(1.8 * value + 32, 1)
    options = {**options, "key": f"{options['key']}-f"}
    typed = st.number_input(label.replace("°C", "°F"), value=shown, step=1.0, **options)
    return value if typed == shown else None if typed is None else (typed - 32) / 1.8
