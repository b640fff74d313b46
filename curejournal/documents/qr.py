"""QR codes on paper."""

from __future__ import annotations

import numpy as np
import segno
from fpdf import FPDF

# ISO/IEC 18004, 7.3.8 (first edition: 8.1): four light modules all round.
QUIET_MODULES = 4


def draw_qr(pdf: FPDF, text: str, x: float, y: float, side: float, *, boost_error: bool = True) -> None:
    """Draw a text as a QR code in a square of the page, in mm; its quiet zone lies within."""
    modules = np.array([list(row) for row in segno.make(text, error="m", micro=False, boost_error=boost_error).matrix])
    step = side / (len(modules) + 2 * QUIET_MODULES)
    pdf.set_fill_color(0)
    for row, column in np.argwhere(modules).tolist():
        pdf.rect(x + (column + QUIET_MODULES) * step, y + (row + QUIET_MODULES) * step, step, step, style="F")
