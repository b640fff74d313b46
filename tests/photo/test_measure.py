"""Photo to colour: drawn scenes with known truth are recovered, and what cannot be measured is refused in words."""

from __future__ import annotations

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_ciede2000

from curejournal.colour.sample import Grade
from curejournal.photo.card import Card, Marker, built_in_card_text, built_in_cards, read_card
from curejournal.photo.measure.measurement import Area, Measurement, measure
from curejournal.photo.measure.quality import about_colour
from curejournal.photo.placement import CornersInvalid, placement_from_corners
from curejournal.photo.read.picture_file import read_photo
from tests.scenes import Faults, Rendered, draw_card


def card(name: str = "window") -> Card:
    return read_card(built_in_card_text(name))


def measured(scene: Rendered, name: str = "window", **how: object) -> Measurement:
    return measure(read_photo(scene.jpeg), card(name), **how)


def drawn(**how: object) -> Rendered:
    return draw_card(card(), **{"exposure_ev": -0.3, **how})


def off(found: Measurement, truth: tuple[float, float, float]) -> float:
    sample = found.areas[0].sample
    assert sample is not None, found.reasons
    return float(deltaE_ciede2000(sample.lab, truth))


SOAPS = {
    "cream": (90.0, 1.0, 10.0),
    "amber": (62.0, 18.0, 48.0),
    "brown": (34.0, 14.0, 20.0),
    "mint": (84.0, -14.0, 6.0),
    "pink": (78.0, 20.0, 4.0),
    "lavender": (66.0, 14.0, -18.0),
}


@pytest.mark.parametrize("soap", SOAPS)
def test_the_colour_in_the_window_is_recovered(soap: str) -> None:
    found = measured(drawn(lab_in_window=SOAPS[soap], tint=(1.12, 1.0, 0.72)))
    assert off(found, SOAPS[soap]) < 1.0
    assert found.grade is Grade.RELATIVE, "a nominal card can promise no more"
    low_high = found.areas[0].sample.interval95
    assert all(low <= value <= high for (low, high), value in zip(low_high, SOAPS[soap], strict=True))


@pytest.mark.parametrize("turn", [0, 37, 90, 180, 271])
@pytest.mark.parametrize("tilt", [0, 30])
def test_the_card_is_found_turned_and_tilted(turn: float, tilt: float) -> None:
    scene = drawn(turn_deg=turn, tilt_deg=tilt, fill=0.5)
    found = measured(scene)
    assert found.found
    assert np.abs(np.array(found.corners) - scene.corners["window"]).max() < 2.5
    assert off(found, (80, 4, 22)) < 1.0


def test_markers_are_told_by_their_ids() -> None:
    scene, whole = drawn(), card()
    first, *others = whole.markers

    def found(*markers: Marker) -> Measurement:
        return measure(read_photo(scene.jpeg), replace(whole, markers=markers))

    np.testing.assert_allclose(found(*others[::-1], first).corners, found(*whole.markers).corners, atol=1e-6)
    assert "marker hidden" in [reason.code for reason in found(replace(first, id=999), *others).reasons]
    assert not found(*(replace(marker, id=marker.id + 10) for marker in whole.markers)).found


@pytest.mark.parametrize("size", [(1600, 1200), (4000, 3000)])
def test_coordinates_are_of_the_full_size_picture(size: tuple[int, int]) -> None:
    scene = drawn(size=size)
    found = measured(scene)
    assert (found.width, found.height) == size
    assert np.abs(np.array(found.corners) - scene.corners["window"]).max() < 0.002 * size[0]
    window = card().window
    share = window.w * window.h * 0.88**2 / np.prod(card().size_mm)
    x, y = np.array(scene.corners["window"]).T
    whole = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    assert found.areas[0].pixels == pytest.approx(share * whole, rel=0.05)


