"""The batch record says everything that was entered, in any script, and leaves a line to sign on."""

from __future__ import annotations

import io
import json
import unicodedata
from dataclasses import replace

import pytest
from PIL import Image
from pypdf import PdfReader

from curejournal.batch.records import AlkaliTest, Decision, Entry, Event, ScalarReading, Weighing, Withdrawn
from curejournal.documents.lot_page import lot_pdf
from curejournal.documents.record import BatchRecord, record_pdf
from curejournal.documents.sheet import Picture, Sheet
from curejournal.documents.typefaces import lacking, printable
from curejournal.judging.judgement import judge
from curejournal.judging.traceability import LotUse
from curejournal.soap.recipe import Additive
from tests.judging.batches import BASICS, GOOD_TITRATION, HIGH_METER, READY, RECIPE, batch, day


def jpeg():
    out = io.BytesIO()
    Image.new("RGB", (60, 40), (200, 180, 150)).save(out, "JPEG")
    return out.getvalue()


def record(*records, **how):
    one = batch(*records)
    return BatchRecord(one, judge(one, day(60)), one.entries, **how)


def text_of(*records, place="A place (invented)"):
    data = record_pdf(records, place=place, made_on=day(60), software="curejournal 0.1.0")
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    return " ".join(" ".join(pages).split())


def test_a_record_holds_materials_lots_lye_process_tests_weights_and_a_line_to_sign():
    text = text_of(record(*READY))
    for said in (
        "T-1 a test",
        "A place (invented)",
        "coconut (oil) 300 g 30.0 C1",
        "NaOH 146.4 g 14.6 N1",
        "95 % interval",
        "poured",
        "24 bars",
        "titration: 0.15, 0.17 ml",
        "bar 1, g",
        "accepted within 3 ΔE00",
        "Nobody has signed",
        "signature",
        "licensed practice",
    ):
        assert said in text, said


def test_a_lot_that_is_missing_is_said_so():
    recipe = replace(RECIPE, additives=(Additive("rose", "fragrance", 20.0),))
    assert "rose whole batch 20 g 2.0 not recorded" in text_of(record((0, recipe), *BASICS[1:]))


def test_what_is_below_zero_is_printed_with_a_minus_sign():
    heavy = replace(RECIPE, alkalis=(replace(RECIPE.alkalis[0], grams=170.0),))
    text = text_of(record((0, heavy), *BASICS[1:], (2, ScalarReading("room temperature", -3.5))))
    assert "superfat \u2212" in text
    assert "lye margin hold superfat \u2212" in text
    assert "room temperature: 1 reading, \u22123.5 to \u22123.5 °C" in text
    assert "superfat -" not in text


def test_a_signed_release_shows_statement_signer_and_the_frozen_evidence():
    frozen = json.dumps({"headline": "ready", "findings": [{"gauge": "alkali", "verdict": "go"}]})
    act = Decision("release", "Kaja (invented)", "I looked at every bar.", "1-abc", frozen)
    text = text_of(record(*READY, (58, act)))
    assert "signed by Kaja (invented)" in text
    assert "“I looked at every bar.” (rules 1-abc)" in text
    assert "The judgement as it stood then: ready (alkali go)." in text


def test_evidence_that_cannot_be_read_does_not_stop_the_record():
    act = Decision("hold", "Kaja", "Wait.", "1", "{broken")
    assert "“Wait.”" in text_of(record(*READY, (58, act)))


def test_a_hold_and_its_reason_are_in_it():
    text = text_of(record(*READY, (41, HIGH_METER)))
    assert "hold: because of alkali" in text


def test_corrections_and_withdrawals_stay_to_be_seen():
    one = batch(*BASICS)
    first = Entry(90, day(1), "Kaja", day(1), Event("note", note="gelled"))
    second = Entry(91, day(1), "Tarvo", day(2), Event("note", note="did not gel"), supersedes=90)
    third = Entry(92, day(1), "Kaja", day(3), Withdrawn("wrong batch"), supersedes=91)
    shown = BatchRecord(one, judge(one, day(60)), (*one.entries, first, second, third))
    text = text_of(shown)
    assert "note · gelled" in text
    assert "wrong batch" in text


def test_parents_and_children_are_named():
    use = LotUse("T-9", "Embedded", day(-30), "curls", "T-9", 80.0)
    text = text_of(record(*BASICS, parents=(use,), children=(replace(use, batch="T-12"),)))
    assert "Embedded in it: T-9" in text
    assert "It was embedded in: T-12" in text


def test_a_bare_batch_has_a_record_too():
    text = text_of(record())
    assert "No recipe was entered" in text
    assert "No weights were entered" in text


def test_pictures_have_text_alternatives():
    data = record_pdf(
        [record(*READY, pictures=(Picture(jpeg(), "day 1", "cream soap under the card"),))],
        place="",
        made_on=day(60),
        software="x",
    )
    assert b"/Alt" in data
    images = [image for page in PdfReader(io.BytesIO(data)).pages for image in page.images]
    assert [image.name.partition(".")[2] for image in images] == ["png", "jpg"], "the ribbon and the photo"
    assert data.count(b"/Alt") >= 2


