"""The journal in one file on another disk, and every photo and entry verified."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.documents.formatting import age
from curejournal.journal.backup import Backup, last_backup
from curejournal.journal.check import Problem
from curejournal.journal.store import Journal
from curejournal.ui.components import common
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import background
from curejournal.workflow.settings import change_settings, settings_of

BACKUP, CHECK = "backup", "check"


def render(desk: Desk) -> None:
    """Draw the page."""
    common.say(
        msg(
            "One file holds everything: entries, original photos, cards, rules. It is read back before it counts. "
            "The command “curejournal journal restore” makes a journal of it again."
        ),
        "lead",
    )
    _backup(desk)
    _onto_this_device(desk)
    st.subheader(_("Check"))
    _check(desk)
    if not desk.signed_in:
        common.values({msg("This journal is kept in"): str(desk.journal.location)})
    common.say(
        msg(
            "Nothing that you enter is overwritten: corrections are new entries, and the history of each batch "
            "shows all."
        ),
        "soft",
    )


def _backup(desk: Desk) -> None:
    place = str(desk.journal.location)
    usual = settings_of(desk.journal).backup_folder
    last = last_backup(Path(usual)) if usual and Path(usual).is_dir() else None
    if usual:
        common.say(
            msg("The last one is {now} old.", now=age(last, desk.now))
            if last
            else msg("There is none in the usual folder yet.")
        )
    if not common.may_enter(desk):
        return
    with st.form("backup"):
        folder = st.text_input(
            _("Into which folder of the computer that keeps the journal (a stick or another disk)"),
            usual,
            key="backup-folder",
        ).strip()
        busy = background.is_going(place, BACKUP)
        sent = st.form_submit_button(_("Make a backup"), type="primary", disabled=busy)
    if sent:
        background.put_away(place, BACKUP)
        background.begin(place, BACKUP, msg("Making a backup"), lambda tell: _into(desk.journal, folder, tell))
        st.rerun()
    made = background.done(place, BACKUP)
    if made is not None:
        kept = made.result
        path = kept.path.name if desk.signed_in else str(kept.path)
        st.success(
            _(
                "Verified and kept: {path}, with {photos}.",
                path=plain(path),
                photos=msg_n("{number} photo", "{number} photos", kept.photos),
            ),
            icon=":material/check:",
        )


def _onto_this_device(desk: Desk) -> None:
    """The same file, downloaded to the phone or computer that shows this."""
    if not common.may_enter(desk):
        return
    st.download_button(
        _("Download a backup to this device"),
        lambda: _as_bytes(desk.journal),
        f"curejournal-{desk.now:%Y-%m-%d}.zip",
        "application/zip",
        key="backup-download",
        icon=":material/download:",
        on_click="ignore",
    )
    common.say(msg("It holds all photos, so it may be large; keep it where only you can read it."), "soft")


def _as_bytes(journal: Journal) -> bytes:
    with TemporaryDirectory() as folder:
        return workflow.back_up(journal, folder).path.read_bytes()


def _into(journal: Journal, folder: str, tell: background.Tell) -> Backup:
    made = workflow.back_up(
        journal,
        folder,
        lambda done, total: tell(done / total, msg("written and read back, {total} %", total=100 * done // total)),
    )
    change_settings(journal, backup_folder=folder)
    return made


def _check(desk: Desk) -> None:
    place = str(desk.journal.location)
    if st.button(_("Check every photo and entry"), key="check", disabled=background.is_going(place, CHECK)):
        background.put_away(place, CHECK)
        background.begin(place, CHECK, msg("Checking"), lambda tell: _checked(desk.journal, tell))
        st.rerun()
    checked = background.done(place, CHECK)
    if checked is not None:
        problems = checked.result
        faults = sum(problem.serious for problem in problems)
        common.say(
            msg("{faults} found.", faults=msg_n("{number} fault", "{number} faults", faults))
            if faults
            else msg("Everything verifies.")
        )
        common.listed(msg("{where}: {what}", where=problem.where, what=problem.what) for problem in problems)


def _checked(journal: Journal, tell: background.Tell) -> tuple[Problem, ...]:
    return journal.check(
        lambda done, total: tell(done / max(total, 1), msg("{done} of {total}", done=done, total=total))
    )
