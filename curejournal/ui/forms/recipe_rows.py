"""Rows of a form that ask for materials: what, how much, of which lot."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.i18n import _, tr, weight_input, word_of

T = TypeVar("T")


ADD = {
    "Oil": msg("Add an oil"),
    "Liquid": msg("Add a liquid"),
    "Acid": msg("Add an acid"),
    "Alkali": msg("Add an alkali"),
    "Additive": msg("Add an additive"),
    "Pieces of batch": msg("Add pieces of a batch"),
}
"""What asks for one more row, by what a row begins with."""


def known_row(before: Sequence[T], name_of: Callable[[T], str], name: str, number: int) -> T | None:
    """What is known of a row's material: what stood in that row, if it is still called so; else another of its name."""
    same = [item for item in before[number : number + 1] if name_of(item) == name]
    same += [item for item in before if name_of(item) == name]
    return same[0] if same else None


def offering(choices: Sequence[str], old: str | None) -> list[str]:
    """The choices, and what stood there before if it is none of them: it is never dropped."""
    return [*choices, *([old] if old is not None and old not in choices else [])]


def rows(
    key: str,
    label: str,
    old: Sequence[tuple[Any, ...]],
    choices: Mapping[str, Sequence[str]],
    least: int = 1,
    with_lot: bool = True,
    new: str = "",
) -> list[dict[str, Any]]:
    """Rows of what, grams, lot unless it has none, further choices, its number; a row without grams does not count.

    What stood in a row is offered there whatever the choices are. In the column `new` anything else may be typed.
    """
    more = st.session_state.get(f"{key}-added", 0)
    count = max(len(old), least) + more
    found = []
    for number in range(count):
        what, grams, lot, *rest = old[number] if number < len(old) else (None, None, "")
        row: dict[str, Any] = {}
        with st.container(horizontal=True, key=f"{key}-{number}-row", vertical_alignment="bottom"):
            if label in choices:
                options = offering(choices[label], what)
                row[label] = st.selectbox(
                    tr(label),
                    options,
                    options.index(what) if what is not None else None,
                    key=f"{key}-{number}-what",
                    placeholder=tr(msg("choose or type") if label == new else "choose"),
                    accept_new_options=label == new,
                    width=190,
                )
            else:
                row[label] = st.text_input(tr(label), what or "", key=f"{key}-{number}-what", width=190).strip()
            row["grams"] = weight_input(
                "grams", value=grams, step=1.0, format="%.1f", key=f"{key}-{number}-g", width=150
            )
            others = [name for name in choices if name != label]
            for place, name in enumerate(others):
                known = rest[place] if place < len(rest) else None
                options = offering(choices[name], known)
                index = options.index(known) if known is not None else 0
                width = 200 if name == "in" else 150
                row[name] = st.selectbox(tr(name), options, index, key=f"{key}-{number}-{name}", width=width)
            if with_lot:
                row["lot"] = st.text_input(_("lot"), lot, key=f"{key}-{number}-lot", width=130).strip()
        if row[label] and row["grams"] is not None:
            found.append(row | {"number": number})
    if st.button(word_of(ADD.get(label, label)), key=f"{key}-more", icon=":material/add:"):
        st.session_state[f"{key}-added"] = more + 1
        st.rerun()
    return found