@pytest.mark.parametrize("script", ["Юрий", "石鹸を作る", "صابون", "σαπούνι", "🧼", "\u202edlog", "a\x07b", "x" * 400])
def test_any_script_prints_and_nothing_crashes(script):
    hostile = replace(RECIPE, additives=(Additive(script, "other", 5.0, lot=script),))
    act = Decision("hold", script, script, script, "")
    shown = record((0, hostile), *BASICS[1:], (1, Event("note", note=script)), (50, act))
    assert "Юрий" in text_of(shown) or script != "Юрий"


def test_signs_that_the_type_lacks_become_their_plain_letter_or_a_question_mark():
    assert printable("Õhtu žŠ Юл ≤ ΔE") == "Õhtu žŠ Юл ≤ ΔE"
    assert printable("石 ㎏ → ①") == "石 kg → 1"
    # U+13000 is an Egyptian hieroglyph, a script that none of the faces has (Unicode, block Egyptian Hieroglyphs).
    assert printable("a\U00013000b") == "a?b"
    assert lacking("a\U00013000?") == ("\U00013000",)
    assert printable("a\u202eb\x07c") == "abc"


def test_the_room_is_told_with_its_units():
    warm, damp = ScalarReading("room temperature", 19.5), ScalarReading("room humidity", 55)
    text = text_of(record(*BASICS, (1, warm), (2, replace(warm, value=21.0)), (1, damp)))
    assert "room temperature: 2 readings, 19.5 to 21 °C." in text
    assert "room humidity: 1 reading, 55 to 55 % RH." in text


def test_records_of_a_day_come_each_on_pages_of_their_own():
    other = replace(record(*BASICS), batch=replace(batch(*BASICS), code="T-2"))
    data = record_pdf([record(*BASICS), other], place="", made_on=day(60), software="x")
    reader = PdfReader(io.BytesIO(data))
    assert [item.title for item in reader.outline] == ["T-1 a test", "T-2 a test"]


def test_a_lots_page_says_where_it_went():
    uses = (LotUse("A", "One", day(0), "coconut", "C1", 300.0), LotUse("B", "Two", None, "coconut", "C1", 200.5))
    uses = (*uses, LotUse("B", "Two", None, "coconut", "C1", 99.5))
    text = PdfReader(io.BytesIO(lot_pdf("C1", uses, place="", made_on=day(60), software="x"))).pages[0].extract_text()
    assert "coconut: 600 g in 2 batches" in text, "one batch that took it twice is one batch"
    assert "not recorded" in text
    empty = PdfReader(io.BytesIO(lot_pdf("ZZ", (), place="", made_on=day(60), software="x"))).pages[0].extract_text()
    assert "No batch in this journal" in empty


def test_a_titration_is_told_with_what_it_says():
    assert "good" in text_of(record(*BASICS, (40, GOOD_TITRATION)))


def test_of_two_tests_at_one_moment_each_is_told_with_what_it_says_itself():
    text = text_of(record(*BASICS, (40, HIGH_METER), (40, AlkaliTest("meter", 9.5, 0.1, 1.0)), (70, GOOD_TITRATION)))
    assert f"pH {HIGH_METER.ph:g} ± 0.1 by meter, 1.0 % solution high:" in text
    assert "pH 9.5 ± 0.1 by meter, 1.0 % solution good:" in text
    assert "titration: 0.15, 0.17 ml" in text, "one that the judgement does not know yet is on the record"


def test_every_weight_of_a_day_is_in_the_record():
    text = text_of(record(*BASICS, (7.1, Weighing("bar 1", 118.5, 0.1)), (7.2, Weighing("bar 1", 117.9, 0.1))))
    assert "8 Sep 2026 118.5, 117.9" in text


SCRIPTS = {
    "Arabic": "صابون الخزامى",
    "Hebrew": "סבון לבנדר",
    "Japanese": "石鹸ラベンダー",
    "Korean": "비누",
    "Chinese": "薰衣草肥皂",
    "Devanagari": "साबुन",
    "Thai": "สบู่",
    "emoji": "🧼",
}


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_name_in_any_of_these_scripts_is_on_the_paper(script):
    sheet = Sheet("t", "t", day(0))
    sheet.add_page()
    sheet.say(f"Soap {SCRIPTS[script]} end")
    assert "?" not in sheet.fit(SCRIPTS[script])
    (page,) = PdfReader(io.BytesIO(bytes(sheet.output()))).pages
    assert any("Noto" in str(font.get_object()["/BaseFont"]) for font in page["/Resources"]["/Font"].values())
    words = page.extract_text()
    signs = {sign for sign in words if not sign.isspace()}
    seen = {sign for sign in SCRIPTS[script] if unicodedata.category(sign) in ("Lo", "So")}
    # Right to left, and joined, the order of what is taken out again is the reader's business; the signs are there.
    assert len(seen & signs) >= 0.7 * len(seen)


def test_a_sign_that_no_face_has_is_told_at_the_foot():
    sheet = Sheet("t", "t", day(0))
    sheet.add_page()
    sheet.say("Soap \U00013000")
    words = PdfReader(io.BytesIO(bytes(sheet.output()))).pages[0].extract_text()
    assert "characters that no typeface here has: U+13000" in words
