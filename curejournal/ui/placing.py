"""The tray's forms: many photos taken in at once, and each that waits placed by its answers."""

from __future__ import annotations

from datetime import datetime
from functools import partial

import streamlit as st

from curejournal import intake, tray, workflow
from curejournal.cure.records import Batch
from curejournal.report.tag_sheet import LABEL_SHEETS, TagLabel, tag_sheet_pdf
from curejournal.report.wording import moment
from curejournal.sorting import Question, TrayItem, tag_text
from curejournal.ui import cache, marking, parts
from curejournal.ui.intake import TYPES
from curejournal.ui.page import Desk, attempt, plain
from curejournal.workflow import Card

SIGNS = {"placed": "✓", "no colour": "✓", "already there": "✓", "needs you": "?", "set aside": "‖", "not a photo": "‖"}
TAGS = 4
"""One for the loaf, one for the rack, two to lose. Ours."""
CLEAR = "clear"
LEAVE_OUT = "none of them: leave it out"


def chosen_card() -> Card:
    """Ask for the kind of card; a printed copy is told by the code on it."""
    cards = {name: workflow.find_card(name) for name in workflow.card_names()}
    names = sorted(cards, key=lambda name: name != "window")
    name = st.selectbox(
        "Which kind of card lies in them?", names, format_func=lambda name: cards[name].title or name, key="tray-card"
    )
    return cards[name]


def take_in(desk: Desk, card: Card) -> None:
    """Many photos at once, with progress; what was taken in stays, even if the page is left."""
    turn = st.session_state.setdefault("tray-turn", 0)
    files = st.file_uploader("Photos, as many as you like", type=TYPES, accept_multiple_files=True, key=f"tray-{turn}")
    if not files or not st.button(f"Take in {len(files)} photos", key="tray-go", type="primary"):
        return
    bar = st.progress(0.0, "Looking at the photos…")
    arrivals = attempt(
        lambda: intake.take_in_all(
            desk.journal,
            [intake.Source(file.name, file.getvalue) for file in files],
            card=card,
            by=desk.by,
            now=desk.now,
            clock=tray.Clock(desk.zone),
            workers=1,  # an app's process is not to be copied
            progress=lambda step: _show(bar, step),
        )
    )
    if arrivals is not None:
        st.session_state["tray-arrived"] = [
            f"{SIGNS[arrival.outcome]} {arrival.name}: {arrival.outcome}. {_where(arrival)}".strip()
            for arrival in arrivals
        ]
        st.session_state["tray-turn"] = turn + 1
        st.rerun()


def tags(desk: Desk, batch: Batch) -> bytes:
    """A few tags of a batch on plain paper, to be cut out."""
    label = TagLabel(tag_text(desk.journal, batch.code), batch.code, batch.name)
    return tag_sheet_pdf([label] * TAGS, LABEL_SHEETS["a4"])


def _show(bar: st.delta_generator.DeltaGenerator, step: intake.Progress) -> None:
    bar.progress(step.done / step.total, f"{step.done} of {step.total}: {plain(step.latest.name)}")


def _where(arrival: intake.Arrival) -> str:
    item = arrival.item
    return f"Batch {item.batch}. {arrival.why}".strip() if item and item.batch else arrival.why


def arrived() -> None:
    """What became of the photos that came in last."""
    if "tray-arrived" in st.session_state:
        parts.listed(st.session_state["tray-arrived"])


