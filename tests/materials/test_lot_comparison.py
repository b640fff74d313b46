"""Lots of one material compared, with the truth known."""

from __future__ import annotations

import numpy as np
import pytest

from curejournal.materials.lot_comparison import LotPrior, compare_lots

PRIOR = LotPrior(2.0, 3.0, 12.0)


def compare(effects, rng, sd=1.0, each=8):
    """Each lot in `each` portions, and as many portions without any."""
    doses = {f"L{n}": np.zeros(each * (len(effects) + 1)) for n in range(len(effects))}
    other = (rng.random(len(doses["L0"])) < 0.5).astype(float)
    values = 2.0 + 4.0 * other
    for number, (dose, effect) in enumerate(zip(doses.values(), effects, strict=True)):
        dose[number * each : (number + 1) * each] = rng.uniform(0.6, 1.5, each)
        values = values + effect * dose
    values = values + rng.normal(0, sd, len(values))
    return compare_lots("clove", values, np.full(len(values), sd**-2), doses, [other], 2.0, PRIOR)


@pytest.mark.parametrize("lots", [2, 3, 5])
def test_where_nothing_changed_a_change_is_claimed_in_one_of_twenty_at_most(lots):
    rng = np.random.default_rng(lots)
    claimed = np.mean([compare([10.0] * lots, rng).changed for _ in range(4000)])
    print(f"{lots} lots: {claimed:.1%}")
    assert claimed <= 0.06


def test_the_interval_of_a_change_and_of_each_lot_holds():
    rng = np.random.default_rng(1)
    change, each = [], []
    for _ in range(600):
        found = compare([6.0, 11.0], rng)
        change.append(found.largest_change.low <= 2.5 <= found.largest_change.high)
        each += [
            lot.per_pct.low <= truth <= lot.per_pct.high for lot, truth in zip(found.lots, (3.0, 5.5), strict=True)
        ]
    print(f"change {np.mean(change):.1%}, lots {np.mean(each):.1%}")
    assert 0.93 <= np.mean(change) <= 0.97
    assert 0.93 <= np.mean(each) <= 0.97


def test_the_pair_that_differs_most_clearly_is_named():
    found = compare([5.0, 5.0, 15.0], np.random.default_rng(2))
    assert found.changed
    assert "L2" in found.between
    assert [lot.portions for lot in found.lots] == [8, 8, 8]
