"""How a photo is shown: balanced by the soap in it, cut, turned, straightened, as cover. Nothing is measured."""

from __future__ import annotations

import io
from dataclasses import replace

import streamlit as st
from PIL import Image

from curejournal.base.messages import msg
from curejournal.batch.records import Batch, ColourReading, PhotoView
from curejournal.ui.components import common, marking
from curejournal.ui.components.showing import alt
from curejournal.ui.i18n import tr, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow.photos import showing
from curejournal.workflow.photos.showing import Shown

TURNS = {msg("As it is"): 0.0, msg("To the right"): 90.0, msg("Upside down"): 180.0, msg("To the left"): 270.0}
CUT = msg("the cut")


def shown_of(batch: Batch, sha256: str) -> Shown | None:
    """How a photo of a batch is shown now."""
    return next((one for one in showing.shown_photos(batch) if one.sha256 == sha256), None)


def ask(desk: Desk, batch: Batch, shown: Shown) -> None:
    """Ask how it is shown, show that at once, and keep it when the maker says so."""
    key = f"view-of-{shown.sha256[:12]}"
    portions = list(dict.fromkeys(reading.subject for _, reading in batch.records(ColourReading)))
    portion, place, alike = "", tuple[tuple[float, float], ...](), False
    if shown.balance != "measured" and portions:
        portion, place = _place(desk, batch, shown, portions, key)
        alike = not place and _same_light(batch, shown, key)
    elif shown.balance != "measured":
        common.say(msg("Once a colour of this batch was measured, the soap can set the balance of this photo."), "soft")
    quarter = st.segmented_control(
        tr(msg("Turn it")), list(TURNS), default=msg("As it is"), required=True, key=f"{key}-turn", format_func=word_of
    )
    level = st.slider(tr(msg("Straighten it, degrees")), -10.0, 10.0, 0.0, 0.5, key=f"{key}-level")
    turn = TURNS[quarter] + level
    crop = _crop(desk, shown, turn, key) if st.toggle(tr(msg("Cut it")), key=f"{key}-cuts") else None
    cover = st.toggle(tr(msg("Cover of this batch")), value=shown.cover, key=f"{key}-cover")
    draft = PhotoView(portion if place else "", place, crop, turn, cover, alike)
    if st.button(tr(msg("Save how it is shown")), key=f"{key}-keep", type="primary"):
        kept = attempt(
            lambda: showing.keep_view(desk.journal, batch.code, shown.sha256, draft, by=desk.by, now=desk.now)
        )
        if kept is not None:
            st.rerun()


def _same_light(batch: Batch, shown: Shown, key: str) -> bool:
    """Ask whether it was taken as a photo with the card was."""
    other = showing.beside(shown, showing.shown_photos(batch))
    if other is None:
        return False
    words = msg(
        "Same light as the photo with the card of {time}, with the camera's white balance fixed",
        time=f"{other.at:%H:%M}",
    )
    return st.toggle(tr(words), value=shown.balance == "light", key=f"{key}-alike")


def _place(
    desk: Desk, batch: Batch, shown: Shown, portions: list[str], key: str
) -> tuple[str, tuple[tuple[float, float], ...]]:
    common.say(
        msg(
            "Mark a place where the soap is evenly lit; one that may be it is proposed. The photo is balanced so that "
            "it shows its measured colour of that day there. Nothing is measured from it."
        ),
        "soft",
    )
    portion = portions[0]
    if len(portions) > 1:
        portion = st.segmented_control(
            tr(msg("Which portion is it")),
            portions,
            default=portion,
            required=True,
            key=f"{key}-portion",
            format_func=plain,
        )
    facts = desk.journal.photo(shown.sha256).facts
    box = tuple(side * of for side, of in zip((0.4, 0.4, 0.6, 0.6), 2 * (facts.width, facts.height), strict=True))
    left, top, right, bottom = box
    middle = ((left, top), (right, top), (right, bottom), (left, bottom))
    marked = shown.view.seen[0].outline if shown.balance == "soap" and shown.portions == (portion,) else None
    if marked is None:
        marked = cache.likely_place(desk.journal, batch, shown, portion, cache.state_of(batch))
    marks = marking.mark(
        cache.small_picture(desk.journal, shown.sha256, 1000),
        facts.width,
        facts.height,
        [portion],
        f"{key}-place-{portion}",
        msg("The photo, to mark a place of this portion"),
        proposed={portion: marked or middle},
        corners=False,
    )
    return portion, tuple(marks.areas.get(portion, ()))


def _crop(desk: Desk, shown: Shown, turn: float, key: str) -> tuple[float, float, float, float] | None:
    turned = replace(shown, view=replace(shown.view, crop=(0.0, 0.0, 1.0, 1.0), turn_deg=turn))
    picture = cache.true_picture(desk.journal, turned, 1000, "soap")
    with Image.open(io.BytesIO(picture)) as opened:
        width, height = opened.size
    how = msg("Pull from one corner of what is shown to the other.")
    marks = marking.mark(
        picture,
        width,
        height,
        [CUT],
        f"{key}-crop-{turn:g}",
        msg("The photo, to mark what is shown of it"),
        kinds=("box",),
        corners=False,
        how=how,
    )
    if CUT not in marks.areas:
        return None
    across, down = zip(*marks.areas[CUT], strict=True)
    return min(across) / width, min(down) / height, max(across) / width, max(down) / height


def picture(desk: Desk, batch: Batch, shown: Shown, *, whole: bool) -> None:
    """Show it large, in its true colour where that is known."""
    jpeg = cache.true_picture(desk.journal, shown, 1400, "whole" if whole else "soap")
    st.image(jpeg, width="stretch", caption=tr(shown.words), alt=tr(alt(desk, batch.name, shown)))
