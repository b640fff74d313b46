"""Make the type of the package again from the variable fonts of two npm packages, both under the SIL Open Font License.

    npm pack @fontsource-variable/newsreader @fontsource-variable/inter    # 5.3.0; unpack both below FOLDER
    python -m tests.make_fonts FOLDER

Needs `brotli`, which reads WOFF2. Pages get the files as they are; papers get instances with the scripts joined.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from fontTools.merge import Merger
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

from curejournal.documents import style

LATIN, ALL = ("latin", "latin-ext"), ("latin", "latin-ext", "greek", "cyrillic")
PAGES = {
    "newsreader-latin.woff2": "newsreader-latin-opsz-normal.woff2",
    "newsreader-latin-ext.woff2": "newsreader-latin-ext-wght-normal.woff2",
    **{f"inter-{script}.woff2": f"inter-{script}-wght-normal.woff2" for script in ALL},
}
PAPERS = {
    # file: (family, style, pattern, scripts, place on the axes)
    "Newsreader-Text.ttf": ("Newsreader", "Regular", "newsreader-{}-opsz-normal", LATIN, {"wght": 400, "opsz": 16}),
    "Newsreader-Italic.ttf": ("Newsreader", "Italic", "newsreader-{}-opsz-italic", LATIN, {"wght": 400, "opsz": 16}),
    "Newsreader-Display.ttf": (
        *("Newsreader Display", "Medium", "newsreader-{}-opsz-normal"),
        *(LATIN, {"wght": 500, "opsz": 48}),
    ),
    "Inter-Regular.ttf": ("Inter", "Regular", "inter-{}-wght-normal", ALL, {"wght": 400}),
    "Inter-SemiBold.ttf": ("Inter", "SemiBold", "inter-{}-wght-normal", ALL, {"wght": 600}),
}
LICENCE = "This Font Software is licensed under the SIL Open Font License, Version 1.1."
ONLY_ONCE = ("GSUB", "GPOS", "GDEF", "STAT")
"""Tables that are taken from the first script alone: the joiner cannot weave them."""


def instance(source: Path, place: dict[str, float], *, first: bool) -> TTFont:
    font = instancer.instantiateVariableFont(TTFont(source), place)
    font.flavor = None
    for table in () if first else [table for table in ONLY_ONCE if table in font]:
        del font[table]
    return font


def main(folder: Path) -> None:
    files = {path.name: path for path in folder.rglob("*.woff2")}
    goal = Path(style.font_path(""))
    for name, source in PAGES.items():
        shutil.copyfile(files[source], goal / name)
    for name, (family, kind, pattern, scripts, place) in PAPERS.items():
        with TemporaryDirectory() as scratch:
            parts = [Path(scratch) / f"{script}.ttf" for script in scripts]
            for number, (script, part) in enumerate(zip(scripts, parts, strict=True)):
                instance(files[f"{pattern.format(script)}.woff2"], place, first=number == 0).save(part)
            font = Merger().merge([str(part) for part in parts])
        names = {1: family, 2: kind, 4: f"{family} {kind}", 6: f"{family}-{kind}".replace(" ", ""), 13: LICENCE}
        for number, text in names.items():
            font["name"].setName(text, number, 3, 1, 0x409)
        font.save(goal / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
