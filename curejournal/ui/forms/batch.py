"""Forms for what happens to a batch beside its readings: bars that leave, trays, pieces, portions, intended colours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any, get_args

from curejournal import workflow
from curejournal.base.counting import how_many
from curejournal.base.errors import CureJournalError
from curejournal.batch.descriptions import describe, describe_lab
from curejournal.batch.records import BarsOut, Batch, ColourReading, Record, TargetSource, Weighing, WhyOut
from curejournal.documents.formatting import moment
from curejournal.soap.recipe import Batter, Recipe
from curejournal.ui.components import common
from curejournal.ui.forms import entry
from curejournal.ui.i18n import st, weight_input
from curejournal.ui.page import Desk, attempt, plain, refusal

Form = Callable[[Desk, Batch], None]

SOURCES: dict[TargetSource, str] = {
    "cured earlier batch": "a cured earlier batch",
    "control portion": "an unscented control",
    "batter before fragrance": "the batter before fragrance",
    "swatch": "a swatch",
}
CHANGES = ("bars were taken from it", "another tray or box lies under it", "it was cut into bars")


def forms(batch: Batch) -> dict[str, Form]:
    """What can be entered for a batch as it is, by the words that ask for it."""
    found: dict[str, Form] = {"bars that left": bars_out}
    if batch.records(Weighing):
        found["a change on the scale"] = scale_change
    if batch.portions:
        found["an intended colour"] = intended
    if batch.recipe is not None:
        found["pieces of another batch"] = embeds
    if batch.recipe is not None and len(batch.portions) > 1:
        found["batter of each portion"] = batter
    return found


def bars_out(desk: Desk, batch: Batch) -> None:
    """Bars that left the rack, and whom to ask in a recall."""
    key = entry.form_key("out", batch)
    if batch.bars_cut:
        common.say(f"{how_many(batch.bars_cut, 'bar')} cut, {batch.bars_cut - batch.bars_out} here.", "soft")
    with st.form(key):
        why: WhyOut = st.radio("Why did they leave?", get_args(WhyOut), key=f"{key}-why", horizontal=True)
        bars = st.number_input("How many bars", value=1, min_value=1, step=1, key=f"{key}-bars")
        to = st.text_input("To whom or where: whom to ask in a recall", key=f"{key}-to", max_chars=120)
        note = st.text_input("Remark", key=f"{key}-note", max_chars=500)
        at = entry.moment(desk, key)
        if st.form_submit_button("Keep it", type="primary"):
            entry.offer(desk, batch.code, [BarsOut(int(bars), to.strip(), why, note.strip())], at, key)


def scale_change(desk: Desk, batch: Batch) -> None:
    """A weighing after which a bar or tray is not what it was: said so, it is no loss and no gain."""
    key = entry.form_key("change", batch)
    last = {weighing.subject: weighing for _, weighing in batch.records(Weighing)}
    subject = st.selectbox("Which bar, tray or loaf", list(last), key=f"{key}-subject")
    before = last[subject]
    change = st.radio("What changed", CHANGES, key=f"{key}-what-{subject}")
    with st.form(f"{key}-{subject}-{change}"):
        common.say(f"Last time: {describe(before)}, tare {before.tare_g:g}\u00a0g.", "soft")
        bars, tare, to = before.bars, before.tare_g, ""
        why: WhyOut = "sold"
        if change != CHANGES[1]:
            usual = max(before.bars - 1, 1) if change == CHANGES[0] else max(batch.bars_cut, before.bars)
            bars_key = f"{key}-bars-{CHANGES.index(change)}-{subject}"
            bars = int(st.number_input("Bars on it now", value=usual, min_value=1, step=1, key=bars_key))
        if change == CHANGES[1]:
            tare = weight_input("Its tare, g", before.tare_g, min_value=0.0, step=1.0, key=f"{key}-t-{subject}") or 0.0
        grams = weight_input(
            "Grams now, the tare taken off", value=None, min_value=0.0, step=0.1, key=f"{key}-g-{subject}"
        )
        if change == CHANGES[0]:
            why = st.selectbox("Why were they taken", get_args(WhyOut), key=f"{key}-why-{subject}")
            to = st.text_input("To whom or where", key=f"{key}-to-{subject}", max_chars=120)
        at = entry.moment(desk, f"{key}-{subject}")
        sent = st.form_submit_button("Keep it", type="primary")
    if sent and grams is None:
        st.info("Weigh what is on it now: without a weight nothing can be told from it.")
    if sent and grams is not None:
        records: list[Record] = [replace(before, grams=grams, bars=bars, tare_g=tare, confirmed=False)]
        if change == CHANGES[0] and bars < before.bars:
            records.append(BarsOut(before.bars - bars, to.strip(), why, f"from {subject}"))
        entry.offer(desk, batch.code, records, at, key)


def intended(desk: Desk, batch: Batch) -> None:
    """The colour a portion should have when cured, from one of four sources."""
    key = entry.form_key("intended", batch)
    names = [portion.name for portion in batch.portions]
    name = st.selectbox("Which portion", names, key=f"{key}-portion")
    portion = next(known for known in batch.portions if known.name == name)
    if portion.intended_lab:
        where = portion.intended_from or portion.intended_source or ""
        st.html(
            common.patch(portion.intended_lab, f"{name} should be", f"{describe_lab(portion.intended_lab)}; {where}")
        )
    source: TargetSource = st.radio(
        "Take it from", list(SOURCES), format_func=SOURCES.__getitem__, key=f"{key}-source-{name}"
    )
    how = _ASKED[source](desk, batch, f"{key}-{name}")
    tolerance = entry.tolerance(f"{key}-tolerance-{name}", portion.tolerance)
    if how is None:
        return
    act = partial(_intend, desk, batch, name, source, {**how, "tolerance": tolerance}, key)
    if st.button("Take this colour", key=f"{key}-go", type="primary"):
        act(confirmed=False)
    asked = st.session_state.get(f"{key}-doubtful") == (name, source)
    if asked and st.button("Take it all the same", key=f"{key}-sure"):
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
        st.warning(f"**Is this right?** {plain(doubt.what)} {plain(doubt.do)}", icon=":material/back_hand:")
    except CureJournalError as error:
        refusal(error)
    else:
        entry.tell(batch.code, [kept], key)
        st.rerun()


def _like(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    names = {code: name for code, name in common.batch_names(desk).items() if code != batch.code}
    code = st.selectbox("Which batch", list(names), None, format_func=names.__getitem__, key=f"{key}-like")
    if code is None:
        return None
    read = dict.fromkeys(reading.portion for _, reading in desk.journal.batch(code).records(ColourReading))
    portion = st.selectbox("Its portion", list(read), key=f"{key}-like-{code}") if read else None
    if portion is None:
        common.say("No colour was read in that batch.")
        return None
    return {"from_batch": code, "from_portion": portion}


def _control(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    controls = [portion.name for portion in batch.portions if portion.control]
    if not controls:
        common.say("This batch has no control: tick one of its portions as such under History, “Correct an entry”.")
        return None
    return {"from_portion": st.selectbox("Which control", controls, key=f"{key}-control")}


def _reading(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    readings = {item.id: f"{moment(item.at, desk.zone)}: {describe(item.record)}" for item in batch.of(ColourReading)}
    if not readings:
        common.say(
            "No colour was read yet. Photograph the pigmented batter with the card before the fragrance goes in."
        )
        return None
    number = st.selectbox("Which reading", list(readings), format_func=readings.__getitem__, key=f"{key}-reading")
    return {"reading": number}


def _swatch(desk: Desk, batch: Batch, key: str) -> dict[str, Any] | None:
    if not st.toggle("Photograph it with a card, instead of typing it", key=f"{key}-photo"):
        typed = entry.lab(key)
        st.html(common.patch(typed, "The swatch", "CIELAB, D50"))
        return {"lab": typed}
    card_name = st.selectbox("Which card", workflow.card_names(desk.journal), key=f"{key}-card")
    file = st.file_uploader("The swatch in the card’s window", type=["jpg", "jpeg", "png", "heic"], key=f"{key}-file")
    if file is None:
        return None
    card = workflow.find_card(card_name, desk.journal)
    seen = attempt(lambda: workflow.swatch(file.getvalue(), card))
    if seen is None:
        return None
    lab, words = seen
    st.html(common.patch(lab, "The swatch", words))
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
        code = st.selectbox("Pieces of which batch", list(names), None, format_func=names.__getitem__, key=f"{key}-of")
        grams = weight_input("Grams", value=None, min_value=0.0, step=1.0, key=f"{key}-g")
        where = ["the whole batch", *(portion.name for portion in batch.portions)]
        portion = st.selectbox("In which portion", where, key=f"{key}-in")
        sent = st.form_submit_button("Keep it", type="primary")
    if sent and (code is None or grams is None):
        st.info("Choose the batch, and enter the grams.")
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
            f"There were about {recipe.batter_g:.0f}\u00a0g of batter. "
            "Leave out what was not weighed: it counts as equal.",
            "soft",
        )
        found = {
            portion.name: weight_input(
                f"Batter in {plain(portion.name)}, g",
                value=known.get(portion.name),
                min_value=0.0,
                step=10.0,
                key=f"{key}-{portion.name}",
            )
            for portion in batch.portions
        }
        sent = st.form_submit_button("Keep it", type="primary")
    if sent:
        divided = tuple(Batter(name, grams) for name, grams in found.items() if grams)
        _recipe(desk, batch, lambda recipe: replace(recipe, batter=divided), key)


def _recipe(desk: Desk, batch: Batch, change: Callable[[Recipe], Recipe], key: str) -> None:
    """The recipe as corrected; the earlier one stays in the history."""
    last = workflow.last_entry(batch, Recipe)
    assert last is not None
    entry.offer(desk, batch.code, [change(last.record)], last.at, key, supersedes=last.id)
