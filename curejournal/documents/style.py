"""The visual language of app, web pages, papers, cards and labels: type, space, colour, signs and charts in one place.

Colour comes from soap; around it are paper and ink. A state is always a word and a sign, never a colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import Any, Literal

from curejournal.base.messages import msg

SERIF = "Newsreader"
"""For names, headings and stories. Licence: `fonts/OFL-Newsreader.txt`."""
SANS = "Inter"
"""For everything that is read at work. Licence: `fonts/OFL-Inter.txt`."""
SERIF_STACK = f"'{SERIF}', Charter, Georgia, 'Noto Serif', serif"
SANS_STACK = f"'{SANS}', system-ui, -apple-system, 'Segoe UI', 'Noto Sans', sans-serif"

TYPE_PX = {"display": 40, "title": 24, "head": 19, "text": 15, "small": 13}
"""The type scale in CSS pixels. Ours: five sizes, each about 1.3 to 1.6 times the next."""
STEP_PX = 4
"""All distances are multiples of this many CSS pixels. Ours."""
PICTURE_RADIUS_PX, PANEL_RADIUS_PX = 6, 10
RIBBON_PX = {"strip": 12, "read": 34}
"""A ribbon's height under a picture, and where it is read."""


@dataclass(frozen=True)
class Roles:
    """What each colour is for, as sRGB hex. `hold_ink` is written on a filled `hold`."""

    paper: str
    card: str
    ink: str
    soft: str
    line: str
    edge: str
    hold: str
    hold_ink: str
    ready: str
    wait: str
    band: str


LIGHT = Roles(
    paper="#f7f5f1",
    card="#fffdfa",
    ink="#22201d",
    soft="#6d665d",
    line="#e2dcd2",
    edge="#8a8276",
    hold="#9c3b28",
    hold_ink="#ffffff",
    ready="#2f6148",
    wait="#4a4f63",
    band="#cfc7ba",
)
DARK = Roles(
    paper="#191714",
    card="#221f1b",
    ink="#f0ebe2",
    soft="#b0a89b",
    line="#3a352e",
    edge="#857d71",
    hold="#b24a33",
    hold_ink="#ffffff",
    ready="#9accb0",
    wait="#b6bbd3",
    band="#4b453c",
)
"""Contrast to paper and card is at least 4.5:1 for text and states, 3:1 for `edge` (WCAG 2.2, 1.4.3 and 1.4.11)."""

Kind = Literal["hold", "ready", "wait", "unknown"]


@dataclass(frozen=True)
class State:
    """How a state is shown: its sign beside the word, and the kind of tag: filled, outlined, dashed or dotted."""

    sign: str
    kind: Kind


STATES: Mapping[str, State] = {
    msg("on hold"): State("■", "hold"),
    "hold": State("■", "hold"),
    "ready": State("✓", "ready"),
    "released": State("✓", "ready"),
    "pass": State("✓", "ready"),
    "go": State("✓", "ready"),
    "not yet": State("◔", "wait"),
    "pending": State("◔", "wait"),
    "wait": State("◔", "wait"),
    "decide": State("◇", "wait"),
    msg("not known"): State("?", "unknown"),
}
"""Every state of a batch or a check by its word."""


def state_of(word: str) -> State:
    """How a state is shown; a word that is not known is shown as not known."""
    return STATES.get(word, STATES["not known"])


MARK = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 22" width="{width}" height="{height}" {about}>'
    '<clipPath id="{id}"><path d="M1 8q3-5 7.5-3.5T16 4t8 .5T31 6v13a3 3 0 0 1-3 3H4a3 3 0 0 1-3-3z"/></clipPath>'
    '<g clip-path="url(#{id})"><path fill="#65544d" d="M0 0h12v22H0z"/><path fill="#826a80" d="M12 0h10v22H12z"/>'
    '<path fill="#9a7bab" d="M22 0h10v22H22z"/></g></svg>'
)
"""A bar with a textured top whose colour comes back along time: brown, mauve, lilac."""


def mark(height: int = 22, name: str = "", key: str = "mark") -> str:
    """Draw the mark as SVG; with a name it is an image of its own, without one it decorates what stands beside it."""
    about = f'role="img" aria-label="{name}"' if name else 'aria-hidden="true"'
    return MARK.format(width=round(height * 32 / 22), height=height, about=about, id=key)


# Type -----------------------------------------------------------------------------------------------

