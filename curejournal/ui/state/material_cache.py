"""What the portions of many batches did: worked out once for each batch, with progress, and then remembered."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.materials.effects import TooFewBatches
from curejournal.materials.history import Story, What
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk
from curejournal.ui.state import cache
from curejournal.workflow import materials

REMEMBERED = 1500
"""Batches whose stories are kept in memory at most. Ours: some fifty kilobytes each."""
AT_ONCE = 60
"""How many batches are looked at without asking first. Ours: about two seconds."""


def teller(desk: Desk) -> materials.Tell:
    """Tells what portions did. What is worked out stays, so that leaving the page loses nothing."""
    rules = workflow.current_limits(desk.journal)
    known: dict[str, tuple[Any, tuple[Story, ...]]] = cache.kept(desk, "stories")

    def tell(batches: Sequence[Batch]) -> list[Story]:
        missing = [batch for batch in batches if not _is_known(known, batch, rules.version)]
        bar = st.progress(0.0, _("Looking at {missing} batches…", missing=len(missing))) if len(missing) > 5 else None
        for number, batch in enumerate(missing, start=1):
            known[batch.code] = ((cache.state_of(batch), rules.version), materials.stories_of(batch, desk.now, rules))
            if bar is not None:
                bar.progress(
                    number / len(missing),
                    msg("{the_number} of {missing} batches looked at", the_number=number, missing=len(missing)),
                )
        if bar is not None:
            bar.empty()
        told = [story for batch in batches for story in known[batch.code][1]]
        for code in list(known)[: max(len(known) - REMEMBERED, 0)]:
            del known[code]
        return told

    return tell


def unknown(desk: Desk, batches: Sequence[Batch]) -> int:
    """How many of these were not looked at yet, or have changed since."""
    known = cache.kept(desk, "stories")
    version = workflow.current_limits(desk.journal).version
    return sum(not _is_known(known, batch, version) for batch in batches)


def _is_known(known: dict[str, Any], batch: Batch, version: str) -> bool:
    return batch.code in known and known[batch.code][0] == (cache.state_of(batch), version)


def which(desk: Desk, what: What) -> materials.Which | str:
    """Which material did it, or in words what is missing; worked out again when a batch that is compared changes."""
    answers = cache.kept(desk, "which")
    chosen = materials.compared(desk.journal)
    state = (workflow.current_limits(desk.journal).version, tuple(map(cache.state_of, chosen)))
    if answers.get(what, (None, None))[0] != state:
        tell = teller(desk)
        tell(chosen)
        with st.spinner(_("Comparing all batches…")):
            try:
                answers[what] = (state, materials.which(desk.journal, desk.now, what, tell=tell))
            except TooFewBatches as few:  # no fault: it is early yet
                answers[what] = (state, join(" ", (few.what, few.do)))
    found: materials.Which | str = answers[what][1]
    return found


def named(desk: Desk) -> tuple[materials.Named, ...]:
    """The materials that recipes name, without what they did."""
    place = cache.kept(desk, "named")
    state = tuple(map(cache.state_of, desk.journal.all_batches()))
    if place.get("state") != state:
        place.update(state=state, named=materials.all_materials(desk.journal))
    found: tuple[materials.Named, ...] = place["named"]
    return found
