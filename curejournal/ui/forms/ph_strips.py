"""pH strips by photo: a packet's key enrolled once, a strip read beside the card and kept as an alkali test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch
from curejournal.ui.components import common, marking
from curejournal.ui.forms import entry
from curejournal.ui.forms.photos import TYPES, cards_to_choose
from curejournal.ui.i18n import _, localised, tr, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, Points
from curejournal.workflow.photos import Source, strips
from curejournal.workflow.photos.strips import StripKey

KEPT = "strip-key-kept"
"""What is said of a key that was just kept, on the next look at the page."""
KEY, STRIP = "strip-key", "strip-photo"
"""The two forms."""
IN_A_ROW = msg("in an even row")
KEY_ROW = msg("the row of its colours")
PAD = msg("the pad")
# The middle of a field, as a share of the way to the next one: clear of its rim and of the gap. Ours.
FIELD_SHARE = 0.22


def chosen_card(desk: Desk) -> Card:
    """Ask which card lies beside key and strip; the journal's own come first."""
    cards = cards_to_choose(desk)
    name = st.selectbox(
        _("Which card lies beside it?"),
        list(cards),
        format_func=localised(lambda name: cards[name].title or name),
        key="strip-card",
    )
    return cards[name]


def enrol(desk: Desk, card: Card, keys: Mapping[str, StripKey]) -> None:
    """Ask for a photo of the packet's key, and where its colours are."""
    common.say(
        msg(
            "Photograph the colour key on the packet beside the card in good daylight. It is measured once; after that "
            "a photo of a strip is enough. A key counts for its own packet’s lot alone."
        )
    )
    file = st.file_uploader(_("Photo of the key"), type=TYPES, key=f"{entry.form_key(KEY)}-photo")
    with st.container(horizontal=True):
        name = st.text_input(_("What to call it"), key="key-name", max_chars=60, width=300)
        lot = st.text_input(_("Lot on the packet"), key="key-lot", max_chars=60, width=300)
    if name.strip() in keys:
        common.say(
            msg("It takes the place of the key {strip} of lot {lot}.", strip=name.strip(), lot=keys[name.strip()].lot)
        )
    typed = st.text_input(_("The pH of its colours, in their order"), key="key-ph", placeholder="7 7.5 8 8.5 9 9.5 10")
    values = _numbers(typed)
    if typed and not values:
        common.say(msg("Each pH once, with a space between them: 7 7.5 8"))
    if file is None or len(values) < 3:
        common.say(msg("With a photo and at least three pH values, the colours are marked next."), "soft")
        return
    areas = _fields(card, file, values)
    if len(areas) == len(values):
        measured = attempt(lambda: workflow.measure_photo(file.getvalue(), card, areas))
        if measured is not None:
            common.patches(
                common.patch(
                    area.sample.lab if area.sample else None,
                    msg("pH {name}", name=area.name),
                    common.grade_word(area.grade),
                    "half",
                )
                for area in measured.areas
            )
            common.listed(common.doubts_of(measured))
    complete = bool(name.strip() and lot.strip() and len(areas) == len(values))
    if not complete:
        common.say(msg("A name, the lot and the place of every colour are needed."), "soft")
    if st.button(_("Keep this key"), key="key-keep", type="primary", disabled=not complete):
        places = {ph: areas[f"{ph:g}"] for ph in values}
        key = attempt(
            lambda: strips.enrol_strip_key(
                desk.journal, file.getvalue(), card, name.strip(), lot.strip(), places, by=desk.by
            )
        )
        if key is not None:
            st.session_state[KEPT] = msg("Kept: {steps} colours of {name}.", steps=len(key.steps), name=plain(key.name))
            entry.done(entry.form_key(KEY))
            st.rerun()


def _fields(card: Card, file: UploadedFile, values: Sequence[float]) -> Mapping[str, Points]:
    """Where each colour of a key is: along one row from the first to the last, or marked one by one."""
    way = st.segmented_control(
        _("Its colours lie"),
        [IN_A_ROW, msg("one by one")],
        default=IN_A_ROW,
        required=True,
        key="key-way",
        format_func=word_of,
    )
    if way != IN_A_ROW:
        names = [f"{ph:g}" for ph in values]
        return _marked(card, file, names, "box", msg("The key, to mark"), "")
    how = msg("Pull from the middle of the first colour to the middle of the last.")
    row = _marked(card, file, [KEY_ROW], "band", msg("The key, to mark"), how).get(KEY_ROW)
    return {} if row is None else _along(row, values)


def _marked(
    card: Card, file: UploadedFile, names: Sequence[str], kind: str, alt: str, how: str
) -> Mapping[str, Points]:
    """What is marked in a photo, by name; one that gives no colour is refused before anything is marked in it."""
    data = file.getvalue()
    seen = attempt(lambda: strips.check_photo(cache.measured(data, card, None, None)))
    if seen is None:
        return {}
    picture, key = cache.marked_picture(data, None, 1400), f"{kind}-{file.file_id}"
    return marking.mark(picture, seen.width, seen.height, names, key, alt, kinds=(kind,), corners=False, how=how).areas


