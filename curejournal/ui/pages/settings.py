"""How the app speaks: units, dates, language."""

from __future__ import annotations

from functools import partial
from zoneinfo import available_timezones

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.i18n import _, localised, tr, word_of
from curejournal.ui.page import Desk, attempt
from curejournal.workflow import readers

ZONE_HELP = msg("What was entered keeps its own clock; where that is of another zone, its distance from UTC is shown.")


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg("For everyone who uses this journal. What is kept stays in grams and °C, so nothing changes but the words.")
    )
    now, languages = readers.kept_habits(desk.journal), readers.languages()
    if not common.may_enter(desk):
        common.values(
            {
                msg("Weights and temperatures"): now.units,
                msg("Dates look like"): now.dates,
                msg("Time zone"): str(workflow.time_zone(desk.journal)),
                msg("Name on papers and portfolios"): workflow.place(desk.journal),
                msg("Language"): readers.language_name(now.language),
            }
        )
        return
    with st.form("habits"):
        units = st.radio(
            _("Weights and temperatures"),
            readers.UNITS,
            readers.UNITS.index(now.units),
            key="habit-units",
            format_func=word_of,
        )
        dates = st.radio(
            _("Dates look like"),
            readers.DATES,
            readers.DATES.index(now.dates),
            # With other spaces these are no dates of ours: each is shown as it is.
            format_func=localised(lambda date: date.replace(" ", "\u00a0")),
            key="habit-dates",
        )
        paper = st.radio(
            _("Records, fact sheets, lots and portfolios are printed on"),
            readers.PAPERS,
            readers.PAPERS.index(now.paper),
            format_func=word_of,
            horizontal=True,
            key="habit-paper",
        )
        own, kept = str(workflow.HERE), str(workflow.time_zone(desk.journal))
        zones = sorted({own, kept, *available_timezones()}, key=lambda name: (name != own, name))
        zone = st.selectbox(_("Time zone"), zones, zones.index(kept), key="habit-zone", help=tr(ZONE_HELP))
        place = st.text_input(
            _("Name on papers and portfolios"), workflow.place(desk.journal), key="habit-place", max_chars=120
        )
        language = now.language
        if len(languages) > 1:
            names = {code: readers.language_name(code) for code in languages}
            language = st.selectbox(
                _("Language"), languages, languages.index(now.language), format_func=localised(names.__getitem__)
            )
        sent = st.form_submit_button(_("Save"), type="primary")
    if sent:
        habits = readers.Habits(units, dates, language, paper)
        if attempt(partial(_keep, desk, habits, "" if zone == own else zone, place)):
            st.rerun()
    common.say(
        msg("Papers that leave the journal (records, labels, fact sheets) and the command line stay in grams."), "soft"
    )


def _keep(desk: Desk, habits: readers.Habits, zone: str, place: str) -> bool:
    readers.keep_habits(desk.journal, habits, zone=zone, name=place)
    return True
