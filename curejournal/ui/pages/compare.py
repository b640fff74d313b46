"""Two measured colours side by side: two dates of a portion by one slider, or two batches with both their journeys."""

from __future__ import annotations

from itertools import chain, count

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg
from curejournal.batch.records import ColourReading, Entry
from curejournal.documents import colour_charts, formatting
from curejournal.documents.ribbon import ribbon_html, until_now
from curejournal.ui.components import common, comparison, timeline
from curejournal.ui.components.timeline import Seen
from curejournal.ui.i18n import _, localised, tr
from curejournal.ui.page import Desk, plain
from curejournal.ui.state import cache

NEEDED = msg("Two measured photos are needed: of one batch on two days, or of two batches.")


def render(desk: Desk) -> None:
    """Draw the page."""
    code = common.chosen_batch(desk, "left", msg("Which batch"))
    left = _portion(desk, code, "left") if code else None
    if left is None and code is None and desk.journal.names():
        common.empty("two", msg("Choose a batch: two of its days will stand side by side."))
        return
    if left is None:
        common.empty("two", NEEDED)
        common.first_act(desk, "photos", msg("Add photos"))
        return
    right = _beside(desk, left)
    if right is None:
        return
    pair = _one_slider(desk, left) if right is left else (_slider(desk, left, "left"), _slider(desk, right, "right"))
    laid = right is left and comparison.laid_on_each_other(desk, left, pair)
    with st.container(key="two-beside"):
        for column, seen, shown in zip(st.columns(2), (left, right), pair, strict=True):
            with column:
                comparison.side(desk, seen, shown, pictured=not laid)
    for seen in dict.fromkeys((left, right)):
        _ribbon(desk, seen)
    readings = [item.record for item in pair]
    said, figures = _apart(*readings)
    common.say(said, "verdict")
    with st.expander(_("Figures")):
        common.say(figures)
        for seen, item in zip((left, right), pair, strict=True):
            common.say(join(". ", (seen.name, common.reading_words(item.record))), "soft")
    if right is not left and right.name != left.name:
        _journeys(desk, left, right)


def _journeys(desk: Desk, *both: Seen) -> None:
    """Both ways in one chart, day by day since each one's pour."""
    st.subheader(_("Both journeys"))
    sides = {seen.name: cache.judged(desk, seen.batch).journeys[seen.portion] for seen in both}
    for name, journey in sides.items():
        if journey.target_lab is None:
            common.say(msg("No target colour was set for {name}, so its way to it cannot be drawn.", name=name))
    common.figure(colour_charts.beside_figure(sides, desk.zone))


def _ribbon(desk: Desk, seen: Seen) -> None:
    series = cache.judged(desk, seen.batch).journeys[seen.portion]
    placed = until_now(series, seen.portion, desk.now)
    if placed is not None:
        st.html(f'<p class="soft">{common.text(seen.name)}</p>{ribbon_html(placed, say=tr)}')


def _beside(desk: Desk, left: Seen) -> Seen | None:
    """What stands at the right: the same, unless another is asked for; None until that is chosen."""
    beside = st.query_params.get("beside", "")
    if not st.toggle(_("Beside another batch or portion"), bool(beside), key=f"two-{beside}" if beside else "two"):
        return left
    other = common.chosen_batch(desk, "right", msg("Beside which"), asked_by="beside")
    return _portion(desk, other, "right") if other else None


def _portion(desk: Desk, code: str, side: str) -> Seen | None:
    known = timeline.portions_seen([desk.journal.batch(code)])
    if not known:
        common.say(msg("No colour was measured in this batch yet."))
        return None
    names = {name: seen.portion for name, seen in known.items()}
    if len(names) == 1:
        return next(iter(known.values()))
    chosen = st.segmented_control(
        _("Portion"),
        list(names),
        default=next(iter(names)),
        required=True,
        format_func=localised(lambda name: plain(names[name])),
        key=f"of-{side}-{code}",
    )
    return known[chosen]


def _one_slider(desk: Desk, seen: Seen) -> tuple[Entry[ColourReading], Entry[ColourReading]]:
    """Two dates by the two ends of one slider: the first and the latest, to begin with."""
    moments = _moments(desk, seen)
    names = list(moments)
    if len(names) == 1:
        return seen.readings[0], seen.readings[0]
    key = "-".join(("when", seen.name))
    start, end = st.select_slider(_("From when to when"), names, (names[0], names[-1]), key=key)
    return moments[start], moments[end]


def _slider(desk: Desk, seen: Seen, side: str) -> Entry[ColourReading]:
    moments = _moments(desk, seen)
    names = list(moments)
    if len(names) == 1:
        return seen.readings[0]
    asked = _("When: {name}", name=plain(seen.name))
    return moments[st.select_slider(asked, names, names[-1], key="-".join(("when", side, seen.name)))]


def _moments(desk: Desk, seen: Seen) -> dict[str, Entry[ColourReading]]:
    """A portion's readings by when they were; those of one minute are numbered, so that each can be chosen."""
    found: dict[str, Entry[ColourReading]] = {}
    for item in seen.readings:
        when = comparison.when_of(desk, item)
        names = chain([when], (msg("{when} ({the_number})", when=when, the_number=number) for number in count(2)))
        found[next(name for name in names if name not in found)] = item
    return found


def _apart(left: ColourReading, right: ColourReading) -> tuple[str, str]:
    """What the eye would say, and the figures behind it."""
    if left is right:
        return msg("The same reading twice. {needed}", needed=NEEDED), ""
    between = workflow.difference(left, right)
    figures = msg(
        "ΔE00 {between} between them; about 1 is just noticeable side by side.", between=formatting.figure(between)
    )
    if between.low > 1:
        return msg("They differ, and it shows."), figures
    return msg("They differ.") if between.low > 0 else msg("A difference is not proven."), figures
