"""The superfat of 24 recipes against a Monte Carlo that shares no code with it.

Ranges are typed in again here (Codex STAN 210, 33 and 211 [from memory]; beeswax Ph. Eur. 87-104, stearic acid acid
value 194-212 [looked up]); molar masses are worked out again. The mean of the draws is to agree within 0.2 points, the
ends of the middle 95% within 0.5. `python -m tests.soap.test_superfat_by_chance [SEED]` prints how far they are apart.
"""

import sys

import numpy as np
import pytest

from curejournal.soap.lye import check_lye
from curejournal.soap.recipe import Acid, Alkali, Liquid, Oil, Recipe

RANGE = {
    "olive": (184, 196),
    "coconut": (248, 265),
    "palm": (190, 209),
    "castor": (176, 187),
    "shea": (160, 195),
    "lard": (192, 203),
    "tallow": (190, 202),
    "stearic acid": (194, 212),
    "beeswax": (87, 104),
    "sunflower": (186, 196),
    "cocoa butter": (188, 198),
}
NAOH, KOH = 22.990 + 15.999 + 1.008, 39.098 + 15.999 + 1.008
# Molar mass and protons: 6 C, 8 H, 7 O and so on.
ACID = {
    "citric acid": (6 * 12.011 + 8 * 1.008 + 7 * 15.999, 3),
    "citric acid monohydrate": (6 * 12.011 + 10 * 1.008 + 8 * 15.999, 3),
    "lactic acid": (3 * 12.011 + 6 * 1.008 + 3 * 15.999, 1),
    "vinegar": (2 * 12.011 + 4 * 1.008 + 2 * 15.999, 1),
}
MILK_FAT = (190, 265)

# name: oils, lyes (kind, g, purity from, to, solution %, half width), liquids (g, water, fat),
# acids (g, strength, half width), scale
CASES = {
    "castile": ({"olive": 1000}, [("NaOH", 129, 97, 99)], [(260, 1, 0)], {}, 1),
    "castile, coarse scale": ({"olive": 500}, [("NaOH", 64, 97, 99)], [(130, 1, 0)], {}, 5),
    "three oils": ({"olive": 500, "coconut": 300, "palm": 200}, [("NaOH", 146.4, 97, 99)], [(297, 1, 0)], {}, 1),
    "three oils, fine scale": (
        {"olive": 500, "coconut": 300, "palm": 200},
        [("NaOH", 146.4, 97, 99)],
        [(297, 1, 0)],
        {},
        0.1,
    ),
    "salt bar": ({"coconut": 900, "castor": 100}, [("NaOH", 150, 97, 99)], [(320, 1, 0)], {}, 1),
    "all coconut, 20%": ({"coconut": 1000}, [("NaOH", 149, 97, 99)], [(350, 1, 0)], {}, 1),
    "shea": ({"shea": 400, "olive": 600}, [("NaOH", 124, 97, 99)], [(280, 1, 0)], {}, 1),
    "lard": ({"lard": 1000}, [("NaOH", 136, 97, 99)], [(300, 1, 0)], {}, 1),
    "tallow and coconut": ({"tallow": 700, "coconut": 300}, [("NaOH", 148, 97, 99)], [(300, 1, 0)], {}, 1),
    "beeswax": ({"olive": 900, "beeswax": 50, "castor": 50}, [("NaOH", 124, 97, 99)], [(260, 1, 0)], {}, 1),
    "solution of half": (
        {"olive": 600, "coconut": 400},
        [("NaOH", 306, 97, 99, 50, 0.5)],
        [(150, 1, 0)],
        {},
        1,
    ),
    "unsure solution": ({"olive": 600, "coconut": 400}, [("NaOH", 306, 100, 100, 49, 2)], [(150, 1, 0)], {}, 1),
    "shaving soap, dual lye": (
        {"stearic acid": 500, "coconut": 200, "castor": 100},
        [("KOH", 118, 88, 92), ("NaOH", 46, 97, 99)],
        [(320, 1, 0)],
        {},
        1,
    ),
    "dual lye in solution": (
        {"olive": 700, "coconut": 300},
        [("NaOH", 240, 97, 99, 50, 0.5), ("KOH", 25, 88, 92)],
        [(180, 1, 0)],
        {},
        1,
    ),
    "soft soap, KOH": ({"sunflower": 800, "coconut": 200}, [("KOH", 215, 88, 92)], [(600, 1, 0)], {}, 1),
    "citric acid": (
        {"olive": 500, "coconut": 300, "palm": 200},
        [("NaOH", 159, 97, 99)],
        [(300, 1, 0)],
        {"citric acid": (20, 100, 0)},
        1,
    ),
    "citric acid, crystals with water": (
        {"olive": 500, "coconut": 300, "palm": 200},
        [("NaOH", 158, 97, 99)],
        [(300, 1, 0)],
        {"citric acid monohydrate": (20, 100, 0)},
        1,
    ),
    "vinegar for water": (
        {"olive": 700, "coconut": 300},
        [("NaOH", 152, 97, 99)],
        [(50, 1, 0)],
        {"vinegar": (250, 5, 0.5)},
        1,
    ),
    "lactic acid": (
        {"palm": 500, "olive": 500},
        [("NaOH", 148, 97, 99)],
        [(300, 1, 0)],
        {"lactic acid": (30, 80, 2)},
        1,
    ),
    "two acids, dual lye": (
        {"olive": 600, "coconut": 400},
        [("NaOH", 150, 97, 99), ("KOH", 20, 88, 92)],
        [(280, 1, 0)],
        {"citric acid": (15, 100, 0), "vinegar": (100, 5, 0.5)},
        1,
    ),
    "goat's milk": ({"olive": 700, "coconut": 300}, [("NaOH", 145, 97, 99)], [(300, 0.87, 0.041)], {}, 1),
    "coconut milk": ({"olive": 800, "coconut": 200}, [("NaOH", 150, 97, 99)], [(300, 0.73, 0.21)], {}, 1),
    "milk, solution and citric acid": (
        {"lard": 500, "coconut": 300, "cocoa butter": 200},
        [("NaOH", 320, 97, 99, 50, 0.5)],
        [(200, 0.88, 0.034)],
        {"citric acid": (12, 100, 0)},
        1,
    ),
    "a small trial": ({"olive": 70, "coconut": 30}, [("NaOH", 14.3, 97, 99)], [(29, 1, 0)], {}, 0.1),
}
DRAWS = 200_000


