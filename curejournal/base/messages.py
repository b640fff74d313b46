"""Sentences as values: the English text, and the template, quantities, days and names that it was made of.

The core says what it found with `msg` and `msg_n`; each result is English text, and remembers its parts. A face hands
it to `localise` with its catalogue and its ways of writing quantities and days. What a maker typed is a plain string:
it is a gap's value, and is never translated. Templates are gettext's msgids, with named gaps as in `str.format`;
Babel extracts them by the names of these two functions.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from enum import Enum
from typing import Any, Literal, Protocol, Self

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class Voice(Protocol):
    """How a reader is spoken to: in which language, units and way of writing days, and on which paper."""

    @property
    def paper(self) -> Literal["A4", "Letter"]:
        """The size of the pages that are printed."""

    def template(self, singular: str, plural: str, number: float) -> str:
        """Find a template in the reader's language; `plural` is empty for a sentence that counts nothing."""

    def quantity(self, value: float, decimals: int, unit: str) -> str:
        """Write a weight (unit g) or a temperature (unit °C) in the reader's unit."""

    def day(self, day: date, *, with_year: bool, long_month: bool) -> str:
        """Write a calendar day."""


class Spoken(str):
    """English text that can be said to other readers."""

    __slots__ = ()

    def to(self, voice: Voice) -> str:
        """Say it to a reader."""
        raise NotImplementedError

    def __add__(self, other: str) -> Joined:
        return Joined((self, other))

    def __radd__(self, other: str) -> Joined:
        return Joined((other, self))


class Message(Spoken):
    """A sentence or a part of one, made of a template and the values of its gaps.

    Attributes
    ----------
    singular, plural : str
        The template, and the one for other numbers than one; `plural` is empty where nothing is counted.
    number : float
        What is counted; 1 where nothing is.
    values : Mapping of str to Any
        The gaps. Values of this module and members of an enumeration are said to the reader; all else stays.

    """

    singular: str
    plural: str
    number: float
    values: Mapping[str, Any]

    def __new__(cls, singular: str, plural: str, number: float, values: Mapping[str, Any]) -> Self:
        """Make the English text, and remember its parts."""
        template = plural if plural and number != 1 else singular
        self = super().__new__(cls, template.format(**values) if values else template)
        self.singular, self.plural, self.number, self.values = singular, plural, number, values
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.singular, self.plural, self.number, dict(self.values))

    def to(self, voice: Voice) -> str:
        """Say it to a reader, and each value that can be."""
        template = voice.template(self.singular, self.plural, self.number)
        return template.format(**{k: localise(v, voice) for k, v in self.values.items()}) if self.values else template


class Joined(Spoken):
    """Messages and plain text one after the other."""

    parts: tuple[str, ...]
    first_upper: bool

    def __new__(cls, parts: Sequence[str], first_upper: bool = False) -> Self:
        """Make the English text, and remember its parts."""
        self = super().__new__(cls, _upper_first("".join(parts)) if first_upper else "".join(parts))
        self.parts, self.first_upper = tuple(parts), first_upper
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.parts, self.first_upper)

    def to(self, voice: Voice) -> str:
        """Say each part to a reader."""
        text = "".join(str(localise(part, voice)) for part in self.parts)
        return _upper_first(text) if self.first_upper else text


class Quantity(Spoken):
    """A weight in grams or a temperature in °C, as finely written as it is known."""

    value: float
    decimals: int
    unit: str

    def __new__(cls, figure: str, unit: str) -> Self:
        """Make the English text, and remember its parts."""
        # The figure is as in English text; a no-break space stands before the unit (SI Brochure, 5.4.3).
        self = super().__new__(cls, f"{figure}\u00a0{unit}")
        self.value = float(figure.replace("\u2212", "-"))
        self.decimals, self.unit = len(figure.partition(".")[2]), unit
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.partition("\u00a0")[0], self.unit)

    def to(self, voice: Voice) -> str:
        """Say it in the reader's unit."""
        return voice.quantity(self.value, self.decimals, self.unit)


class Day(Spoken):
    """A calendar day."""

    day: date
    with_year: bool
    long_month: bool

    def __new__(cls, day: date, with_year: bool = True, long_month: bool = False) -> Self:
        """Make the English text, and remember its parts; of a moment, its day."""
        day = date(day.year, day.month, day.day)
        month = f"{day:%B}" if long_month else _MONTHS[day.month - 1]
        self = super().__new__(cls, f"{day.day} {month}" + (f" {day.year}" if with_year else ""))
        self.day, self.with_year, self.long_month = day, with_year, long_month
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.day, self.with_year, self.long_month)

    def to(self, voice: Voice) -> str:
        """Say it as the reader writes days."""
        return voice.day(self.day, with_year=self.with_year, long_month=self.long_month)


def day_and_time(at: datetime) -> str:
    """A moment by its own clock: 3 Dec 2026, 14:05."""
    return Day(at) + f", {at:%H:%M}"


def _upper_first(text: str) -> str:
    return text[:1].upper() + text[1:]


def msg(template: str, /, **values: Any) -> str:
    """Make a `Message` of a template with named gaps, as in `str.format`, and their values."""
    return Message(template, "", 1, values)


def msg_n(singular: str, plural: str, number: float, /, **values: Any) -> str:
    """Make a `Message` that counts; the templates' gap `number` is what is counted."""
    return Message(singular, plural, number, {"number": number, **values})


def quantity(figure: str | float, unit: str) -> str:
    """Make a quantity of a figure as it is written; what is no figure stays text."""
    text = figure if isinstance(figure, str) else f"{figure:g}"
    try:
        return Quantity(text, unit)
    except ValueError:
        return f"{text}\u00a0{unit}"


def join(separator: str, parts: Iterable[str]) -> str:
    """Join messages as `str.join` joins text, so that each can still be said to a reader."""
    found: list[str] = []
    for part in parts:
        found += [separator, part] if found else [part]
    return Joined(found)


def sentence(*parts: str) -> str:
    """Write parts one after the other, the first letter a capital."""
    return Joined(parts, first_upper=True)


def localise(value: Any, voice: Voice | None) -> Any:
    """Say a value to a reader: messages, quantities, days and members of an enumeration; all else stays as it is.

    Without a voice it stays English.
    """
    if voice is None:
        return value
    if isinstance(value, Spoken):
        return value.to(voice)
    if isinstance(value, Enum) and isinstance(value.value, str):
        return voice.template(value.value, "", 1)
    return value
