"""Forms for what a workshop answers for beside its readings: where a batch lies, what came back, what went wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields as limits_fields
from functools import partial
from typing import TypeVar, cast

import streamlit as st

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.making import BatchKind, Deviation, MakingDetails, Place
from curejournal.batch.records import Batch, Record
from curejournal.batch.sales import BarsBack, Complaint
from curejournal.judging.limits import Limits
from curejournal.ui.components import common
from curejournal.ui.forms import entry, fields
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt, plain, refusal
from curejournal.workflow import customers

T = TypeVar("T")
Form = Callable[[Desk, Batch], None]


def forms(batch: Batch) -> dict[str, Form]:
    """What can be entered, by the words that ask for it."""
    details = batch.records(MakingDetails)
    kept: dict[str, Record] = {
        msg("where it lies"): Place(batch.place),
        msg("bars that came back"): BarsBack(1, ""),
        msg("something that went wrong"): Deviation(""),
        msg("details for the papers"): details[-1][1] if details else MakingDetails(),
        msg("what kind of batch it is"): BatchKind("soap"),
    }
    found: dict[str, Form] = {label: partial(_record, label, record) for label, record in kept.items()}
    return found | {"a complaint": _complaint, msg("rules of this batch alone"): _rules}


def _record(label: str, template: Record, desk: Desk, batch: Batch) -> None:
    key = entry.form_key(label.replace(" ", "-"), batch)
    with st.form(key):
        record = fields.fields_of(template, key)
        at = entry.moment(desk, key)
        if st.form_submit_button(_("Save"), type="primary"):
            entry.offer(desk, batch.code, [record], at, key)


def _complaint(desk: Desk, batch: Batch) -> None:
    """What somebody complained of, with the photo that they sent."""
    key = entry.form_key("complaint", batch)
    with st.form(key):
        complaint = cast(Complaint, fields.fields_of(Complaint(""), key))
        photo = st.file_uploader(_("The photo that came with it"), key=f"{key}-photo")
        at = entry.moment(desk, key)
        sent = st.form_submit_button(_("Save"), type="primary")
    if sent:
        picture, name = (photo.getvalue(), photo.name) if photo is not None else (None, "")
        enter = partial(customers.enter_complaint, desk.journal, batch.code, complaint, picture, name)
        made = attempt(partial(enter, at=at, by=desk.by, now=desk.now))
        if made is not None:
            entry.tell(batch.code, [made], key)
            st.rerun()


def _rules(desk: Desk, batch: Batch) -> None:
    """Limits that are stricter for this batch, each beside the one that counts for it now."""
    key = entry.form_key("own-rules", batch)
    now = workflow.limits_of(desk.journal, batch)
    for rules in workflow.rule_sets(desk.journal, batch):
        common.say(
            msg(
                "Rules of {of}: {items} ({why}).",
                of=rules.of,
                items=join(", ", (f"{n} {v:g}" for n, v in rules.limits.items())),
                why=rules.why,
            )
        )
    with st.form(key):
        found = {
            limit.name: st.number_input(
                tr(
                    common.sentence(
                        msg(
                            "{limit}, {unit}",
                            limit=limit.metadata["words"],
                            unit=limit.metadata["unit"],
                        )
                    ).rstrip(".")
                ),
                min_value=float(limit.metadata["low"]),
                max_value=float(limit.metadata["high"]),
                value=None,
                placeholder=tr(f"{getattr(now, limit.name):g}"),
                key=f"{key}-{limit.name}",
            )
            for limit in limits_fields(Limits)
        }
        of_recipe = batch.recipe is not None and bool(batch.recipe.name.strip())
        everywhere = of_recipe and st.checkbox(
            _("For all batches of the recipe {recipe}", recipe=plain(batch.recipe.name) if batch.recipe else ""),
            key=f"{key}-all",
        )
        why = st.text_input(_("Why"), key=f"{key}-why", max_chars=200)
        sent = st.form_submit_button(_("Save"), type="primary")
    if not sent:
        return
    limits = {name: float(value) for name, value in found.items() if value is not None}
    if everywhere and batch.recipe is not None:
        name = batch.recipe.name
        if attempt(lambda: workflow.set_recipe_rules(desk.journal, name, limits, why)) is not None:
            entry.done(key)
            st.rerun()
        return
    made = attempt(lambda: workflow.set_batch_rules(desk.journal, batch.code, limits, why, by=desk.by, now=desk.now))
    if made is not None:
        entry.tell(batch.code, [made], key)
        st.rerun()


def keep_or_ask(key: str, fill: Callable[..., T], *, sent: bool) -> T | None:
    """Keep what `fill` keeps; what is doubtful is asked about first, and a refusal is shown. None: nothing was kept."""
    asked = f"{key}-asked"
    if sent:
        st.session_state.pop(asked, None)
        try:
            return fill()
        except workflow.ReadingDoubtful as doubt:
            st.session_state[asked] = join(" ", (doubt.what, doubt.do))
        except CureJournalError as error:
            refusal(error)
    if asked in st.session_state:
        st.warning(_("**Is this right?** {asked}", asked=plain(st.session_state[asked])), icon=":material/back_hand:")
        if st.button(_("Keep it as it is"), key=f"{key}-sure"):
            return attempt(partial(fill, confirmed=True))
    return None
