"""The fields of a record as a maker knows them: the same ones where it is entered and where it is put right."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import (
    BarsBack,
    BarsOut,
    BatchKind,
    ColourAccepted,
    Complaint,
    Deviation,
    Event,
    MakingDetails,
    PacketCheck,
    Place,
    Portion,
    Record,
    Renamed,
    ScalarReading,
    Weighing,
    WeighingCheck,
)
from curejournal.batch.stock import MaterialLot
from curejournal.ui.i18n import temperature_input, tr, weight_input, word_of
from curejournal.ui.page import plain

WHOLE = msg("the whole batch")


@dataclass(frozen=True)
class Asked:
    """A field as it is asked for: its label, and what helps to answer it."""

    label: str
    help: str = ""


PORTION = Asked(msg("Of which portion"))
REMARK = Asked(msg("Remark"))
REASON = Asked(msg("Why"))
FIELDS: Mapping[type[Record], Mapping[str, Asked]] = {
    Event: {
        "kind": Asked(msg("What happened")),
        "portion": PORTION,
        "note": REMARK,
        "temperature_c": Asked(msg("Temperature, °C")),
        "bars": Asked(msg("Bars cut")),
    },
    Weighing: {
        "subject": Asked(msg("Which bar or tray")),
        "grams": Asked(msg("Grams, the tare taken off")),
        "bars": Asked(msg("Bars on the scale")),
        "tare_g": Asked(msg("Its tare, g"), msg("What lies under the soap: a tray, a sheet of paper.")),
        "resolution_g": Asked(msg("Step of the scale, g"), msg("By how much its display changes: 1 g or 0.1 g.")),
    },
    ScalarReading: {"value": Asked(msg("Reading"))},
    Portion: {
        "control": Asked(msg("A control: unscented, to compare with")),
    },
    BarsOut: {
        "bars": Asked(msg("How many bars")),
        "why": Asked(msg("Why did they leave?")),
        "to": Asked(msg("To whom or where: whom to ask in a recall")),
        "order": Asked(msg("Order"), msg("Its number or name, if they are part of one.")),
        "note": REMARK,
    },
    BarsBack: {
        "bars": Asked(msg("How many bars")),
        "why": Asked(msg("Why did they come back?")),
        "to": Asked(msg("From whom")),
        "sellable": Asked(msg("They may go out again")),
    },
    Complaint: {
        "what": Asked(msg("What was complained of")),
        "bars": Asked(msg("Of how many bars")),
        "outcome": Asked(msg("What became of it"), msg("Leave it empty while the complaint is open.")),
    },
    BatchKind: {"kind": Asked(msg("What kind of batch it is")), "why": REASON},
    Place: {
        "rack": Asked(msg("Rack")),
        "tray": Asked(msg("Tray")),
        "subject": Asked(msg("Which bar or tray of it"), msg("Empty: all of the batch.")),
    },
    MakingDetails: {
        "weighed_by": Asked(msg("Who weighed")),
        "checked_by": Asked(msg("Who checked the weights")),
        "scale": Asked(msg("Which scale")),
        "scale_checked": Asked(msg("Scale calibrated on")),
        "meter": Asked(msg("Which pH meter")),
        "meter_checked": Asked(msg("Meter calibrated on")),
        "instruction": Asked(msg("Made by which instruction")),
        "planned_bars": Asked(msg("Bars that recipe and mould should give")),
        "storage": Asked(msg("Where it is stored")),
        "best_before": Asked(msg("Best before")),
    },
    Deviation: {
        "what": Asked(msg("What went wrong")),
        "disposition": Asked(msg("What was decided")),
        "decided_by": Asked(msg("Who decided")),
        "why": REASON,
    },
    WeighingCheck: {
        "covers": Asked(msg("What was checked?")),
        "how": Asked(msg("How?")),
        "batter_g": Asked(msg("All batter, without its pot, g")),
    },
    PacketCheck: {
        "packet": Asked(msg("Packet of the strips")),
        "strip_ph": Asked(msg("The strip read")),
        "half_width": Asked(msg("Half a step of the strip"), msg("0.5 where its colours are one pH apart.")),
        "reference_ph": Asked(msg("The calibrated meter read")),
    },
    ColourAccepted: {"why": Asked(msg("Why you accept it as it is"))},
    Renamed: {"name": Asked(msg("Name"))},
    MaterialLot: {
        "material": Asked(msg("Material")),
        "lot": Asked(msg("Lot"), msg("As it stands on the bottle or bag.")),
        "kind": Asked(msg("What it is")),
        "supplier": Asked(msg("Supplier")),
        "received": Asked(msg("Received on")),
        "opened": Asked(msg("Opened on")),
        "best_before": Asked(msg("Best before")),
        "on_hand_g": Asked(msg("On hand, g")),
        "inci": Asked(msg("Its name in an ingredient list")),
        "allergens": Asked(msg("Allergens, as the supplier states them")),
        "accepted_by": Asked(msg("Who accepted it")),
        "accepted_how": Asked(msg("How it was accepted"), msg("Looked at, smelt, its certificate read.")),
    },
}
"""What is asked of each kind of record, in order; what is not named stays as it was."""


def fields_of(record: Record, key: str, portions: Sequence[str] = ()) -> Record:
    """Ask for each field of a record; gives the record as it was filled in.

    Parameters
    ----------
    record : Record
        What the fields show at first.
    key : str
        What their keys begin with.
    portions : sequence of str
        Of the batch, where a portion is asked for.
    """
    kinds = get_type_hints(type(record))
    asked = FIELDS[type(record)]
    found: dict[str, Any] = {}
    for name, field in asked.items():
        old, label, more = getattr(record, name), tr(field.label), {"key": f"{key}-{name}"}
        if field.help:
            more["help"] = tr(field.help)
        if name == "portion":
            found[name] = _portion(label, old, portions, more)
        else:
            found[name] = _ask(name, kinds[name], label, old, more)
    return replace(record, **found)


def _portion(label: str, old: str, portions: Sequence[str], more: Mapping[str, Any]) -> str:
    if not old and len(portions) < 2:
        return old
    options = [WHOLE, *dict.fromkeys([*portions, *([old] if old else [])])]
    chosen = st.selectbox(label, options, options.index(old or WHOLE), format_func=plain, **more)
    return "" if chosen == WHOLE else chosen


def _ask(name: str, kind: Any, label: str, old: Any, more: Mapping[str, Any]) -> Any:
    allowed = (kind,) if get_origin(kind) in (None, Literal) else get_args(kind)
    base = next(part for part in allowed if part is not NoneType)
    if get_origin(base) is Literal:
        options = [*get_args(base), *([None] if NoneType in allowed else [])]
        return st.selectbox(label, options, options.index(old), format_func=word_of, **more)
    return _BY_KIND[base](name, label, old, more)


def _number(name: str, label: str, old: float | None, more: Mapping[str, Any]) -> float | None:
    number = None if old is None else float(old)
    if name.endswith("_c"):
        return temperature_input(label, number, **more)
    if name == "grams" or name.endswith("_g"):
        return weight_input(label, number, step=0.1, **{"format": "%.10g", **more})
    found: float | None = st.number_input(label, value=number, step=0.1, format="%.10g", **more)
    return found


_BY_KIND: Mapping[type, Callable[[str, str, Any, Mapping[str, Any]], Any]] = {
    bool: lambda name, label, old, more: st.checkbox(label, old, **more),
    int: lambda name, label, old, more: st.number_input(label, value=old, step=1, min_value=0, **more),
    float: _number,
    date: lambda name, label, old, more: st.date_input(label, old, format="YYYY-MM-DD", **more),
    str: lambda name, label, old, more: st.text_input(label, old or "", max_chars=500, **more).strip(),
}