def test_uneven_light_is_divided_out_by_the_whites() -> None:
    found = measured(drawn(uneven=0.5))
    assert off(found, (80, 4, 22)) < 1.5


@pytest.mark.parametrize("name", [name for name in built_in_cards() if not card(name).white_only])
def test_every_built_in_card_is_found_and_fits(name: str) -> None:
    scene = draw_card(card(name), exposure_ev=-0.3)
    found = measure(read_photo(scene.jpeg), card(name))
    assert found.found
    assert found.card_error is not None
    assert found.card_error < 2.0


def test_typed_corners_replace_finding() -> None:
    scene = draw_card(card("chart24"), exposure_ev=-0.3)
    corners = [tuple(point) for point in np.array(scene.corners["chart24"]).tolist()]
    x, y = corners[0]
    found = measured(scene, "chart24", areas=[Area.box("first", x + 20, y + 20, x + 60, y + 60)], corners=corners)
    assert np.abs(np.array(found.corners) - corners).max() < 1e-3
    assert off(found, card("chart24").patches[0].lab_d50) < 1.5
    (reason,) = found.areas[0].reasons
    assert reason.text == f"What was marked is the card itself, “{card('chart24').patches[0].id}”."


@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (10, 0), (10, 10)],
        [(0, 0), (0, 10), (10, 10), (10, 0)],
        [(0, 0), (10, 10), (10, 0), (0, 10)],
        [(0, 0)] * 4,
    ],
)
def test_corners_that_are_no_card_are_refused(corners: list[tuple[float, float]]) -> None:
    with pytest.raises(CornersInvalid):
        measured(drawn(), corners=corners)


@pytest.mark.parametrize(
    ("fault", "codes"),
    [
        ({"offset": (0.6, 0.0)}, {"card out of frame", "card hidden", "no card"}),
        ({"exposure_ev": 2.0}, {"burnt out"}),
        ({"exposure_ev": -7.0}, {"too dark", "no card"}),
        ({"faults": Faults(blur_px=6)}, {"blurred"}),
        ({"faults": Faults(mirrored=True)}, {"mirrored"}),
        ({"tilt_deg": 68}, {"too oblique", "no card"}),
        ({"fill": 0.03}, {"too small", "no card", "card hidden", "blurred"}),
        ({"crumple_mm": 4.0}, {"card not flat", "no card", "card hidden"}),
    ],
    ids=lambda value: str(value) if isinstance(value, dict) else "",
)
def test_a_photo_that_cannot_be_measured_claims_no_colour_and_says_what_to_do(
    fault: dict[str, object], codes: set[str]
) -> None:
    found = measured(drawn(**fault))
    assert found.grade is Grade.NOT_USABLE
    assert all(area.sample is None for area in found.areas)
    assert found.reasons[0].code in codes
    assert found.reasons[0].remedy


@pytest.mark.parametrize("quarter_turns", [0, 1])
def test_a_photo_shaken_either_way_is_called_blurred_and_not_without_a_card(quarter_turns: int) -> None:
    """Motion up and down left edges sharp from left to right, and the card was said not to be there."""
    picture = np.rot90(drawn(faults=Faults(shake_px=30)).picture, quarter_turns)
    jpeg = cv2.imencode(".jpg", np.ascontiguousarray(picture[..., ::-1]))[1].tobytes()
    assert [reason.code for reason in measure(read_photo(jpeg), card()).reasons] == ["blurred"]


@pytest.mark.parametrize("place", [(0.36, 0.5), (0.5, 0.3), (0.62, 0.7)])
def test_a_thumb_on_the_edge_of_the_window_is_named_and_not_called_mixed_light(place: tuple[float, float]) -> None:
    codes = {reason.code for reason in measured(drawn(faults=Faults(thumb=place, thumb_radius=0.08))).reasons}
    assert "white covered" in codes
    assert "mixed light" not in codes


