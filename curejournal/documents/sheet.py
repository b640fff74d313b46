"""A page on paper: our type, headings, tables and measured swatches; text in any script is safe."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, VAlign
from fpdf.fonts import FontFace
from PIL import Image

from curejournal.base.messages import Voice, join, localise, msg, quantity
from curejournal.documents import formatting
from curejournal.documents.ribbon import GAP_SHARE, Ribbon, ribbon_pixels
from curejournal.documents.style import LIGHT
from curejournal.documents.typefaces import DISPLAY, SERIF, TEXT, face_of, is_ours, lacking, own_faces, printable

RGB = tuple[int, int, int]


def rgb(colour: str) -> RGB:
    """A colour written as #rrggbb, as three numbers."""
    red, green, blue = bytes.fromhex(colour[1:])
    return red, green, blue


INK, SOFT, RULE, TINT = (rgb(colour) for colour in (LIGHT.ink, LIGHT.soft, LIGHT.line, LIGHT.paper))
HOLD = rgb(LIGHT.hold)
RIBBON_PRINT_PX = 1200
"""Pixels along a printed ribbon: 175 to the inch over a page's width, enough for what changes slowly. Ours."""
SOFT_FROM_MM = 4.0
"""A ribbon lower than this is too thin to show its doubt. Ours."""
MARGIN_MM = 18.0
LINE_MM = 4.6


@dataclass(frozen=True)
class Picture:
    """A picture to show: JPEG, its caption and its text alternative."""

    jpeg: bytes
    caption: str
    alt: str


class Printed(FPDF):
    """A document in our type, in millimetres."""

    def __init__(self, format: str | tuple[float, float], voice: Voice | None = None) -> None:  # noqa: A002 (fpdf2's own name)
        super().__init__(unit="mm", format=format)
        self._voice = voice
        self._brought: list[str] = []
        self._lacking: dict[str, None] = {}
        for family, style, file in own_faces():
            self.add_font(family, style, file)
        self.set_fallback_fonts([TEXT], exact_match=False)

    def type(self, size: float, style: str = "", colour: RGB = INK, face: str = TEXT) -> None:
        """Choose size in points, style, colour and face of what is written next."""
        self.set_font(face, style, size)
        self.set_text_color(*colour)

    def fit(self, text: str) -> str:
        """Say text to the reader as it can be printed, with the faces it needs; `_lacking` are signs that none has."""
        text = str(localise(text, self._voice))
        self._lacking |= dict.fromkeys(lacking(text))
        kept = printable(text)
        needed = {face.family: face for sign in kept if not is_ours(sign) and (face := face_of(sign))}
        for family in [family for family in needed if family not in self._brought]:
            self.add_font(family, "", needed[family].path)
            self._brought.append(family)
            self.set_fallback_fonts([TEXT, *self._brought], exact_match=False)
            self.set_text_shaping(True)  # joined letters, and from right to left
        return kept


