"""Forms for what a maker enters, the question before something unlikely is kept, and the undo after."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from functools import partial
from types import NoneType
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin, get_type_hints

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg, quantity, sentence
from curejournal.batch.descriptions import describe
from curejournal.batch.kinds import GRAMS_IN_OUNCE, KINDS
from curejournal.batch.records import (
    AlkaliMethod,
    AlkaliTest,
    Batch,
    Decision,
    Entry,
    Record,
    ScalarReading,
    SurfaceLook,
    SurfaceNote,
    Weighing,
)
from curejournal.colour.sample import Lab
from curejournal.documents import formatting
from curejournal.ui.i18n import habits, temperature_input, tr, weight_input, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.workflow.readers import USUAL

if TYPE_CHECKING:
    from curejournal.batch.plausibility import Doubt

CREAM: Lab = (85.0, 2.0, 14.0)
"""Where typing a colour begins. Ours."""


@dataclass(frozen=True)
class Offered:
    """Records that wait for the maker's word because something about them is unlikely."""

    code: str
    records: tuple[Record, ...]
    at: datetime
    supersedes: int | None
    doubts: tuple[Doubt, ...]
    forms: tuple[str, ...]


def offer(
    desk: Desk, code: str, records: Sequence[Record], at: datetime, *forms: str, supersedes: int | None = None
) -> None:
    """Keep records, or ask first if one is unlikely, or say why one cannot be. Kept, these forms begin anew."""
    if not records:
        st.info(tr(msg("Nothing was entered.")))
        return
    doubts: list[Doubt] = []
    for record in records:
        found = attempt(
            partial(workflow.doubts_about, desk.journal, code, record, at=at, now=desk.now, supersedes=supersedes)
        )
        if found is None:
            return
        doubts += found
    offered = Offered(code, tuple(records), at, supersedes, tuple(doubts), forms)
    if doubts:
        st.session_state["offered"] = offered
    else:
        _keep(desk, offered)


def ask(desk: Desk, code: str) -> None:
    """The question about what was offered for this batch, if there is one."""
    offered: Offered | None = st.session_state.get("offered")
    if offered is None or offered.code != code:
        return
    with st.container(border=True, key="doubt"):
        st.warning(tr(msg("**Is this right?** It is not kept yet.")), icon=":material/back_hand:")
        for doubt in offered.doubts:
            st.markdown(tr(f"{plain(doubt.text)} {plain(doubt.do)}"))
        with st.container(horizontal=True):
            if st.button(tr(msg("Keep it as it is")), key="keep-doubted"):
                _keep(desk, offered)
            if st.button(tr(msg("Do not keep it")), key="drop-doubted", type="primary"):
                del st.session_state["offered"]
                st.rerun()


def _keep(desk: Desk, offered: Offered) -> None:
    kept = []
    for asked in offered.records:
        record: Record = asked
        if offered.doubts and isinstance(asked, Weighing):
            record = replace(asked, confirmed=True)
        done = attempt(
            partial(
                workflow.enter,
                desk.journal,
                offered.code,
                record,
                at=offered.at,
                by=desk.by,
                now=desk.now,
                confirmed=True,
                supersedes=offered.supersedes,
            )
        )
        if done is None:
            return
        kept.append(done[0])
    st.session_state.pop("offered", None)
    tell(offered.code, kept, *offered.forms)
    st.rerun()


def tell(code: str, kept: Sequence[Entry], *forms: str) -> None:
    """Note what was just kept, so that it is said and can be undone; the forms by these keys are done."""
    st.session_state["kept"] = (code, tuple(kept))
    done(*forms)


def undo(desk: Desk) -> None:
    """Say what was kept last, with a way to take it back."""
    code, kept = st.session_state.get("kept", ("", ()))
    if not kept:
        return
    with st.container(horizontal=True, vertical_alignment="center", key="kept"):
        words = join("; ", (describe(entry.record) for entry in kept))
        when = formatting.moment(kept[0].at, desk.zone)
        st.success(
            tr(msg("Kept for {code}: {words} ({when}).", code=plain(code), words=plain(words), when=when)),
            icon=":material/check:",
        )
        # What was signed stays, and is answered by the next signature.
        if not any(isinstance(entry.record, Decision) for entry in kept):
            _undo_press(desk, kept)