@pytest.mark.parametrize(
    ("lab", "code"), [((108.0, 1.0, 6.0), "impossible colour"), ((100.8, 0.0, 0.0), "at the limit")]
)
def test_a_colour_that_no_surface_has_is_refused_or_held_to_one_that_may_be(lab: tuple, code: str) -> None:
    """Readings of b* 190 and L* 104 were claimed."""
    reasons = about_colour(np.array(lab), np.diag([1.0, 1.0, 1.0]), True, ())
    assert code in {reason.code for reason in reasons}


@pytest.mark.parametrize("kind", ["nominal", "measured"])
@pytest.mark.parametrize("form", ["JPEG", "TIFF"])
def test_a_picture_made_for_print_is_graded_the_same_everywhere(kind: str, form: str) -> None:
    """It was *measured* or *relative* without a profile, and *approximate* with one, without a word."""
    out = io.BytesIO()
    Image.open(io.BytesIO(drawn().jpeg)).convert("CMYK").save(out, form, quality=95)
    found = measure(read_photo(out.getvalue()), replace(card(), kind=kind))
    assert [area.grade for area in found.areas] == [Grade.INDICATIVE]
    assert "made for print" in {reason.code for reason in found.reasons}


def test_a_glare_in_the_window_is_refused_or_doubted() -> None:
    found = measured(drawn(faults=Faults(glare=(0.5, 0.5, 1.0), glare_radius=0.2)))
    assert found.grade in (Grade.NOT_USABLE, Grade.INDICATIVE) or off(found, (80, 4, 22)) < 2


BROWN = (45.0, 15.0, 28.0)


def under_a_sheen(radius: float) -> Measurement:
    """Glossy soap beside a matt card: the glare is on the soap alone."""
    return measured(drawn(lab_in_window=BROWN, faults=Faults(glare=(0.53, 0.49, 0.35), glare_radius=radius)))


@pytest.mark.parametrize("radius", [0.04, 0.06, 0.08, 0.1, 0.12, 0.15])
def test_a_sheen_on_the_soap_is_doubted_however_large(radius: float) -> None:
    found = under_a_sheen(radius)
    assert found.areas[0].grade in (Grade.INDICATIVE, Grade.NOT_USABLE)
    assert "several colours" in [reason.code for reason in found.areas[0].reasons]


@pytest.mark.parametrize("radius", [0.04, 0.06, 0.08])
def test_a_sheen_over_part_of_the_window_does_not_draw_the_colour(radius: float) -> None:
    assert off(under_a_sheen(radius), BROWN) < 1.0


def test_a_picture_without_the_card_is_refused() -> None:
    found = measured(draw_card(card("chart24"), exposure_ev=-0.3), "window")
    assert not found.found
    assert found.grade is Grade.NOT_USABLE
    assert not found.usable


def test_a_card_without_values_of_its_own_claims_no_colour() -> None:
    blank = replace(card(), patches=tuple(replace(p, lab_d50=None) for p in card().patches))
    found = measure(read_photo(drawn().jpeg), blank)
    assert found.found
    assert found.grade is Grade.NOT_USABLE
    assert found.reasons[0].code == "card unmeasured"


def test_areas_of_one_photo_are_compared_better_than_their_own_intervals_say() -> None:
    """Most of the error is common: the joint covariance gives the difference a smaller sd than independence would."""
    scene = draw_card(card("chart24"), exposure_ev=-0.3)
    x, y = np.array(scene.corners["chart24"])[0]
    boxes = [Area.box("a", x + 20, y + 20, x + 40, y + 60), Area.box("b", x + 45, y + 20, x + 65, y + 60)]
    found = measured(scene, "chart24", areas=boxes)
    joint = np.array(found.covariance)
    assert joint.shape == (6, 6)
    assert np.linalg.eigvalsh(joint).min() > -1e-9
    difference = np.hstack([np.eye(3), -np.eye(3)])
    together = np.trace(difference @ joint @ difference.T)
    apart = np.trace(joint)
    assert together < 0.5 * apart


