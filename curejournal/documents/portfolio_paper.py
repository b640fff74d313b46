"""A portfolio on paper: the same soaps, sentences and ribbons as on the web pages, in the same layouts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime

from curejournal.base.messages import Voice, join
from curejournal.documents import formatting
from curejournal.documents.pictures import jpeg_within
from curejournal.documents.portfolio_soap import Design, PortfolioBatch, Shot, Soap, soap_of
from curejournal.documents.sheet import SOFT, Picture, Sheet
from curejournal.documents.true_colour import Pixels
from curejournal.documents.typefaces import DISPLAY

PRINTED_PX, PRINTED_BYTES = 1400, 260_000
"""Pixels and weight of a picture over a page's width: 200 to the inch. Ours."""
ASPECT = 3 / 4
ACROSS = 3
"""Soaps side by side in the gallery. Ours: three fit under the large picture."""
"""Height by width of every picture that is cut wide."""


def portfolio_pdf(
    batches: Iterable[PortfolioBatch],
    design: Design,
    *,
    made_on: datetime,
    software: str,
    paper: tuple[float, float] | str | None = None,
    voice: Voice | None = None,
) -> bytes:
    """The portfolio as a PDF, on the reader's paper or a size in millimetres; a soap is never broken over two pages."""
    foot = join(" · ", (design.title, formatting.day(made_on), software))
    sheet = Sheet(design.title, foot, made_on, paper, voice)
    sheet.add_page()
    draw = {"gallery": _gallery, "stories": _stories, "book": _book}[design.layout]
    draw(sheet, map(soap_of, batches), design.title, design.about)
    return bytes(sheet.output())


def _gallery(sheet: Sheet, soaps: Iterable[Soap], title: str, about: str) -> None:
    gap, width = 6.0, (sheet.epw - 6.0 * (ACROSS - 1)) / ACROSS
    column, top, lowest = 0, 0.0, 0.0
    for number, soap in enumerate(soaps):
        if number == 0:
            _head(sheet, title, about, soap.cover)
            top = sheet.get_y()
        if column == 0 and sheet.will_page_break(width * ASPECT + 26):
            sheet.add_page()
            top = sheet.get_y()
        sheet.set_y(top)
        bottom = _tile(sheet, soap, sheet.l_margin + column * (width + gap), top, width)
        lowest = max(lowest, bottom) if column else bottom
        column = (column + 1) % ACROSS
        if column == 0:
            top = lowest + 8


def _head(sheet: Sheet, title: str, about: str, cover: Shot | None) -> None:
    if cover is not None:
        wide = cover.pixels(PRINTED_PX)
        band = round(wide.shape[1] * 0.5)
        start = (wide.shape[0] - band) // 2
        _picture(sheet, wide[start : start + band], sheet.epw, title)
        sheet.ln(6)
    _title(sheet, title, about)


def _title(sheet: Sheet, title: str, about: str) -> None:
    sheet.type(34, face=DISPLAY)
    sheet.multi_cell(0, 13, sheet.fit(title), align="L", new_x="LMARGIN", new_y="NEXT")
    if about:
        sheet.story(about, 14, SOFT)
    sheet.ln(7)


def _picture(sheet: Sheet, pixels: Pixels, width: float, alt: str, x: float | None = None) -> None:
    y = sheet.get_y()
    high = sheet.picture(jpeg_within(pixels, PRINTED_BYTES), width, alt, x, y)
    sheet.set_y(y + high)


def _tile(sheet: Sheet, soap: Soap, x: float, top: float, width: float) -> float:
    """One soap of the gallery; where it ends."""
    if soap.cover is not None:
        _picture(sheet, soap.cover.pixels(PRINTED_PX // 2), width, soap.alt(soap.cover), x)
    if soap.ribbons:
        sheet.ribbon(soap.ribbons[0][1], 3, days=False, x=x, width=width)
    sheet.set_xy(x, sheet.get_y() + 1)
    sheet.type(15, face=DISPLAY)
    sheet.multi_cell(width, 6.4, sheet.fit(soap.name), align="L", new_x="LEFT", new_y="NEXT")
    sheet.set_x(x)
    sheet.type(9, colour=SOFT)
    sheet.multi_cell(width, 4.4, sheet.fit(soap.sentence or soap.lead), align="L", new_x="LEFT", new_y="NEXT")
    return float(sheet.get_y())


def _stories(sheet: Sheet, soaps: Iterable[Soap], title: str, about: str) -> None:
    gap, width = 8.0, (sheet.epw - 8.0) / 2
    for number, soap in enumerate(soaps):
        if number == 0:
            _head(sheet, title, about, soap.cover)
        high = width * ASPECT
        if sheet.will_page_break(high + 6):
            sheet.add_page()
        sheet.start_section(sheet.fit(soap.name))
        top = sheet.get_y()
        if soap.cover is not None:
            _picture(sheet, soap.cover.pixels(PRINTED_PX // 2), width, soap.alt(soap.cover))
        sheet.set_y(top)
        with _column(sheet, sheet.l_margin + width + gap, width):
            _told(sheet, soap, 19, 11)
            _then_and_now(sheet, soap)
        sheet.set_y(max(top + high, sheet.get_y()) + 6)


@contextmanager
def _column(sheet: Sheet, x: float, width: float) -> Iterator[None]:
    """Narrow the page to a column."""
    left, right = sheet.l_margin, sheet.r_margin
    sheet.set_left_margin(x)
    sheet.set_right_margin(sheet.w - x - width)
    sheet.set_x(x)
    yield
    sheet.set_left_margin(left)
    sheet.set_right_margin(right)
    sheet.set_x(left)


def _then_and_now(sheet: Sheet, soap: Soap) -> None:
    """Before and after, small, side by side."""
    if soap.pair is None:
        return
    sheet.ln(1.5)
    pictures = []
    for shot in soap.pair:
        pixels = shot.pixels(PRINTED_PX // 3)
        high = pixels.shape[1] // 3
        start = (pixels.shape[0] - high) // 2
        shown = jpeg_within(pixels[start : start + high], PRINTED_BYTES)
        pictures.append(Picture(shown, soap.age(shot), soap.alt(shot)))
    sheet.pictures(pictures, across=2)


def _book(sheet: Sheet, soaps: Iterable[Soap], title: str, about: str) -> None:
    _title(sheet, title, about)
    for number, soap in enumerate(soaps):
        if number:
            sheet.add_page()
        sheet.start_section(sheet.fit(soap.name))
        if soap.cover is not None:
            _picture(sheet, soap.cover.pixels(PRINTED_PX), sheet.epw, soap.alt(soap.cover))
            sheet.ln(5)
        _told(sheet, soap, 28, 14)


def _told(sheet: Sheet, soap: Soap, size: float, sentence: float) -> None:
    """Name, sentence and ribbon."""
    sheet.type(size, face=DISPLAY)
    sheet.multi_cell(0, size * 0.42, sheet.fit(soap.name), align="L", new_x="LMARGIN", new_y="NEXT")
    if soap.sentence:
        sheet.ln(1)
        sheet.story(soap.sentence, sentence, SOFT)
    sheet.ln(1.5)
    for _, drawn in soap.ribbons[:1]:
        sheet.ribbon(drawn, 7)
    if soap.lead:
        sheet.type(8.5, colour=SOFT)
        sheet.multi_cell(0, 4.6, sheet.fit(soap.lead), align="L", new_x="LMARGIN", new_y="NEXT")
