"""What surfaces in photos look like, outlined in the picture, for the maker to confirm or deny."""

from __future__ import annotations

from functools import partial

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt
from curejournal.workflow import Card, photos
from curejournal.workflow.photos import Finding, InboxItem

WAITING = "to-ask"
NO_FAULT = ("mottling", "gel ring")


def look_later(sha256: str) -> None:
    """Ask about this photo's surface on the next page that does."""
    waiting = st.session_state.setdefault(WAITING, [])
    if sha256 not in waiting:
        waiting.append(sha256)


def ask_all(desk: Desk, card: Card) -> None:
    """Ask about the surfaces in the photos that were kept last; nothing is noted unasked."""
    waiting: list[str] = st.session_state.get(WAITING, [])
    for sha256 in list(waiting):
        item = attempt(partial(photos.item_of, desk.journal, sha256, card, desk.now))
        if item is None or not item.surface:
            waiting.remove(sha256)
        elif ask(desk, item):
            waiting.remove(sha256)
            st.rerun()


def ask(desk: Desk, item: InboxItem) -> bool:
    """Show what one placed photo's surface looks like; whether everything about it was answered."""
    left = f"surface-left-{item.sha256[:12]}"
    answered: list[str] = st.session_state.setdefault(left, [])
    for finding in item.surface:
        if finding.kind not in answered and _one(desk, item, finding):
            answered.append(finding.kind)
            st.rerun()
    return all(finding.kind in answered for finding in item.surface)


def _one(desk: Desk, item: InboxItem, finding: Finding) -> bool:
    key = f"surface-{finding.kind.replace(' ', '-')}-{item.sha256[:12]}"
    with st.container(border=True, key=key):
        st.markdown(_("**{words}** Is it so?", words=common.sentence(finding.words)))
        batch = desk.journal.batch(item.batch)
        grown = photos.growth(batch, finding, item.at) if item.at else ""
        if grown:
            common.say(grown)
        if finding.outlines:
            areas = [seen.outline for seen in item.colours]
            picture = attempt(lambda: photos.outlined_picture(desk.journal, item.sha256, areas, finding.outlines, 1000))
            if picture is not None:
                caption = msg("Red: what is meant. Yellow: the soap that was measured.")
                st.image(
                    picture, width="stretch", caption=tr(caption), alt=tr(f"{item.name}. {finding.words} {caption}")
                )
        with st.container(horizontal=True):
            yes = st.button(_("Yes, note it"), key=f"{key}-yes", type="primary")
            no = finding.kind not in NO_FAULT and st.button(_("No, the surface is clear"), key=f"{key}-no")
            later = st.button(_("Leave it open"), key=f"{key}-open")
    if yes or no:
        noted = attempt(lambda: photos.confirm_surface(desk.journal, item, finding if yes else None, by=desk.by))
        return noted is not None
    return later
