"""A card that fades or is stained is noticed from its own history, patch by patch; one bad photo is no fading."""

from __future__ import annotations

import numpy as np

from curejournal.photo.health import drifting

PATCHES = [f"p{number}" for number in range(20)]


def photos(count: int, seed: int, **off: float) -> list[dict[str, float]]:
    """Misfits as good photos have them, with some patches off by so much."""
    rng = np.random.default_rng(seed)
    return [{patch: float(abs(rng.normal(0.7, 0.3)) + off.get(patch, 0.0)) for patch in PATCHES} for _ in range(count)]


def test_a_faded_patch_is_named_and_no_other() -> None:
    found = drifting(photos(6, 1) + photos(6, 2, p3=2.5))
    assert found is not None
    assert [drift.patch for drift in found] == ["p3"]
    assert found[0].now > found[0].at_first + 1.5


def test_the_worst_comes_first() -> None:
    found = drifting(photos(6, 1) + photos(6, 2, p3=2.5, p7=5.0))
    assert [drift.patch for drift in found or ()] == ["p7", "p3"]


def test_a_card_that_stays_as_it_was_is_not_accused() -> None:
    for seed in range(50):
        assert drifting(photos(30, seed)) == ()


def test_one_bad_photo_is_no_fading() -> None:
    assert drifting(photos(8, 1) + photos(1, 2, **dict.fromkeys(PATCHES, 4.0)) + photos(2, 3)) == ()


def test_a_young_card_has_no_history_to_judge_by() -> None:
    assert drifting(photos(7, 1)) is None
