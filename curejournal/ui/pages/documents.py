"""Papers: batch records for an inspector, where a lot went, labels, and the calendar of what is due."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg, msg_n, quantity
from curejournal.documents import formatting
from curejournal.judging.traceability import describe_bars_out
from curejournal.ui.components import common, preview
from curejournal.ui.i18n import _, localised, word_of
from curejournal.ui.page import Desk
from curejournal.workflow import documents
from curejournal.workflow.photos import tag_text

PDF = "application/pdf"
PREVIEWED = 4
"""Records of so many batches at most are drawn before they are taken. Ours: half a second each."""


def render(desk: Desk) -> None:
    """Draw the page."""
    names = desk.journal.names()
    if not names:
        common.empty("page", msg("No batch yet. Records, labels and the calendar are made of what you enter."))
        common.first_act(desk, "batches", msg("Start a batch"))
        return
    common.chosen(msg("Which paper"), PAPERS, "paper-kind")(desk, names)


def _records(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Materials with lots, lye check, process, tests, weights, release and its evidence."), "lead")
    how = st.radio(
        _("Whose record"),
        [msg("of batches"), msg("of a day"), msg("of a lot")],
        horizontal=True,
        key="record-of",
        format_func=word_of,
    )
    codes: list[str] = []
    if how == "of batches":
        codes = common.chosen_batches(names, "record-batches")
    elif how == "of a day":
        day: date = st.date_input(_("Poured on"), desk.now.date(), format="YYYY-MM-DD", key="record-day")
        codes = list(documents.poured_on(desk.journal, day, desk.zone))
    else:
        lot = st.text_input(_("Which lot"), key="record-lot", max_chars=80).strip()
        codes = list(dict.fromkeys(use.batch for use in documents.lot(desk.journal, lot))) if lot else []
    if not codes:
        common.say(msg("No batch is chosen.") if how == "of batches" else msg("No batch of that."), "soft")
        return
    common.listed(f"{code} {names[code]}" for code in codes)
    made = partial(documents.batch_record, desk.journal, codes, desk.now)
    st.download_button(
        _("Record of {codes} (PDF)", codes=msg_n("{number} batch", "{number} batches", len(codes))),
        made,
        "record.pdf",
        PDF,
        key="record-file",
        type="primary",
        on_click="ignore",
    )
    if len(codes) <= PREVIEWED:
        preview.paper(desk, "record", made, codes)


def _lot(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Where did this lot go? Oils, lye, liquids, additives, and batches embedded in others."), "lead")
    lot = st.text_input(_("The supplier’s lot, or the code of an embedded batch"), key="lot", max_chars=80).strip()
    if not lot:
        return
    uses = documents.lot(desk.journal, lot)
    if not uses:
        common.say(msg("No batch names the lot {lot}.", lot=lot))
        return
    for number, use in enumerate(uses):
        with st.container(key=f"row-lot-{number}"):
            common.way(desk, "batch", msg("{batch} · {name}", batch=use.batch, name=use.name), batch=use.batch)
            poured = msg(", poured {poured_at}", poured_at=formatting.day(use.poured_at)) if use.poured_at else ""
            common.say(
                msg(
                    "{grams} {material}{poured}; {gone}",
                    grams=quantity(f"{use.grams:g}", "g"),
                    material=use.material,
                    poured=poured,
                    gone=describe_bars_out(use.gone),
                ),
                "soft",
            )
    st.download_button(
        _("As a page (PDF)"),
        partial(documents.lot_page, desk.journal, lot, desk.now),
        "lot.pdf",
        PDF,
        key="lot-file",
        type="primary",
        on_click="ignore",
    )


def _labels(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("Batch, cure date, and the weight that a label can bear when the bar is sold."), "lead")
    code = common.chosen_batch(desk, "labels")
    if code is None:
        return
    batch, net = desk.journal.batch(code), documents.net_weight(desk.journal, code)
    proposed = (
        msg("{grams_each} for each bar. ", grams_each=quantity(net.grams_each, "g"))
        if net.grams_each is not None
        else ""
    )
    common.say(f"{proposed}{common.sentence(net.words)}")
    number = st.number_input(_("How many"), 1, 2000, min(max(batch.bars_cut, 1), 2000), key=f"labels-n-{code}")
    weight = st.checkbox(_("Print that net weight"), key=f"labels-g-{code}", disabled=net.grams_each is None)
    tag = st.checkbox(_("Print the batch’s tag: photos of it file themselves"), key=f"labels-t-{code}")
    listed = st.checkbox(
        _("Print who made it, the ingredients and best before: a larger label"), key=f"labels-i-{code}"
    )
    paper: workflow.Paper = st.segmented_control(
        _("Paper"),
        ["a4", "letter"],
        default="a4",
        required=True,
        format_func=localised(str.capitalize),
        key=f"labels-p-{code}",
    )

    def made() -> bytes:
        text = tag_text(desk.journal, code) if tag else ""
        return documents.labels(
            desk.journal,
            code,
            desk.now,
            count=int(number),
            with_weight=weight,
            tag=text,
            paper=paper,
            with_ingredients=listed,
        )

    st.download_button(
        _("Labels (PDF)"), made, f"labels-{code}.pdf", PDF, key=f"labels-out-{code}", type="primary", on_click="ignore"
    )
    common.say(msg("Local codes decide what a label must say where you sell."), "soft")
    preview.paper(desk, "labels", made, (code, number, weight, tag, listed, paper))


def _calendar(desk: Desk, names: dict[str, str]) -> None:
    common.say(msg("What is due, in your own calendar. If you import it again, events are moved, not doubled."), "lead")
    st.download_button(
        _("Into my calendar (ICS)"),
        lambda: documents.calendar_file(desk.journal, desk.now, desk.zone),
        "soap.ics",
        "text/calendar",
        key="ics",
        type="primary",
        on_click="ignore",
    )


PAPERS = {msg("Record"): _records, msg("Lot"): _lot, msg("Labels"): _labels, msg("Calendar"): _calendar}
