"""Say texts to the session's reader: language, units and dates.

The code's sentences are messages (`base.messages`), or are said on the spot with `_`. `tr` says any message to the
reader (`workflow.readers`); what a maker typed is a plain string, and stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from curejournal.base.messages import Spoken, localise, msg
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.workflow.readers import USUAL, Habits, Reader

if TYPE_CHECKING:
    import altair as alt


def use(habits: Habits) -> None:
    """Speak so from now on, in this session."""
    st.session_state["speaks"] = habits


def habits() -> Habits:
    """How this session speaks."""
    found = st.session_state.get("speaks", USUAL)
    return found if isinstance(found, Habits) else USUAL


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
    if typed == shown:
        return value
    return None if typed is None else typed * GRAMS_IN_OUNCE


def temperature_input(label: str, value: float | None = None, *, step: float = 0.5, **options: Any) -> float | None:
    """Ask for a temperature in the maker's unit; °C comes back."""
    if habits().units == USUAL.units:
        return st.number_input(tr(label), value=value, step=step, **options)
    shown = None if value is None else round(1.8 * value + 32, 1)
    options = {**options, "key": f"{options['key']}-f"}
    typed = st.number_input(tr(label).replace("°C", "°F"), value=shown, step=1.0, **options)
    if typed == shown:
        return value
    return None if typed is None else (typed - 32) / 1.8
