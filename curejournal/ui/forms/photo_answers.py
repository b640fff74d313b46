"""The forms of the inbox: a waiting photo placed by its answers, a placed one corrected, tags printed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n
from curejournal.batch.records import Batch
from curejournal.documents.formatting import moment
from curejournal.ui.components import common, marking
from curejournal.ui.forms import surface
from curejournal.ui.i18n import localised, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, Points, photos
from curejournal.workflow.photos import Answers, InboxItem, Question, tag_text

SIGNS = {"placed": "✓", "no colour": "✓", "needs you": "?", "set aside": "‖"}
SAID = "tray-said"
TAGS = 4
"""One for the loaf, one for the rack, two to lose. Ours."""
ONE_TAP = 3
"""Batches offered as buttons: the tags in the photo, or those poured last. Ours."""
LEAVE_OUT = msg("none of them: leave it out")
STANDS = ("colour", "areas", "copy")
"""What a correction of the maker's is not asked about again; a date still is."""
FORMS = ("batch", "date", "portions", "areas")
"""Questions with a form of their own; any other is answered by a choice or a tick."""


def chosen_card(label: str = "Which kind of card lies in them?") -> Card:
    """Ask for the kind of card; a printed copy is told by the code on it."""
    cards = {name: workflow.find_card(name) for name in workflow.card_names()}
    names = sorted(cards, key=lambda name: name != "window")
    name = st.selectbox(
        tr(label), names, format_func=localised(lambda name: cards[name].title or name), key="tray-card"
    )
    return cards[name]


def tags(desk: Desk, batch: Batch) -> bytes:
    """A few tags of a batch on plain paper, to be cut out."""
    from curejournal.documents.tag_sheet import LABEL_SHEETS, TagLabel, tag_sheet_pdf

    label = TagLabel(tag_text(desk.journal, batch.code), batch.code, batch.name)
    return tag_sheet_pdf([label] * TAGS, LABEL_SHEETS["a4"])


def print_tags(desk: Desk) -> None:
    """Tags for several batches on a label sheet or on plain paper."""
    from curejournal.documents.tag_sheet import LABEL_SHEETS, TagLabel, tag_sheet_pdf

    names = common.batch_names(desk)
    codes = st.multiselect(
        tr(msg("For which batches")), list(names), format_func=localised(names.__getitem__), key="tags-for"
    )
    sheets = {key: sheet.words for key, sheet in LABEL_SHEETS.items()}
    sheet = st.selectbox(tr(msg("On what")), list(sheets), format_func=localised(sheets.__getitem__), key="tags-sheet")
    with st.container(horizontal=True):
        copies = st.number_input(tr(msg("Of each")), 1, 200, TAGS, key="tags-copies", width=150)
        each = LABEL_SHEETS[sheet].columns * LABEL_SHEETS[sheet].rows
        skip = st.number_input(tr(msg("Labels used up on the first sheet")), 0, each - 1, 0, key="tags-skip", width=260)
    if not codes:
        common.say(msg("Choose at least one batch, and the sheet is made."), "soft")
        return
    labels = [TagLabel(tag_text(desk.journal, code), code, desk.journal.names()[code]) for code in codes]
    repeated = [label for label in labels for _ in range(copies)]
    pdf = attempt(lambda: tag_sheet_pdf(repeated, LABEL_SHEETS[sheet], skip=skip))
    if pdf is not None:
        label = msg("Download {repeated} (PDF)", repeated=msg_n("{number} tag", "{number} tags", len(repeated)))
        st.download_button(
            tr(label), pdf, "tags.pdf", "application/pdf", key="tags-pdf", type="primary", on_click="ignore"
        )
    common.say(msg("Print at 100 %. Put one on the loaf or on the card, where the photo shows it."), "soft")


def said() -> None:
    """What became of the photo that was answered last."""
    if SAID in st.session_state:
        common.say(st.session_state[SAID])


