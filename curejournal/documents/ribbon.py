"""The ribbon: a portion's measured colours along time, its doubt as a soft edge, the target apart at its end.

One drawing for app, portfolio, fact sheet, label and record. `ribbon` places everything between 0 and 1; `ribbon_svg`
draws it, and `ribbon_html` puts dates in the page's own type under it.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from typing import TYPE_CHECKING, Literal

from curejournal.base.lazy import Module
from curejournal.base.messages import msg
from curejournal.colour.sample import Lab
from curejournal.documents.formatting import DAY, hex_colour
from curejournal.documents.style import RIBBON_PX

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from curejournal.colour import spaces
    from curejournal.judging.colour_series import ColourSeries
else:  # a page without a ribbon needs them not
    np, spaces = Module("numpy"), Module("curejournal.colour.spaces")

Scale = Literal["linear", "root", "log"]

SCALES: dict[Scale, str] = {
    "linear": msg("Every day is drawn equally wide."),
    "root": msg("Early days are drawn wider (square root of time)."),
    "log": msg("Early hours are drawn widest (logarithm of time)."),
}
"""What is said on a ribbon of its axis of time."""
TICKS_DAYS = (1.0, 3.0, 7.0, 14.0, 28.0, 56.0, 112.0, 224.0, 448.0)
"""Days that may be named under a ribbon. Ours."""
APART = 0.1
"""Least distance of two names under a ribbon, as a share of its width: 32 px on the narrowest phone. Ours."""
NAME_SHARE = 0.03
"""Width of a letter under a ribbon, as a share of its width on the narrowest phone, with some air. Ours."""
TARGET_SHARE, GAP_SHARE = 0.12, 0.015
SLICES = 72
SOFTEST = 10.0
"""Half a 95 % interval, in Lab units, whose edges are as soft as drawn: then a solid core of a tenth is left. Ours."""
UNSEEN_PER_ROOT_DAY = 1.2
"""By how much the doubt grows with the square root of the days to the nearest reading; for drawing alone. Ours."""


@dataclass(frozen=True)
class Slice:
    """A piece of a ribbon: its ends in 0 to 1, its sRGB colour, and how soft its edges are, 0 (sharp) to 1."""

    start: float
    end: float
    colour: str
    softness: float


@dataclass(frozen=True)
class Ribbon:
    """A ribbon, placed: `ends` is where the bar ends (today), `target` stands from there on after a gap.

    `ticks` are places and names under it; `words` say the same for who cannot see it; `said` is how time runs along it,
    if in other words than those of `SCALES`.
    """

    slices: tuple[Slice, ...]
    ends: float
    target: str | None
    ticks: tuple[tuple[float, str], ...]
    scale: Scale
    words: str
    said: str = ""

    @property
    def time_words(self) -> str:
        """How time runs along it."""
        return self.said or SCALES[self.scale]


def ribbon_of(
    journey: ColourSeries, portion: str, until_days: float, scale: Scale = "root", end: str = msg("today")
) -> Ribbon:
    """Place a portion's ribbon from the pour until so many days after it."""
    points = journey.points
    doubts = [1.96 * float(np.sqrt(np.mean(np.square(point.lab_sd)))) for point in points]
    words = msg(
        "{portion}: measured colours from the pour to day {until_days:.0f}; {words}.",
        portion=portion,
        until_days=until_days,
        words=journey.words,
    )
    days, labs = [point.days for point in points], [point.lab for point in points]
    return ribbon(days, labs, doubts, until_days, journey.target_lab, scale=scale, end=end, words=words)


def main_portion(journeys: Mapping[str, ColourSeries]) -> str:
    """Name the portion whose colour changed most; empty without a reading."""
    found = {name: journey for name, journey in journeys.items() if journey.points}
    return max(found, key=lambda name: _change(found[name]), default="")


def _change(journey: ColourSeries) -> float:
    first = journey.points[0].lab
    return max(sum((a - b) ** 2 for a, b in zip(first, point.lab, strict=True)) for point in journey.points)


def until_now(journey: ColourSeries, portion: str, on: datetime) -> Ribbon | None:
    """Place a portion's ribbon from the pour until a moment; None without a reading."""
    if not journey.points:
        return None
    start = journey.points[0].at - journey.points[0].days * DAY
    return ribbon_of(journey, portion, max((on - start) / DAY, 0.0))


def strip_html(journeys: Mapping[str, ColourSeries], on: datetime) -> str:
    """Draw the main portion's ribbon as a thin strip; an empty line without a reading."""
    name = main_portion(journeys)
    placed = until_now(journeys[name], name, on) if name else None
    return ribbon_html(placed, "strip") if placed else "<span></span>"


