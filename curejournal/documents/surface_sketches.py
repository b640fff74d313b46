"""Small drawings of what may be found on a bar's surface, as SVG in tones that show on light paper and on dark."""

from __future__ import annotations

from curejournal.batch.records import SurfaceLook
from curejournal.documents.sketches import BROWN, CREAM
from curejournal.documents.style import CHART_LINE, LIGHT

WIDTH, HEIGHT = 96, 72
RUST, WATER = "#c0662c", "#a9c3cf"
"""Spots of rancid oil, and what is wet. Ours."""


def surface_sketch(look: SurfaceLook) -> str:
    """Draw a bar that shows it."""
    inner = {
        "clear": "",
        "ash": _ash(),
        "orange spots": _dots(((24, 34, 4), (43, 48, 3), (60, 33, 5), (72, 50, 3.5), (34, 57, 2.5)), RUST),
        "sweat": _dots(_BEADS, WATER, edge=True),
        "lye pocket": _pocket(),
        "weeping": _weeping(),
    }[look]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">'
        f'<rect x="10" y="16" width="76" height="48" rx="4" fill="{CREAM}" stroke="{CHART_LINE}" stroke-width="1.5"/>'
        f"{inner}</svg>"
    )


_BEADS = tuple((16 + 14 * k + 5 * (row % 2), 26 + 11 * row, 2.6) for row in range(4) for k in range(5))


def _dots(places: tuple[tuple[float, float, float], ...], colour: str, *, edge: bool = False) -> str:
    stroke = f' stroke="{LIGHT.soft}" stroke-width="0.8"' if edge else ""
    return "".join(f'<circle cx="{x}" cy="{y}" r="{r}" fill="{colour}"{stroke}/>' for x, y, r in places)


def _ash() -> str:
    film = (
        f'<path d="M11 17h74v14q-8 7-17 2t-18 3-20-2-19 1z" fill="#ffffff" stroke="{LIGHT.band}" stroke-width="0.8"/>'
    )
    return film + _dots(tuple((18 + 9 * k, 43 + 5 * (k % 2), 1.4) for k in range(8)), "#ffffff", edge=True)


def _pocket() -> str:
    vein = '<path d="M20 30q12 14 24 8t30 14" fill="none" stroke="#ffffff" stroke-width="3"/>'
    hole = f'<ellipse cx="46" cy="41" rx="11" ry="7" fill="{BROWN}"/>'
    return vein + hole + f'<ellipse cx="46" cy="43" rx="8" ry="4" fill="{WATER}"/>'


def _weeping() -> str:
    drops = "".join(
        f'<path d="M{x} {y}q5 8 0 10q-5-2 0-10" fill="{WATER}"/>' for x, y in ((28, 30), (52, 38), (70, 28))
    )
    return (
        drops + f'<path d="M6 66q40-6 84 0q-2 5-42 5t-42-5" fill="{WATER}" stroke="{LIGHT.soft}" stroke-width="0.8"/>'
    )