def one(desk: Desk, card: Card, item: InboxItem) -> None:
    """A waiting photo: what is asked about it, and the buttons that place it."""
    key = f"tray-{item.sha256[:12]}"
    st.markdown(tr(f"**{plain(item.name)}**" + (" · " + moment(item.at, desk.zone) if item.at else "")))
    picture = cache.small_picture(desk.journal, item.sha256, 1000)
    st.image(picture, width="stretch", alt=tr(msg("Waiting photo {name}", name=item.name)))
    asked = {question.kind: question for question in item.questions}
    if item.no_colour:
        # Said first: it may still be taken again.
        st.html(common.patch(None, msg("No colour"), item.no_colour))
    for question in item.questions:
        common.say("? " + question.text, "lead")
    offered = asked.keys() == {"batch"}
    if offered:
        _offered(desk, card, item, asked["batch"], key)
    batch = _batch(desk, asked.get("batch"), key, msg("Another batch") if offered else msg("Batch"))
    at = _date(desk, item, key) if "date" in asked else None
    code = batch or item.batch
    portions = None
    if "portions" in asked:
        portions = _portions(desk, item, code, asked["portions"].choices, key)
    else:
        _colours(item)
    areas = _areas(desk, card, item, code, key) if "areas" in asked else None
    confirmed, chosen = other_answers(item.questions, key)
    dated = "date" not in asked or at is not None or "date" in confirmed
    open_yet = ("batch" in asked and batch is None) or not dated or ("portions" in asked and portions is None)
    new = Answers(batch, at, portions, areas, confirmed=confirmed, chosen=chosen)
    with st.container(horizontal=True):
        if st.button(tr(msg("Place it")), key=f"{key}-place", type="primary", disabled=open_yet):
            _done(attempt(_placing(desk, card, item, new)))
        unplaced = ("batch" in asked and batch is None) or not dated
        if not item.no_colour and st.button(
            tr(msg("For the story, without a colour")), key=f"{key}-story", disabled=unplaced
        ):
            _done(attempt(_placing(desk, card, item, Answers(batch, at, colour=False))))
        aside = item.state != "set aside" and st.button(tr(msg("Not for this journal")), key=f"{key}-aside")
        if aside and attempt(partial(_set_aside, desk, item)):
            st.rerun()


def other_answers(questions: Sequence[Question], key: str) -> tuple[tuple[str, ...], dict[str, str] | None]:
    """The questions that are answered by a tick or a choice: which are confirmed, and what is chosen."""
    confirmed: list[str] = []
    chosen: dict[str, str] = {}
    for question in questions:
        if question.confirm and st.checkbox(tr(question.confirm), key=f"{key}-{question.kind}"):
            confirmed.append(question.kind)
        if question.choices and question.kind not in FORMS and not question.confirm:
            picked = st.pills(
                tr(question.text), question.choices, format_func=plain, key=f"{key}-{question.kind}-choice"
            )
            chosen |= {question.kind: picked} if picked else {}
    return tuple(confirmed), chosen or None


def correct(desk: Desk, card: Card, item: InboxItem) -> None:
    """Say that a placed photo belongs elsewhere or shows something else; what was stays in the history."""
    key = f"correct-{item.sha256[:12]}"
    names = common.batch_names(desk)
    code = st.selectbox(
        tr(msg("Batch")),
        list(names),
        list(names).index(item.batch),
        format_func=localised(names.__getitem__),
        key=f"{key}-batch",
    )
    at = _date(desk, item, key)
    portions = _portions(desk, item, code, (), key) if item.colours else None
    areas = _areas(desk, card, item, code, key)
    with st.container(horizontal=True):
        if st.button(tr(msg("Correct it")), key=f"{key}-go", type="primary"):
            named = None if areas or portions == tuple(seen.portion for seen in item.colours) else portions
            _done(attempt(_placing(desk, card, item, Answers(code, at, named, areas, colour=True, confirmed=STANDS))))
        if item.colours and st.button(tr(msg("No colour from it after all")), key=f"{key}-story"):
            _done(attempt(_placing(desk, card, item, Answers(code, at, colour=False))))


def _offered(desk: Desk, card: Card, item: InboxItem, question: Question, key: str) -> None:
    """The likeliest batches, each placed by one press."""
    codes = list(question.choices) or list(desk.journal.names())
    with st.container(horizontal=True, key=f"large-{key}"):
        for code in codes[:ONE_TAP]:
            label = plain(msg("{code} · {name}", code=code, name=desk.journal.names()[code]))
            if st.button(tr(label), key=f"{key}-in-{code}"):
                _done(attempt(_placing(desk, card, item, Answers(code))))


def _placing(desk: Desk, card: Card, item: InboxItem, new: Answers) -> Callable[[], InboxItem]:
    return lambda: photos.place(desk.journal, item.sha256, new, card=card, by=desk.by, now=desk.now)


def _set_aside(desk: Desk, item: InboxItem) -> bool:
    photos.set_aside(desk.journal, item.sha256, why=msg("set aside in the inbox"), by=desk.by)
    return True


