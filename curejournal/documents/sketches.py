"""Small drawings of what will be on a page that is empty yet, as SVG in tones that show on light paper and on dark."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from curejournal.documents.ribbon import ribbon, ribbon_svg
from curejournal.documents.style import CHART_BAND, CHART_LINE

Sketch = Literal[
    "wall", "photo", "two", "ribbons", "page", "roll", "lots", "shelf", "room", "strip", "recipe", "parcel", "mould"
]

BROWN, MAUVE, LILAC, CREAM, SAGE = "#7a665c", "#8d7689", "#9a7bab", "#e6dcc3", "#9db29a"
"""Example soaps: one that went brown and came back, a plain one, a green one. Ours."""
WIDTH, HEIGHT = 320, 150
EXAMPLE = ((45.0, 5.0, 9.0), (52.0, 9.0, -4.0), (57.0, 17.0, -20.0))
"""Example colours of a ribbon, CIELAB: brown, mauve, lilac. Ours."""


def sketch(what: Sketch) -> str:
    """Draw what will be there."""
    inner = DRAWN[what]()
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


def _roll() -> str:
    """Photos that come in one over the other."""
    return "".join(
        _frame(20 + 62 * k, 38 - 16 * k, 126, 92, "#ffffff") + _bar(48 + 62 * k, 64 - 16 * k, 70, 42, *layers)
        for k, layers in enumerate(((CREAM, BROWN), (SAGE,), (CREAM, LILAC, CREAM)))
    )


def _lots() -> str:
    """Bottles with their labels."""
    return "".join(
        f'<rect x="{44 + 92 * k}" y="8" width="24" height="20" rx="4" fill="{CHART_BAND}"/>'
        + _frame(24 + 92 * k, 30, 64, 112, fill)
        + f'<rect x="{32 + 92 * k}" y="66" width="48" height="44" fill="#ffffff"/>'
        + _line(38 + 92 * k, 76, 36)
        + _line(38 + 92 * k, 90, 24)
        for k, fill in enumerate((SAGE, CREAM, MAUVE))
    )


def _shelf() -> str:
    """Bars on a shelf, and those that went out."""
    here = "".join(_bar(8 + 44 * k, 56, 36, 48, CREAM, LILAC, CREAM) for k in range(4))
    out = _frame(222, 40, 90, 78) + "".join(_bar(232 + 38 * k, 56, 32, 48, CREAM, LILAC, CREAM) for k in range(2))
    return here + out + f'<path d="M4 118h308" stroke="{CHART_LINE}" stroke-width="2"/>'


def _room() -> str:
    """A curve over the days of a cure."""
    axes = f'<path d="M12 8v130h300" fill="none" stroke="{CHART_LINE}" stroke-width="1.5"/>'
    warm = f'<path d="M12 60q30-34 60-12t60 4 60-14 60 10 60-8" fill="none" stroke="{BROWN}" stroke-width="4"/>'
    damp = f'<path d="M12 108q40-18 80 0t80-8 70 6 70-4" fill="none" stroke="{SAGE}" stroke-width="4"/>'
    return axes + warm + damp


def _strip_beside_its_key() -> str:
    """A strip and the scale on its packet."""
    scale = ("#d9c65a", "#b3b654", "#7f9f5e", "#4f8272", "#42688a", "#4d4f86")
    fields = "".join(f'<rect x="{22 + 46 * k}" y="14" width="40" height="40" fill="{c}"/>' for k, c in enumerate(scale))
    strip = _frame(22, 92, 270, 26, "#ffffff") + f'<rect x="30" y="92" width="44" height="26" fill="{scale[3]}"/>'
    return fields + "".join(_line(30 + 46 * k, 62, 24) for k in range(len(scale))) + strip


def _recipe() -> str:
    """A list of weights beside the mould that they fill."""
    weights = "".join(
        _line(8, 22 + 26 * k, 26) + _line(44, 22 + 26 * k, width) for k, width in enumerate((80, 64, 90, 52))
    )
    return (
        weights
        + _bar(176, 40, 124, 70, CREAM, LILAC)
        + f'<path d="M168 30v90h140v-90" fill="none" stroke="{CHART_LINE}" stroke-width="4"/>'
    )


def _parcel() -> str:
    """A page that goes from one journal to another."""
    ends = "".join(_frame(x, 18, 100, 112) + _line(x + 16, 36, 68) + _line(x + 16, 52, 48) for x in (6, 214))
    soap = _bar(32, 78, 48, 32, CREAM, LILAC) + _bar(240, 78, 48, 32, CREAM, LILAC)
    return ends + soap + f'<path d="M124 74h66m-14-12 16 12-16 12" fill="none" stroke="{CHART_LINE}" stroke-width="4"/>'


def _mould() -> str:
    """Batter that runs from a jug into a mould."""
    jug = f'<path d="M196 6h74v44q0 8-8 8h-50q-8 0-8-8V24z" fill="{LILAC}" stroke="{CHART_LINE}" stroke-width="3"/>'
    runs = f'<path d="M198 20q-26 4-26 42" fill="none" stroke="{LILAC}" stroke-width="9"/>'
    mould = f'<path d="M40 56v84h220v-84" fill="none" stroke="{CHART_LINE}" stroke-width="4"/>'
    return runs + _bar(48, 68, 204, 60, LILAC, CREAM, MAUVE) + jug + mould


DRAWN: Mapping[Sketch, Callable[[], str]] = {
    "wall": _wall,
    "photo": _photo,
    "two": _two,
    "ribbons": _ribbons,
    "page": _page,
    "roll": _roll,
    "lots": _lots,
    "shelf": _shelf,
    "room": _room,
    "strip": _strip_beside_its_key,
    "recipe": _recipe,
    "parcel": _parcel,
    "mould": _mould,
}