def one(desk: Desk, card: Card, item: TrayItem) -> None:
    """A waiting photo: what is asked about it, and the buttons that place it."""
    key = f"tray-{item.sha256[:12]}"
    when = f" · {moment(item.at)}" if item.at else ""
    st.markdown(f"**{plain(item.name)}**{when}")
    picture = cache.small_picture(desk.journal, item.sha256, 1000)
    st.image(picture, width="stretch", alt=f"Waiting photo {item.name}")
    parts.patches(
        parts.patch(seen.lab, seen.portion or "which portion?", str(seen.grade)) for seen in item.colours if seen.lab
    )
    asked = {question.about: question for question in item.questions}
    for question in item.questions:
        parts.say(question.text)
    batch = _batch(desk, asked.get("batch"), key)
    at = _date(desk, key) if "date" in asked else None
    portions = _portions(desk, item, batch or item.batch, asked["portions"], key) if "portions" in asked else None
    areas = _areas(desk, item, batch or item.batch, picture, key) if "areas" in asked else None
    right = (
        st.checkbox("It is right as it is", key=f"{key}-right") if asked.keys() & {"colour", "copy", "areas"} else False
    )
    with st.container(horizontal=True):
        if st.button("Place it", key=f"{key}-place", type="primary"):
            _done(
                attempt(
                    lambda: tray.place(
                        desk.journal,
                        item.sha256,
                        card=card,
                        by=desk.by,
                        now=desk.now,
                        batch=batch,
                        at=at,
                        portions=portions,
                        areas=areas,
                        confirmed=right,
                    )
                )
            )
        if st.button("For the story, without a colour", key=f"{key}-story"):
            _done(
                attempt(
                    lambda: tray.place(
                        desk.journal, item.sha256, card=card, by=desk.by, now=desk.now, batch=batch, at=at, colour=False
                    )
                )
            )
        if item.state != "set aside" and st.button("Not for this journal", key=f"{key}-aside"):
            attempt(lambda: tray.set_aside(desk.journal, item.sha256, why="set aside in the tray", by=desk.by))
            st.rerun()


def _done(item: TrayItem | None) -> None:
    if item is not None:
        st.session_state.setdefault("to-look", []).append(item.sha256)
        st.session_state["tray-arrived"] = [f"{SIGNS[item.state]} {item.name}: {item.state}. {item.why}".strip()]
        st.rerun()


def surfaces(desk: Desk, card: Card) -> None:
    """What the surfaces in the photos kept last look like, for the maker to confirm; nothing is noted unasked."""
    waiting: list[str] = st.session_state.get("to-look", [])
    for sha256 in list(waiting):
        item = attempt(partial(tray.item_of, desk.journal, sha256, card, desk.now))
        if item is None or not item.surface:
            waiting.remove(sha256)
        elif _confirmed(desk, item):
            waiting.remove(sha256)
            st.rerun()


def _confirmed(desk: Desk, item: TrayItem) -> bool:
    with st.container(border=True, key=f"surface-{item.sha256[:12]}"):
        parts.say(f"The surface in {item.name}. Is this so?")
        seen = {parts.sentence(finding.words): finding for finding in item.surface}
        picked = st.radio("It is", [*seen, CLEAR, "something else: leave it open"], key=f"surface-{item.sha256}")
        done = st.button("Note it", key=f"surface-go-{item.sha256}")
    if done and (picked in seen or picked == CLEAR):
        attempt(lambda: tray.confirm_surface(desk.journal, item, seen.get(picked), by=desk.by))
    return done


def _batch(desk: Desk, question: Question | None, key: str) -> str | None:
    if question is None:
        return None
    names = {batch.code: f"{batch.code} · {batch.name}" for batch in reversed(desk.journal.all_batches())}
    codes = list(question.choices) or list(names)
    return st.selectbox("Batch", codes, None, format_func=names.__getitem__, key=f"{key}-batch", placeholder="Choose")


def _date(desk: Desk, key: str) -> datetime | None:
    typed = st.datetime_input("Taken", value=None, format="YYYY-MM-DD", step=300, key=f"{key}-at")
    return typed.replace(tzinfo=desk.zone) if typed else None


def _portions(desk: Desk, item: TrayItem, code: str, question: Question, key: str) -> list[str]:
    known = [portion.name for portion in desk.journal.batch(code).portions] if code else []
    names = [*(question.choices or known), LEAVE_OUT]
    chosen = []
    for number, seen in enumerate(item.colours):
        index = names.index(seen.portion) if seen.portion in names else None
        picked = st.selectbox(f"Colour {number + 1} is", names, index, key=f"{key}-portion-{number}")
        chosen.append("" if picked in (None, LEAVE_OUT) else str(picked))
    return chosen


def _areas(
    desk: Desk, item: TrayItem, code: str, picture: bytes, key: str
) -> dict[str, tuple[tuple[float, float], ...]] | None:
    if not st.toggle("Mark the places in the picture", key=f"{key}-mark"):
        return None
    facts = desk.journal.photo(item.sha256).facts
    names = [portion.name for portion in desk.journal.batch(code).portions] if code else []
    marks = marking.mark(picture, facts.width, facts.height, names or ["soap"], f"{key}-marks", f"{item.name}, to mark")
    return {name: ((x0, y0), (x1, y0), (x1, y1), (x0, y1)) for name, (x0, y0, x1, y1) in marks.areas.items()} or None