def _done(item: InboxItem | None) -> None:
    if item is not None:
        surface.look_later(item.sha256)
        where = msg(", batch {batch}", batch=item.batch) if item.batch else ""
        st.session_state[SAID] = msg(
            "{sign} {name}: {state}{where}. {why}",
            sign=SIGNS[item.state],
            name=item.name,
            state=item.state,
            where=where,
            why=item.why,
        ).strip()
        st.rerun()


def _colours(item: InboxItem) -> None:
    common.patches(
        common.patch(seen.lab, seen.portion or msg("which portion?"), common.grade_word(seen.grade))
        for seen in item.colours
        if seen.lab
    )


def _batch(desk: Desk, question: Question | None, key: str, label: str) -> str | None:
    if question is None:
        return None
    names = common.batch_names(desk)
    # What its tags say stands first, but any batch may be right.
    codes = [*question.choices, *(code for code in names if code not in question.choices)]
    return st.selectbox(
        tr(label),
        codes,
        None,
        format_func=localised(names.__getitem__),
        key=f"{key}-batch",
        placeholder=tr(msg("Choose")),
    )


def _date(desk: Desk, item: InboxItem, key: str) -> datetime | None:
    """When it was taken; None if that stays as it is."""
    known = item.at.astimezone(desk.zone).replace(tzinfo=None, second=0, microsecond=0) if item.at else None
    shown = known if item.state in ("placed", "no colour") else None
    typed = st.datetime_input(tr(msg("Taken")), value=shown, format="YYYY-MM-DD", step=300, key=f"{key}-at")
    return typed.replace(tzinfo=desk.zone) if typed and typed != known else None


def _portions(desk: Desk, item: InboxItem, code: str, choices: tuple[str, ...], key: str) -> tuple[str, ...] | None:
    """What each colour is, beside a picture in which they are outlined and numbered."""
    known = [portion.name for portion in desk.journal.batch(code).portions] if code else []
    outlines = [seen.outline for seen in item.colours]
    shown = attempt(lambda: photos.outlined_picture(desk.journal, item.sha256, outlines, (), 1000))
    known += [seen.portion for seen in item.colours if seen.portion not in known and seen.portion]
    return named_colours(item, choices or tuple(known), shown, f"{key}-{code}")


def named_colours(item: InboxItem, choices: tuple[str, ...], picture: bytes | None, key: str) -> tuple[str, ...] | None:
    """Ask what each colour is, beside a picture in which they are outlined and numbered; None until all are told."""
    names = [*(choices or ("soap",)), LEAVE_OUT]
    if picture is not None and len(item.colours) > 1:
        alt = msg("{name}: its colours outlined, numbered 1 to {colours}", name=item.name, colours=len(item.colours))
        st.image(picture, width="stretch", alt=tr(alt))
    chosen: list[str | None] = []
    for number, seen in enumerate(item.colours, 1):
        st.html(
            common.patch(seen.lab, msg("Colour {the_number}", the_number=number), common.grade_word(seen.grade), "half")
        )
        index = names.index(seen.portion) if seen.portion in names else None
        picked = st.selectbox(
            tr(msg("Colour {the_number} is", the_number=number)),
            names,
            index,
            format_func=localised(str),
            key=f"{key}-portion-{number}",
        )
        chosen.append("" if picked == LEAVE_OUT else picked)
    told = tuple(name for name in chosen if name is not None)
    return told if len(told) == len(chosen) else None


def _areas(desk: Desk, card: Card, item: InboxItem, code: str, key: str) -> dict[str, Points] | None:
    """Places drawn in the picture; those of the last photo are proposed where the batch is known."""
    batch = desk.journal.batch(code) if code else None
    corners = photos.card_corners(desk.journal, item.sha256, card)
    proposed = photos.proposed_areas(desk.journal, batch, card, corners, item.sha256) if batch else {}
    waits = item.state == "needs you"
    if not st.toggle(
        tr(msg("Mark the places in the picture")), value=bool(proposed) and waits, key=f"{key}-mark-{code}"
    ):
        return None
    if proposed and waits:
        common.say(
            msg("The areas of the last photo are drawn where they would lie in this one. Redraw any that are wrong.")
        )
    facts = desk.journal.photo(item.sha256).facts
    names = list(dict.fromkeys([*(portion.name for portion in batch.portions), *proposed])) if batch else []
    marks = marking.mark(
        cache.small_picture(desk.journal, item.sha256, 1000),
        facts.width,
        facts.height,
        names or ["soap"],
        f"{key}-marks-{code}",
        msg("{name}, to mark", name=item.name),
        proposed=proposed if waits else None,
        corners=False,
    )
    return marks.areas or None