def _undo_press(desk: Desk, kept: Sequence[Entry]) -> None:
    """The press that takes it back; of a test, or of what the bars looked like, it asks why."""
    why = msg("undone at once")
    if any(isinstance(entry.record, (AlkaliTest, SurfaceNote)) for entry in kept):
        with st.popover(tr(msg("Undo"))):
            why = st.text_input(tr(msg("Why is it taken back?")), key="undo-why", max_chars=500).strip()
            pressed = st.button(tr(msg("Take it back")), key="undo")
    else:
        pressed = st.button(tr(msg("Undo")), key="undo")
    if pressed:
        undone = [
            attempt(partial(workflow.undo, desk.journal, entry.id, why=why, by=desk.by, now=desk.now)) for entry in kept
        ]
        if None not in undone:
            del st.session_state["kept"]
            st.rerun()


def form_key(form: str, batch: Batch | None = None) -> str:
    """A form's key. Once it is done the form begins anew; until then, and in all other forms, what was typed stays."""
    of = f"{form}-{batch.code}" if batch is not None else form
    return f"{of}-{_done()[of]}"


def done(*forms: str) -> None:
    """What was asked by forms of these keys is kept."""
    _done().update(key.rpartition("-")[0] for key in forms)


def _done() -> Counter[str]:
    """How many times each form was done in this session."""
    counted: Counter[str] = st.session_state.setdefault("done", Counter())
    return counted


def lab(key: str, shown: Lab = CREAM) -> Lab:
    """Ask for a colour by its L*, a* and b*."""
    lightness, a, b = (
        column.number_input(tr(f"{axis}*"), value=value, step=0.5, format="%.1f", key=f"{key}-{axis}")
        for column, axis, value in zip(st.columns(3), msg("Lab"), shown, strict=True)
    )
    return lightness, a, b


def tolerance(key: str, shown: float) -> float:
    """Ask how far a colour may be from the target, ΔE00."""
    chosen: float = st.number_input(
        tr(msg("Difference you accept, ΔE00")),
        min(0.5, shown),
        max(10.0, shown),
        shown,
        0.5,
        key=key,
        help=tr(msg("About 1 is just noticeable side by side; 2 to 4 is usual here.")),
    )
    return chosen


def moment(desk: Desk, key: str) -> datetime:
    """Ask when something happened; left empty it is now."""
    picked = st.datetime_input(
        tr(msg("When (empty: now)")), value=None, format="YYYY-MM-DD", step=300, key=f"{key}-when"
    )
    return picked.replace(tzinfo=desk.zone) if picked else desk.now


def weigh(desk: Desk, batch: Batch) -> None:
    """The marked bars, all in one form."""
    key = form_key("weigh", batch)
    last = {weighing.subject: weighing for _, weighing in batch.records(Weighing)}
    with st.form(key):
        st.caption(tr(msg("Always weigh the same marked bars. Leave out the ones that were not weighed.")))
        grams = {}
        for subject, weighing in last.items():
            bars = msg(", {bars} bars", bars=weighing.bars) if weighing.bars > 1 else ""
            label = msg(
                "{subject}{bars}: grams (last {grams})",
                subject=plain(subject),
                bars=bars,
                grams=quantity(f"{weighing.grams:g}", "g"),
            )
            grams[subject] = weight_input(label, value=None, step=0.1, key=f"{key}-of-{subject}")
        with st.expander(tr(msg("Another bar or tray")), expanded=not last):
            name = st.text_input(tr(msg("Its mark")), value="" if last else "bar 1", key=f"{key}-name", max_chars=80)
            new_grams = weight_input(msg("Grams"), value=None, step=0.1, key=f"{key}-new")
            new_bars = st.number_input(tr(msg("Bars on the scale")), value=1, min_value=1, step=1, key=f"{key}-bars")
        step = _scale_step(next(reversed(last.values())).resolution_g if last else None, f"{key}-step")
        at = moment(desk, key)
        sent = st.form_submit_button(tr(msg("Keep the weights")), type="primary")
    if sent:
        records: list[Record] = [
            replace(last[subject], grams=value, resolution_g=step, confirmed=False)
            for subject, value in grams.items()
            if value is not None
        ]
        if new_grams is not None:
            records.append(Weighing(name.strip(), new_grams, step, bars=int(new_bars)))
        offer(desk, batch.code, records, at, key)


