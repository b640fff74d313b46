"""Tests of the alkali that is left: a pH by strip or meter, or a titration; entered, and put right."""

from __future__ import annotations

import streamlit as st

from curejournal.base.messages import msg
from curejournal.batch.records import AlkaliMethod, AlkaliTest, Batch
from curejournal.ui.forms import entry
from curejournal.ui.i18n import temperature_input, tr, weight_input, word_of
from curejournal.ui.page import Desk

HOW = {
    "meter": msg(
        "Dissolve 1 g of soap in 100 ml of distilled water, let it stand, then read. Calibrate the meter the same day."
    ),
    "strip": msg(
        "Dissolve 1 g of soap in 100 ml of distilled water, let it stand, then read. Strips often read low in soap: "
        "test three bars from day 21 on, beside all else that is asked."
    ),
    "titration": msg("Free caustic alkali: soap in neutral ethanol, titrated with hydrochloric acid (ISO 456)."),
}
USUAL_DOUBT = {"meter": 0.1, "strip": 0.5}
"""What a reading may be off, pH: half a step of a strip whose colours are one pH apart; of a meter that was calibrated
the same day. Ours."""
USUAL_ACID_MOL_L = 0.1
"""As ISO 456 and most bottles have it [from memory]; 3.65 g of HCl in a litre (36.46 g/mol, IUPAC)."""


def test(desk: Desk, batch: Batch) -> None:
    """Ask for a test, by the method that was used last."""
    key = entry.form_key("test", batch)
    before = batch.records(AlkaliTest)
    method: AlkaliMethod = st.segmented_control(
        tr(msg("How")),
        ["meter", "strip", "titration"],
        default=before[-1][1].method if before else "meter",
        required=True,
        key=f"{key}-method",
        format_func=word_of,
    )
    with st.form(key, enter_to_submit=False):
        st.caption(tr(HOW[method]))
        packet = next((one.packet for _, one in reversed(before) if one.packet), "") if method == "strip" else ""
        found = fields(AlkaliTest(method, packet=packet), key)
        at = entry.moment(desk, key)
        sent = st.form_submit_button(tr(msg("Save")), type="primary", key=f"{key}-save")
    if sent:
        entry.offer(desk, batch.code, [found], at, key)


def fields(shown: AlkaliTest, key: str) -> AlkaliTest:
    """Ask for what a test by this method found, beginning with what it shows."""
    return _titration(shown, key) if shown.method == "titration" else _ph(shown, key)


def _ph(shown: AlkaliTest, key: str) -> AlkaliTest:
    method = shown.method
    ph = st.number_input(tr(msg("pH as read")), value=shown.ph, step=0.1, format="%.2f", key=f"{key}-ph")
    which = st.text_input(tr(msg("Which bar")), shown.bar, key=f"{key}-which", max_chars=80).strip()
    packet = shown.packet
    if method == "strip":
        packet = st.text_input(
            tr(msg("Packet of the strips")),
            shown.packet,
            key=f"{key}-packet",
            max_chars=80,
            help=tr(msg("As on the box: strips of one packet share their error.")),
        )
    temperature = temperature_input(
        msg("Temperature of the solution, °C"),
        shown.temperature_c,
        step=0.5,
        key=f"{key}-temp",
        help=tr(msg("5 °C change the pH by about 0.15. Empty: taken as 25 °C, with more doubt.")),
    )
    with st.expander(tr(msg("How it was read: usual values are filled in"))):
        half = st.number_input(
            tr(msg("It may be off by, pH")),
            value=USUAL_DOUBT[method] if shown.half_width is None else shown.half_width,
            min_value=0.05,
            step=0.05,
            key=f"{key}-half-{method}",
            help=tr(msg("Half a step of the strip’s scale, usually 0.5; 0.1 for a meter calibrated the same day.")),
        )
        percent = st.number_input(
            tr(msg("Grams of soap in 100 ml")),
            value=1.0 if shown.ph is None else shown.strength_pct,
            min_value=0.0,
            step=0.1,
            key=f"{key}-pct",
            help=tr(msg("1 g is usual; in a stronger solution the pH is a little higher.")),
        )
    return AlkaliTest(method, ph, half, percent or None, temperature, bar=which, packet=packet.strip())


def _titration(shown: AlkaliTest, key: str) -> AlkaliTest:
    soap = st.number_input(
        tr(msg("Soap, g")),
        value=shown.soap_g,
        step=0.01,
        key=f"{key}-soap",
        help=tr(msg("Shavings from several places of the bar; 5 to 10 g are usual.")),
    )
    names = (msg("first titration"), msg("second, if done"), msg("third, if done"))
    acid = [
        st.number_input(
            tr(msg("Acid used, ml, {which}", which=name)),
            value=shown.acid_ml[number] if number < len(shown.acid_ml) else None,
            min_value=0.0,
            step=0.01,
            key=f"{key}-{name}",
        )
        for number, name in enumerate(names)
    ]
    blank = st.number_input(
        tr(msg("Acid used without soap (blank), ml")),
        value=shown.blank_ml,
        step=0.01,
        key=f"{key}-blank",
        help=tr(msg("The same ethanol without soap: what turns it colourless. With neutral ethanol it is 0.")),
    )
    which = st.text_input(tr(msg("Which bar")), shown.bar, key=f"{key}-which", max_chars=80).strip()
    with st.expander(tr(msg("The acid, and the bar’s weight: usual values are filled in"))):
        strength = st.number_input(
            tr(msg("Strength of the acid, mol/l (on its bottle)")),
            value=USUAL_ACID_MOL_L if shown.acid_mol_l is None else shown.acid_mol_l,
            step=0.01,
            format="%.4f",
            key=f"{key}-mol",
            help=tr(msg("Usually 0.1, also written 0.1 N or N/10: 3.65 g of hydrogen chloride in a litre.")),
        )
        bar = weight_input(
            msg("A marked bar's weight that day, g"),
            shown.bar_weight_g,
            step=0.1,
            key=f"{key}-bar",
            help=tr(msg("As a bar dries, the same free alkali is more percent of it. Empty: not weighed.")),
        )
    volumes = tuple(volume for volume in acid if volume is not None)
    return AlkaliTest(
        "titration", soap_g=soap, acid_ml=volumes, acid_mol_l=strength, blank_ml=blank, bar_weight_g=bar, bar=which
    )
