"""Sheets of batch tags true to scale, on label sheets or plain paper with cut lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fpdf.prefs import ViewerPreferences

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.documents.card_sheet import PAPERS, Paper
from curejournal.documents.qr import draw_qr
from curejournal.documents.sheet import Printed


class TagsNotPrintable(CureJournalError):
    """A sheet of tags that cannot be made as asked for."""


@dataclass(frozen=True)
class LabelSheet:
    """A sheet of labels: `columns` x `rows` labels of `label_mm`, every `pitch_mm`, in the middle of the paper."""

    paper: Paper
    columns: int
    rows: int
    label_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    cut_lines: bool = False

    def place(self, number: int) -> tuple[float, float]:
        """The top left corner of a label on its sheet, in mm; numbered row by row."""
        x, y = (
            (size - (count - 1) * pitch - side) / 2
            for size, count, pitch, side in zip(
                PAPERS[self.paper], (self.columns, self.rows), self.pitch_mm, self.label_mm, strict=True
            )
        )
        row, column = divmod(number, self.columns)
        return x + column * self.pitch_mm[0], y + row * self.pitch_mm[1]

    @property
    def words(self) -> str:
        """The sheet in a line, to choose it by."""
        (w, h), paper = self.label_mm, {"a4": "A4", "letter": "Letter"}[self.paper]
        plain = msg("plain paper with cut lines") if self.cut_lines else msg("label sheet")
        return msg(
            "{paper} {kind}, {labels} of {width:g} x {height:g} mm",
            paper=paper,
            kind=plain,
            labels=self.columns * self.rows,
            width=w,
            height=h,
        )


LABEL_SHEETS = {
    "a4": LabelSheet("a4", 4, 7, (46.0, 38.0), (46.0, 38.0), cut_lines=True),
    "letter": LabelSheet("letter", 4, 6, (46.0, 38.0), (46.0, 38.0), cut_lines=True),
    "a4-65": LabelSheet("a4", 5, 13, (38.1, 21.2), (40.64, 21.2)),
    "a4-40": LabelSheet("a4", 4, 10, (45.7, 25.4), (48.3, 25.4)),
    "a4-24": LabelSheet("a4", 3, 8, (70.0, 37.0), (70.0, 37.0)),
    "a4-21": LabelSheet("a4", 3, 7, (63.5, 38.1), (66.04, 38.1)),
    "letter-30": LabelSheet("letter", 3, 10, (66.7, 25.4), (69.85, 25.4)),
    "letter-10": LabelSheet("letter", 2, 5, (101.6, 50.8), (106.4, 50.8)),
}
"""Sizes of labels sold as office paper (common practice, no source; from memory): measure yours before you buy."""


@dataclass(frozen=True)
class TagLabel:
    """What is printed on a label: `payload` in the QR code, `code` and `name` in plain text beside it."""

    payload: str
    code: str
    name: str


def tag_sheet_pdf(labels: Sequence[TagLabel], sheet: LabelSheet, *, skip: int = 0) -> bytes:
    """Labels in order on as many pages as needed, true to scale; the first `skip` labels of the first page stay free.

    Raises
    ------
    TagsNotPrintable
        Without a label, or if more are skipped than a sheet has.
    """
    each = sheet.columns * sheet.rows
    if not labels:
        raise TagsNotPrintable(msg("There is no tag to print."), msg("Choose at least one batch."))
    if not 0 <= skip < each:
        raise TagsNotPrintable(
            msg("A sheet has {each} labels; {skip} cannot be skipped.", each=each, skip=skip),
            msg("Skip 0 to {each}.", each=each - 1),
        )
    pdf = Printed(PAPERS[sheet.paper])
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_title(msg("Batch tags, print at 100 %"))
    pdf.set_auto_page_break(False)
    for number, label in enumerate(labels, skip):
        if number % each == 0 or pdf.page == 0:
            pdf.add_page()
            if sheet.cut_lines:
                _draw_ruler(pdf, sheet)
        _draw(pdf, label, sheet, *sheet.place(number % each))
    return bytes(pdf.output())


def _draw(pdf: Printed, label: TagLabel, sheet: LabelSheet, x: float, y: float) -> None:
    w, h = sheet.label_mm
    if sheet.cut_lines:
        pdf.set_draw_color(170)
        pdf.set_line_width(0.1)
        pdf.rect(x, y, w, h)
    # A wide label has its text beside the code, any other below it.
    beside = w > 1.5 * h
    side = min(h - 2.0, w - 2.0) if beside else min(w - 2.0, h - 12.0)
    left, top = (x + 1.0, y + (h - side) / 2) if beside else (x + (w - side) / 2, y + 1.0)
    draw_qr(pdf, label.payload, left, top, side, boost_error=False)
    text_x, text_w = (x + side + 1.5, w - side - 2.5) if beside else (x + 1.0, w - 2.0)
    text_y = y + h / 2 - 5.0 if beside else y + side + 1.0
    align = "L" if beside else "C"
    for text, style, size, offset in ((label.code, "B", 11.0, 0.0), (label.name, "", 8.0, 5.0)):
        said = pdf.fit(text)
        pdf.type(_fitting(pdf, said, style, size, text_w), style)
        pdf.set_xy(text_x, text_y + offset)
        pdf.cell(text_w, 5, said, align=align)


def _draw_ruler(pdf: Printed, sheet: LabelSheet) -> None:
    """A check of the printer in the margin above the labels."""
    left, y = (PAPERS[sheet.paper][0] - 100) / 2, sheet.place(0)[1] - 5.0
    pdf.set_draw_color(0)
    pdf.set_line_width(0.2)
    pdf.line(left, y, left + 100, y)
    for end in (left, left + 100):
        pdf.line(end, y - 1.5, end, y + 1.5)
    pdf.type(7)
    pdf.set_xy(left, y - 4.5)
    pdf.cell(100, 4, msg("Print at 100 %: this line must measure 100 mm."), align="C")


def _fitting(pdf: Printed, text: str, style: str, size: float, width_mm: float) -> float:
    """The font size at which a text fits a width."""
    pdf.type(size, style)
    return max(4.0, min(size, size * (width_mm - 2.1) / max(pdf.get_string_width(text), 0.1)))
