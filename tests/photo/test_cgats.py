"""Reference values from instruments' files: read whatever their form, refused if they are of something else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curejournal.colour.spaces import lab_from_srgb, xyz_from_lab
from curejournal.photo.card import built_in_card_text, card_text, read_card
from curejournal.photo.cgats import ValuesUnreadable, read_values, with_values

CARD = read_card(built_in_card_text("chart24"))
LABS = {patch.id: np.add(patch.lab_d50, (0.5, -0.25, 0.125)) for patch in CARD.patches}

# The form is that of ISO 28178 (identifier, keywords, format, data); the values are made up.
HEAD = """ISO28178
ORIGINATOR "a test, invented"
DESCRIPTOR "a chart of BEGIN_DATA patches"  # a comment with "a quote
CREATED "2026-11-25"
KEYWORD "OBSERVER_ANGLE"
OBSERVER_ANGLE "2"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
"""


def cgats(fields: str, rows: list[str], head: str = HEAD) -> str:
    body = "\n".join(rows)
    return (
        f"{head}NUMBER_OF_FIELDS {len(fields.split())}\nBEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\n"
        f"NUMBER_OF_SETS {len(rows)}\nBEGIN_DATA\n{body}\nEND_DATA\n"
    )


def lab_rows(between: str = "\t", quote: str = "") -> list[str]:
    return [between.join([f"{quote}{name}{quote}", *(f"{v:.4f}" for v in lab)]) for name, lab in LABS.items()]


XYZ = [f"{name} " + " ".join(f"{v:.5f}" for v in 100 * xyz_from_lab(lab)) for name, lab in LABS.items()]
NUMBERED = [f'{k} "{row.split()[0].upper()}" 0 {" ".join(row.split()[1:])}' for k, row in enumerate(lab_rows(), 1)]
FORMS = {
    "CGATS, Lab": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", lab_rows()),
    "CGATS, quotes, one line": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", [" ".join(lab_rows(" ", '"'))]),
    "CGATS, small letters": cgats("Sample_Id Lab_L Lab_a Lab_b", lab_rows()).replace("BEGIN_DATA", "begin_data"),
    "CGATS, Windows lines": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", lab_rows()).replace("\n", "\r\n"),
    "CGATS, XYZ": cgats("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", XYZ),
    "CGATS, names beside numbers": cgats("SAMPLE_ID SAMPLE_NAME NM400 LAB_L LAB_A LAB_B", NUMBERED),
    "CSV": "id,L,a,b\n" + "\n".join(lab_rows(",")),
    "CSV, semicolons and decimal commas": "ID;L*;a*;b*\n" + "\n".join(lab_rows(";")).replace(".", ","),
    "CSV, tabs, quotes, comments": "# ours\nname\tL\ta\tb\n\n" + "\n".join(lab_rows("\t", '"')) + "\n\n",
    "CSV, underscores for dashes": "patch,l,a,b\n" + "\n".join(lab_rows(",")).replace("-skin", "_Skin"),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16"])
def test_the_values_arrive_whatever_the_form(form: str, codec: str) -> None:
    card, doubts = with_values(CARD, read_values(FORMS[form].encode(codec)), "chart 7.txt")
    for patch in card.patches:
        assert patch.lab_d50 == pytest.approx(LABS[patch.id], abs=2e-3)
    assert (card.kind, doubts) == ("measured", ())
    assert "chart 7.txt" in card.provenance
    assert [patch.srgb for patch in card.patches] == [patch.srgb for patch in CARD.patches]
    assert read_card(card_text(card)).kind == "measured"


def test_standard_deviations_become_covariances_and_repeats_their_mean() -> None:
    rows = [f"{name} {' '.join(map(str, lab + d))} 0.1 0.2 {0.3}" for name, lab in LABS.items() for d in (-1, 1)]
    text = cgats("SAMPLE_ID LAB_L LAB_A LAB_B STDEV_L STDEV_A STDEV_B", rows)
    card, _ = with_values(CARD, read_values(text.encode()), "x")
    assert card.patches[3].lab_d50 == pytest.approx(LABS[card.patches[3].id])
    assert np.array(card.patches[3].covariance) == pytest.approx(np.diag([0.01, 0.04, 0.09]))


def test_a_patch_that_is_not_in_the_file_is_no_longer_used_and_named() -> None:
    card, (doubt,) = with_values(CARD, read_values(("id,L,a,b\n" + "\n".join(lab_rows(",")[2:])).encode()), "x")
    assert [patch.lab_d50 for patch in card.patches[:2]] == [None, None]
    assert CARD.patches[0].id in doubt
    assert CARD.patches[1].id in doubt


def test_xyz_of_a_perfect_white_is_lab_100() -> None:
    """ISO/CIE 11664-4: the white itself is L* 100, a* b* 0; D50 white after ASTM E308: 96.42, 100, 82.49."""
    (white,) = read_values(b"id,X,Y,Z\nwhite,96.42,100,82.49\n")
    assert white.lab == pytest.approx((100, 0, 0), abs=0.05)


TURNED = dict(zip(LABS, reversed(LABS.values()), strict=True))
REFUSED = {
    "another light": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", lab_rows(), HEAD.replace("D50", "D65")),
    "another observer": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", lab_rows(), HEAD.replace("2 degree", "10 degree")),
    "other names": "id,L,a,b\n" + "\n".join(f"{k},50,0,0" for k in range(24)),
    "another order": "id,L,a,b\n" + "\n".join(f"{name},{','.join(map(str, lab))}" for name, lab in TURNED.items()),
    "no colours": cgats("SAMPLE_ID RGB_R RGB_G RGB_B", lab_rows()),
    "no ids": "L,a,b\n50,0,0\n",
    "no values": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", []),
    "a word for a number": "id,L,a,b\ndark-skin,about 37,1,2\n",
    "not a number": "id,L,a,b\ndark-skin,nan,1,2\n",
    "endless": "id,L,a,b\ndark-skin,inf,1,2\n",
    "no surface": "id,L,a,b\ndark-skin,250,1,2\n",
    "XYZ up to 1": "id,X,Y,Z\nwhite,0.96,1.0,0.82\n",
    "too few cells": "id,L,a,b\ndark-skin,37\n",
    "a cell too many": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", [*lab_rows(), "7"]),
    "no end": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", lab_rows()).replace("END_DATA\n", ""),
    "in disorder": "END_DATA BEGIN_DATA END_DATA_FORMAT\nBEGIN_DATA_FORMAT\n",
    "a column twice": "id,L,a,b,L\nx,1,2,3,4\n",
    "an open quote": 'id,L,a,b\n"dark,1,2,3\n',
    "empty": "",
    "spaces": " \n\t\n",
    "no text": "\0\0\0",
    "prose": "Dear maker,\nhere are the values you asked for.\n",
}


@pytest.mark.parametrize("fault", REFUSED)
def test_what_cannot_be_this_cards_values_is_refused_with_a_sentence(fault: str) -> None:
    with pytest.raises(ValuesUnreadable) as caught:
        with_values(CARD, read_values(REFUSED[fault].encode()), "x")
    assert caught.value.what.endswith(".")
    assert caught.value.do


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")), st.data())
def test_nothing_else_comes_out_of_rubbish(rubbish: bytes, data: st.DataObject) -> None:
    whole = FORMS["CGATS, Lab"].encode()
    at = data.draw(st.integers(0, len(whole)))
    for text in (rubbish, whole[:at] + rubbish + whole[at:], whole[:at]):
        try:
            with_values(CARD, read_values(text), "x")
        except ValuesUnreadable as refused:
            assert refused.what


def test_the_printed_values_of_a_card_are_near_enough_to_be_its_own() -> None:
    printed = "\n".join(
        f"{patch.id},{','.join(map(str, lab_from_srgb(np.array(patch.srgb) / 255)))}" for patch in CARD.patches
    )
    card, _ = with_values(replace(CARD, kind="unknown"), read_values(f"id,L,a,b\n{printed}".encode()), "x")
    assert card.kind == "measured"
