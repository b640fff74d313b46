"""The room: one log for the workshop, out of a logger's file that is looked at before it is kept."""

from __future__ import annotations

from functools import partial

import streamlit as st

from curejournal.base.messages import day_and_time, join, msg
from curejournal.batch.room_log import RoomFile, RoomReading, Unit, summary
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import _, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.workflow import room


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(msg("Temperature and humidity of the room where soap cures, for all batches at once."), "lead")
    _log(desk)
    if not common.may_enter(desk):
        return
    key = entry.form_key("room-file")
    file = st.file_uploader(_("A logger’s file: drop it here (CSV or text)"), type=["csv", "txt", "tsv"], key=key)
    if file is None:
        return
    unit: Unit | None = None
    day_first: bool | None = None
    first = attempt(partial(room.preview_room_file, file.getvalue(), desk.zone))
    if first is None:
        return
    for question in first.questions:
        st.warning(plain(question.text), icon=":material/back_hand:")
        if question.about == "unit":
            unit = st.radio(
                _("The temperatures are in"),
                ["°C", "°F"],
                index=None,
                horizontal=True,
                key=f"{key}-unit",
                format_func=word_of,
            )
        else:
            said = st.radio(
                _("First comes the"),
                ["day", "month"],
                index=None,
                horizontal=True,
                key=f"{key}-first",
                format_func=word_of,
            )
            day_first = None if said is None else said == "day"
    read = attempt(partial(room.preview_room_file, file.getvalue(), desk.zone, unit=unit, day_first=day_first))
    if read is None:
        return
    common.say(summary(read))
    common.listed(read.notes)
    shown = [*read.readings[: room.PREVIEWED // 2], *read.readings[-room.PREVIEWED // 2 :]]
    common.listed(map(_line, dict.fromkeys(shown)))
    if read.questions:
        common.say(msg("Answer what is asked above first."), "soft")
    elif st.button(_("Save"), key=f"{key}-go", type="primary"):
        made = attempt(partial(room.keep_room_file, desk.journal, read, file.name, by=desk.by, now=desk.now))
        if made is not None:
            entry.done(key)
            st.rerun()


def _log(desk: Desk) -> None:
    kept = room.room_log(desk.journal)
    if kept:
        common.say(summary(RoomFile(kept, (), (), 0)))
    else:
        common.empty("room", msg("The log is empty. How fast soap dries depends on its air: add a logger’s file."))


def _line(reading: RoomReading) -> str:
    warm = "" if reading.temperature_c is None else f"{reading.temperature_c:.1f}\u00a0°C"
    damp = "" if reading.humidity_pct is None else f"{reading.humidity_pct:.0f} %"
    return msg("{at}: {part}", at=day_and_time(reading.at), part=join(", ", (part for part in (warm, damp) if part)))
