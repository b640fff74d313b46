"""Forms for what happens to a batch beside its readings: bars that leave, trays, pieces, portions, target colours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any, get_args

import streamlit as st

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n, quantity
from curejournal.batch.descriptions import describe, describe_lab
from curejournal.batch.records import BarsOut, Batch, ColourReading, Record, TargetSource, Weighing, WhyOut
from curejournal.documents.formatting import moment
from curejournal.soap.recipe import Batter, Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry, target_colour
from curejournal.ui.i18n import localised, tr, weight_input, word_of
from curejournal.ui.page import Desk, attempt, plain, refusal

Form = Callable[[Desk, Batch], None]

SOURCES: dict[TargetSource, str] = {
    "cured earlier batch": msg("a cured earlier batch"),
    "control portion": msg("an unscented control"),
    "batter before fragrance": msg("the batter before fragrance"),
    "swatch": msg("a swatch or a picture"),
}
CHANGES = (msg("bars were taken from it"), msg("another tray or box lies under it"), msg("it was cut into bars"))


def forms(batch: Batch) -> dict[str, Form]:
    """What can be entered for a batch as it is, by the words that ask for it."""
    found: dict[str, Form] = {msg("bars out"): bars_out}
    if batch.records(Weighing):
        found["tray or bars changed"] = scale_change
    if batch.portions:
        found["a target colour"] = set_target
    if batch.recipe is not None:
        found["pieces of another batch"] = embeds
    if batch.recipe is not None and len(batch.portions) > 1:
        found["batter of each portion"] = batter
    return found


def bars_out(desk: Desk, batch: Batch) -> None:
    """Bars that left the rack, and whom to ask in a recall."""
    key = entry.form_key("out", batch)
    if batch.bars_cut:
        common.say(
            msg(
                "{bars_cut} cut, {bars_out} here.",
                bars_cut=msg_n("{number} bar", "{number} bars", batch.bars_cut),
                bars_out=batch.bars_cut - batch.bars_out,
            ),
            "soft",
        )
    with st.form(key):
        why: WhyOut = st.radio(
            tr(msg("Why did they leave?")), get_args(WhyOut), key=f"{key}-why", horizontal=True, format_func=word_of
        )
        bars = st.number_input(tr(msg("How many bars")), value=1, min_value=1, step=1, key=f"{key}-bars")
        to = st.text_input(tr(msg("To whom or where: whom to ask in a recall")), key=f"{key}-to", max_chars=120)
        note = st.text_input(tr(msg("Remark")), key=f"{key}-note", max_chars=500)
        at = entry.moment(desk, key)
        if st.form_submit_button(tr(msg("Save")), type="primary"):
            entry.offer(desk, batch.code, [BarsOut(int(bars), to.strip(), why, note.strip())], at, key)


def scale_change(desk: Desk, batch: Batch) -> None:
    """A weighing after which a bar or tray is not what it was: said so, it is no loss and no gain."""
    key = entry.form_key("change", batch)
    last = {weighing.subject: weighing for _, weighing in batch.records(Weighing)}
    subject = st.selectbox(tr(msg("Which bar, tray or loaf")), list(last), key=f"{key}-subject")
    before = last[subject]
    change = st.radio(tr(msg("What changed")), CHANGES, key=f"{key}-what-{subject}", format_func=word_of)
    with st.form(f"{key}-{subject}-{change}"):
        common.say(
            msg(
                "Last time: {before}, tare {tare_g}.",
                before=describe(before),
                tare_g=quantity(f"{before.tare_g:g}", "g"),
            ),
            "soft",
        )
        bars, tare, to = before.bars, before.tare_g, ""
        why: WhyOut = "sold"
        if change != CHANGES[1]:
            usual = max(before.bars - 1, 1) if change == CHANGES[0] else max(batch.bars_cut, before.bars)
            bars_key = f"{key}-bars-{CHANGES.index(change)}-{subject}"
            bars = int(st.number_input(tr(msg("Bars on it now")), value=usual, min_value=1, step=1, key=bars_key))
        if change == CHANGES[1]:
            tare = (
                weight_input(msg("Its tare, g"), before.tare_g, min_value=0.0, step=1.0, key=f"{key}-t-{subject}")
                or 0.0
            )
        grams = weight_input(
            msg("Grams now, the tare taken off"), value=None, min_value=0.0, step=0.1, key=f"{key}-g-{subject}"
        )
        if change == CHANGES[0]:
            why = st.selectbox(
                tr(msg("Why were they taken")), get_args(WhyOut), key=f"{key}-why-{subject}", format_func=word_of
            )
            to = st.text_input(tr(msg("To whom or where")), key=f"{key}-to-{subject}", max_chars=120)
        at = entry.moment(desk, f"{key}-{subject}")
        sent = st.form_submit_button(tr(msg("Save")), type="primary")
    if sent and grams is None:
        st.info(tr(msg("Weigh what is on it now: without a weight nothing can be told from it.")))
    if sent and grams is not None:
        records: list[Record] = [replace(before, grams=grams, bars=bars, tare_g=tare, confirmed=False)]
        if change == CHANGES[0] and bars < before.bars:
            records.append(BarsOut(before.bars - bars, to.strip(), why, msg("from {subject}", subject=subject)))
        entry.offer(desk, batch.code, records, at, key)


def set_target(desk: Desk, batch: Batch) -> None:
    """The colour a portion should have when cured, from one of four sources."""
    key = entry.form_key("target", batch)
    names = [portion.name for portion in batch.portions]
    name = st.selectbox(tr(msg("Which portion")), names, key=f"{key}-portion")
    portion = next(known for known in batch.portions if known.name == name)
    if portion.target_lab:
        where = portion.target_from or portion.target_source or ""
        st.html(
            common.patch(
                portion.target_lab,
                msg("{name} should be", name=name),
                msg("{target_lab}; {where}", target_lab=describe_lab(portion.target_lab), where=where),
            )
        )
    source: TargetSource = st.radio(
        tr(msg("Take it from")), list(SOURCES), format_func=localised(SOURCES.__getitem__), key=f"{key}-source-{name}"
    )
    how = _ASKED[source](desk, batch, f"{key}-{name}")
    tolerance = target_colour.tolerance(f"{key}-tolerance-{name}", portion.tolerance)
    if how is None:
        return
    act = partial(_intend, desk, batch, name, source, {**how, "tolerance": tolerance}, key)
    if st.button(tr(msg("Take this colour")), key=f"{key}-go", type="primary"):
        act(confirmed=False)
    asked = st.session_state.get(f"{key}-doubtful") == (name, source)
    if asked and st.button(tr(msg("Take it all the same")), key=f"{key}-sure"):
        act(confirmed=True)


def _intend(
    desk: Desk, batch: Batch, name: str, source: TargetSource, how: dict[str, Any], key: str, *, confirmed: bool
) -> None:
    asked = f"{key}-doubtful"
    st.session_state.pop(asked, None)
    try:
        kept, _ = workflow.set_target(
            desk.journal, batch.code, name, source, by=desk.by, now=desk.now, confirmed=confirmed, **how
        )
    except workflow.ReadingDoubtful as doubt:
        st.session_state[asked] = (name, source)
        st.warning(
            tr(msg("**Is this right?** {what} {do}", what=plain(doubt.what), do=plain(doubt.do))),
            icon=":material/back_hand:",
        )
    except CureJournalError as error:
        refusal(error)
    else:
        entry.tell(batch.code, [kept], key)
        st.rerun()


def _like(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    names = {code: name for code, name in common.batch_names(desk).items() if code != batch.code}
    code = st.selectbox(
        tr(msg("Which batch")), list(names), None, format_func=localised(names.__getitem__), key=f"{key}-like"
    )
    if code is None:
        return None
    read = dict.fromkeys(reading.subject for _, reading in desk.journal.batch(code).records(ColourReading))
    portion = st.selectbox(tr(msg("Its portion")), list(read), key=f"{key}-like-{code}") if read else None
    if portion is None:
        common.say(msg("No colour was read in that batch."))
        return None
    return {"from_batch": code, "from_portion": portion}


def _control(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    controls = [portion.name for portion in batch.portions if portion.control]
    if not controls:
        common.say(msg("This batch has no control: touch one of its portions under History, and tick it as such."))
        return None
    return {"from_portion": st.selectbox(tr(msg("Which control")), controls, key=f"{key}-control")}


def _reading(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    readings = {
        item.id: msg("{zone}: {record}", zone=moment(item.at, desk.zone), record=describe(item.record))
        for item in batch.of(ColourReading)
    }
    if not readings:
        common.say(
            msg("No colour was read yet. Photograph the pigmented batter with the card before the fragrance goes in.")
        )
        return None
    number = st.selectbox(
        tr(msg("Which reading")), list(readings), format_func=localised(readings.__getitem__), key=f"{key}-reading"
    )
    return {"reading": number}


def _swatch(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    if not st.toggle(tr(msg("Photograph a swatch with a card")), key=f"{key}-photo"):
        picked = target_colour.choose(desk, key, None, none=False)
        if picked is None:
            return None
        return {"lab": picked.target_lab, "lab_from": picked.target_from, "lab_card": picked.target_card}
    card_name = st.selectbox(tr(msg("Which card")), workflow.card_names(desk.journal), key=f"{key}-card")
    file = st.file_uploader(
        tr(msg("The swatch in the card’s window")), type=["jpg", "jpeg", "png", "heic"], key=f"{key}-file"
    )
    if file is None:
        return None
    card = workflow.find_card(card_name, desk.journal)
    seen = attempt(lambda: workflow.swatch(file.getvalue(), card))
    if seen is None:
        return None
    lab, words = seen
    st.html(common.patch(lab, msg("The swatch"), words))
    return {"lab": lab, "lab_from": words, "lab_card": card.name}


_ASKED: dict[TargetSource, Callable[[Desk, Batch, str], dict[str, Any] | None]] = {
    "cured earlier batch": _like,
    "control portion": _control,
    "batter before fragrance": _reading,
    "swatch": _swatch,
}


def embeds(desk: Desk, batch: Batch) -> None:
    """Pieces of another batch that were put into this one: that batch is then its parent."""
    key = entry.form_key("embeds", batch)
    names = {code: name for code, name in common.batch_names(desk).items() if code != batch.code}
    with st.form(key):
        code = st.selectbox(
            tr(msg("Pieces of which batch")),
            list(names),
            None,
            format_func=localised(names.__getitem__),
            key=f"{key}-of",
        )
        grams = weight_input(msg("Grams"), value=None, min_value=0.0, step=1.0, key=f"{key}-g")
        where = [msg("the whole batch"), *(portion.name for portion in batch.portions)]
        portion = st.selectbox(tr(msg("In which portion")), where, key=f"{key}-in")
        sent = st.form_submit_button(tr(msg("Save")), type="primary")
    if sent and (code is None or grams is None):
        st.info(tr(msg("Choose the batch, and enter the grams.")))
    if sent and code is not None and grams is not None:
        place = "" if portion == where[0] else portion
        piece = attempt(partial(workflow.embed_of, desk.journal, code, grams, place, desk.now))
        if piece is not None:
            _recipe(desk, batch, lambda recipe: replace(recipe, embeds=(*recipe.embeds, piece)), key)


def batter(desk: Desk, batch: Batch) -> None:
    """How much batter each portion got: the dose of what went into one portion alone is reckoned on it."""
    key = entry.form_key("batter", batch)
    recipe = batch.recipe
    assert recipe is not None
    known = {part.portion: part.grams for part in recipe.batter}
    with st.form(key):
        common.say(
            msg(
                "There were about {batter_g} of batter. Leave out what was not weighed: it counts as equal.",
                batter_g=quantity(f"{recipe.batter_g:.0f}", "g"),
            ),
            "soft",
        )
        found = {
            portion.name: weight_input(
                msg("Batter in {name}, g", name=plain(portion.name)),
                value=known.get(portion.name),
                min_value=0.0,
                step=10.0,
                key=f"{key}-{portion.name}",
            )
            for portion in batch.portions
        }
        sent = st.form_submit_button(tr(msg("Save")), type="primary")
    if sent:
        divided = tuple(Batter(name, grams) for name, grams in found.items() if grams)
        _recipe(desk, batch, lambda recipe: replace(recipe, batter=divided), key)


def _recipe(desk: Desk, batch: Batch, change: Callable[[Recipe], Recipe], key: str) -> None:
    """The recipe as corrected; the earlier one stays in the history."""
    last = workflow.last_entry(batch, Recipe)
    assert last is not None
    entry.offer(desk, batch.code, [change(last.record)], last.at, key, supersedes=last.id)
