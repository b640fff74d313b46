"""How much lye acids take up, against arithmetic from molar masses."""

from dataclasses import replace

import pytest

from curejournal.soap.acids import ACIDS, NO_ACID, NoAcid, mol_of_lye_per_g, molar_mass_g_mol
from curejournal.soap.lye import check_lye
from curejournal.soap.possible import ImpossibleRecipe
from curejournal.soap.recipe import Acid, Alkali, Liquid, Oil, Recipe


@pytest.mark.parametrize(
    ("key", "formula", "molar_mass", "protons", "naoh_per_g"),
    [
        # Molar masses as in textbooks; g of NaOH (39.997 g/mol) for each g: protons x 39.997 / molar mass [arithmetic].
        ("citric acid", "C6H8O7", 192.12, 3, 0.6246),
        ("citric acid monohydrate", "C6H10O8", 210.14, 3, 0.571),
        ("lactic acid", "C3H6O3", 90.08, 1, 0.444),
        ("acetic acid", "C2H4O2", 60.05, 1, 0.666),
        ("tartaric acid", "C4H6O6", 150.09, 2, 0.533),
        ("malic acid", "C4H6O5", 134.09, 2, 0.5966),
        ("ascorbic acid", "C6H8O6", 176.12, 1, 0.2271),
        ("salicylic acid", "C7H6O3", 138.12, 1, 0.2896),
    ],
)
def test_what_an_acid_takes_up_follows_from_its_molar_mass(key, formula, molar_mass, protons, naoh_per_g):
    assert molar_mass_g_mol(formula) == pytest.approx(molar_mass, abs=0.02)
    assert ACIDS[key].molar_mass_g_mol == pytest.approx(molar_mass, abs=0.02)
    assert ACIDS[key].protons == protons
    assert mol_of_lye_per_g(Acid(key, 1.0)) * 39.997 == pytest.approx(naoh_per_g, abs=0.0006)


def test_vinegar_takes_up_what_its_acid_does():
    # 100 g of a 5% vinegar hold 5 g of acetic acid: 5 x 0.666 = 3.33 g of NaOH [arithmetic].
    plain = Recipe((Oil("olive", 1000.0),), (Alkali("NaOH", 130.0, 100, 100),), (Liquid("water", 250.0),))
    vinegar = replace(plain, acids=(Acid("vinegar", 100.0, 5.0, 0.5),))
    assert check_lye(vinegar).acids_take_g == pytest.approx(3.33, abs=0.005)
    assert check_lye(vinegar).water_g == pytest.approx(250.0 + 95.0)


def test_citric_acid_with_the_lye_that_it_takes_up_is_no_reason_not_to_pour():
    """20 g of citric acid and 12.49 g more of pure NaOH leave the superfat where it was; it was told "do not pour"."""
    oils = (Oil("olive", 500), Oil("coconut", 300), Oil("palm", 200))
    plain = Recipe(oils, (Alkali("NaOH", 143.474, 100, 100),), (Liquid("water", 300.0),))
    more = Alkali("NaOH", 143.474 + 20 * 3 * 39.997 / 192.12, 100, 100)
    checked = check_lye(replace(plain, alkalis=(more,), acids=(Acid("citric acid", 20.0),)))
    assert checked.superfat_nominal_pct == pytest.approx(check_lye(plain).superfat_nominal_pct, abs=0.001)
    assert checked.doubts == ()
    without = check_lye(replace(plain, acids=(Acid("citric acid", 20.0),)))
    assert without.superfat_nominal_pct == pytest.approx(5.0 + 100 * 12.492 / 151.025, abs=0.01)


@pytest.mark.parametrize("acid", ACIDS.values(), ids=lambda acid: acid.key)
def test_every_acid_has_a_formula_and_takes_up_lye(acid):
    assert 46 <= acid.molar_mass_g_mol <= 700
    assert 0 < acid.half_width_pct + acid.usual_pct <= 100
    assert mol_of_lye_per_g(Acid(acid.key, 1.0)) > 0


@pytest.mark.parametrize("key", ["sodium citrate", "Sugar", "honey", "unheard of"])
def test_a_molecule_that_is_no_acid_is_refused_with_what_to_do(key):
    with pytest.raises(NoAcid, match="additives") as refused:
        mol_of_lye_per_g(Acid(key, 10.0))
    if key.casefold() in NO_ACID:
        assert NO_ACID[key.casefold()] in refused.value.what


def test_an_acid_that_is_not_listed_counts_by_its_own_figures():
    # Succinic acid C4H6O4, 118.09 g/mol, two protons: 2 x 39.997 / 118.09 [arithmetic].
    own = Acid("succinic acid", 1.0, molar_mass_g_mol=118.09, protons=2)
    assert mol_of_lye_per_g(own) * 39.997 == pytest.approx(0.6774, abs=0.0002)
    for mass, protons in ((118.09, 40), (2.0, 1), (118.09, 0)):
        with pytest.raises(NoAcid):
            mol_of_lye_per_g(replace(own, molar_mass_g_mol=mass, protons=protons))


@pytest.mark.parametrize("strength", [0.0, -5.0, 120.0])
def test_a_strength_that_cannot_be_is_refused(strength):
    recipe = Recipe((Oil("olive", 1000.0),), (Alkali("NaOH", 130.0),), acids=(Acid("lactic acid", 10.0, strength),))
    with pytest.raises(ImpossibleRecipe, match="strength"):
        check_lye(recipe)
