"""Cards are data: the built-in ones are sound, anybody's can be read, and what is wrong with one is said."""

from __future__ import annotations

import numpy as np
import pytest
from colour import CCS_COLOURCHECKERS, XYZ_to_Lab, xyY_to_XYZ

from curejournal.photo.card import CardDefinitionInvalid, built_in_card_text, built_in_cards, card_text, read_card


@pytest.mark.parametrize("name", built_in_cards())
def test_every_built_in_card_reads_and_writes_back_the_same(name: str) -> None:
    card = read_card(built_in_card_text(name))
    assert card.name == name
    assert card.provenance
    assert read_card(card_text(card)) == card


@pytest.mark.parametrize("name", built_in_cards())
def test_no_two_places_of_a_card_overlap(name: str) -> None:
    card = read_card(built_in_card_text(name))
    places = [(p.x, p.y, p.w, p.h) for p in card.patches] + [(m.x, m.y, m.size, m.size) for m in card.markers]
    places += [(r.x, r.y, r.w, r.h) for r in [*([card.window] if card.window else []), *(card.slots or {}).values()]]
    for i, (x, y, w, h) in enumerate(places):
        for x2, y2, w2, h2 in places[i + 1 :]:
            apart = x + w <= x2 + 1e-6 or x2 + w2 <= x + 1e-6 or y + h <= y2 + 1e-6 or y2 + h2 <= y + 1e-6
            assert apart


@pytest.mark.parametrize("name", ["chart24", "chart24-older"])
def test_the_chart_has_its_published_values(name: str) -> None:
    """Against colour-science's data set of the edition that the file names."""
    card = read_card(built_in_card_text(name))
    edition = "After November 2014" if "after November 2014" in card.provenance else "Before November 2014"
    published = CCS_COLOURCHECKERS[f"ColorChecker24 - {edition}"]
    labs = [XYZ_to_Lab(xyY_to_XYZ(value), published.illuminant) for value in published.data.values()]
    assert np.abs(np.array([patch.lab_d50 for patch in card.patches]) - labs).max() < 0.01


def test_the_window_has_white_on_all_four_sides() -> None:
    card = read_card(built_in_card_text("window"))
    window = card.window
    assert window is not None
    whites = [patch for patch in card.patches if patch.role == "white"]
    assert any(w.y + w.h <= window.y for w in whites)
    assert any(w.y >= window.y + window.h for w in whites)
    assert any(w.x + w.w <= window.x for w in whites)
    assert any(w.x >= window.x + window.w for w in whites)


MINIMAL = """
name = "mine"
size_mm = [100, 60]
provenance = "measured by me"
kind = "measured"

[[patches]]
id = "one"
x = 10
y = 10
w = 10
h = 10
srgb = [200, 100, 50]
lab_d50 = [55, 30, 40]
"""


def test_anybodys_card_needs_only_these_fields() -> None:
    card = read_card(MINIMAL)
    assert card.patches[0].lab_d50 == (55, 30, 40)
    assert card.window is None


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        (("name =", "nam ="), "name"),
        (("x = 10", "x = 95"), "not inside the card"),
        (("w = 10", "w = -10"), "not inside the card"),
        (("w = 10", "w = nan"), "not inside the card"),
        (("[200, 100, 50]", "[200, 100, 500]"), "0 to 255"),
        (("[55, 30, 40]", "[155, 30, 40]"), "not a possible surface colour"),
        (("[55, 30, 40]", "[inf, 30, 40]"), "not a possible surface colour"),
        (("size_mm = [100, 60]", "size_mm = [0, 60]"), "size_mm"),
        (('kind = "measured"', 'kind = "guessed"'), "kind"),
        (("x = 10", "x = "), "Invalid value"),
        (("[[patches]]", "[windw]\nx = 1.0\n[[patches]]"), "windw"),
    ],
)
def test_a_faulty_card_file_is_refused_with_what_is_wrong(change: tuple[str, str], complaint: str) -> None:
    with pytest.raises(CardDefinitionInvalid, match=complaint):
        read_card(MINIMAL.replace(*change))


def test_a_field_of_somebody_elses_is_left_alone() -> None:
    assert read_card('inspected_by = "Ann (invented)"\n' + MINIMAL) == read_card(MINIMAL)


def test_two_patches_of_one_id_are_refused() -> None:
    with pytest.raises(CardDefinitionInvalid, match="two patches"):
        read_card(MINIMAL + MINIMAL[MINIMAL.index("[[patches]]") :])


def test_no_two_built_in_cards_share_a_marker() -> None:
    cards = [read_card(built_in_card_text(name)) for name in built_in_cards()]
    markers = [(marker.dictionary, marker.id) for card in cards for marker in card.markers]
    assert len(markers) == len(set(markers))


def test_an_unknown_name_says_which_there_are() -> None:
    with pytest.raises(CardDefinitionInvalid, match=", ".join(built_in_cards())):
        built_in_card_text("nothing")
