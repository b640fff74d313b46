"""Drawn pH keys and strips beside the window card."""

from __future__ import annotations

import numpy as np

from curejournal.photo.measure.measurement import Area
from tests.printing import Printer
from tests.scene_items import Lab, Paint
from tests.scenes import Laid, Place, Rendered, Scene, Soap, View, card_named, render

PADS: dict[float, Lab] = {
    7.0: (74.0, -2.0, 62.0),
    7.5: (68.0, -12.0, 54.0),
    8.0: (60.0, -20.0, 42.0),
    8.5: (53.0, -22.0, 28.0),
    9.0: (46.0, -20.0, 14.0),
    9.5: (41.0, -12.0, 0.0),
    10.0: (37.0, -2.0, -12.0),
    10.5: (34.0, 8.0, -20.0),
    11.0: (31.0, 16.0, -25.0),
}
"""Colours of an indicator from yellow over green to violet, in steps of half a pH; ours."""
WHITE = Paint((93.0, 0.0, 2.0))


def lab_at(ph: float) -> Lab:
    """Between two steps the colour of a mixture: halfway in CIELAB, near enough."""
    at, labs = list(PADS), np.array(list(PADS.values()))
    return tuple(float(np.interp(ph, at, labs[:, k])) for k in range(3))  # type: ignore[return-value]


def beside_card(
    paints: dict[str, Paint], scene: dict[str, object] | None = None, seed: int = 0, printer: Printer | None = None
) -> Rendered:
    """A strip of fields below the card, each with white on both sides, in an order that is the dictionary's."""
    card = card_named("window")
    portions = [("", WHITE)]
    for name, paint in paints.items():
        portions += [(name, paint), ("", WHITE)]
    width = 8.0 * len(portions)
    strip = Soap(tuple(portions), (width, 10.0), Place(0.0, 62.0), upright_bands=True, mottling=0.005, wave_mm=0.0)
    options = {"exposure_ev": -0.4, "view": View((0.0, 10.0), 230.0), **(scene or {})}
    if printer is None:
        printed = Laid(card, Place(), paper=Paint((100.0, 0.0, 0.0)))
    else:
        printed = Laid(card, Place(), printer.paints(card), printer.paper, printer.ink)
    return render(Scene((strip, printed), **options), seed)  # type: ignore[arg-type]


def areas_of(drawn: Rendered) -> list[Area]:
    return [Area(name, tuple((float(x), float(y)) for x, y in points)) for name, points in drawn.areas.items()]