def ribbon(
    days: Sequence[float],
    labs: Sequence[Lab],
    doubts: Sequence[float],
    until: float,
    target: Lab | None = None,
    *,
    scale: Scale = "root",
    end: str = msg("today"),
    words: str = "",
) -> Ribbon:
    """Place a ribbon of measured colours.

    Parameters
    ----------
    days : sequence of float, shape (N,)
        Days since the pour of each reading, ascending; N at least 1.
    labs : sequence of (L*, a*, b*), shape (N, 3)
        CIELAB D50/2.
    doubts : sequence of float, shape (N,)
        Half the 95 % interval of each, in Lab units.
    until : float
        Where the bar ends, in days.
    target : (L*, a*, b*), optional
    scale : str
        How time runs along it, see `SCALES`.
    end : str
        The name of the bar's end.
    words : str
        The same as a sentence.

    Returns
    -------
    Ribbon
    """
    at = np.array(days, float)
    last = max(until, float(at[-1]), 1 / 24)
    share = 1.0 if target is None else 1 - TARGET_SHARE - GAP_SHARE
    edges = np.linspace(0, 1, SLICES + 1)
    middle = _day((edges[:-1] + edges[1:]) / 2, last, scale)
    lab = np.stack([np.interp(middle, at, column) for column in np.array(labs, float).T], axis=1)
    away = np.abs(middle[:, None] - at).min(axis=1)
    soft = (np.interp(middle, at, doubts) + UNSEEN_PER_ROOT_DAY * np.sqrt(away)) / SOFTEST
    colours = ["#{:02x}{:02x}{:02x}".format(*rgb) for rgb in spaces.lab_to_srgb8(lab).tolist()]
    slices = tuple(
        Slice(float(start) * share, float(stop) * share, colour, float(min(softness, 1.0)))
        for start, stop, colour, softness in zip(edges[:-1], edges[1:], colours, soft, strict=True)
    )
    ticks = [(0.0, msg("pour"))]
    for day in TICKS_DAYS:
        place = share * _place(day, last, scale)
        if place - ticks[-1][0] >= APART and share - place >= 1.2 * APART:
            ticks.append((place, msg("day {day:.0f}", day=day) if len(ticks) == 1 else f"{day:.0f}"))
    ticks.append((share, end))
    return Ribbon(slices, share, hex_colour(target) if target else None, tuple(ticks), scale, words)


def _place(day: float, last: float, scale: Scale) -> float:
    if scale == "linear":
        return day / last
    return math.sqrt(day / last) if scale == "root" else math.log1p(24 * day) / math.log1p(24 * last)


def _day(place: NDArray[np.float64], last: float, scale: Scale) -> NDArray[np.float64]:
    if scale == "linear":
        return place * last
    return place**2 * last if scale == "root" else np.expm1(place * math.log1p(24 * last)) / 24


LAYERS = 8
VEIL = 0.2
"""Each veil's share of ink at a soft edge; with eight of them a veiled edge has 83 % of it beside the core. Ours."""


def ribbon_svg(shown: Ribbon, width: float = 1000, height: float = 34, *, soft: bool = True, about: bool = True) -> str:
    """Draw a ribbon as SVG that stretches to any width.

    Parameters
    ----------
    width, height : float
        The drawing's own size, in its units.
    soft : bool
        Whether the doubt softens its edges; a thin strip is too low for that.
    about : bool
        Whether it says its words itself.
    """
    stops = "".join(
        f'<stop offset="{(one.start + one.end) / 2 / shown.ends:.4f}" stop-color="{one.colour}"/>'
        for one in (shown.slices if soft else shown.slices[::3])
    )
    name = f'role="img" aria-label="{escape(shown.words)}"' if about else 'aria-hidden="true"'
    end = width * shown.ends
    size = f'viewBox="0 0 {width:g} {height:g}" preserveAspectRatio="none"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {name}>',
        f'<defs><linearGradient id="c" gradientUnits="userSpaceOnUse" x1="0" x2="{end:.1f}" y1="0" y2="0">{stops}'
        "</linearGradient></defs>",
    ]
    if soft:
        for layer in range(LAYERS):
            parts.append(_veil(shown, width, height, layer / LAYERS, f'fill="url(#c)" fill-opacity="{VEIL}"'))
        parts.append(_veil(shown, width, height, 1.0, 'fill="url(#c)"'))
    else:
        parts.append(f'<rect width="{end:.1f}" height="{height:g}" fill="url(#c)"/>')
    if shown.target:
        start = end + width * GAP_SHARE
        parts.append(f'<rect x="{start:.1f}" width="{width - start:.1f}" height="{height:g}" fill="{shown.target}"/>')
    return "".join([*parts, "</svg>"])


