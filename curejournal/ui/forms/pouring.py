"""The day of the pour: large buttons for what happens, stamped with the time, portion by portion."""

from __future__ import annotations

from datetime import timedelta

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, Event, EventKind, Record, ScalarReading
from curejournal.documents import formatting
from curejournal.ui.components import common
from curejournal.ui.forms import entry, recipe
from curejournal.ui.i18n import _, temperature_input, tr
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import cache, material_cache
from curejournal.workflow import materials

LARGE: dict[EventKind, str] = {
    "trace": msg("Trace"),
    "thickening": msg("Thickening"),
    "colour changed": msg("Its colour changed"),
    "poured": msg("Poured"),
    "gel": msg("Gel phase"),
    "unmoulded": msg("Unmoulded"),
    "cut": msg("Cut"),
}
MORE: dict[EventKind, str] = {
    "seizing": msg("It seized"),
    "ricing": msg("It riced"),
    "separation": msg("It separated"),
    "overheated": msg("It overheated"),
    "volcano": msg("It rose over the mould"),
    "partial gel": msg("Partial gel"),
    "soft": msg("Still soft"),
    "crumbly": msg("Crumbly"),
    "cracked": msg("Cracked"),
    "planed": msg("Planed"),
    "stamped": msg("Stamped"),
    "washed": msg("Washed"),
    "smell gone": msg("The scent is gone"),
    "smell off": msg("It smells off"),
}
"""What happens now and then; as kinds of their own they can be counted and compared."""
WHOLE = msg("the whole batch")
LATELY = timedelta(hours=36)
"""How long a pour is looked back on, and a batch opens where it is written down: until about its cut. Ours."""


def is_on(desk: Desk, batch: Batch) -> bool:
    """Whether this batch is being poured, or waits in its mould."""
    return batch.poured_at is None or desk.now - batch.poured_at < LATELY


def show(desk: Desk, batch: Batch) -> None:
    """The buttons, a temperature, a note; what was noted so far."""
    key = f"pour-{batch.code}"
    turn, warm_form, note_form = (entry.form_key(form, batch) for form in ("pour", "warm", "note"))
    names = [portion.name for portion in batch.portions]
    # The portion stays chosen from one press to the next: it is worked on for a while.
    chosen = (
        st.pills(_("Of"), [WHOLE, *names], default=WHOLE, required=True, key=f"{key}-portion", format_func=plain)
        if len(names) > 1
        else WHOLE
    )
    portion = "" if chosen == WHOLE else chosen
    with st.container(horizontal=True, key=f"large-{key}"):
        pressed = [kind for kind, label in LARGE.items() if st.button(tr(label), key=f"{key}-{kind}")]
    with st.expander(_("Something else happened")), st.container(horizontal=True, key=f"large-{key}-more"):
        pressed += [kind for kind, label in MORE.items() if st.button(tr(label), key=f"{key}-{kind}")]
    # Value and button travel together in a form: what was typed is not lost to a page that draws itself meanwhile.
    with (
        st.form(warm_form, border=False),
        st.container(horizontal=True, vertical_alignment="bottom", key=f"large-line-{key}-warm"),
    ):
        temperature = temperature_input(msg("Temperature, °C"), value=None, step=0.5, key=f"{warm_form}-temperature")
        warm = st.form_submit_button(_("Keep temperature"), key=f"{key}-warm")
    with (
        st.form(note_form, border=False),
        st.container(horizontal=True, vertical_alignment="bottom", key=f"large-line-{key}-note"),
    ):
        words = st.text_input(
            _("Note"), key=f"{note_form}-words", max_chars=500, placeholder=_("thick, separating, 2 g more…")
        )
        noted = st.form_submit_button(_("Keep note"), key=f"{key}-note")
    with st.expander(_("At another time, or with the number of bars cut")):
        bars = st.number_input(_("Bars cut"), value=None, min_value=1, step=1, key=f"{turn}-bars")
        at = entry.moment(desk, turn)
    cut = int(bars) if bars else None
    records: list[Record] = [Event(kind, portion, bars=cut if kind == "cut" else None) for kind in pressed]
    if warm and temperature is not None:
        # The batter's temperature stands in the chart of the batch; that of one portion beside what was done with it.
        records.append(
            Event("note", portion, "temperature", temperature)
            if portion
            else ScalarReading(msg("batter temperature"), temperature)
        )
    if noted and words.strip():
        records.append(Event("note", portion, words.strip()))
    if records or warm or noted:
        forms = (turn, *([warm_form] if warm else []), *([note_form] if noted else []))
        entry.offer(desk, batch.code, records, at, *forms)
    _darkened(desk, batch)
    _lately(desk, batch)


def _darkened(desk: Desk, batch: Batch) -> None:
    """Once its colour changed: what all earlier batches with these materials say, with their pictures."""
    changed = [event for at, event in batch.records(Event) if event.kind == "colour changed" and desk.now - at < LATELY]
    if not changed:
        return
    answer = materials.when_it_darkens(
        desk.journal, batch.code, desk.now, changed[-1].portion, tell=material_cache.teller(desk)
    )
    with st.container(border=True, key=f"darkened-{batch.code}"):
        st.subheader(_("It darkened: what earlier batches did"))
        common.listed(answer.words)
        for before in answer.darkened[-4:][::-1]:
            common.way(
                desk,
                "batch",
                msg("{batch} · {name}, {portion}", batch=before.batch, name=before.name, portion=before.portion),
                batch=before.batch,
            )
            if before.photos:
                with st.container(horizontal=True, key=f"darkened-{batch.code}-{before.batch}-{before.portion}"):
                    for sha256 in before.photos:
                        st.image(
                            cache.small_picture(desk.journal, sha256, 320),
                            width=150,
                            alt=_("{name}, {portion}", name=before.name, portion=before.portion),
                        )


def _lately(desk: Desk, batch: Batch) -> None:
    noted = [
        item
        for item in reversed(batch.entries)
        if isinstance(item.record, (Event, ScalarReading)) and desk.now - item.at < LATELY
    ]
    if noted:
        st.subheader(_("So far"))
        common.listed(
            msg(
                "{at:%H:%M}{zone}: {record}",
                at=item.at,
                zone=formatting.offset(item.at, desk.zone),
                record=describe(item.record),
            )
            for item in noted
        )


def complete(desk: Desk, batch: Batch) -> None:
    """Ask for what the record lacks: when it was poured, or the recipe."""
    if batch.poured_at is None:
        key = f"complete-{batch.code}"
        common.say(msg("When was it poured? Age, drying and colour count from there."))
        at = entry.moment(desk, key)
        if st.button(_("It was poured then"), key=f"{key}-poured", type="primary"):
            entry.offer(desk, batch.code, [Event("poured")], at)
    if batch.recipe is None:
        recipe.of_batch(desk, batch)