def _drawn(oils, lyes, liquids, acids, step, rng):
    """Superfat in % of each draw."""

    def weighed(grams):
        return grams + rng.uniform(-step / 2, step / 2, DRAWS) + rng.uniform(-step / 2, step / 2, DRAWS)

    need = sum(weighed(grams) * rng.uniform(*RANGE[name], DRAWS) / 1000 for name, grams in oils.items())
    for grams, _, fat in liquids:
        if fat:
            need = need + weighed(grams * fat) * rng.uniform(*MILK_FAT, DRAWS) / 1000
    lye = np.zeros(DRAWS)
    for kind, grams, low, high, *solution in lyes:
        strength, half = solution or (100, 0)
        pure = weighed(grams) * rng.uniform(strength - half, strength + half, DRAWS) / 100
        lye += pure * rng.uniform(low, high, DRAWS) / 100 * (KOH / NAOH if kind == "NaOH" else 1)
    for name, (grams, strength, half) in acids.items():
        mass, protons = ACID[name]
        lye -= weighed(grams) * rng.uniform(strength - half, strength + half, DRAWS) / 100 * protons / mass * KOH
    return 100 * (1 - lye / need)


def _recipe(oils, lyes, liquids, acids, step):
    return Recipe(
        tuple(Oil(name, grams) for name, grams in oils.items()),
        tuple(
            Alkali(kind, grams, low, high, "", *(map(float, solution) if solution else ()))
            for kind, grams, low, high, *solution in lyes
        ),
        tuple(Liquid("liquid", grams, water, fat) for grams, water, fat in liquids),
        acids=tuple(Acid(name, *figures) for name, figures in acids.items()),
        scale_g=step,
    )


def test_there_are_24_recipes():
    assert len(CASES) == 24


@pytest.mark.parametrize("name", CASES)
def test_the_superfat_and_its_interval_are_those_of_chance(name):
    drawn = _drawn(*CASES[name], np.random.default_rng(7))
    checked = check_lye(_recipe(*CASES[name]))
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert checked.superfat_nominal_pct == pytest.approx(drawn.mean(), abs=0.2)
    assert checked.superfat_interval_pct == pytest.approx((low, high), abs=0.5)
    assert checked.superfat_sd_pct == pytest.approx(drawn.std(), rel=0.05)
    assert checked.superfat_worst_pct[0] <= drawn.min() and drawn.max() <= checked.superfat_worst_pct[1]


def main() -> None:
    """Print the greatest differences of the 24 recipes, in points of superfat."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    apart = []
    for case in CASES.values():
        drawn, checked = _drawn(*case, np.random.default_rng(seed)), check_lye(_recipe(*case))
        ends = np.abs(np.subtract(checked.superfat_interval_pct, np.quantile(drawn, [0.025, 0.975])))
        apart.append((abs(checked.superfat_nominal_pct - drawn.mean()), ends.max()))
    middle, ends = np.max(apart, axis=0)
    print(f"seed {seed}, {len(CASES)} recipes, apart at most: superfat {middle:.3f}, ends {ends:.3f} points")


if __name__ == "__main__":
    main()
