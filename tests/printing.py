"""Printed cards: inks on paper, in layers of any depth or in dots, each copy with errors of its own.

Inks and paper are ours (their forms are cited); nothing printed was measured for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from scipy.optimize import least_squares

from curejournal.photo.card import Card
from tests.scene_items import D50_WHITE, Array, Lab, Paint, xyz_from_lab
from tests.spectra import D50, NM, OBSERVER, TILT, bell, edge, lab_of, light_named, surface, ultraviolet


@cache
def inks(change: int | None = None) -> Array:
    """Optical densities of one full layer of cyan, magenta, yellow and black.

    Ours, shaped like usual dye inks (main band, unwanted side bands). `change` seeds those of another maker: bands
    moved by some 6 nm, widened or narrowed by some 12%, the unwanted ones stronger or weaker by a quarter.
    """
    rng = None if change is None else np.random.default_rng(change)

    def near(value: float, by: float) -> float:
        return value if rng is None else value + rng.normal(0, by)

    def about(value: float, by: float) -> float:
        return value if rng is None else value * np.exp(rng.normal(0, by))

    def band(at_nm: float, width_nm: float) -> Array:
        return bell(near(at_nm, 6), about(width_nm, 0.12))

    def unwanted(strength: float, at_nm: float, width_nm: float) -> Array:
        return about(strength, 0.25) * band(at_nm, width_nm)

    return np.array(
        [
            1.9 * band(635, 48) + unwanted(0.9, 690, 40) + unwanted(0.22, 430, 40) + unwanted(0.18, 540, 40),
            1.9 * band(535, 36) + unwanted(0.35, 400, 45) + unwanted(0.25, 480, 30),
            1.9 * edge(near(486, 6), about(11, 0.12)) + 0.04,
            1.5 + near(0.05, 0.05) * TILT,
        ]
    )


LIGHT_LOSS = np.array([0.45, 1.0, 0.8, 0.1])
"""Ours: how much of cyan, magenta, yellow and black goes while magenta, the least light-fast dye, loses one part."""
SHEEN = 0.009
"""Ours: light thrown back by a matt print's very surface, before any ink."""


@cache
def paper_reflectance() -> Array:
    """Uncoated office paper without brightener, about L* 94.5, a little blue."""
    return np.asarray(0.875 - 0.28 * edge(402, 8) - 0.03 * TILT)


@dataclass(frozen=True)
class Printer:
    """A printer of its own: every copy of its cards differs from what was asked for, and by its own amount.

    `seed` decides how much too strong or weak each ink is (`ink_error`, relative), and the error of
    each patch (`patch_error`); `ink_change` whether its inks are another maker's. Without `dots` each ink lies
    in layers of any depth; with it, it covers a share of the paper, and `dots` says how far light spreads between
    them (1: not at all). `glow` is the share of the paper's blue (Z) that a brightener adds to it by D65. `fade` is the
    share of the least light-fast ink that light has bleached.
    """

    seed: int
    ink_error: float = 0.06
    patch_error: float = 0.03
    ink_change: int | None = None
    dots: float | None = None
    glow: float = 0.0
    fade: float = 0.0

    def paints(self, card: Card) -> dict[str, Paint]:
        """Every patch of the card in this printer's inks on its paper."""
        return _printed(self, card.name, tuple((patch.id, patch.lab_d50) for patch in card.patches))

    @property
    def paper(self) -> Paint:
        return _brightened(paper_reflectance(), self.glow)

    @property
    def ink(self) -> Paint:
        return surface(_on_paper(np.array([0.3, 0.3, 0.3, 1.0]), self.ink_change, self.dots))


def _brightened(reflectance: Array, glow: float) -> Paint:
    """As seen by D50, its ultraviolet included.

    What is over the paper dims ultraviolet on its way in as it does light of 400 nm, and the glow on its way out. The
    glow's band is that of usual brighteners (stilbenes; from memory).
    """
    if not glow:
        return surface(reflectance)
    paper, band = paper_reflectance(), bell(438, 16)
    through = np.sqrt(np.minimum(reflectance / paper, 1.0))
    blue = paper * light_named("daylight, overcast") @ OBSERVER[:, 2]
    sent = glow * blue * band / (band @ OBSERVER[:, 2]) * through * np.interp(400.0, NM, through)
    by_day = ultraviolet("daylight, D50") * sent / light_named("daylight, D50")
    return Paint(lab_of(reflectance + by_day), reflectance, sent)


_OVERLAPS = np.array(list(product((0.0, 1.0), repeat=4)))
"""Which of four inks lie where: the 16 colours that dots make."""
_DOT_DEPTH = 0.8
"""Ours: the depth of a dot, in full layers."""


def _on_paper(layers: Array, ink_change: int | None, dots: float | None) -> Array:
    """Reflectance of ink layers (4,), or of the shares of paper that dots cover.

    Dots at random (Demichel), their colours averaged (Neugebauer 1937) as powers of 1 / `dots` (Yule & Nielsen 1951).
    """
    if dots is not None:
        cover = np.clip(layers, 0.0, 1.0)
        shares = np.where(_OVERLAPS > 0, cover, 1.0 - cover).prod(axis=1)
        return np.asarray((shares @ _solids(ink_change) ** (1.0 / dots)) ** dots)
    return np.asarray(SHEEN + (1 - SHEEN) * paper_reflectance() * 10 ** -(layers @ inks(ink_change)))


@cache
def _solids(ink_change: int | None) -> Array:
    return np.array([_on_paper(_DOT_DEPTH * each, ink_change, None) for each in _OVERLAPS])


@cache
def _layers_for(lab: Lab, ink_change: int | None, dots: float | None) -> tuple[float, ...]:
    """Ink layers whose colour *on this paper* is nearest to the nominal colour."""
    weights = D50[:, None] * OBSERVER
    paper_xyz = (paper_reflectance() @ weights) / weights.sum(0)
    wanted = xyz_from_lab(lab) / D50_WHITE * paper_xyz

    def off(layers: Array) -> Array:
        got = (_on_paper(layers, ink_change, dots) @ weights) / weights.sum(0)
        # The small pull lets black ink take the place of the grey part of the colours, as printers do.
        return np.concatenate([100 * (np.cbrt(got) - np.cbrt(wanted)), 0.3 * layers * [1.0, 1.0, 1.0, 0.3]])

    fit = least_squares(off, [0.2, 0.2, 0.2, 0.05], bounds=([0.0] * 4, [1.2 if dots is None else 1.0] * 4))
    return tuple(fit.x.tolist())


@cache
def _printed(printer: Printer, name: str, patches: tuple[tuple[str, Lab | None], ...]) -> dict[str, Paint]:
    rng = np.random.default_rng(printer.seed)
    strength = np.exp(printer.ink_error * rng.standard_normal(4)) * (1 - printer.fade * LIGHT_LOSS)
    paints = {}
    for patch_id, lab in patches:
        assert lab is not None, f"{name}: {patch_id} has no colour to print"
        chance = np.exp(printer.patch_error * rng.standard_normal(4))
        # An unprinted patch is bare paper: no printer errs there.
        if lab[0] > 99:
            paints[patch_id] = printer.paper
            continue
        layers = np.array(_layers_for(lab, printer.ink_change, printer.dots)) * strength * chance
        paints[patch_id] = _brightened(_on_paper(layers, printer.ink_change, printer.dots), printer.glow)
    return paints
