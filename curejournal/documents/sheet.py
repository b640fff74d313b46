"""A page on paper: our type, headings, tables and measured swatches; text in any script is safe."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, VAlign
from fpdf.fonts import FontFace

from curejournal.base.messages import join, msg
from curejournal.colour.sample import Lab
from curejournal.colour.spaces import lab_to_srgb8
from curejournal.documents import formatting
from curejournal.documents.typefaces import TEXT, face_of, is_ours, lacking, printable, text_faces

INK, SOFT, RULE, TINT = (33, 28, 24), (106, 96, 84), (203, 194, 180), (244, 240, 233)
MARGIN_MM = 18.0
LINE_MM = 4.6


@dataclass(frozen=True)
class Swatch:
    """A measured colour at a day of a journey."""

    days: float
    lab: Lab


class Printed(FPDF):
    """A document in our type, in millimetres."""

    def __init__(self, format: str | tuple[float, float]) -> None:  # noqa: A002 (fpdf2's own name)
        super().__init__(unit="mm", format=format)
        self._brought: list[str] = []
        self._lacking: dict[str, None] = {}
        for style, file in text_faces():
            self.add_font(TEXT, style, file)

    def type(self, size: float, style: str = "", colour: tuple[int, int, int] = INK) -> None:
        """Choose size in points, style and colour of what is written next."""
        self.set_font(TEXT, style, size)
        self.set_text_color(*colour)

    def fit(self, text: str) -> str:
        """Text as it can be printed, with the faces that it needs brought in; `_lacking` are signs that none has."""
        self._lacking |= dict.fromkeys(lacking(text))
        kept = printable(text)
        needed = {face.family: face for sign in kept if not is_ours(sign) and (face := face_of(sign))}
        for family in [family for family in needed if family not in self._brought]:
            self.add_font(family, "", needed[family].path)
            self._brought.append(family)
            self.set_fallback_fonts(self._brought, exact_match=False)
            self.set_text_shaping(True)  # joined letters, and from right to left
        return kept


class Sheet(Printed):
    """A document with margins. `running` stands at the foot of each page, beside its number."""

    def __init__(self, title: str, running: str, made_on: datetime, format: str | tuple[float, float] = "A4") -> None:  # noqa: A002 (fpdf2's own name)
        super().__init__(format)
        self._running = self.fit(running)
        self.set_title(self.fit(title))
        self.set_lang("en-GB")
        self.set_creation_date(made_on)
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(True, margin=MARGIN_MM + 4)
        self.type(10)

    def footer(self) -> None:
        """The running line and the page's number; above it, what a “?” stands for."""
        if self._lacking:
            told = join(", ", (f"U+{ord(sign):04X}" for sign in self._lacking))
            self.set_y(-18)
            self.type(7, colour=SOFT)
            self.cell(self.epw, 4, f"“?” stands for signs that no type here has: {told}"[:140])
        self.set_y(-14)
        self.type(7.5, colour=SOFT)
        self.cell(self.epw - 25, 5, self._running)
        self.cell(25, 5, msg("page {page_no} of {{nb}}", page_no=self.page_no()), align="R")

    def title_line(self, title: str, beneath: str = "") -> None:
        """The head of a document."""
        self.type(19, "B")
        self._lines(title, 8.4)
        if beneath:
            self.type(10.5, colour=SOFT)
            self._lines(beneath, 5.2)
        self.ln(2)

    def heading(self, text: str, room: float = 24) -> None:
        """A heading with a hairline; on the next page if less than `room` mm are left for it and what follows."""
        if self.will_page_break(room):
            self.add_page()
        self.ln(3.5)
        self.set_draw_color(*RULE)
        self.set_line_width(0.25)
        self.line(self.l_margin, self.get_y(), self.l_margin + self.epw, self.get_y())
        self.ln(1.6)
        self.type(11.5, "B")
        self._lines(text, 5.6)
        self.ln(0.8)
        self.type(9.5)

    def say(self, text: str, size: float = 9.5, style: str = "") -> None:
        """A paragraph."""
        self.type(size, style)
        self._lines(text, size * 0.49)
        self.type(9.5)

    def caution(self, lines: Sequence[str]) -> None:
        """Cautions in a frame."""
        if not lines:
            return
        self.ln(1.5)
        self.set_fill_color(*TINT)
        self.set_draw_color(*INK)
        self.set_line_width(0.3)
        self.type(9, "B")
        text = self.fit("Caution. " + join(" ", lines))
        self.multi_cell(0, LINE_MM, text, border=1, fill=True, padding=2, new_x="LMARGIN", new_y="NEXT")
        self.ln(1.5)
        self.type(9.5)

    def rows(
        self, head: Sequence[str], body: Sequence[Sequence[str]], widths: Sequence[float], *, right: Sequence[int] = ()
    ) -> None:
        """A table; columns whose numbers are in `right` are set flush right."""
        if not body:
            return
        self.type(8.5)
        self.set_draw_color(*RULE)
        self.set_fill_color(255)
        aligns = tuple("RIGHT" if column in right else "LEFT" for column in range(len(head)))
        with self.table(
            col_widths=tuple(widths),
            text_align=aligns,
            line_height=4.2,
            padding=(0.9, 1.2),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD", color=SOFT),
            v_align=VAlign.T,
        ) as table:
            for row in (head, *body):
                table.row([self.fit(cell) for cell in row])
        self.ln(1.5)
        self.type(9.5)

    def facts(self, told: Sequence[tuple[str, str]], width: float = 45.0) -> None:
        """Names with their values, a line each."""
        for name, value in told:
            if self.will_page_break(LINE_MM):
                self.add_page()
            top = self.get_y()
            self.type(8.5, colour=SOFT)
            self.cell(width, LINE_MM, self.fit(name))
            self.set_xy(self.l_margin + width, top)
            self.type(9.5)
            self.multi_cell(self.epw - width, LINE_MM, self.fit(value), align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(1.5)

    def picture(self, data: bytes, width: float, alt: str, x: float | None = None, y: float | None = None) -> float:
        """A picture of that width at (x, y), with its text alternative; the height that it took, in mm."""
        info = self.image(
            io.BytesIO(data),
            x=self.l_margin if x is None else x,
            y=self.get_y() if y is None else y,
            w=width,
            alt_text=self.fit(alt),
        )
        return float(info.rendered_height or 0.0)

    def pictures(self, shown: Sequence[tuple[bytes, str, str]], across: int = 3) -> None:
        """Pictures (JPEG, caption, alternative) side by side, `across` in a row."""
        gap = 4.0
        width = (self.epw - (across - 1) * gap) / across
        for start in range(0, len(shown), across):
            if self.will_page_break(width * 1.1):
                self.add_page()
            top, lowest = self.get_y(), self.get_y()
            for column, (data, caption, alt) in enumerate(shown[start : start + across]):
                x = self.l_margin + column * (width + gap)
                height = self.picture(data, width, alt, x, top)
                self.set_xy(x, top + height + 0.8)
                self.type(7.5, colour=SOFT)
                self.multi_cell(width, 3.5, self.fit(caption), align="L", new_x="LMARGIN", new_y="NEXT")
                lowest = max(lowest, self.get_y())
            self.set_xy(self.l_margin, lowest + 2)
        self.type(9.5)

    def swatches(self, seen: Sequence[Swatch], target: Lab | None, height: float = 11.0) -> None:
        """Measured colours on a time axis (square root of the days), and the target at its end."""
        if not seen:
            return
        if self.will_page_break(height + 10):
            self.add_page()
        top, width = self.get_y() + 1, self.epw - (22 if target else 0)
        blocks = axis_blocks([swatch.days for swatch in seen])
        for swatch, (start, end) in zip(seen, blocks, strict=True):
            self._block(swatch.lab, self.l_margin + start * width, top, (end - start) * width, height)
        self.type(7, colour=SOFT)
        for days, place in axis_ticks([swatch.days for swatch in seen]):
            x = self.l_margin + place * width
            self.line(x, top + height, x, top + height + 1.2)
            first = place == 0
            self.set_xy(x - (1 if first else 10), top + height + 1.2)
            self.cell(20, 3.2, "day 0" if first else f"{days}", align="L" if first else "C")
        if target:
            self._block(target, self.l_margin + width + 4, top, 18, height)
            self.set_xy(self.l_margin + width + 4, top + height + 1.2)
            self.cell(18, 3.2, "target", align="C")
        self.set_xy(self.l_margin, top + height + 6)
        self.type(9.5)

    def _block(self, lab: Lab, x: float, y: float, width: float, height: float) -> None:
        red, green, blue = (int(value) for value in lab_to_srgb8(lab))
        self.set_fill_color(red, green, blue)
        self.set_draw_color(*RULE)
        self.set_line_width(0.15)
        self.rect(x, y, width, height, style="DF")

    def _lines(self, text: str, line: float) -> None:
        self.multi_cell(0, line, self.fit(text), align="L", new_x="LMARGIN", new_y="NEXT")


def axis_blocks(days: Sequence[float]) -> list[tuple[float, float]]:
    """Where each colour begins and ends on a strip of length 1: halfway to its neighbours, in square roots of days."""
    last = max(days[-1], 1e-9)
    places = [(max(day, 0.0) / last) ** 0.5 for day in days]
    # Moments of one hour must not vanish: each block has a least width, and the rest shares what is left.
    edges = [0.0, *((one + other) / 2 for one, other in pairwise(places)), 1.0]
    least = min(0.03, 1 / len(days))
    widths = [max(end - start, least) for start, end in pairwise(edges)]
    total = sum(widths)
    ends = [sum(widths[: count + 1]) / total for count in range(len(widths))]
    return list(zip([0.0, *ends[:-1]], ends, strict=True))


def axis_ticks(days: Sequence[float]) -> list[tuple[int, float]]:
    """Days worth a tick and their places on the same strip."""
    last = max(days[-1], 1e-9)
    kept: list[tuple[int, float]] = []
    for day in (0, 1, 3, 7, 14, 28, 56, 112, 224):
        place = (day / last) ** 0.5
        # The first is longer to read than the others.
        if place <= 1 and (not kept or place - kept[-1][1] > (0.13 if kept[-1][0] == 0 else 0.07)):
            kept.append((day, place))
    return kept


def grams(value: float) -> str:
    """Grams to a tenth, without needless zeros."""
    return f"{value:,.1f}".removesuffix(".0") + " g"


def maybe_day(at: datetime | None) -> str:
    """A day, or that it is not known."""
    return formatting.day(at) if at else msg("not recorded")
