"""The printed cards of each set, and what an instrument would read of them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from curejournal.photo.card import Card
from tests.path_traced.laying import Print, lay_card
from tests.path_traced.world import Finish, place
from tests.path_traced.worlds import World
from tests.scenes import card_named
from tests.spectra import chart24_paints, lab_of, soap_reflectance, surface


@cache
def print_of(world: World, which: int, fade: float = 0.0) -> Print:
    """One of a set's printed copies of the window card and the side card, with finishes of its own."""
    rng = np.random.default_rng(world.first_seed + 17 * which)
    printer = world.printers[which]
    if fade:
        printer = replace(printer, fade=fade)
    paints = {**printer.paints(card_named("window")), **printer.paints(card_named("side"))}
    rough = float(rng.uniform(*np.clip(world.roughness, 0.1, 1)))
    paper = Finish(round(rough, 3), world.model, round(float(rng.uniform(*world.paper_matt)), 3))
    ink = Finish(round(rough, 3), world.model, round(paper.matt * 0.5, 3))
    return Print(paints, printer.paper, printer.ink, paper, ink)


@cache
def chart_print() -> Print:
    """The 24-patch chart: matt paint, exactly its published colours."""
    dark = surface(soap_reflectance((16.0, 0.0, 0.0)))
    return Print(
        chart24_paints(card_named("chart24")), dark, dark, Finish(0.3, "beckmann", 0.5), Finish(0.3, "beckmann", 0.5)
    )


def references(made: Print, card_name: str) -> dict[str, list[float]]:
    """What an instrument reads of a card's fields, as rendered: their true Lab."""
    laid = lay_card(card_named(card_name), made, place())
    return {name: np.round(lab_of(patch.reflectance), 3).tolist() for name, patch in laid.patches.items()}


@cache
def small_chart() -> Card:
    """The chart in a small edition: its proportions are what the definition holds."""
    card, k = card_named("chart24"), 0.5
    patches = tuple(replace(p, x=k * p.x, y=k * p.y, w=k * p.w, h=k * p.h) for p in card.patches)
    return replace(card, size_mm=(k * card.size_mm[0], k * card.size_mm[1]), patches=patches)