def _scale_step(used_g: float | None, key: str) -> float:
    """Ask for the scale's step in the maker's unit, beginning with the one used last; in grams."""
    unit, grams, steps, usual = (
        ("g", 1.0, (0.01, 0.1, 0.5, 1.0, 2.0, 5.0), 1.0)
        if habits().units == USUAL.units
        else ("oz", GRAMS_IN_OUNCE, (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2), 0.05)
    )
    used = usual if used_g is None else round(used_g / grams, 4)
    options = sorted({*steps, used})
    chosen: float = st.selectbox(
        tr(msg("The scale's step, {unit}", unit=unit)), options, index=options.index(used), key=f"{key}-{unit}"
    )
    return used_g if used_g is not None and chosen == used else chosen * grams


def alkali_test(desk: Desk, batch: Batch) -> None:
    """A pH by strip or meter, or a titration."""
    key = form_key("test", batch)
    method: AlkaliMethod = st.segmented_control(
        tr(msg("How")),
        ["meter", "strip", "titration"],
        default="meter",
        required=True,
        key=f"{key}-method",
        format_func=word_of,
    )
    with st.form(key):
        if method == "titration":
            st.caption(
                tr(msg("Free caustic alkali: soap in neutral ethanol, titrated with hydrochloric acid (ISO 456)."))
            )
            soap = st.number_input(tr(msg("Soap, g")), value=None, step=0.01, key=f"{key}-soap")
            acid = [
                st.number_input(
                    tr(msg("Acid used, ml, {which}", which=which)),
                    value=None,
                    min_value=0.0,
                    step=0.01,
                    key=f"{key}-{which}",
                )
                for which in (msg("first titration"), msg("second, if done"), msg("third, if done"))
            ]
            strength = st.number_input(
                tr(msg("Acid's strength, mol/l")), value=0.1, step=0.01, format="%.4f", key=f"{key}-mol"
            )
            blank = st.number_input(tr(msg("Blank, ml")), value=0.0, step=0.01, key=f"{key}-blank")
            which = st.text_input(tr(msg("Which bar")), key=f"{key}-which", max_chars=80).strip()
            bar = weight_input(msg("A marked bar's weight that day, g"), value=None, step=0.1, key=f"{key}-bar")
        else:
            st.caption(
                tr(
                    msg("Dissolve 1 g of soap in 100 ml of distilled water, let it stand, then read. ")
                    + (
                        msg("Strips often read low in soap: three bars from day 21 on, beside all else that is asked.")
                        if method == "strip"
                        else msg("Calibrate the meter the same day.")
                    )
                )
            )
            ph = st.number_input(tr(msg("pH as read")), value=None, step=0.1, format="%.2f", key=f"{key}-ph")
            which = st.text_input(tr(msg("Which bar")), key=f"{key}-which", max_chars=80).strip()
            strip = method == "strip"
            packet = st.text_input(tr(msg("Packet of the strips")), key=f"{key}-packet", max_chars=80) if strip else ""
            half = st.number_input(
                tr(msg("It may be off by, pH")),
                value=0.5 if method == "strip" else 0.1,
                min_value=0.05,
                step=0.05,
                key=f"{key}-half-{method}",
            )
            percent = st.number_input(
                tr(msg("Grams of soap in 100 ml")), value=1.0, min_value=0.0, step=0.1, key=f"{key}-pct"
            )
            temperature = temperature_input(msg("Temperature, °C"), value=None, step=0.5, key=f"{key}-temp")
        at = moment(desk, key)
        sent = st.form_submit_button(tr(msg("Keep the test")), type="primary")
    if sent and method == "titration":
        volumes = tuple(volume for volume in acid if volume is not None)
        test = AlkaliTest(method, soap_g=soap, acid_ml=volumes, acid_mol_l=strength, blank_ml=blank, bar_weight_g=bar)
        test = replace(test, bar=which)
        offer(desk, batch.code, [test], at, key)
    elif sent:
        test = AlkaliTest(method, ph, half, percent or None, temperature, bar=which, packet=packet.strip())
        offer(desk, batch.code, [test], at, key)