def _veil(shown: Ribbon, width: float, height: float, depth: float, fill: str) -> str:
    """The bar with both edges drawn in by a share of their softness."""
    # Every other slice: an edge that soft shows no more, and a page of many ribbons weighs half.
    inset = [(width * (s.start + s.end) / 2, 0.45 * height * s.softness * depth) for s in shown.slices[::2]]
    inset = [(0.0, inset[0][1]), *inset, (width * shown.ends, inset[-1][1])]
    line = [f"{x:.1f},{y:.1f}" for x, y in inset] + [f"{x:.1f},{height - y:.1f}" for x, y in reversed(inset)]
    return f'<polygon points="{" ".join(line)}" {fill}/>'


def ribbon_pixels(shown: Ribbon, width: int, height: int, *, soft: bool = True) -> NDArray[np.uint8]:
    """Draw a ribbon as pixels, for paper and for pictures: sRGB and opacity, the same drawing as `ribbon_svg`.

    Returns
    -------
    ndarray of shape (height, width, 4), uint8
    """
    at = (np.arange(width) + 0.5) / width
    middles = [(one.start + one.end) / 2 for one in shown.slices]
    colours = np.array([list(bytes.fromhex(one.colour[1:])) for one in shown.slices], float)
    drawn = np.zeros((height, width, 4))
    drawn[..., :3] = np.stack([np.interp(at, middles, column) for column in colours.T], axis=1)
    inset = 0.45 * height * np.interp(at, middles, [one.softness * soft for one in shown.slices])
    depth = np.minimum(np.arange(height) + 0.5, height - np.arange(height) - 0.5)[:, None]
    veils = sum((depth >= inset * layer / LAYERS).astype(int) for layer in range(LAYERS))
    drawn[..., 3] = np.where(depth >= inset, 1.0, 1 - (1 - VEIL) ** veils) * 255 * (at < shown.ends)
    if shown.target:
        there = at >= shown.ends + GAP_SHARE
        drawn[:, there] = [*bytes.fromhex(shown.target[1:]), 255]
    return np.round(drawn).astype(np.uint8)


def as_image(svg: str) -> str:
    """Give an SVG as the address of an image."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def ribbon_html(
    shown: Ribbon, kind: Literal["strip", "read"] = "read", *, axis: bool = True, say: Callable[[str], str] = str
) -> str:
    """Draw a ribbon for a page: a thin *strip* under a picture, or one to *read*, with its days and how time runs."""
    read = kind == "read"
    height = RIBBON_PX[kind]
    svg = ribbon_svg(shown, height=height, soft=read, about=False)
    image = f'<img src="{as_image(svg)}" alt="{escape(say(shown.words))}" style="height:{height}px">'
    if not read:
        return f'<div class="ribbon strip">{image}</div>'
    names = "".join(
        f'<span style="left:{100 * place:.1f}%" class="{look}">{escape(say(name))}</span>'
        for place, name, look in _named(shown, say)
    )
    if shown.target:
        names += f'<span class="target">{escape(say(msg("target")))}</span>'
    said = f'<p class="axis">{escape(say(shown.time_words))}</p>' if axis else ""
    return f'<div class="ribbon">{image}<div class="days" aria-hidden="true">{names}</div>{said}</div>'


def _named(shown: Ribbon, say: Callable[[str], str]) -> Iterator[tuple[float, str, str]]:
    """Each tick with its class; on a phone those that would touch a neighbour are left out, and the next says *day*."""
    before, said = 0.0, True
    room = NAME_SHARE * len(str(say(shown.ticks[-1][1])))
    for place, name in shown.ticks:
        if place in (0, shown.ends):
            yield place, name, "end" if place else "first"
        elif place - before < 2 * APART or shown.ends - place < room:
            said = False if before == 0 else said
            yield place, name, "mid close"
        else:
            if not said:
                yield place, msg("day {day:.0f}", day=float(name)), "mid narrow"
            yield place, name, "mid" if said else "mid close"
            before, said = place, True


RIBBON_CSS = """
.ribbon{margin:0;line-height:0}.ribbon img{width:100%;display:block;border-radius:var(--r)}
.ribbon .days{position:relative;height:1.5rem;font:400 var(--small)/1.5rem var(--sans);color:var(--soft)}
.ribbon .days span{position:absolute;white-space:nowrap}.ribbon .days .mid{transform:translateX(-50%)}
.ribbon .days .end{transform:translateX(-100%)}.ribbon .days .target{right:0}
.ribbon .days{container-type:inline-size}.ribbon .days .narrow{display:none}
@container (max-width:30rem){.ribbon .days .close{display:none}.ribbon .days .narrow{display:inline}}
.ribbon .axis{margin:0;font:400 var(--small)/1.4 var(--sans);color:var(--soft)}
"""
