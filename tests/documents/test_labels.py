"""Labels say what will hold."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from dataclasses import replace

import cv2
import numpy as np
import pytest
import segno
from pypdf import PdfReader

from curejournal.batch.records import Event, Weighing
from curejournal.documents.labels import LOCAL_RULES, Label, LabelsNotPossible, labels_pdf, propose_net_weight
from curejournal.photo.find.tag import payload, read_tags
from curejournal.photo.read.picture_file import read_photo
from tests.judging.batches import BASICS, POURED, WEEKS, batch, weighed


def test_the_net_weight_is_below_what_the_lightest_bar_ends_at():
    records = (
        *BASICS[:-1],
        (1, Event("cut", bars=2)),
        *weighed(WEEKS),
        *weighed(WEEKS, subject="bar 2", m0=112, seed=3),
    )
    proposed = propose_net_weight(batch(*records))
    truth = 112 * (1 - 0.15)
    print(proposed, truth)
    assert proposed.settled
    assert proposed.grams_each <= truth
    assert proposed.grams_each > truth - 3
    assert "bar 2" in proposed.words


@pytest.mark.parametrize("weighings", [2, 3, 5])
def test_a_young_bar_is_not_promised_more_than_it_will_hold(weighings):
    held = []
    for seed in range(12):
        records = (*BASICS[:-1], (1, Event("cut", bars=1)), *weighed(WEEKS[:weighings], seed=seed))
        proposed = propose_net_weight(batch(*records))
        held.append(proposed.grams_each <= 120 * (1 - 0.15))
    print(weighings, np.mean(held))
    assert np.mean(held) >= 0.9


def test_bars_that_nobody_weighed_take_something_off():
    few = (*BASICS[:-1], (1, Event("cut", bars=1)), *weighed(WEEKS))
    many = (*BASICS[:-1], (1, Event("cut", bars=30)), *weighed(WEEKS))
    assert propose_net_weight(batch(*many)).grams_each < propose_net_weight(batch(*few)).grams_each
    assert "1 of 30 bars" in propose_net_weight(batch(*many)).words


@pytest.mark.parametrize(
    ("cut", "bars", "said"),
    [
        (None, 1, "how many bars were cut is not noted"),
        (None, 6, "how many bars were cut is not noted"),
        (6, 6, "several bars were weighed at once"),
    ],
)
def test_where_not_each_bar_was_weighed_alone_something_is_taken_off_and_it_is_said_why(cut, bars, said):
    weighings = [(when, replace(one, grams=bars * one.grams, bars=bars)) for when, one in weighed(WEEKS)]
    one_of_one = propose_net_weight(batch(*BASICS[:-1], (1, Event("cut", bars=1)), *weighed(WEEKS)))
    proposed = propose_net_weight(batch(*BASICS[:-1], (1, Event("cut", bars=cut)), *weighings))
    assert proposed.grams_each < one_of_one.grams_each
    assert said in proposed.words and " 0 bars" not in proposed.words


def test_without_weights_nothing_is_proposed():
    proposed = propose_net_weight(batch(*BASICS))
    assert proposed.grams_each is None
    assert "weigh every bar" in proposed.words


def test_one_weighing_says_that_the_loss_to_come_is_not_in_it():
    proposed = propose_net_weight(batch(*BASICS, (2, Weighing("bar 1", 120.0, 1.0))))
    assert not proposed.settled
    assert "do not label yet" in proposed.words


LABEL = Label("T-1", "Plain olive", POURED, "cured since 3 Oct 2026", 101, "CJ1:ABCDEFGH:T-1:0000")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sheets_hold_every_label_and_the_rules_that_they_leave_open(paper):
    pdf = PdfReader(io.BytesIO(labels_pdf([LABEL] * 30, paper=paper, made_on=POURED, software="curejournal")))
    texts = [page.extract_text() for page in pdf.pages]
    # 101 / 28.349523125 = 3.5626...
    assert sum(text.count("101 g (3.56 oz)") for text in texts) == 30
    assert " ".join(LOCAL_RULES.split()) in " ".join(texts[-1].split())


@pytest.mark.skipif(not (shutil.which("pdftoppm") or os.environ.get("CI") == "true"), reason="Poppler is not installed")
@pytest.mark.parametrize("code", ["T-1", "2026/11 olive & oat"])
def test_a_labels_tag_is_read_as_printed_and_nothing_is_near_it(code: str):
    tag = payload("K7Q2MX", code)
    label = Label(code, "Plain olive " * 6, POURED, "cured since 3 Oct 2026, by the rules", 12345, tag)
    pdf = labels_pdf([label], made_on=POURED, software="curejournal")
    drawn = subprocess.run(["pdftoppm", "-r", "150", "-png", "-l", "1"], input=pdf, capture_output=True, check=True)
    assert "12345 g (435.45 oz)" in PdfReader(io.BytesIO(pdf)).pages[0].extract_text(), "smaller, but whole"
    (read,) = read_tags(read_photo(drawn.stdout)).tags
    assert read.code == code
    page = cv2.imdecode(np.frombuffer(drawn.stdout, np.uint8), cv2.IMREAD_GRAYSCALE)
    low, high = np.min(read.outline, axis=0), np.max(read.outline, axis=0)
    # ISO/IEC 18004: four light modules all round; a pixel more or less is the renderer's.
    quiet = 4 * (high - low)[0] / segno.make(tag, error="m", micro=False).symbol_size(border=0)[0]
    (left, top), (right, bottom) = np.ceil(low - quiet + 1).astype(int), np.floor(high + quiet - 1).astype(int)
    page[int(low[1]) - 1 : int(high[1]) + 2, int(low[0]) - 1 : int(high[0]) + 2] = 255
    assert page[top:bottom, left:right].min() == 255


@pytest.mark.parametrize("name", ["Мыло " * 20, "石鹸", "صابون", "\u202eabc", "x" * 300, "a\x00b", ""])
def test_any_name_prints(name):
    assert labels_pdf([replace(LABEL, name=name, tag="")], made_on=POURED, software="x").startswith(b"%PDF")


def test_no_label_is_refused():
    with pytest.raises(LabelsNotPossible):
        labels_pdf([], made_on=POURED, software="x")
