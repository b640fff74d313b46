"""Layers get their portions' names by order and earlier colours, and a question where those do not tell."""

from __future__ import annotations

from dataclasses import replace

import pytest

from curejournal.photo.window.layers import Layer, Layers
from curejournal.photo.window.portions import SURE, Expected, Match, match

CREAM, AMBER, BROWN = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0)
PORTIONS = (Expected("top", CREAM, 4.0), Expected("middle", AMBER, 4.0), Expected("base", BROWN, 4.0))


def layers(*labs: tuple[float, float, float], kind: str = "") -> Layers:
    shown = tuple(Layer(((0.0, 0.0),) * 3, lab, 1 / len(labs)) for lab in labs)
    return Layers(kind or ("bands" if len(labs) > 1 else "one"), shown)


def sure(found: Match) -> bool:
    return not found.question and found.confidence >= SURE


def test_the_only_portion_is_the_only_layer() -> None:
    assert match(layers(CREAM), [Expected("plain")]) == Match(("plain",), 1.0)
    assert match(layers(CREAM), []).names == ("soap",)


def test_bands_are_named_by_earlier_colours_whichever_way_up_the_card_was_held() -> None:
    upright, turned = match(layers(CREAM, AMBER, BROWN), PORTIONS), match(layers(BROWN, AMBER, CREAM), PORTIONS)
    assert sure(upright)
    assert sure(turned)
    assert upright.names == ("top", "middle", "base")
    assert turned.names == ("base", "middle", "top")


def test_portions_that_browned_together_are_still_told_apart() -> None:
    browned = tuple((lab[0] - 9, lab[1] + 3, lab[2] + 6) for lab in (CREAM, AMBER, BROWN))
    found = match(layers(*browned), PORTIONS)
    assert sure(found)
    assert found.names == ("top", "middle", "base")


def test_a_window_over_two_of_three_layers_names_those() -> None:
    found = match(layers(AMBER, BROWN), PORTIONS)
    assert sure(found)
    assert found.names == ("middle", "base")


def test_swirls_are_named_by_colour_alone() -> None:
    found = match(layers(BROWN, CREAM, kind="swirls"), (PORTIONS[0], PORTIONS[2]))
    assert sure(found)
    assert found.names == ("base", "top")


def test_without_earlier_colours_nobody_knows_which_way_up_so_it_is_asked() -> None:
    found = match(layers(CREAM, BROWN), [Expected("a"), Expected("b")])
    assert found.question
    assert found.confidence == pytest.approx(0.5)
    assert found.names == ("a", "b"), "the batch's order is the proposal"


def test_portions_too_alike_to_tell_apart_are_asked_about() -> None:
    alike = [Expected("a", CREAM, 5.0), Expected("b", (87.0, 2.5, 15.0), 5.0)]
    assert match(layers((87.4, 2.2, 14.6)), alike).question


def test_more_colours_than_portions_are_asked_about() -> None:
    found = match(layers(CREAM, BROWN), [Expected("plain", CREAM)])
    assert "2 colours" in found.question


def test_two_shades_of_one_portion_are_that_portion_and_the_larger_is_measured() -> None:
    shades = layers(CREAM, (85.0, 2.5, 16.0))
    shades = replace(shades, layers=(replace(shades.layers[0], share=0.2), replace(shades.layers[1], share=0.8)))
    found = match(shades, [Expected("plain", CREAM, 4.0)])
    assert sure(found)
    assert found.names == ("", "plain")


def test_a_film_on_a_portion_is_no_portion() -> None:
    seen = layers(AMBER, (93.0, 1.0, 6.0), kind="swirls")
    seen = replace(seen, layers=(seen.layers[0], replace(seen.layers[1], film=True)))
    assert match(seen, [Expected("plain", AMBER, 4.0)]).names == ("plain", "")
    white = Expected("white", (94.0, 0.5, 5.0), 4.0)
    assert match(seen, [Expected("plain", AMBER, 4.0), white]).names == ("plain", "white")


def test_a_colour_unlike_all_that_is_known_of_the_batch_is_asked_about() -> None:
    assert "unlike" in match(layers((30.0, 40.0, -30.0)), [Expected("plain", CREAM, 4.0)]).question


def test_a_window_of_foreign_bodies_alone_is_asked_about() -> None:
    assert match(Layers("one", ()), PORTIONS).question


def test_a_colour_that_is_nowhere_clear_hides_a_portion_so_it_is_asked() -> None:
    assert match(replace(layers(CREAM, AMBER), unclear=0.3), PORTIONS).question


def test_swirls_that_may_be_too_many_portions_are_asked_about_at_once() -> None:
    many = [Expected(f"portion {k}", (40.0 + 4 * k, 10.0, 20.0), 4.0) for k in range(12)]
    found = layers(*((40.0 + 4 * k, 10.0, 20.0) for k in range(6)), kind="swirls")
    assert "too many" in match(found, many).question
    assert sure(match(layers(AMBER, CREAM, kind="swirls"), PORTIONS[:2]))
