"""A batch shown: its picture in true colour, its ribbons, its checks as one small drawing, its state in a few words."""

from __future__ import annotations

from html import escape

import streamlit as st

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.documents import formatting
from curejournal.documents.ribbon import main_portion, strip_html
from curejournal.documents.soap_pictures import Cut
from curejournal.documents.style import mark, state_of
from curejournal.judging.judgement import Judgement
from curejournal.ui.components import common
from curejournal.ui.i18n import tr, word_of
from curejournal.ui.page import Desk
from curejournal.ui.state import cache
from curejournal.workflow.photos import showing


def picture(desk: Desk, batch: Batch, judgement: Judgement, longest: int, *, cut: Cut = "wide") -> None:
    """Draw the picture that stands for a batch, or a place for it."""
    shown = showing.cover(showing.shown_photos(batch), main_portion(judgement.journeys))
    taken(desk, batch.name, shown, longest, cut=cut)


def taken(desk: Desk, name: str, shown: showing.Shown | None, longest: int, *, cut: Cut = "wide") -> None:
    """Draw a photo as it is shown, or a place for it."""
    if shown is None:
        _no_picture(msg("No photo yet"))
        return
    try:
        shown = showing.agreed(desk.journal, shown)
        jpeg = cache.true_picture(desk.journal, shown, longest, cut)
    except CureJournalError:
        # One photo that cannot be read takes no page with it; the check of the journal tells which it is.
        _no_picture(msg("This photo cannot be read. Check the journal (Settings, Backup)."))
        return
    st.image(jpeg, width="stretch", alt=tr(alt(desk, name, shown)))


def _no_picture(words: str) -> None:
    st.html(f'<div class="no-picture">{common.drawing(mark(28))}<span>{common.text(words)}</span></div>')


def alt(desk: Desk, name: str, shown: showing.Shown) -> str:
    """What a picture shows, for who cannot see it."""
    portions = msg(", {portions}", portions=join(", ", shown.portions)) if shown.portions else ""
    return msg(
        "Photo of {name} on {zone}{portions}. {words}.",
        name=name,
        zone=formatting.moment(shown.at, desk.zone),
        portions=portions,
        words=shown.words,
    )


def strip(desk: Desk, judgement: Judgement) -> str:
    """Draw the main portion's ribbon as a thin strip; an empty line without a reading."""
    return strip_html(judgement.journeys, desk.now)


def old(desk: Desk, batch: Batch) -> str:
    """How old a batch is."""
    return formatting.age(batch.poured_at, desk.now) if batch.poured_at else msg("not poured yet")


def headline(judgement: Judgement) -> str:
    """The verdict beside its tag, in a few words."""
    middle = judgement.from_about[1]
    if judgement.released_at is not None and judgement.verdict == "ready":
        return msg("Released on {released_at}", released_at=formatting.day(judgement.released_at))
    if judgement.verdict == "not yet" and middle is not None and middle > judgement.on:
        return msg("From about {middle}", middle=formatting.day(middle))
    return common.because(judgement)


def reason(judgement: Judgement) -> str:
    """What stands behind the headline; nothing where that says all."""
    why = common.because(judgement)
    if why == headline(judgement):
        return ""
    date, _, needed = why.partition("; ")
    return common.sentence(needed) if date.startswith("From about ") else why


def checks(judgement: Judgement) -> str:
    """Draw the checks as one row of signs that opens to a sentence each."""
    signs, lines = [], []
    for finding in judgement.findings:
        state = state_of(str(finding.verdict))
        name, word = escape(word_of(finding.check)), escape(word_of(finding.verdict))
        signs.append(
            f'<span class="check {state.kind}"><i aria-hidden="true">{state.sign}</i>'
            f'<span class="name">{name}</span><span class="unseen">: {word}</span></span>'
        )
        said = escape(tr(common.sentence(finding.words)))
        lines.append(f"<li><b>{name}: {word}.</b> {said}</li>")
    opened = f'<ul class="plain">{"".join(lines)}</ul>'
    return f'<details class="checks"><summary>{"".join(signs)}</summary>{opened}</details>'
