"""Type for paper in many scripts: which face has a sign, and what is left of a text that none of them has."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from fontTools.ttLib import TTFont

from curejournal.documents.style import PAPER_FONTS, font_path

TEXT, SERIF, DISPLAY = "text", "serif", "display"
"""Names of our own faces on paper: for what is read at work, for stories, and for names and headings."""
_NOTO = files("curejournal.documents") / "fonts" / "noto"
UNSEEN = ("Cf", "Mn", "Cc")
"""Unicode's categories of marks and controls that are not seen by themselves."""


@dataclass(frozen=True)
class Face:
    """A font file under the name that it has on paper."""

    family: str
    path: str


_OURS = font_path(PAPER_FONTS["sans"])
WIDER = Face("NotoSans", str(_NOTO / "NotoSans.ttf"))
"""For rarer Latin, Greek and Cyrillic letters, Vietnamese ones say, and for signs of mathematics."""


def own_faces() -> tuple[tuple[str, str, str], ...]:
    """Our own faces: the name, the style and the file of each."""
    kinds = ((TEXT, "", "sans"), (TEXT, "B", "sans bold"), (SERIF, "", "serif"), (DISPLAY, "", "display"))
    return tuple((family, style, font_path(PAPER_FONTS[kind])) for family, style, kind in kinds)


@cache
def others() -> tuple[Face, ...]:
    """Faces for the signs that ours lacks; emoji after letters, the large face of Chinese, Japanese and Korean last."""
    faces = [Face(file.name.partition(".")[0], str(file)) for file in _NOTO.iterdir() if file.name.endswith("tf")]
    return tuple(sorted(faces, key=lambda face: (*(word in face.family for word in ("CJK", "Emoji")), face.family)))


@cache
def _signs(path: str) -> frozenset[int]:
    with TTFont(path, lazy=True) as font:
        return frozenset(font.getBestCmap())


def is_ours(sign: str) -> bool:
    """Whether our own text's face has a sign."""
    return ord(sign) in _signs(_OURS)


@cache
def face_of(sign: str) -> Face | None:
    """The face for a sign that ours lacks, if one has it."""
    return next((face for face in others() if ord(sign) in _signs(face.path)), None)


def printable(text: str) -> str:
    """Text with every sign that no face has replaced: by its plain letter if it has one, else by “?”."""
    return "".join(_kept(sign) for sign in unicodedata.normalize("NFC", text))


def _kept(sign: str) -> str:
    if is_ours(sign) or sign == "\n":
        return sign
    if ord(sign) in _signs(WIDER.path) and unicodedata.category(sign) not in (*UNSEEN, "Zs", "Zl", "Zp"):
        return sign
    if unicodedata.category(sign) in ("Cf", "Cc"):
        return ""
    plain = "".join(one for one in unicodedata.normalize("NFKD", sign) if is_ours(one))
    if plain:
        return plain
    if face_of(sign):
        return sign
    return "" if unicodedata.category(sign) in UNSEEN else "?"


def lacking(text: str) -> tuple[str, ...]:
    """The signs of a text that no face has, and that a “?” stands for."""
    return tuple(
        dict.fromkeys(sign for sign in unicodedata.normalize("NFC", text) if sign != "?" and _kept(sign) == "?")
    )
