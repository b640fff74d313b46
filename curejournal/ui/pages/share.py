"""Batches as files, from one journal to another."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.ui.components import common
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk, attempt, plain
from curejournal.workflow import documents


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(msg("A batch as one file, with its history and photos, that another journal can open."), "lead")
    if not desk.journal.names():
        common.empty("parcel", msg("No batch yet. One from another journal comes in below."))
    code = common.chosen_batch(desk, "bundle")
    if code is not None:
        common.say(msg("Its photos are as they came from the camera, with any location that is in them."), "soft")
        st.download_button(
            _("Bundle of this batch"),
            lambda: documents.bundle(desk.journal, code),
            f"{code}-bundle.zip",
            "application/zip",
            key=f"bundle-out-{code}",
            type="primary",
            on_click="ignore",
        )
    common.way(desk, "plan", msg("A recipe, out or in"), ":material/menu_book:")
    if not common.may_enter(desk):
        return
    st.subheader(_("Enter a batch from another journal"))
    file = st.file_uploader(_("Its file, a bundle"), type=["zip"], key="bundle-file")
    other = st.text_input(_("A code for it here (empty: its own)"), key="bundle-code", max_chars=40)
    if file is not None and st.button(_("Verify and enter it"), key="bundle-go", type="primary"):
        with st.spinner(_("Verifying every photo and entry…")):
            batch = attempt(
                lambda: documents.open_bundle(
                    desk.journal, file.getvalue(), code=other.strip(), by=desk.by, now=desk.now, zone=desk.zone
                )
            )
        if batch is not None:
            st.success(
                _("{code} {name} is in this journal.", code=plain(batch.code), name=plain(batch.name)),
                icon=":material/check:",
            )
            common.way(desk, "batch", msg("Open {code}", code=batch.code), batch=batch.code)
