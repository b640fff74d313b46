"""The time zone of the phone or computer that the app is used on: taken at first, asked about when it is another."""

from __future__ import annotations

from functools import partial
from zoneinfo import ZoneInfo

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.journal.store import Journal
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk, attempt
from curejournal.workflow.settings import ZoneUnknown, change_settings, settings_of


def phone_zone() -> ZoneInfo | None:
    """The zone that the browser is set to, if it says so."""
    name = st.context.timezone
    try:
        return workflow.zone_named(name) if name else None
    except ZoneUnknown:
        return None


def take(journal: Journal, *, reads_only: bool) -> None:
    """Keep the phone's zone as the journal's, where it has none yet; the demo's calendar is its own."""
    found, settings = phone_zone(), settings_of(journal)
    if found is None or settings.time_zone or settings.calendar_stands_at or reads_only:
        return
    attempt(partial(change_settings, journal, time_zone=str(found)))


def ask(desk: Desk) -> None:
    """Ask whose clock counts, where phone and journal show another hour, until that was answered for this zone."""
    found, settings = phone_zone(), settings_of(desk.journal)
    if found is None or desk.stands_still or desk.reads_only or str(found) == settings.zone_declined:
        return
    if desk.now.astimezone(found).utcoffset() == desk.now.utcoffset():
        return
    with st.container(border=True, key="other-zone"):
        st.warning(
            tr(
                msg(
                    "It is {there:%H:%M} by this phone ({phone}), and {here:%H:%M} by the journal ({kept}). Which "
                    "clock counts from now on? What was entered keeps its moment.",
                    there=desk.now.astimezone(found),
                    phone=str(found),
                    here=desk.now,
                    kept=str(desk.zone),
                )
            ),
            icon=":material/schedule:",
        )
        with st.container(horizontal=True):
            change = st.button(tr(msg("{zone}, as on this phone", zone=str(found))), key="zone-take", type="primary")
            stay = st.button(tr(msg("Stay with {zone}", zone=str(desk.zone))), key="zone-stay")
    changes = {"time_zone": str(found), "zone_declined": ""} if change else {"zone_declined": str(found)}
    if (change or stay) and attempt(lambda: _kept(desk.journal, changes)):
        st.rerun()


def _kept(journal: Journal, changes: dict[str, str]) -> bool:
    change_settings(journal, **changes)
    return True
