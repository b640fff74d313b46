"""The ribbon shows measured colours where they were measured, its doubt, today and the target."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_linear, linear_from_srgb
from curejournal.documents.ribbon import SCALES, SLICES, TARGET_SHARE, ribbon, ribbon_html, ribbon_pixels, ribbon_svg

BROWN, LILAC = (45.0, 6.0, 10.0), (62.0, 18.0, -20.0)


def lab_of(hex_colour: str) -> np.ndarray:
    rgb = np.array([int(hex_colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return lab_from_linear(linear_from_srgb(rgb))


@pytest.mark.parametrize("scale", SCALES)
def test_ends_have_the_colours_that_were_measured(scale: str) -> None:
    drawn = ribbon([0.0, 20.0], [BROWN, LILAC], [1.0, 1.0], 20.0, scale=scale)
    assert ciede2000(lab_of(drawn.slices[0].colour), np.array(BROWN)) < 1.5
    assert ciede2000(lab_of(drawn.slices[-1].colour), np.array(LILAC)) < 1.5
    assert len(drawn.slices) == SLICES and drawn.ends == 1.0


@pytest.mark.parametrize(("scale", "place"), [("linear", 0.25), ("root", 0.5), ("log", np.log1p(120) / np.log1p(480))])
def test_a_day_stands_where_the_scale_puts_it(scale: str, place: float) -> None:
    # Worked by hand: day 5 of 20.
    drawn = ribbon([0.0, 4.999, 5.0, 20.0], [BROWN, BROWN, LILAC, LILAC], [0.5] * 4, 20.0, scale=scale)
    turned = next(one for one in drawn.slices if one.colour != drawn.slices[0].colour)
    assert turned.start <= place <= turned.end + 1e-9 or abs(turned.start - place) < 1 / SLICES


def test_the_target_stands_apart_by_a_gap_and_today_is_named() -> None:
    drawn = ribbon([0.0, 20.0], [BROWN, LILAC], [1.0, 1.0], 25.0, LILAC)
    assert drawn.ends < 1 - TARGET_SHARE
    assert drawn.ticks[0] == (0.0, "pour") and drawn.ticks[-1] == (drawn.ends, "today")
    page = ribbon_html(drawn)
    assert ">target<" in page and SCALES["root"] in page, "the axis says how time runs"


def test_names_keep_their_distance() -> None:
    for until in (0.3, 2, 9, 30, 400):
        places = [place for place, _ in ribbon([0.0], [BROWN], [1.0], until, LILAC).ticks]
        assert min(np.diff(places)) >= 0.099


def test_doubt_softens_the_edges_and_grows_away_from_readings() -> None:
    sure = ribbon([0.0, 10.0], [BROWN, LILAC], [0.5, 0.5], 10.0)
    unsure = ribbon([0.0, 10.0], [BROWN, LILAC], [6.0, 6.0], 10.0)
    assert all(a.softness < b.softness for a, b in zip(sure.slices, unsure.slices, strict=True))
    later = ribbon([0.0, 10.0], [BROWN, LILAC], [0.5, 0.5], 40.0)
    assert later.slices[-1].softness > 5 * later.slices[0].softness, "thirty days without a photo"


def test_the_drawing_is_valid_and_says_its_words() -> None:
    drawn = ribbon([0.0, 20.0], [BROWN, LILAC], [1.0, 4.0], 25.0, LILAC, words="heather <b>: recovering")
    root = ET.fromstring(ribbon_svg(drawn))
    assert root.attrib["aria-label"] == "heather <b>: recovering"
    assert "<b>" not in ribbon_html(drawn), "what a maker typed stays text"


def test_on_paper_it_is_the_same_drawing() -> None:
    drawn = ribbon([0.0, 20.0], [BROWN, LILAC], [1.0, 4.0], 20.0, LILAC)
    pixels = ribbon_pixels(drawn, 1000, 60)
    assert ciede2000(lab_of("#{:02x}{:02x}{:02x}".format(*pixels[30, 5, :3])), np.array(BROWN)) < 1.5
    assert tuple(pixels[30, -2]) == (*bytes.fromhex(drawn.target[1:]), 255)
    gap = round(1000 * (drawn.ends + 0.005))
    assert pixels[30, gap, 3] == 0, "the target stands apart"
    end = round(1000 * drawn.ends) - 3
    assert pixels[0, end, 3] < pixels[30, end, 3] == 255, "doubt is a soft edge"
    assert ribbon_pixels(drawn, 1000, 60, soft=False)[0, end, 3] == 255
