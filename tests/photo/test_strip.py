"""A pH strip is read along its own key, with an interval, and refused where a photo cannot tell."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from curejournal.colour.sample import Grade, Reason
from curejournal.photo.measure.measurement import AreaColour, Measurement, measure
from curejournal.photo.read.picture_file import read_photo
from curejournal.photo.strip import KeyStep, KeyUnusable, StripKey, StripUnreadable, enrol_key, on_curve, read_strip
from tests.photo.strips import PADS, areas_of, beside_card, lab_at
from tests.photo.windows import window
from tests.scene_items import Lab, Paint
from tests.scenes import Rendered

LOT = "L-77"
SMALL = tuple(tuple(0.2 * (i == j) for j in range(3)) for i in range(3))


def measured(drawn: Rendered) -> Measurement:
    return measure(read_photo(drawn.jpeg), window(), areas_of(drawn))


@cache
def key() -> StripKey:
    drawn = beside_card({f"pH {ph:g}": Paint(lab) for ph, lab in PADS.items()})
    return enrol_key("half steps", LOT, measured(drawn), {f"pH {ph:g}": ph for ph in PADS})


def pad(lab: Lab, **scene: object) -> AreaColour:
    return measured(beside_card({"pad": Paint(lab)}, scene)).areas[0]


def test_a_key_is_enrolled_from_one_photo() -> None:
    assert [step.ph for step in key().steps] == list(PADS)
    for step in key().steps:
        assert np.linalg.norm(np.subtract(step.lab, PADS[step.ph])) < 2.5


@pytest.mark.parametrize("ph", [7.2, 8.0, 8.6, 9.25, 9.9, 10.7])
def test_a_strip_is_read_between_the_steps_within_0_3(ph: float) -> None:
    read = read_strip(key(), pad(lab_at(ph)), lot=LOT, card="window")
    assert read.ph == pytest.approx(ph, abs=0.3)
    assert read.low <= ph <= read.high
    assert 0 < read.half_width < 0.8


@pytest.mark.parametrize("light", [{"uneven": 0.3}, {"exposure_ev": -1.2}, {"noise": 0.015}])
def test_the_photo_need_not_be_as_the_keys(light: dict[str, object]) -> None:
    assert read_strip(key(), pad(lab_at(9.3), **light), lot=LOT, card="window").ph == pytest.approx(9.3, abs=0.3)


def test_an_end_of_the_key_is_read_as_that_end() -> None:
    assert read_strip(key(), pad(PADS[11.0]), lot=LOT, card="window").high == pytest.approx(11.0, abs=0.05)


def test_a_strip_of_another_packet_is_refused() -> None:
    with pytest.raises(StripUnreadable, match="L-78"):
        read_strip(key(), pad(lab_at(9.0)), lot="L-78", card="window")


def test_a_strip_beside_another_card_is_refused() -> None:
    with pytest.raises(StripUnreadable, match="W-02"):
        read_strip(key(), pad(lab_at(9.0)), lot=LOT, card="W-02")


def test_a_colour_off_the_key_is_refused() -> None:
    with pytest.raises(StripUnreadable, match="not on this key"):
        read_strip(key(), pad((60.0, 50.0, 20.0)), lot=LOT, card="window")


def test_a_pad_without_a_colour_or_with_wet_glare_is_refused() -> None:
    good = pad(lab_at(9.0))
    with pytest.raises(StripUnreadable, match="cannot be told"):
        read_strip(key(), replace(good, sample=None), lot=LOT, card="window")
    glare = Reason("glare", "There is a glare on the soap.", "Turn it.")
    with pytest.raises(StripUnreadable, match="glistens"):
        read_strip(key(), replace(good, reasons=(glare,)), lot=LOT, card="window")
    shiny = replace(good, sample=replace(good.sample, spread=(9.0, 1.0, 1.0)))
    with pytest.raises(StripUnreadable, match="glistens"):
        read_strip(key(), shiny, lot=LOT, card="window")


def test_a_colour_that_fits_everywhere_is_refused() -> None:
    grey = StripKey("grey", LOT, "window", tuple(KeyStep(ph, (60.0 + ph / 2, 0, 0), SMALL) for ph in range(4, 12)))
    with pytest.raises(StripUnreadable, match="fits anything"):
        on_curve(grey, np.array([64.0, 0, 0]), 25 * np.eye(3))


@pytest.mark.parametrize(
    ("ph_of", "words"),
    [
        ({"pH 7": 7.0, "pH 8": 8.0}, "three"),
        ({"pH 7": 7.0, "pH 8": 7.0, "pH 9": 9.0}, "own pH"),
        ({"pH 7": 7.0, "pH 8": 8.0, "pH 9": 19.0}, "own pH"),
    ],
)
def test_a_key_that_is_none_is_refused(ph_of: dict[str, float], words: str) -> None:
    drawn = measured(beside_card({f"pH {ph}": Paint(PADS[ph]) for ph in (7, 8, 9)}))
    with pytest.raises(KeyUnusable, match=words):
        enrol_key("key", LOT, drawn, ph_of)


def test_a_step_that_is_only_roughly_known_counts_so_but_another_doubt_spoils_a_key() -> None:
    drawn = measured(beside_card({f"pH {ph:g}": Paint(lab) for ph, lab in PADS.items()}))
    wide = tuple(tuple(9.0 * (i == j) for j in range(3)) for i in range(3))

    def with_doubt(*codes: str) -> Measurement:
        doubts = tuple(Reason(code, "Only so.", limit=Grade.INDICATIVE) for code in codes)
        areas = [replace(a, grade=Grade.INDICATIVE, reasons=doubts) for a in drawn.areas if a.sample]
        return replace(drawn, areas=tuple(replace(a, sample=replace(a.sample, covariance=wide)) for a in areas))

    ph_of = {f"pH {ph:g}": ph for ph in PADS}
    rough = enrol_key("half steps", LOT, with_doubt("uncertain"), ph_of)
    near, far = (on_curve(key, np.array(lab_at(9.3)), 0.04 * np.eye(3)) for key in (key_of_small_doubt(), rough))
    assert far.half_width > near.half_width
    with pytest.raises(KeyUnusable, match="Only so"):
        enrol_key("half steps", LOT, with_doubt("uncertain", "glare"), ph_of)


def key_of_small_doubt() -> StripKey:
    return replace(key(), steps=tuple(replace(step, covariance=SMALL) for step in key().steps))


def test_neighbours_too_alike_are_refused() -> None:
    labs = {"a": (60.0, 0.0, 20.0), "b": (60.5, 0.0, 20.5), "c": (40.0, 0.0, 0.0)}
    drawn = measured(beside_card({name: Paint(lab) for name, lab in labs.items()}))
    with pytest.raises(KeyUnusable, match="too alike"):
        enrol_key("key", LOT, drawn, {"a": 7.0, "b": 8.0, "c": 9.0})
