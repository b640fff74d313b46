"""What stands above the sections of a batch: the soap then and now, verdict and next act, a ribbon for each portion."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import Batch
from curejournal.documents.formatting import day, moment
from curejournal.documents.ribbon import main_portion, ribbon_html, until_now
from curejournal.judging.judgement import LOCAL_CODES, Judgement
from curejournal.ui.components import common, film, showing, timeline
from curejournal.ui.forms import doing, recall
from curejournal.ui.i18n import tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow.photos.showing import Shown, comparable, cover, shown_photos


def pictures(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """The batch's own picture with its ribbon, if there is one without a card; else the soap then and now."""
    own = cover(shown_photos(batch), main_portion(judgement.journeys))
    if own is not None and (own.cover or own.balance == "soap"):
        showing.picture(desk, batch, judgement, 1200)
        st.html(showing.strip(desk, judgement))
    elif not then_and_now(desk, batch, judgement):
        showing.picture(desk, batch, judgement, 960)
        st.html(showing.strip(desk, judgement))


def then_and_now(desk: Desk, batch: Batch, judgement: Judgement) -> bool:
    """Two dates under one handle, laid on each other by the card; whether there are two."""
    photos = comparable(shown_photos(batch), main_portion(judgement.journeys))
    if len(photos) < 2:
        return False
    frames = attempt(lambda: [_frame(desk, batch, photos[number]) for number in film.some_of(len(photos))])
    if frames:
        film.show(frames, f"film-{batch.code}")
    return frames is not None


def _frame(desk: Desk, batch: Batch, photo: Shown) -> film.Frame:
    jpeg = cache.true_picture(desk.journal, photo, 720, "wide")
    return film.Frame(jpeg, moment(photo.at, desk.zone), showing.alt(desk, batch.name, photo))


def verdict(desk: Desk, batch: Batch, judgement: Judgement, brief: bool) -> None:
    """What stands beside the picture: name, verdict in a sentence, the checks, the next act."""
    poured = (
        msg("poured {poured_at}, {batch} ago", poured_at=day(batch.poured_at), batch=showing.old(desk, batch))
        if batch.poured_at
        else msg("not poured yet")
    )
    common.say(msg("{code} · {poured}", code=batch.code, poured=poured), "small soft")
    st.title(plain(batch.name))
    recall.of_batch(desk, batch.code, batch.name, judgement.recall)
    edition = cache.edition(desk, batch)
    if edition is not None and edition.releasable:
        common.say(edition.words, "soft")
    elif edition is not None:
        st.warning(plain(edition.words), icon=":material/back_hand:")
    with st.container(border=True, key="verdict"):
        st.html(common.tag(common.state_of(judgement)))
        if not brief or judgement.verdict == "hold":
            common.say(showing.headline(judgement), "verdict")
            common.say(showing.reason(judgement), "soft")
            st.html(showing.checks(judgement))
        _next(desk, batch, judgement)
    if not brief:
        for caution in judgement.cautions:
            if caution != LOCAL_CODES:
                common.say(caution, "small soft")


def _next(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """The next useful thing as the only dark button; what else is due, and a photo, below it."""
    now = [thing for thing in judgement.due if thing.when <= desk.now]
    for number, (what, same) in enumerate(doing.in_order(now)):
        doing.button(desk, batch.code, what, same, dark=number == 0, wide=True)
    if not now:
        common.say(msg("Next: {next_step}", next_step=judgement.next_step), "soft")
    if not desk.reads_only:
        with st.container(horizontal=True, key="act-verdict"):
            common.way(desk, "photos", msg("Add photos"), ":material/photo_camera:", batch=batch.code)


def ribbons(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """A ribbon for each portion, with its state in words."""
    placed = {name: until_now(journey, name, desk.now) for name, journey in judgement.journeys.items()}
    known = [(name, one) for name, one in placed.items() if one is not None]
    drawn = "".join(
        f'<div class="portion"><h3>{common.text(common.sentence(name).rstrip("."))}</h3>'
        f'<p class="soft">{common.text(common.sentence(timeline.outlook(judgement.journeys[name])))}</p></div>'
        f"{ribbon_html(one, axis=name == known[-1][0], say=tr)}"
        for name, one in known
    )
    own = cover(shown_photos(batch), main_portion(judgement.journeys))
    apart = own is not None and (own.cover or own.balance == "soap")
    with st.container(key="batch-more"):
        left, right = st.columns([5, 3], gap="large") if apart else (st.container(), None)
        with left:
            st.html(f'<div class="ribbons">{drawn}</div>' if drawn else "<span></span>")
        if right is not None:
            with right:
                then_and_now(desk, batch, judgement)
