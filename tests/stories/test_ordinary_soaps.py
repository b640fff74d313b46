"""What is really poured: a salt bar, pine tar, a shaving soap, vinegar for water, citric acid, milk that overheats.

All people and batches are invented. Each recipe is one that the lye check used to refuse, to forget or to accuse.
"""

from dataclasses import replace

import pytest

from curejournal.batch.records import Event
from curejournal.judging.tasks import Task
from curejournal.soap.lye import alkalis_for, check_lye
from curejournal.soap.lye_words import answer
from curejournal.soap.recipe import Acid, Additive, Alkali, Liquid, Oil, Recipe
from curejournal.workflow import recipe_from
from tests.stories.workshop import recipe


def codes(checked):
    """What the lye check asks about."""
    return [doubt.code for doubt in checked.doubts]


def test_salt_bar(workshop):
    """All coconut with a superfat of 20%, and as much salt as oil: the salt is weight, and takes up no lye."""
    salty = recipe({"coconut": 1000}, 149.0, 330.0, additives=(Additive("sea salt", "other", 800.0),))
    checked = check_lye(salty)
    assert 18 < checked.superfat_nominal_pct < 21
    assert set(codes(checked)) <= {"much superfat"}
    # Arithmetic: 330 g of water in 1000 + 149 + 330 + 800 g.
    assert checked.water_share == pytest.approx(330 / 2279)
    workshop.pours("S-1", "Salt bar", salty, bars=8)
    assert workshop.asks("S-1", day=3).lye.water_share == pytest.approx(330 / 2279)


def test_pine_tar(workshop):
    """15% of pine tar, of which nobody knows how much lye it takes up; the certificate of another lot says 40 ± 10."""
    tar = recipe({"olive": 500, "coconut": 350, "pine tar": 150}, 128.0, 260.0)
    wide = check_lye(tar)
    assert wide.because.startswith("the saponification value of pine tar")
    known = replace(tar, oils=(*tar.oils[:2], Oil("pine tar", 150.0, "T-2", 40.0, 10.0, "certificate of lot T-2")))
    narrow = check_lye(known)
    spread = [high - low for low, high in (wide.superfat_interval_pct, narrow.superfat_interval_pct)]
    assert spread[1] < 0.8 * spread[0]
    workshop.pours("T-1", "Pine tar", known, bars=9)
    assert workshop.journal.batch("T-1").recipe.oils[-1].sv_from == "certificate of lot T-2"


def test_shaving_soap(workshop):
    """Stearic acid and two lyes, the NaOH as a solution of one half; it was refused for its stearic acid."""
    shaving = Recipe(
        (Oil("stearic acid", 500.0, "ST-4"), Oil("coconut", 200.0), Oil("castor", 100.0)),
        (Alkali("KOH", 100.0, 88.0, 92.0), Alkali("NaOH", 80.0, solution_pct=50.0)),
        (Liquid("water", 250.0), Liquid("glycerin", 100.0, 0.0, 0.0)),
    )
    weighed = replace(shaving, alkalis=alkalis_for(shaving, 5.0))
    checked = check_lye(weighed)
    assert checked.superfat_nominal_pct == pytest.approx(5.0)
    assert [alkali.kind for alkali in weighed.alkalis] == ["KOH", "NaOH"]
    # The solution's water counts: half of what was weighed of it.
    assert checked.water_g == pytest.approx(250.0 + weighed.alkalis[1].grams / 2)
    workshop.pours("SH-1", "Shaving soap", weighed)
    assert workshop.asks("SH-1", day=1).lye.unknown_oils == ()


def test_vinegar_for_water(workshop):
    """290 g of 5% vinegar in place of water take up 9.7 g of NaOH; with the usual lye the bar would be oily."""
    plain = recipe({"olive": 700, "coconut": 300}, 140.0, 290.0)
    vinegar = replace(plain, liquids=(), acids=(Acid("vinegar", 290.0, 5.0, 0.5),))
    before, after = check_lye(plain), check_lye(vinegar)
    # Arithmetic: 14.5 g of acetic acid x 39.997 / 60.05.
    assert after.acids_take_g == pytest.approx(9.66, abs=0.01)
    assert after.superfat_nominal_pct > before.superfat_nominal_pct + 6
    assert after.water_g == pytest.approx(0.95 * 290)
    more = check_lye(replace(vinegar, alkalis=alkalis_for(vinegar, 5.0)))
    assert more.superfat_nominal_pct == pytest.approx(5.0) and "below zero" not in codes(more)
    asked = replace(plain, liquids=(Liquid("cider vinegar", 290.0),))
    assert "acid elsewhere" in codes(check_lye(asked)), "as a liquid it would not count"


def test_citric_acid(workshop):
    """20 g of citric acid against hard water, with the 12.5 g of lye that it takes up: it was told not to pour."""
    base = recipe({"olive": 500, "coconut": 300, "palm": 200}, 146.4, 300.0)
    more = Alkali("NaOH", 146.4 + 12.5 / 0.98, lot="N-1")
    citric = replace(base, acids=(Acid("citric acid", 20.0),), alkalis=(more,))
    checked = check_lye(citric)
    assert checked.superfat_nominal_pct == pytest.approx(check_lye(base).superfat_nominal_pct, abs=0.05)
    assert "below zero" not in codes(checked) and "leaves some oil" in answer(checked)
    workshop.pours("CA-1", "With citric acid", citric, bars=12)
    margin = next(one for one in workshop.asks("CA-1", day=5).findings if one.check == "lye margin")
    assert margin.verdict == "pass"


def test_milk_that_overheats(workshop):
    """Goat's milk from a recipe file, taken for water before; the loaf heats up and cracks, and is washed later."""
    read = recipe_from(
        {
            "oils": [{"key": "olive", "grams": 700}, {"key": "coconut", "grams": 300}],
            "alkalis": [{"kind": "NaOH", "grams": 141}],
            "liquids": [{"name": "goat's milk", "grams": 300}],
        }
    )
    assert check_lye(read).fat_g == pytest.approx(1000 + 0.041 * 300)
    workshop.pours("M-1", "Goat's milk", read, bars=10)
    workshop.pours("M-2", "Goat's milk again", read, day=7, bars=10)
    for kind, day in (("overheated", 0.2), ("cracked", 0.5), ("washed", 20.0)):
        workshop.writes("M-1", Event(kind), day=day)
    noted = [event.kind for _, event in workshop.journal.batch("M-1").records(Event)]
    assert {"overheated", "cracked", "washed"} <= set(noted), "kinds that can be counted, no free text"


def test_where_it_lies(workshop):
    """Ten loaves stand on two racks: what is due says where to go."""
    from curejournal.batch.records import Place

    workshop.pours("P-1", "Plain", recipe({"olive": 1000}, 129.0, 260.0), bars=10)
    workshop.writes("P-1", Place("rack A", "tray 2"), day=2)
    workshop.writes("P-1", Place("rack B", "tray 3"), day=9)
    due = workshop.asks("P-1", day=10).due
    weigh = next(thing for thing in due if thing.what == "weigh")
    assert isinstance(weigh, Task) and weigh.words == "Weigh the marked bars (rack B, tray 3)"
