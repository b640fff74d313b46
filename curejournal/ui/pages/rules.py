"""The maker's limits, each with its bounds and where it comes from."""

from __future__ import annotations

from dataclasses import fields

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, sentence
from curejournal.judging.limits import Limits
from curejournal.ui.components import common
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, attempt, plain

# The step of a limit's field and how it is written, by what its greatest value is below.
STEPS = ((1.0, 0.01, "%.2f"), (20.0, 0.1, "%.1f"), (float("inf"), 1.0, "%.0f"))


def render(desk: Desk) -> None:
    """Draw the page."""
    rules = workflow.current_limits(desk.journal)
    common.say(
        msg("The limits that every batch is judged by. Set your own within bounds; earlier judgements keep theirs."),
        "lead",
    )
    if not common.may_enter(desk):
        told = {
            limit.metadata["words"]: f"{getattr(rules, limit.name):g} {limit.metadata['unit']}"
            for limit in fields(Limits)
        }
        common.values(told)
        return
    with st.form("rules"):
        chosen = {}
        for limit in fields(Limits):
            about = limit.metadata
            step, written = next((step, written) for below, step, written in STEPS if about["high"] < below)
            chosen[limit.name] = st.number_input(
                tr(sentence(msg("{limit}, {unit}", limit=about["words"], unit=about["unit"]))),
                min_value=float(about["low"]),
                max_value=float(about["high"]),
                value=float(getattr(rules, limit.name)),
                step=step,
                format=written,
                key=f"rule-{limit.name}",
            )
            common.say(
                msg(
                    "{low:g} to {high:g} {unit}; usual {default:g}. Where from: {source}.",
                    low=about["low"],
                    high=about["high"],
                    unit=about["unit"],
                    default=limit.default,
                    source=about["source"],
                ),
                "soft",
            )
        sent = st.form_submit_button(_("Save"), type="primary")
    kept = attempt(lambda: workflow.save_limits(desk.journal, Limits(**chosen))) if sent else None
    if kept is not None:
        st.success(
            _("Kept. Batches are judged by rules {version} from now on.", version=plain(kept.version)),
            icon=":material/check:",
        )
