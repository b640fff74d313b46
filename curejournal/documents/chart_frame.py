"""A chart over days since the pour: what every one of them shares, in this journal's look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from curejournal.base.lazy import Module
from curejournal.base.messages import msg
from curejournal.documents import formatting
from curejournal.documents.chart_marks import day_axis, rows_of
from curejournal.documents.style import CHART_BAND, CHART_CALM, CHART_LINE, chart_config

if TYPE_CHECKING:
    import altair as alt
else:  # a page without a chart needs it not
    alt = Module("altair")

DAY = timedelta(days=1)
LINE, BAND, CALM = CHART_LINE, CHART_BAND, CHART_CALM
HEIGHT = 300
SHOWN_AHEAD_DAYS = 28.0
"""How far ahead a date is named in a chart: as far as its curve is drawn. Ours."""


@dataclass(frozen=True)
class Figure:
    """A chart, and the sentence that stands for it where no chart can be seen."""

    chart: Any
    words: str


def named_days(
    start: datetime | None, last: float, on: datetime | None, ahead: datetime | None, reached: str
) -> list[tuple[float, str]]:
    """Today, and the day ahead when something is reached, as days since the start."""
    if start is None or on is None:
        return []
    today = (on - start) / DAY
    named = [(today, "today")]
    if ahead is not None and ahead > on and (ahead - start) / DAY < last + SHOWN_AHEAD_DAYS:
        day = (ahead - start) / DAY
        # Close together they would be written over each other: the later one says both.
        named = [(day, f"{reached} {formatting.day_of_month(ahead)}"), *(named if day - today > 0.25 * day else [])]
    return named


def curve_rows(days: Sequence[float], last: float, *columns_over_days: Sequence[float]) -> list[dict[str, Any]]:
    """Rows of a curve (middle, low, high), once up to the last reading and once after it, with one in common."""
    if not columns_over_days[0]:
        return []
    grid = np.unique([*days, last])
    columns = [np.interp(grid, days, column) for column in columns_over_days]
    rows = []
    for part, keep in (("seen", grid <= last), ("predicted", grid >= last)):
        for at, value, bottom, top in zip(grid[keep], *(column[keep] for column in columns), strict=True):
            row = {"days": float(at), "value": float(value), "low": float(bottom), "high": float(top), "part": part}
            rows.append(row)
    return rows


def curve_layers(rows: list[dict[str, Any]], line: str = LINE, band: str = BAND, *, banded: bool = True) -> list[Any]:
    """A curve with its interval over rows of days, value, low, high and part (*seen* or *predicted*).

    Without `banded` the curve stands alone: of one reading an interval would be a slab that says nothing.
    """
    if not rows:
        return []
    base = rows_of(rows).encode(x=alt.X("days:Q"))
    dashes = alt.StrokeDash(
        "part:N", legend=None, scale=alt.Scale(domain=["seen", "predicted"], range=[[1, 0], [5, 4]])
    )
    area = base.mark_area(color=band, opacity=0.26, interpolate="monotone", clip=True).encode(
        y=alt.Y("low:Q"), y2="high:Q"
    )
    curve = base.mark_line(color=line, interpolate="monotone", clip=True).encode(y="value:Q", strokeDash=dashes)
    return [area, curve] if banded else [curve]


def chart_of(
    layers: list[Any], title: str, domain: tuple[float, float], height: int = HEIGHT, start: datetime | None = None
) -> Any:
    """Layers over days since the pour as one chart; with the pour's time, each day has its date."""
    for layer in layers:
        # Every layer says the same title, or they would be strung together.
        encoding: Any = layer.encoding
        if isinstance(encoding.y, alt.Y):
            encoding.y = encoding.y.title(title)
        if isinstance(encoding.x, alt.X):
            # A little room on either side, or the first reading would be cut in half.
            encoding.x = encoding.x.title(msg("days since the pour"))
            encoding.x.axis = day_axis(start)
            encoding.x = encoding.x.scale(padding=10, nice=False)
    layers[0].encoding.y.scale = alt.Scale(domain=list(domain), nice=False, zero=False)
    return styled(alt.layer(*layers).properties(height=height))


def styled(chart: Any) -> Any:
    """A chart in this journal's look; what it leaves open (ink and paper) is the page's."""
    look = chart_config()
    chart = chart.configure_axis(**look["axis"]).configure_text(**look["text"])
    return chart.configure_legend(**look["legend"]).configure_view(**look["view"])


def padded(values: Sequence[float]) -> tuple[float, float]:
    """Give the ends of an axis: its values with a little room beyond them."""
    low, high = min(values), max(values)
    margin = max(0.06 * (high - low), 0.5)
    return low - margin, high + margin