LATIN = (
    "U+0000-00FF,U+0131,U+0152-0153,U+02BB-02BC,U+02C6,U+02DA,U+02DC,U+0304,U+0308,U+0329,U+2000-206F,U+20AC,U+2122,"
    "U+2191,U+2193,U+2212,U+2215,U+FEFF,U+FFFD"
)
LATIN_EXT = (
    "U+0100-02BA,U+02BD-02C5,U+02C7-02CC,U+02CE-02D7,U+02DD-02FF,U+1D00-1DBF,U+1E00-1E9F,U+1EF2-1EFF,U+2020,"
    "U+20A0-20AB,U+20AD-20C0,U+2113,U+2C60-2C7F,U+A720-A7FF"
)
GREEK, CYRILLIC = "U+0370-03FF", "U+0301,U+0400-045F,U+0490-0491,U+04B0-04B1,U+2116"


@dataclass(frozen=True)
class WebFont:
    """A font file for pages: its family, its weights, and the signs that it is loaded for."""

    file: str
    family: str
    weights: str
    signs: str


WEB_FONTS = (
    WebFont("newsreader-latin.woff2", SERIF, "200 800", LATIN),
    WebFont("newsreader-latin-ext.woff2", SERIF, "200 800", LATIN_EXT),
    WebFont("inter-latin.woff2", SANS, "100 900", LATIN),
    WebFont("inter-latin-ext.woff2", SANS, "100 900", LATIN_EXT),
    WebFont("inter-greek.woff2", SANS, "100 900", GREEK),
    WebFont("inter-cyrillic.woff2", SANS, "100 900", CYRILLIC),
)
PAPER_FONTS = {
    "serif": "Newsreader-Text.ttf",
    msg("serif italic"): "Newsreader-Italic.ttf",
    "display": "Newsreader-Display.ttf",
    "sans": "Inter-Regular.ttf",
    msg("sans bold"): "Inter-SemiBold.ttf",
}
"""Files for papers, by what they are for: instances of the same two families, made by `tests/make_fonts.py`."""


def font_path(name: str) -> str:
    """Give the path of a font file of this package."""
    return str(files(__package__) / "fonts" / name)


def font_faces(folder: str) -> str:
    """Write the CSS that loads the web fonts from a folder's address."""
    return "".join(
        f"@font-face{{font-family:'{font.family}';src:url({folder}/{font.file}) format('woff2');"
        f"font-weight:{font.weights};font-style:normal;font-display:swap;unicode-range:{font.signs}}}"
        for font in WEB_FONTS
    )


# Style sheets ---------------------------------------------------------------------------------------


def variables(scheme: Literal["light", "both"] = "both") -> str:
    """Write the roles, the type scale and the steps as CSS custom properties; *both* follows the reader's theme."""
    sizes = "".join(f"--{name}:{px / 16:g}rem;" for name, px in TYPE_PX.items())
    steps = "".join(f"--s{n}:{n * STEP_PX}px;" for n in (1, 2, 3, 4, 6, 9))
    fixed = f"--serif:{SERIF_STACK};--sans:{SANS_STACK};--r:{PICTURE_RADIUS_PX}px;--panel-r:{PANEL_RADIUS_PX}px;"
    light = f":root{{{_properties(LIGHT)}{sizes}{steps}{fixed}}}"
    return light if scheme == "light" else f"{light}@media (prefers-color-scheme:dark){{:root{{{_properties(DARK)}}}}}"


def _properties(roles: Roles) -> str:
    return "".join(f"--{name.replace('_', '-')}:{value};" for name, value in asdict(roles).items())


TAGS = """
.state{display:inline-flex;gap:.4em;align-items:center;border:1.5px solid currentColor;border-radius:99px;
padding:.2em .75em;font:600 var(--small)/1.4 var(--sans);white-space:nowrap}
.state.hold{background:var(--hold);border-color:var(--hold);color:var(--hold-ink)}
.state.ready{color:var(--ready)}.state.wait{color:var(--wait);border-style:dashed}
.state.unknown{color:var(--soft);border-style:dotted;border-width:2px}
"""
"""Tags of states: a hold is the only filled one."""


# Charts ---------------------------------------------------------------------------------------------

CHART_LINE, CHART_BAND, CHART_CALM = LIGHT.edge, "#a39885", "#5f8f86"
"""Mid-tones that stay readable on light paper and on dark (3:1 on either)."""


def chart_config() -> dict[str, Any]:
    """Give the look of every chart as Vega-Lite configuration; ink and paper are left to the page."""
    text = {"font": SANS, "fontSize": TYPE_PX["small"]}
    axis = {
        "labelFont": SANS,
        "titleFont": SANS,
        "labelFontSize": TYPE_PX["small"],
        "titleFontSize": TYPE_PX["small"],
        "titleFontWeight": "normal",
        "domain": False,
        "ticks": False,
        "labelPadding": 6,
        "titlePadding": 10,
        "gridOpacity": 0.35,
    }
    return {
        "axis": axis,
        "text": text,
        "legend": {"labelFont": SANS, "labelFontSize": TYPE_PX["small"], "labelLimit": 0},
        "view": {"strokeWidth": 0},
    }
