"""Batch tags are read back from drawn photographs, and nothing else is taken for one."""

from __future__ import annotations

import pytest
import segno
from hypothesis import given, settings
from hypothesis import strategies as st

from curejournal.photo.calibrate.calibration import learn
from curejournal.photo.find.tag import Tags, parse, payload, read_slot, read_tags
from curejournal.photo.read.picture_file import read_photo
from tests.scenes import Faults, card_named, draw_card

JOURNAL = "K7Q2MX"


def read(text: str, **scene: object) -> Tags:
    drawn = draw_card(card_named("window"), slot_texts={"batch_tag": text}, **{"exposure_ev": -0.3, **scene})
    return read_tags(read_photo(drawn.jpeg))


@settings(max_examples=50, deadline=None)
@given(st.text(min_size=1, max_size=40).filter(lambda code: not any("\ud800" <= sign <= "\udfff" for sign in code)))
def test_every_code_comes_back_from_its_tag(code: str) -> None:
    tag = parse(payload(JOURNAL, code))
    assert tag is not None
    assert (tag.journal, tag.code) == (JOURNAL, code)


def test_an_ordinary_code_stays_in_the_dense_alphanumeric_mode() -> None:
    """ISO/IEC 18004, 7.4.4: 5.5 bits a sign; 25 modules a side leave large modules on a small label."""
    code = segno.make(payload(JOURNAL, "2026-014"), error="m", micro=False)
    assert code.mode == "alphanumeric"
    assert code.version == 2


@pytest.mark.parametrize("change", range(4, len(payload(JOURNAL, "B-014"))))
def test_a_tag_with_one_wrong_sign_is_no_tag(change: int) -> None:
    text = payload(JOURNAL, "B-014")
    wrong = "X" if text[change] != "X" else "Y"
    assert parse(text[:change] + wrong + text[change + 1 :]) is None


@pytest.mark.parametrize(
    "text", ["", "CJ1", "CJ1:::", "https://example.org", "CJ1:K7Q2MX:%FF:0000", "B-014", "CJ1:K7Q2MX:Ü:0000"]
)
def test_other_texts_are_no_tags(text: str) -> None:
    assert parse(text) is None


@pytest.mark.parametrize(("journal", "code"), [("k7", "B"), ("", "B"), (JOURNAL, "")])
def test_a_tag_without_a_journal_or_code_cannot_be_made(journal: str, code: str) -> None:
    with pytest.raises(ValueError, match="no tag"):
        payload(journal, code)


@pytest.mark.parametrize(
    "scene",
    [
        {},
        {"turn_deg": 200},
        {"tilt_deg": 40},
        {"fill": 0.35},
        {"size": (2400, 1800), "fill": 0.3},
        {"noise": 0.02, "uneven": 0.4},
        {"exposure_ev": -2.0},
        {"faults": Faults(mirrored=True)},
    ],
    ids=str,
)
def test_a_tag_is_read_small_tilted_dark_or_mirrored(scene: dict[str, object]) -> None:
    (tag,) = read(payload(JOURNAL, "B-014"), **scene).tags
    assert (tag.journal, tag.code) == (JOURNAL, "B-014")


def test_the_place_of_a_tag_is_told_in_full_size_pixels() -> None:
    (tag,) = read(payload(JOURNAL, "B-014"), size=(2400, 1800)).tags
    slot = card_named("window").slots["batch_tag"]
    left = 1200 + (slot.x - 74) * 0.7 * 2400 / 148
    assert min(x for x, _ in tag.outline) == pytest.approx(left, abs=15)


def test_another_journals_tag_keeps_its_journal() -> None:
    (tag,) = read(payload("AAAA22", "B-014")).tags
    assert tag.journal == "AAAA22"


def test_any_other_code_is_told_apart() -> None:
    found = read("https://example.org")
    assert found.tags == ()
    assert found.others == ("https://example.org",)


def test_a_picture_without_a_code_has_no_tag() -> None:
    drawn = draw_card(card_named("window"), exposure_ev=-0.3)
    assert read_tags(read_photo(drawn.jpeg)) == Tags()


@pytest.mark.parametrize("slot", ["batch_tag", "copy_id"])
def test_a_slot_of_the_card_is_read_where_the_whole_picture_shows_it_too_small(slot: str) -> None:
    card = card_named("window")
    drawn = draw_card(card, slot_texts={slot: "W-02"}, exposure_ev=-0.3, fill=0.4)
    calibration = learn(read_photo(drawn.jpeg), card)
    place = calibration.placement.outline(card.slots[slot])
    assert read_slot(calibration.picture, calibration.scale, place).others == ("W-02",)
