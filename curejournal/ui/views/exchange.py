"""Batches as files, from one journal to another."""

from __future__ import annotations

from curejournal import publish
from curejournal.ui import parts
from curejournal.ui.page import Desk, Page, attempt, plain
from curejournal.ui.telling import st


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say("A batch as one file, with its history and photos, that another journal can open.", "lead")
    code = parts.chosen_batch(desk, "bundle")
    if code is not None:
        parts.say("Its photos are as they came from the camera: a place in them goes along.", "soft")
        st.download_button(
            "Bundle of this batch",
            lambda: publish.bundle(desk.journal, code),
            f"{code}-bundle.zip",
            "application/zip",
            key=f"bundle-out-{code}",
            type="primary",
        )
    parts.way(desk, "plan", "A recipe, out or in", ":material/menu_book:")
    if not parts.may_enter(desk):
        return
    st.subheader("Enter a batch from another journal")
    file = st.file_uploader("Its file, a bundle", type=["zip"], key="bundle-file")
    other = st.text_input("A code for it here (empty: its own)", key="bundle-code", max_chars=40)
    if file is not None and st.button("Verify and enter it", key="bundle-go", type="primary"):
        with st.spinner("Verifying every photo and entry…"):
            batch = attempt(
                lambda: publish.open_bundle(
                    desk.journal, file.getvalue(), code=other.strip(), by=desk.by, now=desk.now, zone=desk.zone
                )
            )
        if batch is not None:
            st.success(f"{plain(batch.code)} {plain(batch.name)} is in this journal.", icon=":material/check:")
            parts.way(desk, "batch", f"Open {batch.code}", batch=batch.code)


PAGE = Page("Share and import", "exchange", "Documents", 20, render)
