"""A batch's pictures along time, each with the colour measured in it; and the journey of each portion."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import streamlit as st

from curejournal.base.messages import join, msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Batch, ColourReading, Entry, Event, PhotoNote
from curejournal.documents import colour_charts, formatting
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common
from curejournal.ui.components import showing as showing_of
from curejournal.ui.i18n import _, tr
from curejournal.ui.page import Desk, plain
from curejournal.workflow.photos import showing

SHOWN_FIRST = 12


def show(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """Photos and events in the order in which they happened."""
    moments = [entry for entry in batch.entries if isinstance(entry.record, (Event, PhotoNote))]
    if not moments:
        common.say(msg("Nothing has happened yet: no photo, no pour."))
    latest_first = st.toggle(_("Latest first"), key=f"latest-{batch.code}")
    ordered = moments[::-1] if latest_first else moments
    whole = len(ordered) <= SHOWN_FIRST or st.toggle(
        _("Show all {ordered}", ordered=len(ordered)), key=f"all-{batch.code}"
    )
    for moment in ordered if whole else ordered[:SHOWN_FIRST]:
        if isinstance(moment.record, PhotoNote):
            _photo(desk, batch, moment.photo or "", moment.record)
        else:
            common.say(
                msg("{zone}: {record}", zone=formatting.moment(moment.at, desk.zone), record=describe(moment.record))
            )


def _photo(desk: Desk, batch: Batch, sha256: str, note: PhotoNote) -> None:
    readings = [entry for entry in batch.of(ColourReading) if entry.photo == sha256]
    at = next(entry.at for entry in batch.entries if entry.photo == sha256)
    when = formatting.moment(at, desk.zone)
    since = (
        msg(", {at} after the pour", at=formatting.age(batch.poured_at, at))
        if batch.poured_at and at >= batch.poured_at
        else ""
    )
    taken = next(one for one in showing.shown_photos(batch) if one.sha256 == sha256)
    shown = showing.agreed(desk.journal, taken)
    with st.container(horizontal=True, key=f"row-{sha256}", vertical_alignment="center"):
        with st.container(width=250):
            showing_of.taken(desk, batch.name, shown, 800, cut="whole" if shown.balance == "none" else "wide")
            common.say(shown.words, "small soft")
        with st.container(width=640):
            st.markdown(tr("**" + when + "**" + since))
            if note.caption:
                common.say(note.caption)
            common.patches(
                common.patch(entry.record.lab, entry.record.subject, common.reading_words(entry.record))
                for entry in readings
            )
            if note.why_no_colour:
                st.html(common.patch(None, msg("No colour"), note.why_no_colour))
            label = msg("The original") if desk.reads_only else msg("The original, its cut, or a correction")
            common.way(desk, "photo", label, ":material/photo:", photo=sha256)


@dataclass(frozen=True)
class Seen:
    """A portion with its readings, in order of time."""

    batch: Batch
    portion: str
    readings: tuple[Entry[ColourReading], ...]

    @property
    def name(self) -> str:
        """A name that is its own."""
        return msg("{code} {name} · {portion}", code=self.batch.code, name=self.batch.name, portion=self.portion)


def portions_seen(batches: Iterable[Batch]) -> dict[str, Seen]:
    """Every portion with at least one reading, by its own name."""
    found: dict[str, Seen] = {}
    for batch in batches:
        for entry in batch.of(ColourReading):
            seen = Seen(batch, entry.record.subject, (entry,))
            before = found.get(seen.name)
            found[seen.name] = replace(seen, readings=(*before.readings, entry)) if before else seen
    return found


def outlook(shown: ColourSeries) -> str:
    """A portion's state, and when it may be on target."""
    ahead = shown.forecast
    if ahead is None or ahead.at is None or not ahead.expected or shown.points[-1].at >= ahead.at:
        return shown.words
    earliest = (
        msg(", {interval} at the earliest", interval=formatting.day(ahead.interval[0])) if ahead.interval[0] else ""
    )
    return msg(
        "{words}. On target from about {at}{earliest}",
        words=shown.words,
        at=formatting.day(ahead.at),
        earliest=earliest,
    )


def journey(name: str, shown: ColourSeries, desk: Desk) -> None:
    """One portion: state in words, first, target and latest colour, the charts."""
    first, last = shown.points[0], shown.points[-1]
    colours = [common.patch(first.lab, msg("First reading"), formatting.day(first.at))]
    if shown.target_lab is not None:
        colours.append(
            common.patch(shown.target_lab, msg("Target"), msg("{tolerance:g} ΔE00 accepted", tolerance=shown.tolerance))
        )
    colours.append(
        common.patch(
            last.lab, msg("Latest reading"), msg("{at}: {words}", at=formatting.day(last.at), words=shown.words)
        )
    )
    common.patches(colours)
    common.figure(colour_charts.difference_figure(shown, name, desk.zone, desk.now))
    if shown.target_lab is None:
        common.say(msg("No target colour was set, so there is none to compare with."), "soft")
    with st.expander(_("L*, a* and b* one by one")):
        for part in colour_charts.lab_figures(shown, name, desk.zone):
            common.figure(part)
    with st.expander(_("How sure is the state?")):
        common.values(
            {
                state.value: msg("{share:.0f} % of the curves that fit", share=100 * share)
                for state, share in shown.chances
                if share > 0.005
            }
        )
        if shown.grey_scale_style_grade:
            common.say(
                msg(
                    "As a change, in steps like those of the grey scale (5 none, 1 great): {grey_scale_style_grade}.",
                    grey_scale_style_grade=shown.grey_scale_style_grade,
                )
            )
        questioned = [formatting.moment(point.at, desk.zone) for point in shown.points if point.questioned]
        if questioned:
            st.warning(
                _("Off the curve, look at these photos again: {questioned}.", questioned=plain(join(", ", questioned))),
                icon=":material/back_hand:",
            )