def test_by_an_enrolled_card_an_area_that_is_refused_is_no_crash() -> None:
    """With no area left to claim, the covariance of the card's own colours had no size to take."""
    enrolled = replace(
        card(),
        kind="enrolled",
        patches=tuple(replace(p, covariance=((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0))) for p in card().patches),
    )
    found = measure(read_photo(drawn().jpeg), enrolled, [Area.box("nowhere", -90, -90, -50, -50)])
    assert [(area.grade, area.sample) for area in found.areas] == [(Grade.NOT_USABLE, None)]


def test_an_area_outside_the_picture_has_no_colour() -> None:
    scene = drawn()
    found = measured(scene, areas=[Area.box("there", 5000, 5000, 6000, 6000), Area.box("here", 760, 560, 840, 640)])
    there, here = found.areas
    assert there.sample is None
    assert there.reasons[0].code == "area missing"
    assert here.sample is not None
    assert found.usable


def test_the_same_photo_gives_the_same_numbers() -> None:
    scene = drawn(tint=(1.1, 1.0, 0.8))
    assert measured(scene) == measured(scene)


def test_plain_white_paper_gives_an_indicative_colour() -> None:
    """A window card's white strip stands for the paper; its colours are then unknown soap."""
    scene = drawn(tint=(1.15, 1.0, 0.75))
    window = card()
    white = next(patch for patch in window.patches if patch.id == "white-top")
    placement = placement_from_corners(window, [tuple(p) for p in np.array(scene.corners["window"]).tolist()])
    found = measured(scene, "sheet", corners=placement.outline(white), areas=[Area.box("soap", 760, 560, 840, 640)])
    (soap,) = found.areas
    assert soap.grade is Grade.INDICATIVE
    assert "white only" in {reason.code for reason in found.reasons}
    assert soap.sample is not None
    # The scene's paper is L* 100, five lighter than the sheet's definition: the interval must allow for such.
    assert off(found, (80, 4, 22)) < 12
    for (low, high), value in zip(soap.sample.interval95, (75.5, 4, 20), strict=True):
        assert low - 4 <= value <= high + 4


def test_paper_that_nobody_pointed_at_is_not_guessed() -> None:
    found = measured(drawn(), "sheet")
    assert found.grade is Grade.NOT_USABLE
    assert "corners" in found.reasons[0].remedy


def test_another_printed_copy_of_the_card_is_refused_by_its_id() -> None:
    mine = replace(card(), copy_id="W-01", kind="enrolled")
    right, wrong = (read_photo(drawn(slot_texts={"copy_id": text}).jpeg) for text in ("W-01", "W-02"))
    assert measure(right, mine).usable
    refused = measure(wrong, mine)
    assert not refused.usable
    assert refused.reasons[0].code == "other copy"
    assert "W-02" in refused.reasons[0].text


@pytest.mark.parametrize("beside", [True, False])
def test_a_card_is_measured_with_another_copy_of_it_in_the_picture(beside: bool) -> None:
    """Their markers are the same: taken from both, they were told to be of one crumpled card."""
    scene = drawn()
    (whole,) = measured(scene).areas
    picture = cv2.imdecode(np.frombuffer(scene.jpeg, np.uint8), cv2.IMREAD_COLOR)
    both = np.concatenate([picture, picture], axis=1 if beside else 0)
    found = measure(read_photo(cv2.imencode(".jpg", both)[1].tobytes()), card())
    assert found.usable, found.reasons
    assert whole.sample is not None
    assert off(found, whole.sample.lab) < 0.5


def test_an_area_with_an_endless_corner_is_no_area() -> None:
    (found,) = measured(drawn(), areas=[Area("soap", ((float("inf"), 0.0), (10.0, 10.0), (10.0, 0.0)))]).areas
    assert found.sample is None and [reason.code for reason in found.reasons] == ["area missing"]
