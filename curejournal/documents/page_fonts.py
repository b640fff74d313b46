"""Type for web pages that stand alone: our own faces, cut down to the signs in use, within the style sheet itself.

So nothing moves when they arrive, no page asks another computer for them, and they weigh some 10 kB each.
"""

from __future__ import annotations

import base64
import io

from fontTools import subset
from fontTools.ttLib import TTFont

from curejournal.documents.style import PAPER_FONTS, SANS, SERIF, font_path

FACES = (("display", SERIF, 500), ("serif", SERIF, 400), ("sans", SANS, 400), ("sans bold", SANS, 600))
"""What each face is for, its family and its weight."""


def embedded_faces(text: str) -> str:
    """Write the CSS that brings our faces, with the signs of a text; the reader's own face has what ours lack.

    A face that is late is left out (*optional*), so that no line of a page moves once it can be read.
    """
    return "".join(
        f"@font-face{{font-family:'{family}';font-weight:{weight};font-display:optional;"
        f"src:url(data:font/woff;base64,{_cut(kind, text)})}}"
        for kind, family, weight in FACES
    )


def _cut(kind: str, text: str) -> str:
    options = subset.Options()
    options.flavor = "woff"  # of web formats the one that needs no further library
    options.layout_features = ["kern", "liga"]
    options.name_IDs = [0, 13, 14]  # whose it is, and its licence
    # Read as it is needed: most of it is left out, and half of the time would go into reading that.
    with TTFont(font_path(PAPER_FONTS[kind]), lazy=True) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(text=text)
        cutter.subset(font)
        font.flavor = "woff"
        out = io.BytesIO()
        font.save(out)
    return base64.b64encode(out.getvalue()).decode()