class Sheet(Printed):
    """A document with margins. `running` stands at the foot of each page, beside its number.

    Its pages are of the reader's paper, A4 if that is not known, unless it has a format of its own.
    """

    def __init__(
        self,
        title: str,
        running: str,
        made_on: datetime,
        format: str | tuple[float, float] | None = None,  # noqa: A002 (fpdf2's own name)
        voice: Voice | None = None,
    ) -> None:
        super().__init__(format or (voice.paper if voice else "A4"), voice)
        self._running = self.fit(running)
        self.set_title(self.fit(title))
        self.set_lang("en-GB")
        self.set_creation_date(made_on)
        self.set_margin(MARGIN_MM)
        self.c_margin = 0.0  # what is written begins where pictures and lines do
        self.set_auto_page_break(True, margin=MARGIN_MM + 4)
        self.type(10)

    def footer(self) -> None:
        """The running line and the page's number; above it, what a “?” stands for."""
        if self._lacking:
            told = join(", ", (f"U+{ord(sign):04X}" for sign in self._lacking))
            self.set_y(-18)
            self.type(7, colour=SOFT)
            self.cell(
                self.epw,
                4,
                self.fit(msg("“?” stands for characters that no typeface here has: {signs}", signs=told))[:140],
            )
        self.set_y(-14)
        self.type(7.5, colour=SOFT)
        self.cell(self.epw - 25, 5, self._running)
        self.cell(25, 5, self.fit(msg("page {page_no} of {{nb}}", page_no=self.page_no())), align="R")

    def title_line(self, title: str, beneath: str = "") -> None:
        """The head of a document."""
        self.type(24, face=DISPLAY)
        self._lines(title, 9.6)
        if beneath:
            self.type(10, colour=SOFT)
            self._lines(beneath, 5.2)
        self.ln(2)

    def heading(self, text: str, room: float = 36) -> None:
        """A heading with a hairline; on the next page if less than `room` mm are left for it and what follows."""
        if self.will_page_break(room):
            self.add_page()
        self.ln(3.5)
        self.rule()
        self.ln(1.8)
        self.type(13.5, face=DISPLAY)
        self._lines(text, 5.8)
        self.ln(0.8)
        self.type(9.5)

    def rule(self) -> None:
        """A hairline over the page's width."""
        self.set_draw_color(*RULE)
        self.set_line_width(0.25)
        self.line(self.l_margin, self.get_y(), self.l_margin + self.epw, self.get_y())

    def story(self, text: str, size: float = 13, colour: RGB = INK) -> None:
        """A sentence that tells something, in the serif."""
        self.type(size, colour=colour, face=SERIF)
        self._lines(text, size * 0.5)
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
        text = self.fit(join(" ", (msg("Caution."), *lines)))
        self.multi_cell(0, LINE_MM, text, border=1, align="L", fill=True, padding=2, new_x="LMARGIN", new_y="NEXT")
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

    def pictures(self, shown: Sequence[Picture], across: int = 3) -> None:
        """Pictures side by side, `across` in a row."""
        gap = 4.0
        width = (self.epw - (across - 1) * gap) / across
        for start in range(0, len(shown), across):
            if self.will_page_break(width * 1.1):
                self.add_page()
            top, lowest = self.get_y(), self.get_y()
            for column, one in enumerate(shown[start : start + across]):
                x = self.l_margin + column * (width + gap)
                height = self.picture(one.jpeg, width, one.alt, x, top)
                self.set_xy(x, top + height + 0.8)
                self.type(7.5, colour=SOFT)
                self.multi_cell(width, 3.5, self.fit(one.caption), align="L", new_x="LMARGIN", new_y="NEXT")
                lowest = max(lowest, self.get_y())
            self.set_xy(self.l_margin, lowest + 2)
        self.type(9.5)

    def ribbon(
        self,
        shown: Ribbon,
        height: float = 8.0,
        *,
        days: bool = True,
        said: bool = True,
        x: float | None = None,
        width: float | None = None,
    ) -> None:
        """A ribbon of that height in mm; under it its days, and how time runs along it."""
        if self.will_page_break(height + 10):
            self.add_page()
        left, wide = (self.l_margin if x is None else x), (self.epw if width is None else width)
        top = self.get_y() + 0.8
        high = max(8, round(height * 8))
        pixels = ribbon_pixels(shown, RIBBON_PRINT_PX, high, soft=height >= SOFT_FROM_MM)
        self.image(Image.fromarray(pixels), left, top, wide, height, alt_text=self.fit(shown.words))
        self.set_xy(left, top + height + 0.8)
        if days:
            self._days(shown, left, wide)
        if days and said:
            self.type(7, colour=SOFT)
            self.set_x(left)
            self.cell(wide, 3.4, self.fit(shown.time_words), new_x="LMARGIN", new_y="NEXT")
        self.type(9.5)

    def _days(self, shown: Ribbon, left: float, wide: float) -> None:
        self.type(7, colour=SOFT)
        top = self.get_y()
        named = [*shown.ticks, *([(shown.ends + GAP_SHARE, msg("target"))] if shown.target else [])]
        for place, name in named:
            back, align = (30.0, "R") if place == shown.ends else (15.0, "C")
            if place == 0 or place > shown.ends:
                back, align = 0.0, "L"
            self.set_xy(left + place * wide - back, top)
            self.cell(30, 3.4, self.fit(name), align=align)
        self.set_xy(self.l_margin, top + 4)

    def _lines(self, text: str, line: float) -> None:
        self.multi_cell(0, line, self.fit(text), align="L", new_x="LMARGIN", new_y="NEXT")


def grams(value: float) -> str:
    """Grams to a tenth, without needless zeros."""
    return quantity(f"{value:.1f}".removesuffix(".0"), "g")


def maybe_day(at: datetime | None) -> str:
    """A day, or that it is not known."""
    return formatting.day(at) if at else msg("not recorded")
