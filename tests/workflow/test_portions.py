"""Layers get their portions' names by order and earlier colours, and a question where those do not tell."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from curejournal.batch.records import Entry, SurfaceNote
from curejournal.photo.window.layers import Form, Layer, Layers
from curejournal.workflow.photos.answers import Answers
from curejournal.workflow.photos.case import Case, _named
from curejournal.workflow.photos.entries import records_of
from curejournal.workflow.photos.portions import SURE, Expected, Match, match

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


ASH, RIM, GELLED = (93.0, 1.0, 6.0), (84.0, 1.0, 14.0), (74.0, 4.0, 22.0)


def two(first: Layer, second: Layer) -> Layers:
    return Layers("swirls", (first, second))


def shown(lab: tuple[float, float, float], share: float, form: Form = "patches") -> Layer:
    """As `sort_window` says it: a pale colour may be a film."""
    return Layer(((0.0, 0.0),) * 3, lab, share, film=lab[0] > 80, form=form)


@pytest.mark.parametrize("pale", [shown(ASH, 0.3), shown(ASH, 0.15)])
def test_what_may_be_a_film_or_the_soap_is_asked_while_nothing_is_known_of_it(pale: Layer) -> None:
    found = match(two(shown(AMBER, 1 - pale.share), pale), [Expected("plain")])
    assert found.about == "film"
    assert found.names == ("plain", ""), "a proposal"
    assert "white film" in found.question


@pytest.mark.parametrize(("share", "form"), [(0.65, "patches"), (0.3, "rim"), (0.55, "rim")])
def test_a_film_on_most_of_the_window_or_round_its_edge_is_asked_whatever_is_known(share: float, form: Form) -> None:
    found = match(two(shown(AMBER, 1 - share), shown(ASH, share, form)), [Expected("plain", AMBER, 4.0)])
    assert found.about == "film"
    assert found.confidence == 0.0


def test_a_pale_colour_that_the_portion_is_known_by_is_the_portion_and_no_film() -> None:
    """It was left out as a film with certainty 1.0, and the darker colour was filed."""
    found = match(two(shown(ASH, 0.4), shown(AMBER, 0.6)), [Expected("plain", ASH, 4.0)])
    assert found.names[1] == ""
    assert "plain" in found.names


def test_there_is_no_film_on_the_day_of_the_pour() -> None:
    found = match(two(shown(AMBER, 0.7), shown(ASH, 0.3)), [Expected("plain", AMBER, 4.0)], pour_day=True)
    assert "film" not in found.question
    assert "film" not in found.regions


def test_a_gelled_middle_is_asked_about_once_and_then_followed_as_it_is_known() -> None:
    bar = two(shown(RIM, 0.65, "rim"), shown(GELLED, 0.35, "middle"))
    first = match(bar, [Expected("plain")])
    assert first.question
    assert first.names == ("plain", ""), "the rim is the proposal: its colour was filed as the middle's"
    assert match(bar, [Expected("plain", RIM, 6.0)]).question, "known by photos of before it gelled"
    settled = frozenset(("gel", "rim"))
    by_rim, by_middle = (match(bar, [Expected("plain", lab, 6.0, settled=settled)]) for lab in (RIM, GELLED))
    assert sure(by_rim)
    assert (by_rim.names, by_rim.regions) == (("plain", ""), ("", "gel"))
    assert by_middle.names == ("", "plain") or by_middle.question


def test_lines_are_asked_about_once_and_then_left_out_where_the_portion_is_known() -> None:
    drizzled = two(shown(AMBER, 0.85), shown(ASH, 0.15, "veins"))
    assert match(drizzled, [Expected("plain")]).question
    assert match(drizzled, [Expected("plain", AMBER, 4.0)]).question
    found = match(drizzled, [Expected("plain", AMBER, 4.0, settled=frozenset(("veins",)))])
    assert sure(found)
    assert (found.names, found.regions) == (("plain", ""), ("", "veins"))


def test_of_two_shades_the_one_that_is_known_is_kept_though_it_is_the_smaller() -> None:
    shades = two(shown(CREAM, 0.3), shown((80.0, 3.5, 19.0), 0.7))
    assert match(shades, [Expected("plain", CREAM, 3.0)], pour_day=True).names == ("plain", "")


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


@pytest.mark.parametrize(("said", "noted"), [(("plain", ""), True), (("", "plain"), False), (("", ""), False)])
def test_a_film_that_the_maker_confirms_is_noted_as_soda_ash_with_its_share(said: tuple[str, str], noted: bool) -> None:
    """Said to be the soap's own colour, or of no portion at all, it is no film; noted before, it is not noted again."""
    found = two(shown(AMBER, 0.7), shown(ASH, 0.3))
    area = SimpleNamespace(sample=None)
    analysis: Any = SimpleNamespace(layers=found, measurement=SimpleNamespace(areas=(area, area)))
    context: Any = SimpleNamespace(filed=())
    answers = Answers(portions=said)
    named = _named(analysis, answers, [Expected("plain")], False)
    told = Case(analysis, context, answers, None, None, None, named, ("plain",), "")
    notes = [record for record in records_of(told) if isinstance(record, SurfaceNote)]
    assert [(note.look, note.area_pct, note.outside_only) for note in notes] == [("ash", 30.0, True)] * noted
    at = datetime(2026, 9, 1, tzinfo=UTC)
    context.filed = tuple(("B-1", Entry(number, at, "Ann", at, note)) for number, note in enumerate(notes))
    assert noted == (bool(notes) and not [one for one in records_of(told) if isinstance(one, SurfaceNote)])
