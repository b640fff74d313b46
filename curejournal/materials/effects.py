"""Which material did it: effects per unit dose over all batches together, sparse and never negative.

The model. The value seen in each portion (how far its colour turned, say) is a common base, plus each material's
effect times its dose, plus noise: value = base + sum of effect x dose + noise. Most effects are exactly zero (a
spike), the others half-normal (a slab); how many are not zero is learnt, as is the noise between batches, with heavy
tails so that one odd batch decides nothing. The posterior is drawn by Gibbs sampling in many chains side by side.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg, msg_n
from curejournal.colour.difference import Interval
from curejournal.judging.curves import interval_of
from curejournal.materials.effect_sampler import BASE, BASE_SD, SLAB_SD, Array, Column, Draws, Observation, sample
from curejournal.materials.effect_sampler import Dose as Dose
from curejournal.materials.lot_comparison import LotComparison, LotPrior, compare_lots

NAMED = 0.9
"""Chance from which a material is named; two that only together reach it are reported as not told apart. Ours."""
RATIO_ALIKE = 0.95
"""Correlation of doses over the batches from which two materials count as never apart, too. Ours."""
FEWEST_BESIDE = 3
"""Batches without a material, poured at the time of the year when it was used, that tell it from that season. Ours."""
FEWEST = 4
"""Portions below which nothing is said. Ours: base, noise and one effect already take three."""


class TooFewBatches(CureJournalError):
    """There is nothing to compare yet."""


@dataclass(frozen=True)
class Effect:
    """What a material does, or materials that were never apart do together.

    `chance` that it does anything. `per_pct` is its effect for each % of a portion's batter, `at_usual_dose` the
    effect at `usual_dose_pct` (together, for more than one): medians with 95% intervals. `separable` is false for
    materials that were never apart, or for one that is in every portion; `not_told_apart_from` are others that may be
    it instead. `one_season` is true if it was used at one time of the year only, when hardly anything else was poured:
    it cannot be told from that season.
    """

    materials: tuple[str, ...]
    portions: int
    batches: int
    usual_dose_pct: float
    chance: float
    per_pct: Interval
    at_usual_dose: Interval
    separable: bool
    not_told_apart_from: tuple[str, ...]
    one_season: bool = False

    @property
    def named(self) -> bool:
        """Whether it is named as a cause."""
        return self.chance >= NAMED and not self.one_season


@dataclass(frozen=True)
class TestPour:
    """A small pour that would tell materials apart.

    `material` goes in alone at `dose_pct`; with `without` it is left out of an otherwise usual pour. 95% of such pours
    would show a value within `if_it_did` or `if_not`; `decides` is false where these overlap and two pours are better.
    """

    __test__ = False  # not a test, whatever pytest thinks of its name

    material: str
    dose_pct: float
    without: bool
    separates: tuple[str, ...]
    if_it_did: Interval
    if_not: Interval

    @property
    def decides(self) -> bool:
        """Whether one pour is enough."""
        return self.if_it_did.low > self.if_not.high or self.if_it_did.high < self.if_not.low


@dataclass(frozen=True)
class MaterialEffects:
    """What all batches say together.

    `effects` come with the greatest first, as expected over all draws; `base` is what soap does by itself and `noise`
    the spread between batches, ΔE00. `draws` are those of the posterior.
    """

    effects: tuple[Effect, ...]
    base: Interval
    noise: Interval
    portions: int
    test_pours: tuple[TestPour, ...]
    lots: tuple[LotComparison, ...]
    draws: Draws = field(repr=False, compare=False)

    def effect_of(self, material: str) -> Effect:
        """The effect that a material is part of."""
        return next(effect for effect in self.effects if material in effect.materials)

    def predict(self, doses: Mapping[str, float]) -> Interval:
        """What one more pour with these doses (% of its batter) would show: median and 95% interval.

        Materials that were never used count as doing what one more unknown material might; of those that were never
        apart, any one may be the one that does it.
        """
        rng = np.random.default_rng(self.draws.seed + 2)
        value = self.draws.base.copy()
        for column, at_usual in zip(self.draws.columns, self.draws.at_usual.T, strict=True):
            pairs = zip(column.materials, column.usual_pct, strict=True)
            parts = np.array([doses.get(name, 0.0) / usual for name, usual in pairs])
            value += at_usual * parts[rng.integers(len(parts), size=len(value))]
        seen = {material for effect in self.effects for material in effect.materials}
        unknown = sum(1 for material, pct in doses.items() if pct > 0 and material not in seen)
        return interval_of(np.clip(self.draws.one_more(value, unknown), 0.0, 100.0))


def find_causes(observations: Sequence[Observation]) -> MaterialEffects:
    """Estimate what each material does, from all portions of all batches.

    Parameters
    ----------
    observations : sequence of Observation
        One for each portion; values are differences (ΔE00), never negative.

    Returns
    -------
    Culprits

    Raises
    ------
    TooFewBatches
        Below `FEWEST` portions, or where no portion holds any material.

    Notes
    -----
    Spike and slab after Mitchell & Beauchamp 1988 (J. Am. Stat. Assoc. 83, 1023), Gibbs sampling with each indicator
    drawn with its effect integrated out (George & McCulloch 1997, Statistica Sinica 7, 339), here with effects that
    cannot be negative. Portions of one batch count as independent given their materials.

    """
    if len(observations) < FEWEST:
        raise TooFewBatches(
            msg(
                "{observations} with a colour journey to compare; {fewest} are the fewest.",
                observations=msg_n("{number} portion", "{number} portions", len(observations)),
                fewest=FEWEST,
            ),
            msg("Photograph the next pours with the card from the first hours on."),
        )
    columns = _columns(observations)
    if not columns:
        raise TooFewBatches(
            msg("None of these portions holds a material to compare."), msg("Enter the additives with a recipe.")
        )
    draws = sample(observations, columns, seed=1)  # the same observations give the same answer
    effects = _effects(observations, draws)
    return MaterialEffects(
        effects=effects,
        base=interval_of(draws.base),
        noise=interval_of(draws.noise_sd),
        portions=len(observations),
        test_pours=_test_pours(effects, draws),
        lots=_lots(observations, effects, draws),
        draws=draws,
    )


# --- the design ----------------------------------------------------------------------------


def _doses(observations: Sequence[Observation]) -> dict[str, Array]:
    names = sorted({dose.material for seen in observations for dose in seen.doses if dose.pct > 0})
    return {
        name: np.array([sum(dose.pct for dose in seen.doses if dose.material == name) for seen in observations])
        for name in names
    }


def _columns(observations: Sequence[Observation]) -> tuple[Column, ...]:
    """Materials that were never apart share a column: in the same portions all, or in one ratio."""
    doses = _doses(observations)
    groups: list[list[str]] = []
    for name in doses:
        home = next(
            (group for group in groups if any(_never_apart(doses[name], doses[other]) for other in group)), None
        )
        if home is None:
            groups.append([name])
        else:
            home.append(name)
    return tuple(Column(tuple(group), tuple(doses[name] for name in group)) for group in groups)


def _never_apart(one: Array, other: Array) -> bool:
    if bool(((one > 0) == (other > 0)).all()):
        return True
    if np.ptp(one) == 0 or np.ptp(other) == 0:
        return False
    return float(np.corrcoef(one, other)[0, 1]) > RATIO_ALIKE


def _everywhere(relative: Array) -> bool:
    """Whether a material is in every portion at one dose, so that it cannot be told from the base."""
    return bool((relative > 0).all() and relative.std() < 0.1 * relative.mean())


# --- what it says --------------------------------------------------------------------------


def _effects(observations: Sequence[Observation], draws: Draws) -> tuple[Effect, ...]:
    does = draws.at_usual > 0
    chances = does.mean(0)
    effects = []
    for j, column in enumerate(draws.columns):
        there = [seen for seen, pct in zip(observations, column.relative, strict=True) if pct > 0]
        instead = [
            name
            for k, other in enumerate(draws.columns)
            if k != j
            and max(chances[j], chances[k]) < NAMED <= (does[:, j] | does[:, k]).mean()
            # Both must be likelier for knowing that the other is not it.
            and min(_alone(does, j, k), _alone(does, k, j)) > NAMED / 2
            for name in other.materials
        ]
        at_usual = draws.at_usual[:, j]
        effects.append(
            Effect(
                materials=column.materials,
                portions=len(there),
                batches=len({seen.batch for seen in there}),
                usual_dose_pct=sum(column.usual_pct),
                chance=float(chances[j]),
                per_pct=interval_of(at_usual / sum(column.usual_pct)),
                at_usual_dose=interval_of(at_usual),
                separable=len(column.materials) == 1 and not _everywhere(column.relative),
                not_told_apart_from=tuple(instead),
                one_season=_one_season(observations, column.relative),
            )
        )
    return tuple(effects[j] for j in np.argsort(-draws.at_usual.mean(0), kind="stable"))


def _one_season(observations: Sequence[Observation], relative: Array) -> bool:
    held = {seen.batch for seen, pct in zip(observations, relative, strict=True) if pct > 0}
    return at_one_season({seen.batch: seen.year_part for seen in observations}, held)


def at_one_season(parts: Mapping[str, float | None], held: Collection[str]) -> bool:
    """Whether a material was used within one half of the year only, with too few pours without it there to compare.

    Parameters
    ----------
    parts : mapping of batch to float or None
        When each was poured, as a part of its year.
    held : collection of batches
        Those that held the material.

    """
    inside = its_season(parts, held, 0.5)
    if not inside:
        return False
    return len(inside - set(held)) < FEWEST_BESIDE and len(parts.keys() - inside) >= FEWEST_BESIDE


def its_season(parts: Mapping[str, float | None], held: Collection[str], most: float) -> set[str]:
    """The batches poured at the time of the year when a material was used; none if that is longer than `most` of it."""
    days = sorted(part for code, part in parts.items() if code in held and part is not None)
    gaps = [(after - before) % 1.0 for before, after in zip(days, [*days[1:], *days[:1]], strict=True)]
    if None in parts.values() or len(days) < 2 or max(gaps) < 1.0 - most:
        return set()
    first, long = days[(gaps.index(max(gaps)) + 1) % len(days)], 1.0 - max(gaps)
    return {code for code, part in parts.items() if part is not None and (part - first) % 1.0 <= long + 1e-9}


def _alone(does: NDArray[np.bool_], one: int, other: int) -> float:
    """Chance that one does something where the other does not."""
    without = ~does[:, other]
    return float(does[without, one].mean()) if without.any() else 0.0


def _test_pours(effects: tuple[Effect, ...], draws: Draws) -> tuple[TestPour, ...]:
    """The fewest pours of one material each that settle every open question about what may have done something.

    Of m materials whose joint effect alone is known, m - 1 effects have to be seen: m unknowns, one equation. One that
    is in everything needs a pour without it.
    """
    pours: list[TestPour] = []
    settled: set[str] = set()
    for effect in effects:
        together = (*effect.materials, *effect.not_told_apart_from)
        open_question = not effect.separable or len(together) > 1
        columns = sorted({draws.column_of(material) for material in together})
        # What likely does nothing, even together, needs no telling apart.
        likely = (draws.at_usual[:, columns] > 0).any(1).mean() >= 0.5
        if not likely or not open_question or settled.intersection(together):
            continue
        settled.update(together)
        for material in together[:-1] or together:
            column = draws.columns[draws.column_of(material)]
            turned = draws.at_usual[:, draws.column_of(material)]
            did = turned > 0
            plain, with_it = draws.one_more(draws.base), draws.one_more(draws.base + turned)
            without = len(together) == 1
            shows, not_so = (plain[did], plain[~did]) if without else (with_it[did], plain)
            if len(shows) and len(not_so):
                dose_pct = column.usual_pct[column.materials.index(material)]
                intervals = (interval_of(np.maximum(values, 0.0)) for values in (shows, not_so))
                pours.append(TestPour(material, dose_pct, without, together, *intervals))
    return tuple(pours)


def _lots(observations: Sequence[Observation], effects: tuple[Effect, ...], draws: Draws) -> tuple[LotComparison, ...]:
    """Each likely material lot by lot, beside the others that likely do something."""
    values = np.array([seen.value for seen in observations])
    likely = {effect.materials for effect in effects if effect.chance >= 0.5}
    compared = []
    for column in draws.columns:
        if len(column.materials) > 1 or column.materials not in likely:
            continue
        (material,), (usual,) = column.materials, column.usual_pct
        by_lot = {lot: pct / usual for lot, pct in _by_lot(observations, material).items()}
        others = [other.relative for other in draws.columns if other.materials in likely and other is not column]
        if len(by_lot) > 1:
            prior = LotPrior(BASE, BASE_SD, SLAB_SD)
            compared.append(compare_lots(material, values, draws.weights, by_lot, others, usual, prior))
    return tuple(compared)


def _by_lot(observations: Sequence[Observation], material: str) -> dict[str, Array]:
    named = [[dose for dose in seen.doses if dose.material == material and dose.lot] for seen in observations]
    lots = sorted({dose.lot for doses in named for dose in doses})
    return {lot: np.array([sum(dose.pct for dose in doses if dose.lot == lot) for doses in named]) for lot in lots}
