"""Small drawings of what will be on a page that is empty yet, as SVG in tones that show on light paper and on dark."""

from __future__ import annotations

from typing import Literal

from curejournal.documents.ribbon import ribbon, ribbon_svg
from curejournal.documents.style import CHART_BAND, CHART_LINE

Sketch = Literal["wall", "photo", "two", "ribbons", "page"]

BROWN, MAUVE, LILAC, CREAM, SAGE = "#7a665c", "#8d7689", "#9a7bab", "#e6dcc3", "#9db29a"
"""Example soaps: one that went brown and came back, a plain one, a green one. Ours."""
WIDTH, HEIGHT = 320, 150
EXAMPLE = ((45.0, 5.0, 9.0), (52.0, 9.0, -4.0), (57.0, 17.0, -20.0))
"""Example colours of a ribbon, CIELAB: brown, mauve, lilac. Ours."""


def sketch(what: Sketch) -> str:
    """Draw what will be there."""
    inner = {"wall": _wall, "photo": _photo, "two": _two, "ribbons": _ribbons, "page": _page}[what]()
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}">{inner}</svg>'


def _bar(x: float, y: float, width: float, height: float, *layers: str) -> str:
    """A bar of soap with a textured top; its layers from above."""
    wave = f"q{width / 8:.1f} -9 {width / 4:.1f} 0" * 4
    top = f'<path d="M{x} {y + 4}{wave}V{y + 12}H{x}z" fill="{layers[0]}"/>'
    each = height / len(layers)
    rest = "".join(
        f'<rect x="{x}" y="{y + 8 + k * each:.1f}" width="{width}" height="{each + 0.5:.1f}" fill="{colour}"/>'
        for k, colour in enumerate(layers)
    )
    return top + rest


def _frame(x: float, y: float, width: float, height: float, fill: str = "none") -> str:
    edge = f'stroke="{CHART_LINE}" stroke-width="1.5" rx="6"'
    return f'<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="{fill}" {edge}/>'


def _line(x: float, y: float, width: float) -> str:
    return f'<rect x="{x}" y="{y}" width="{width}" height="5" rx="2.5" fill="{CHART_BAND}"/>'


def _strip(x: float, y: float, width: float, height: float = 10) -> str:
    drawn = ribbon([0.0, 4.0, 20.0], list(EXAMPLE), [1.0, 1.0, 1.0], 20.0, EXAMPLE[-1])
    svg = ribbon_svg(drawn, width, height, soft=False, about=False)
    return svg.replace("<svg ", f'<svg x="{x}" y="{y}" width="{width}" height="{height}" ', 1)


def _wall() -> str:
    soaps = ((CREAM, LILAC, CREAM), (SAGE,), (CREAM, BROWN))
    return "".join(
        _frame(4 + 106 * k, 4, 98, 84)
        + _bar(30 + 106 * k, 26, 46, 48, *layers)
        + _strip(4 + 106 * k, 96, 98)
        + _line(4 + 106 * k, 116, 62)
        + _line(4 + 106 * k, 130, 40)
        for k, layers in enumerate(soaps)
    )


def _photo() -> str:
    patches = "".join(
        f'<rect x="{104 + 16 * k}" y="{y}" width="12" height="12" fill="{colour}"/>'
        for y in (40, 100)
        for k, colour in enumerate((CREAM, SAGE, LILAC, MAUVE, BROWN, CHART_LINE, CREAM))
    )
    return (
        _frame(40, 4, 240, 142)
        + _bar(60, 30, 200, 90, LILAC)
        + _frame(96, 32, 128, 88, "#ffffff")
        + patches
        + (f'<rect x="128" y="60" width="64" height="32" fill="{LILAC}"/>')
    )


def _two() -> str:
    left = f'<rect x="40" y="14" width="120" height="120" fill="{BROWN}"/>'
    right = f'<rect x="160" y="14" width="120" height="120" fill="{LILAC}"/>'
    handle = '<path d="M160 14v120" stroke="#ffffff" stroke-width="2"/>'
    handle += f'<circle cx="160" cy="74" r="13" fill="#ffffff" stroke="{CHART_LINE}"/>'
    return left + right + handle


def _ribbons() -> str:
    return "".join(_line(4, 14 + 46 * k, 70) + _strip(90, 6 + 46 * k, 226, 26) for k in range(3))


def _page() -> str:
    lines = "".join(_line(120, 100 + 12 * k, width) for k, width in enumerate((80, 64, 72)))
    return _frame(105, 2, 110, 146, "none") + _bar(134, 22, 52, 46, CREAM, LILAC, CREAM) + _strip(120, 84, 80) + lines
