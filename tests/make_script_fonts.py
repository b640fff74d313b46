"""Make the type for other scripts again from the Noto fonts of two packages, both under the SIL Open Font License.

    pip install --target FOLDER manimgx-fonts==2026.9.26.post1 noto-cjk-sans-jp-regular==0.0.1
    python -m tests.make_script_fonts FOLDER

Each becomes one weight, without hints, which paper needs not. Of the glyphs of Chinese, Japanese and Korean those are
kept that a sign of Unicode leads to; a face for vertical lines or for other regions' forms is not.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

from curejournal.documents import style

LEFT_OUT = ("NotoSans-Italic",)
SHAPES = ["ccmp", "locl", "init", "medi", "fina", "isol", "rlig", "calt", "liga", "kern", "mark", "mkmk"]
"""What joins letters in a line, in the scripts of the CJK font; the others keep all that they have."""


def main(folder: Path) -> None:
    goal = Path(style.font_path("noto"))
    goal.mkdir(exist_ok=True)
    for source in sorted(folder.rglob("*.[to]tf")):
        name = source.name.partition("[")[0].removesuffix(source.suffix)
        if name in LEFT_OUT or not name.startswith("Noto"):
            continue
        font = TTFont(source)
        if "fvar" in font:
            font = instancer.instantiateVariableFont(font, {"wght": 400})
        asked = Options(hinting=False, name_IDs=["*"], glyph_names=False, notdef_outline=True)
        asked.layout_features = SHAPES if "CJK" in name else ["*"]
        cut = Subsetter(asked)
        cut.populate(unicodes=font.getBestCmap())
        cut.subset(font)
        made = goal / f"{name}{source.suffix}"
        font.save(made)
        print(f"{name}: {source.stat().st_size} to {made.stat().st_size} bytes", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
