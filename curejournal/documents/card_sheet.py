"""A card true to scale on paper, with a ruler to check the printer by."""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from fpdf.prefs import ViewerPreferences

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.documents.qr import draw_qr
from curejournal.documents.sheet import SOFT, Printed
from curejournal.photo.card import Card, Marker, Rect

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
Paper = Literal["a4", "letter"]
TOP_MM = 20.0


class CardNotPrintable(CureJournalError):
    """A card that must not, or cannot, be printed at home."""


def card_pdf(card: Card, paper: Paper = "a4") -> bytes:
    """One page with the card at its true size, cut lines, a ruler check and the print caution.

    Raises
    ------
    CardNotPrintable
        For a chart with published values (a home print would not have them) or one larger than the paper.
    """
    page_w, page_h = PAPERS[paper]
    if card.kind in ("published", "measured"):
        raise CardNotPrintable(
            msg("“{name}” has values of its own maker; a home print would not have these colours.", name=card.name),
            msg("Use the real chart, or print the card “window”."),
        )
    if card.white_only:
        raise CardNotPrintable(msg("Plain white paper needs no printing."), msg("Lay a clean sheet beside the soap."))
    if card.size_mm[0] > page_w - 20 or card.size_mm[1] > page_h - 110:
        raise CardNotPrintable(msg("The card is larger than the paper."), msg("Choose another paper size."))
    pdf = Printed((page_w, page_h))
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_title(pdf.fit(msg("{name}, print at 100 %", name=card.title or card.name)))
    pdf.set_auto_page_break(False)
    pdf.add_page()
    left = (page_w - card.size_mm[0]) / 2
    pdf.set_draw_color(150)
    pdf.set_line_width(0.15)
    pdf.rect(left, TOP_MM, *card.size_mm)
    for patch in card.patches:
        if patch.role == "white":
            continue  # bare paper
        pdf.set_fill_color(*patch.srgb)
        pdf.rect(left + patch.x, TOP_MM + patch.y, patch.w, patch.h, style="F")
    for marker in card.markers:
        _draw_marker(pdf, marker, left)
    if card.window:
        _draw_window(pdf, card.window, left)
    for name, slot in (card.slots or {}).items():
        _draw_slot(pdf, name, slot, left, card)
    _draw_text(pdf, card, left, page_w)
    return bytes(pdf.output())


def _draw_marker(pdf: Printed, marker: Marker, left: float) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{marker.dictionary}"))
    cells = dictionary.markerSize + 2
    bits = np.asarray(cv2.aruco.generateImageMarker(dictionary, marker.id, cells))
    step = marker.size / cells
    pdf.set_fill_color(0)
    pdf.rect(left + marker.x, TOP_MM + marker.y, marker.size, marker.size, style="F")
    pdf.set_fill_color(255)
    for row, column in np.argwhere(bits > 0).tolist():
        pdf.rect(left + marker.x + column * step, TOP_MM + marker.y + row * step, step, step, style="F")


def _draw_window(pdf: Printed, window: Rect, left: float) -> None:
    pdf.set_dash_pattern(dash=1.5, gap=1.0)
    pdf.rect(left + window.x, TOP_MM + window.y, window.w, window.h)
    pdf.set_dash_pattern()
    pdf.type(8, colour=(150, 150, 150))
    pdf.set_xy(left + window.x, TOP_MM + window.y + window.h / 2 - 2)
    pdf.cell(window.w, 4, msg("cut this window out"), align="C")


def _draw_slot(pdf: Printed, name: str, slot: Rect, left: float, card: Card) -> None:
    if name == "copy_id" and card.copy_id:
        draw_qr(pdf, card.copy_id, left + slot.x, TOP_MM + slot.y, slot.w)
        pdf.type(5, colour=SOFT)
        pdf.set_xy(left + slot.x, TOP_MM + slot.y + slot.h)
        pdf.cell(slot.w, 2.5, pdf.fit(card.copy_id), align="C")
        return
    pdf.set_draw_color(200)
    pdf.rect(left + slot.x, TOP_MM + slot.y, slot.w, slot.h)
    pdf.type(5, colour=(170, 170, 170))
    pdf.set_xy(left + slot.x, TOP_MM + slot.y + slot.h - 3.5)
    pdf.cell(slot.w, 3, name.replace("_", " "), align="C")
    pdf.set_draw_color(150)


def _draw_text(pdf: Printed, card: Card, left: float, page_w: float) -> None:
    y = TOP_MM + card.size_mm[1] + 12
    pdf.set_draw_color(0)
    pdf.set_line_width(0.2)
    ruler = (page_w - 100) / 2
    pdf.line(ruler, y, ruler + 100, y)
    for tick in range(0, 101, 5):
        pdf.line(ruler + tick, y, ruler + tick, y - (4 if tick % 10 == 0 else 2))
    pdf.line(ruler - 12, y, ruler - 12, y + 50)
    for tick in range(0, 51, 10):
        pdf.line(ruler - 12, y + tick, ruler - 16, y + tick)
    pdf.type(10, "B")
    pdf.set_xy(ruler, y + 2)
    pdf.cell(100, 5, msg("This line must measure 100 mm, the upright one 50 mm."), align="C")
    lines = [
        msg(
            "Print at 100 % (actual size), never “fit to page”. Matt white paper, best quality, no colour enhancement."
        ),
        msg("Measure both lines. If they are not right, print again with scaling switched off."),
        msg(
            "Cut along the outer line{window}; glue the card on stiff, flat board.",
            window="; cut the window out" if card.window else "",
        ),
        msg(
            "A printer's colours are unknown: enrol this card before you trust its colours. Keep it dark, dry "
            "and clean."
        ),
        msg("When a card is stained or faded, print a new one and enrol it."),
    ]
    pdf.type(10)
    pdf.set_xy(ruler, y + 9)
    for line in lines:
        pdf.set_x(ruler)
        pdf.multi_cell(page_w - ruler - 20, 5, "- " + line, align="L")
    pdf.set_xy(left, y + 62)
    pdf.type(11, "B")
    caution = msg(
        "Caution: fresh batter and lye burn skin and eyes. Never rest this card on raw batter: hold it above, or lay "
        "it on set soap. Wear goggles and gloves; wipe and dry the card afterwards."
    )
    pdf.multi_cell(card.size_mm[0], 6, caution, border=1, align="L")
