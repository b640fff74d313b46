"""Parts of a portion are followed apart: a gelled middle and its rim, veins and the colour between them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from curejournal import workflow
from curejournal.batch.readings import Subject
from curejournal.batch.records import ColourReading, Portion
from curejournal.journal.record_json import from_json, to_json
from curejournal.journal.store import Journal
from curejournal.judging.context import journeys
from curejournal.judging.limits import Limits
from curejournal.materials.history import stories
from curejournal.photo.find.tag import payload
from curejournal.photo.window.layers import Form, Layer, Layers
from curejournal.workflow.materials.analysis import stories_of
from curejournal.workflow.photos.portions import SURE, Expected, Match, match
from curejournal.workflow.photos.showing import shown_photos
from tests.photo.windows import drawn
from tests.rolls import BY, NOW, OURS, TAKEN, asked, picture, put, take
from tests.scenes import Paint

Lab = tuple[float, float, float]
RIM, GELLED, FILM = (84.0, 1.0, 14.0), (74.0, 4.0, 22.0), (94.0, 0.5, 5.0)
ROSE, WHITE = (62.0, 30.0, 8.0), (92.0, 1.0, 6.0)
GEL, VEINS = "soap (gelled middle)", "soap (veins)"


def bar(day: int, seed: int = 0, rim: Lab = RIM, gelled: Lab = GELLED) -> bytes:
    """A bar whose middle has gelled: 35% of the window."""
    at = TAKEN + timedelta(days=day)
    return drawn(rim, tag=payload(OURS, "B-1"), at=at, seed=seed, gel=(Paint(gelled), 28.0, 23.0)).jpeg


def marble(day: int, seed: int = 0, veins: Lab = WHITE) -> bytes:
    """Rose soap with white veins."""
    at = TAKEN + timedelta(days=day)
    return drawn(ROSE, tag=payload(OURS, "B-1"), at=at, seed=seed, veins=(Paint(veins), 3.0)).jpeg


def apart(kept: Journal) -> dict[tuple[str, str], list[Lab]]:
    found: dict[tuple[str, str], list[Lab]] = {}
    for _, reading in kept.batch("B-1").records(ColourReading):
        found.setdefault((reading.portion, reading.part), []).append(reading.lab)
    return found


def nearest_first(colours: object, wanted: Lab, one: str, other: str) -> tuple[str, ...]:
    """The name `one` for the colour most like `wanted`, `other` for the other."""
    off = [abs(colour.lab[0] - wanted[0]) + abs(colour.lab[2] - wanted[2]) for colour in colours]  # type: ignore[attr-defined]
    return (one, other) if off[0] < off[1] else (other, one)


@pytest.mark.parametrize(
    ("drawing", "own", "part", "name", "code"),
    [(bar, RIM, GELLED, GEL, "gel"), (marble, ROSE, WHITE, VEINS, "veins")],
    ids=["partly gelled", "marbled"],
)
def test_two_parts_are_asked_about_once_and_then_followed_apart(
    kept: Journal, drawing: Callable[[int, int], bytes], own: Lab, part: Lab, name: str, code: str
) -> None:
    """Both had to be one colour: the other was left out, or both went into one series."""
    (first,) = take(kept, ("a.jpg", drawing(0, 1)))
    assert asked(first) == {"portions"}
    (question,) = first.item.questions
    assert {"soap", name} <= set(question.choices)
    assert len(question.outlines) == 2, "it is shown in the picture"
    put(kept, first.item, portions=nearest_first(first.item.colours, own, "soap", name))
    later = take(kept, *((f"{day}.jpg", drawing(day, day)) for day in (4, 11)))
    assert [one.outcome for one in later] == ["placed"] * 2, [one.why for one in later]
    read = apart(kept)
    assert set(read) == {("soap", ""), ("soap", code)}
    assert read["soap", ""] == [pytest.approx(own, abs=1.5)] * 3
    assert read["soap", code] == [pytest.approx(part, abs=1.5)] * 3


def test_a_middle_that_gelled_later_is_asked_about_and_once_left_out_no_more(kept: Journal) -> None:
    """It was left out unasked where the portion was known by a photo of before."""
    take(kept, ("a.jpg", picture(RIM)))
    (gelled,) = take(kept, ("b.jpg", bar(4)))
    assert asked(gelled) == {"portions"}
    put(kept, gelled.item, portions=nearest_first(gelled.item.colours, RIM, "soap", ""))
    (later,) = take(kept, ("c.jpg", bar(11, 2)))
    assert later.outcome == "placed", later.why
    assert set(apart(kept)) == {("soap", "")}
    left_out = [reading.left_out for _, reading in kept.batch("B-1").records(ColourReading)]
    assert left_out == [(), ("gel",), ("gel",)]


def test_each_part_has_its_own_series_in_journey_judgement_record_and_pictures(kept: Journal) -> None:
    """Only the middle browns; nothing of that may be in the rim's series."""
    (first,) = take(kept, ("a.jpg", bar(0)))
    put(kept, first.item, portions=nearest_first(first.item.colours, RIM, "soap", GEL))
    browned = [(74.0 - day / 3, 4.0 + day / 8, 22.0 + day / 8) for day in (7, 14, 21)]
    take(kept, *((f"{k}.jpg", bar(7 * k + 7, k, gelled=lab)) for k, lab in enumerate(browned)))
    batch = kept.batch("B-1")
    own, part = (journeys(batch, NOW, Limits())[name] for name in ("soap", GEL))
    assert (own.moments, part.moments) == (4, 4)
    assert all(point.lab == pytest.approx(RIM, abs=1.5) for point in own.points)
    assert part.points[-1].lab == pytest.approx(browned[-1], abs=1.5)
    judgement = workflow.judge_batch(kept, "B-1", NOW)
    assert {"soap", GEL} == set(judgement.journeys)
    assert all(set(photo.portions) == {"soap", GEL} for photo in shown_photos(batch) if photo.portions)
    assert {story.portion for story in stories(batch, judgement.journeys)} == {"soap", GEL}
    assert {story.portion for story in stories_of(batch, NOW, Limits())} == {"soap"}, "a part is no second case"
    accepted = workflow.accepted_colour(kept, "B-1", GEL, "as it is", NOW)
    assert accepted.lab == pytest.approx(browned[-1], abs=1.5)


