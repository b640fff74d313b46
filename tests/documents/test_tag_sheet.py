"""Sheets of tags: true to scale, inside the paper, and readable once printed."""

from __future__ import annotations

import io
import re
import zlib

import cv2
import numpy as np
import pytest
from pypdf import PdfReader

from curejournal.documents.card_sheet import PAPERS
from curejournal.documents.tag_sheet import LABEL_SHEETS, LabelSheet, TagLabel, TagsNotPrintable, tag_sheet_pdf
from curejournal.photo.find.tag import Tag, payload, read_tags
from curejournal.photo.read.picture_file import read_photo

PX_PER_MM = 8.0


def label(code: str = "B-014", name: str = "Olive and oat") -> TagLabel:
    return TagLabel(payload("K7Q2MX", code), code, name)


def pages(pdf: bytes) -> list[str]:
    """The drawing of each page, as its PDF operators (ISO 32000-1, 8.5)."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    texts = []
    for stream in streams:
        try:
            texts.append(zlib.decompress(stream).decode("latin-1"))
        except zlib.error:
            continue
    return [text for text in texts if " re" in text]


def filled(page: str, paper: str) -> np.ndarray:
    """The filled rectangles of a page (N, 4): left, top, width, height in mm."""
    rows = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (-?[\d.]+) re f", page)
    points = np.array(rows, float) * 25.4 / 72
    return np.column_stack([points[:, 0], PAPERS[paper][1] - points[:, 1], points[:, 2], np.abs(points[:, 3])])


def printed(page: str, sheet: LabelSheet) -> np.ndarray:
    w, h = PAPERS[sheet.paper]
    paper = np.full((round(h * PX_PER_MM), round(w * PX_PER_MM), 3), 255, np.uint8)
    for x, y, width, height in filled(page, sheet.paper):
        (left, top), (right, bottom) = (
            np.round(np.array([[x, y], [x + width, y + height]]) * PX_PER_MM).astype(int).tolist()
        )
        paper[top:bottom, left:right] = 0
    return paper


def read_label(paper: np.ndarray, sheet: LabelSheet, number: int) -> tuple[Tag, ...]:
    """What is read in a picture of one label."""
    x, y = (round(value * PX_PER_MM) for value in sheet.place(number))
    w, h = (round(value * PX_PER_MM) for value in sheet.label_mm)
    return read_tags(read_photo(cv2.imencode(".png", paper[y : y + h, x : x + w])[1].tobytes())).tags


@pytest.mark.parametrize("name", LABEL_SHEETS)
def test_every_label_lies_inside_its_paper_and_clear_of_its_neighbours(name: str) -> None:
    sheet = LABEL_SHEETS[name]
    (left, top), (right, bottom) = sheet.place(0), sheet.place(sheet.columns * sheet.rows - 1)
    assert left >= -0.01
    assert top >= -0.01
    assert right + sheet.label_mm[0] <= PAPERS[sheet.paper][0] + 0.01
    assert bottom + sheet.label_mm[1] <= PAPERS[sheet.paper][1] + 0.01
    assert all(pitch >= side for pitch, side in zip(sheet.pitch_mm, sheet.label_mm, strict=True))
    assert left == pytest.approx(PAPERS[sheet.paper][0] - right - sheet.label_mm[0])


@pytest.mark.parametrize("name", LABEL_SHEETS)
def test_every_sheets_tags_can_be_read_and_their_modules_are_large_enough_to_photograph(name: str) -> None:
    sheet = LABEL_SHEETS[name]
    (page,) = pages(tag_sheet_pdf([label()], sheet))
    (tag,) = read_label(printed(page, sheet), sheet, 0)
    assert (tag.journal, tag.code) == ("K7Q2MX", "B-014")
    assert filled(page, sheet.paper)[:, 2].min() > 0.5


def test_labels_go_on_to_further_pages_and_used_ones_are_skipped() -> None:
    sheet = LABEL_SHEETS["a4-21"]
    drawn = pages(tag_sheet_pdf([label(f"B-{n}") for n in range(20)], sheet, skip=5))
    assert len(drawn) == 2
    first, second = (printed(page, sheet) for page in drawn)
    assert read_label(first, sheet, 4) == ()
    assert [tag.code for tag in read_label(first, sheet, 5)] == ["B-0"]
    assert [tag.code for tag in read_label(second, sheet, 3)] == ["B-19"]


@pytest.mark.parametrize("name", ["Olive and oat", "Łaźnia z różą", "Мыло"])
def test_the_code_and_the_name_stand_in_plain_text(name: str) -> None:
    (page,) = PdfReader(io.BytesIO(tag_sheet_pdf([label("B-014", name)], LABEL_SHEETS["a4"]))).pages
    assert page.extract_text().splitlines()[-2:] == ["B-014", name]


def test_the_ruler_of_plain_paper_is_100_mm() -> None:
    (page,) = pages(tag_sheet_pdf([label()], LABEL_SHEETS["a4"]))
    lengths = [abs(float(x1) - float(x0)) for x0, x1 in re.findall(r"([\d.]+) [\d.]+ m ([\d.]+) [\d.]+ l S", page)]
    assert max(lengths) * 25.4 / 72 == pytest.approx(100, abs=0.02)


def test_long_and_foreign_names_do_not_break_the_sheet() -> None:
    odd = [label("ñandú–“7”", "Мыло " * 30), label("x" * 40, "")]
    assert tag_sheet_pdf(odd, LABEL_SHEETS["letter-30"]).startswith(b"%PDF")


@pytest.mark.parametrize(("labels", "skip"), [([], 0), ([label()], -1), ([label()], 21)])
def test_what_cannot_be_printed_is_refused(labels: list[TagLabel], skip: int) -> None:
    with pytest.raises(TagsNotPrintable):
        tag_sheet_pdf(labels, LABEL_SHEETS["a4-21"], skip=skip)