def surface(desk: Desk, batch: Batch) -> None:
    """What is seen on the bars."""
    key = form_key("look", batch)
    with st.form(key):
        look = st.radio(
            tr(msg("What do the bars look like?")), get_args(SurfaceLook), key=f"{key}-look", format_func=word_of
        )
        count = st.number_input(tr(msg("How many spots")), value=None, min_value=0, step=1, key=f"{key}-count")
        area = st.number_input(tr(msg("Part of the surface, %")), value=None, step=1.0, key=f"{key}-area")
        outside = st.checkbox(tr(msg("Only the outside was looked at, no cut face")), key=f"{key}-outside")
        aside = st.number_input(tr(msg("Affected bars set aside")), value=None, min_value=0, step=1, key=f"{key}-aside")
        note = st.text_input(tr(msg("Remark")), key=f"{key}-note", max_chars=500)
        at = moment(desk, key)
        if st.form_submit_button(tr(msg("Keep the look")), type="primary"):
            number, taken = (None if one is None else int(one) for one in (count, aside))
            offer(desk, batch.code, [SurfaceNote(look, number, area, note.strip(), outside, taken)], at, key)


def room(desk: Desk, batch: Batch) -> None:
    """Temperature and humidity."""
    key = form_key("room", batch)
    with st.form(key):
        found = {
            kind.name: (temperature_input if kind.unit == "°C" else st.number_input)(
                msg("{capitalize}, {unit}", capitalize=sentence(kind.words), unit=kind.unit),
                value=None,
                step=0.5,
                key=f"{key}-{kind.name}",
            )
            for kind in KINDS.values()
        }
        at = moment(desk, key)
        if st.form_submit_button(tr(msg("Keep the readings")), type="primary"):
            readings = [ScalarReading(name, value) for name, value in found.items() if value is not None]
            offer(desk, batch.code, readings, at, key)


LABELS = {
    "ph": msg("pH as read"),
    "half_width": msg("It may be off by, pH"),
    "strength_pct": msg("Grams of soap in 100 ml"),
    "temperature_c": msg("Temperature, °C"),
    "soap_g": msg("Soap, g"),
    "acid_mol_l": msg("Acid's strength, mol/l"),
    "blank_ml": msg("Blank, ml"),
    "bar_weight_g": msg("A marked bar's weight that day, g"),
    "on_hand_g": msg("On hand, g"),
    "inci": msg("Its name in an ingredient list"),
    "allergens": msg("Allergens, as the supplier states them"),
    "accepted_how": msg("How it was accepted"),
    "scale_checked": msg("Scale calibrated on"),
    "meter_checked": msg("Meter calibrated on"),
    "planned_bars": msg("Bars that recipe and mould should give"),
    "sellable": msg("They may go out again"),
    "disposition": msg("What was decided"),
}
"""Fields of records whose name is not how a maker calls them."""


def edited(record: Record, key: str) -> Record:
    """A form field for each simple value of a record; gives the record as edited."""
    kinds = get_type_hints(type(record))
    changed: dict[str, Any] = {}
    for field in fields(record):
        old, kind, name = getattr(record, field.name), kinds[field.name], field.name
        label = LABELS.get(name, name.replace("_", " "))
        allowed = (kind,) if get_origin(kind) in (None, Literal, tuple) else get_args(kind)
        base = next((part for part in allowed if part is not NoneType), kind)
        if get_origin(base) is Literal:
            options = [*get_args(base), *([None] if NoneType in allowed else [])]
            changed[field.name] = st.selectbox(tr(label), options, index=options.index(old), key=f"{key}-{field.name}")
        elif base is bool:
            changed[field.name] = st.checkbox(tr(label), old, key=f"{key}-{field.name}")
        elif name == "contact":
            continue  # a person is chosen by name, where bars are sold
        elif base is int:
            changed[field.name] = st.number_input(tr(label), value=old, step=1, key=f"{key}-{field.name}")
        elif base is float:
            number = None if old is None else float(old)
            changed[field.name] = st.number_input(
                tr(label), value=number, step=0.1, format="%.10g", key=f"{key}-{field.name}"
            )
        elif base is date:
            changed[field.name] = st.date_input(tr(label), old, format="YYYY-MM-DD", key=f"{key}-{field.name}")
        elif base is str:
            changed[field.name] = st.text_input(tr(label), old or "", key=f"{key}-{field.name}")
    return replace(record, **changed)
