"""A fact sheet keeps to one page and to what was seen."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from curejournal.documents.fact_sheet import FactSheet, effect_words, fact_sheet_markdown, fact_sheet_pdf
from curejournal.documents.sheet import Picture
from curejournal.materials.effects import find_causes
from curejournal.materials.expectation import expect
from curejournal.materials.history import histories, observations
from curejournal.soap.recipe import Additive
from tests.documents.test_record import jpeg
from tests.judging.batches import POURED, day
from tests.materials.test_history import VANILLA, poured, told


def sheet(*batches, name="vanilla scent", **how):
    stories = told(*batches)
    history = next(h for h in histories(stories) if h.material == name)
    return FactSheet(history, expect(history, None, POURED), how.pop("effect", None), how.pop("pictures", ()))


def text_of(one):
    reader = PdfReader(io.BytesIO(fact_sheet_pdf(one, made_on=day(60), software="curejournal 0.1.0")))
    return len(reader.pages), " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_it_gives_doses_turn_way_back_end_and_what_it_does_not_say():
    other = replace(VANILLA, grams=20.0, lot="V-2")
    pages, text = text_of(sheet(poured("A", "comes back", VANILLA), poured("B", "settles off", other)))
    assert pages == 2
    for said in (
        "It discoloured 2 of 2 portions",
        "used in 2 portions of 2 batches",
        "lots V-1, V-2",
        "2.0 to 3.0 % of the oils",
        "of 2 portions: 1 came back, 1 settled off",
        "observations of 2 batches by one maker",
        "about safety on skin",
    ):
        assert said in text, said


@pytest.mark.parametrize("count", [1, 12, 40])
def test_it_is_two_pages_however_often_it_was_used(count):
    batches = [replace(poured("A", "comes back", VANILLA), code=f"B-{n}") for n in range(2)]
    (history,) = histories(told(*batches))
    many = replace(history, uses=(history.uses * 20)[:count])
    pictures = tuple(Picture(jpeg(), f"day {n}", "vanilla soap under the card") for n in range(3))
    one = FactSheet(many, expect(many, None, POURED), None, pictures)
    assert text_of(one)[0] == 2


def test_the_markdown_says_the_same_and_no_name_breaks_it():
    name = "rose | [x](y) <b>*\n# loud"
    one = sheet(poured("A", "comes back", Additive(name, "fragrance", 20.0, "cream", "|")), name=name)
    text = fact_sheet_markdown(one, made_on=day(60), software="curejournal 0.1.0")
    lines = text.splitlines()
    assert sum(line.startswith("# ") for line in lines) == 1
    assert "<b>" not in text.replace("\\<b\\>", "")
    assert len([line for line in lines if line.startswith("| A ")]) == 1
    (row,) = [line for line in lines if line.startswith("| A ")]
    assert row.replace("\\|", "").count("|") == 8


def test_materials_that_were_never_apart_are_not_told_apart():
    both = (VANILLA, Additive("rose", "fragrance", 10.0, "cream"))
    batches = [poured(f"A{n}", "comes back", *both, seed=n) for n in range(3)]
    batches += [poured(f"P{n}", "stays", seed=n) for n in range(3)]
    found = find_causes(observations(told(*batches))[0])
    words = effect_words(found.effect_of("rose"))
    assert "rose and vanilla scent were never apart, so only together" in words
    assert words in text_of(sheet(*batches, effect=found.effect_of("rose")))[1]


def test_of_a_single_batch_it_speaks_as_of_one_and_shows_its_bars():
    bars = tuple(Picture(jpeg(), f"day {n}", "bars of vanilla soap") for n in (1, 28))
    one = replace(sheet(poured("A", "comes back", VANILLA), pictures=bars), soaps=bars)
    pages, text = text_of(one)
    assert pages == 2
    assert re.search(r"It discoloured the batter, which recovered by itself after \d+ days\.", text)
    assert "1 of 1" not in text
    assert "furthest from its target colour" in text


def test_what_is_still_recovering_is_said_so_far():
    _, text = text_of(sheet(poured("A", "comes back", VANILLA, days=(0.2, 1, 3, 5, 7))))
    assert "The batter with it discoloured, and is recovering." in text
