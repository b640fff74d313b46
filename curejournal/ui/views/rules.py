"""The maker's limits, each with its bounds and where it comes from."""

from __future__ import annotations

from dataclasses import fields

from curejournal import workflow
from curejournal.cure.house import HouseRules
from curejournal.ui import parts
from curejournal.ui.page import Desk, Page, attempt, plain
from curejournal.ui.telling import st


def render(desk: Desk) -> None:
    """Draw the page."""
    rules = workflow.house_rules(desk.journal)
    parts.say(
        "The limits that every batch is judged by. Set your own within bounds; earlier judgements keep theirs.", "lead"
    )
    with st.form("rules"):
        chosen = {}
        for limit in fields(HouseRules):
            about = limit.metadata
            step = 0.01 if about["high"] < 1 else 0.1 if about["high"] < 20 else 1.0
            chosen[limit.name] = st.number_input(
                parts.sentence(f"{about['words']}, {about['unit']}").rstrip("."),
                min_value=float(about["low"]),
                max_value=float(about["high"]),
                value=float(getattr(rules, limit.name)),
                step=step,
                format="%.2f" if step < 0.1 else "%.1f" if step < 1 else "%.0f",
                key=f"rule-{limit.name}",
            )
            parts.say(
                f"{about['low']:g} to {about['high']:g} {about['unit']}; usual {limit.default:g}. "
                f"Where from: {about['source']}.",
                "soft",
            )
        sent = st.form_submit_button("Keep these rules", type="primary", disabled=not parts.may_enter(desk))
    kept = attempt(lambda: workflow.keep_house_rules(desk.journal, HouseRules(**chosen))) if sent else None
    if kept is not None:
        st.success(f"Kept. Batches are judged by rules {plain(kept.version)} from now on.", icon=":material/check:")


PAGE = Page("Rules", "rules", "Settings", 20, render)