def test_a_target_colour_is_the_portion_s_and_not_its_part_s(kept: Journal) -> None:
    kept.add("B-1", Portion("soap", 0, RIM, "swatch"), at=TAKEN, by=BY)
    (first,) = take(kept, ("a.jpg", bar(0)))
    put(kept, first.item, portions=nearest_first(first.item.colours, RIM, "soap", GEL))
    found = journeys(kept.batch("B-1"), NOW, Limits())
    assert (found["soap"].target_lab, found[GEL].target_lab) == (RIM, None)


# --- which part a colour is --------------------------------------------------------------------

KNOWN = (Expected("plain", RIM, 6.0), Expected("plain (gelled middle)", GELLED, 6.0, "gel", "plain"))


def shown(lab: Lab, share: float, form: Form) -> Layer:
    return Layer(((0.0, 0.0),) * 3, lab, share, film=lab[0] > 80, form=form)


def seen(*layers: Layer) -> Match:
    return match(Layers("swirls" if len(layers) > 1 else "one", layers), KNOWN)


def sure(found: Match) -> bool:
    return not found.question and found.confidence >= SURE


def test_a_gelled_middle_is_told_by_how_it_lies_though_its_colour_has_moved() -> None:
    found = seen(shown((80.0, 2.0, 17.0), 0.35, "middle"), shown((79.0, 2.0, 17.0), 0.65, "rim"))
    assert sure(found)
    assert found.names == ("plain (gelled middle)", "plain")


def test_a_film_is_no_gelled_middle() -> None:
    found = seen(shown(RIM, 0.8, "patches"), shown(FILM, 0.2, "patches"))
    assert "plain (gelled middle)" not in found.names


def test_one_colour_between_the_two_is_asked_about() -> None:
    assert seen(shown((79.0, 2.5, 18.0), 1.0, "patches")).question
    middle = seen(shown(GELLED, 1.0, "patches"))
    assert middle.question, "the window may lie on the middle alone: that is not filed as the rim's colour"
    assert middle.names == ("plain (gelled middle)",), "a proposal"


def test_a_ring_that_has_faded_is_the_portion_again() -> None:
    alike = (KNOWN[0], replace(KNOWN[1], lab=(83.0, 1.2, 14.8)))
    found = match(Layers("one", (shown(RIM, 1.0, "patches"),)), alike)
    assert sure(found)
    assert found.names == ("plain",)


# --- how it is kept ----------------------------------------------------------------------------


def test_a_part_is_kept_with_its_reading_and_readings_of_before_have_none() -> None:
    reading = ColourReading(
        "plain", RIM, ((1, 0, 0), (0, 1, 0), (0, 0, 1)), "measured", (), 9, RIM, "window", "", (), ""
    )
    part = replace(reading, part="gel")
    assert from_json("colour", to_json(part)) == part
    former = json.loads(to_json(reading))
    del former["part"]
    assert from_json("colour", json.dumps(former)) == reading
    assert reading.subject == "plain"
    assert part.subject == "plain (gelled middle)"


def test_a_portion_of_just_that_name_is_no_part() -> None:
    part = Subject("plain", "veins")
    assert Subject.of(part.name, ["plain"]) == part
    assert Subject.of("plain (veins)", ["plain", "plain (veins)"]) == Subject("plain (veins)")
    assert Subject.of("(veins)", []) == Subject("(veins)")