def _along(band: Points, values: Sequence[float]) -> dict[str, Points]:
    """A square in the middle of each of several fields that lie evenly along a band's middle line."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = band
    start, end = ((ax + dx) / 2, (ay + dy) / 2), ((bx + cx) / 2, (by + cy) / 2)
    step = ((end[0] - start[0]) / (len(values) - 1), (end[1] - start[1]) / (len(values) - 1))
    thick = ((ax - dx) ** 2 + (ay - dy) ** 2) ** 0.5
    side = min(FIELD_SHARE * (step[0] ** 2 + step[1] ** 2) ** 0.5, thick / 2)
    areas = {}
    for number, ph in enumerate(values):
        x, y = start[0] + number * step[0], start[1] + number * step[1]
        areas[f"{ph:g}"] = workflow.outline_of((x - side / 2, y - side / 2, x + side / 2, y + side / 2))
    return areas


def read(desk: Desk, card: Card, keys: dict[str, StripKey]) -> None:
    """Ask for a photo of a strip; show its pH with the interval; keep it as an alkali test if asked to."""
    name = st.selectbox(
        _("Which key"),
        list(keys),
        format_func=localised(lambda name: msg("{name}, lot {lot}", name=name, lot=keys[name].lot)),
        key="strip-key",
    )
    key = keys[name]
    # Not filled in beforehand: another packet's strip is just what is to be noticed.
    lot = st.text_input(_("Lot on this strip’s packet, as printed"), key=f"strip-lot-{name}", max_chars=60)
    code = common.chosen_batch(desk, "strip-batch", msg("Which batch was tested?"))
    strength = st.number_input(
        _("Grams of soap in 100 ml of distilled water"), 0.1, 20.0, 1.0, 0.1, format="%.1f", key="strip-strength"
    )
    file = st.file_uploader(_("Photo of the strip beside the card"), type=TYPES, key=entry.form_key(STRIP))
    if file is None:
        return
    how = msg("Mark the pad: pull from one of its corners to the opposite one.")
    pad = _marked(card, file, [PAD], "box", msg("The strip, to mark"), how).get(PAD)
    if pad is None:
        return
    if not lot.strip():
        common.say(msg("Type the lot above, and the pH is read."))
        return
    data = file.getvalue()
    reading = attempt(lambda: strips.read_strip_photo(data, card, key, pad, lot.strip()))
    if reading is None:
        return
    st.subheader(_("pH {ph:.1f}", ph=reading.ph))
    common.say(
        msg("95 % interval ± {half_width:.2f}, by the key {name}.", half_width=reading.half_width, name=key.name),
        "lead",
    )
    common.say(
        msg("Strips often read low in soap: a strip can hold a batch, it does not prove that soap is safe."), "soft"
    )
    if code is not None:
        _keep(desk, desk.journal.batch(code), file, reading, strength)
    elif desk.journal.names():
        common.say(msg("Choose above which batch was tested, and it can be kept as an alkali test."))
    else:
        common.say(msg("Once a batch is started, it can be kept as an alkali test."))


def _keep(desk: Desk, batch: Batch, file: UploadedFile, reading: strips.StripReading, strength: float) -> None:
    data, test = file.getvalue(), strips.as_test(reading, strength)
    at = workflow.when_taken(data, file.name, desk.zone)
    if at is None:
        common.say(msg("Nothing in this file says when it was taken."))
        typed = st.datetime_input(
            _("Tested"), value=None, format="YYYY-MM-DD", step=300, key=f"strip-at-{file.file_id}"
        )
        if typed is None:
            return
        at = typed.replace(tzinfo=desk.zone)
    doubts = attempt(lambda: workflow.doubts_about(desk.journal, batch.code, test, at=at, now=desk.now))
    if doubts is None:
        return
    for doubt in doubts:
        st.warning(
            _("**Is this right?** {text} {do}", text=plain(doubt.text), do=plain(doubt.do)), icon=":material/back_hand:"
        )
    label = msg("Keep it as it is") if doubts else msg("Keep it as an alkali test of {code}", code=plain(batch.code))
    if st.button(tr(label), key="strip-keep", type="primary"):
        how = partial(strips.keep_strip, at=at, by=desk.by, now=desk.now, confirmed=bool(doubts))
        kept = attempt(lambda: how(desk.journal, batch.code, Source(file.name, lambda: data), test))
        if kept is not None:
            entry.tell(batch.code, [kept], entry.form_key(STRIP))
            st.rerun()


def _numbers(typed: str) -> list[float]:
    """The numbers between the spaces of a text, be their point a comma; empty if any is none or comes twice."""
    try:
        numbers = [float(part.strip(",;").replace(",", ".")) for part in typed.split()]
    except ValueError:
        return []
    return numbers if len(set(numbers)) == len(numbers) else []
