"""One photo goes one way: at most twenty stops from its bytes to its stored readings, and back to no room it left."""

from __future__ import annotations

from tests.house import arrows, floors, photo_steps, returns_of, stops_of, weight_steps

# Those that a floor may import, rooms of one floor not counted: more arrows than now want a reason.
MOST_ARROWS = 60


def test_a_photo_makes_at_most_twenty_stops_and_returns_to_no_room() -> None:
    steps = photo_steps()
    assert len(stops_of(steps)) <= 20, stops_of(steps)
    assert returns_of(steps) == []


def test_a_weight_is_checked_and_kept_in_four_stops() -> None:
    """What the journal knows, what cannot be or is unlikely, and the entry: the journal is asked, then written."""
    assert stops_of(weight_steps()) == ["workflow", "journal", "batch", "journal"]


def test_the_house_does_not_grow_arrows_unnoticed() -> None:
    assert len([room for floor in floors() for room in floor]) <= 13
    assert len(floors()) <= 8
    assert len(arrows()) <= MOST_ARROWS, sorted(arrows())
