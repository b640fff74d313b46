"""What is named within a chart: today, a date ahead, a limit; and dates beside the days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from curejournal.base.lazy import Module
from curejournal.base.messages import msg
from curejournal.documents.formatting import calendar_day
from curejournal.documents.style import CHART_CALM, CHART_LINE

if TYPE_CHECKING:
    import altair as alt
else:  # a page without a chart needs it not
    alt = Module("altair")

MILLISECONDS_A_DAY = 86_400_000


def rows_of(values: Sequence[dict[str, Any]]) -> Any:
    """Give a layer over rows of data."""
    data: Any = alt.Data
    return alt.Chart(data(values=list(values)))


def day_lines(named: Sequence[tuple[float, str]]) -> list[Any]:
    """Draw an upright line at each of some days, with its name at its head."""
    layers = []
    for number, (day, name) in enumerate(sorted(named)):
        base = rows_of([{"days": day, "name": name}]).encode(x=alt.X("days:Q"))
        layers.append(base.mark_rule(color=CHART_LINE, strokeDash=[2, 3], strokeWidth=1.5))
        # The later name stands a line higher and to the left of its day: on a phone two would not fit side by side.
        place: dict[str, Any] = {"align": "right" if number else "left", "baseline": "bottom", "y": -3 - 16 * number}
        layers.append(base.mark_text(**place, fontSize=13).encode(text="name:N"))
    return layers


def limit_line(value: float, name: str) -> list[Any]:
    """Draw a level line at a limit, named at its left end below it."""
    base = rows_of([{"at": value, "name": name}]).encode(y=alt.Y("at:Q"))
    line = base.mark_rule(color=CHART_CALM, strokeWidth=2, strokeDash=[6, 3])
    text = base.mark_text(align="left", baseline="top", dx=6, dy=4, fontSize=13).encode(x=alt.value(0), text="name:N")
    return [line, text]


def accepted(tolerance: float) -> list[Any]:
    """Draw the band of what is accepted, named in it."""
    name = msg("within {tolerance:g}: on target", tolerance=tolerance)
    base = rows_of([{"low": 0, "high": tolerance, "name": name}])
    band = base.mark_rect(opacity=1, fillOpacity=0.2, stroke=CHART_CALM, strokeWidth=1, color=CHART_CALM).encode(
        y=alt.Y("low:Q"), y2="high:Q"
    )
    text = base.mark_text(align="left", baseline="bottom", dx=6, dy=-3, fontSize=13).encode(
        x=alt.value(0), y=alt.Y("low:Q"), text="name:N"
    )
    return [band, text]


def slope_line(day: float, value: float, a_week: float, weeks: float, name: str) -> list[Any]:
    """Draw how steep a loss of so much a week is, from a point on, named at its end."""
    ends = [{"days": day, "value": value}, {"days": day + 7 * weeks, "value": value * (1 - a_week / 100) ** weeks}]
    line = rows_of(ends).mark_line(color=CHART_CALM, strokeWidth=2, strokeDash=[6, 3], clip=True)
    text = rows_of([{**ends[-1], "name": name}]).mark_text(align="right", baseline="bottom", dy=-14, fontSize=13)
    place = {"x": alt.X("days:Q"), "y": alt.Y("value:Q")}
    return [line.encode(**place), text.encode(**place, text="name:N")]


def day_axis(start: datetime | None) -> alt.Axis:
    """Give an axis of days since the pour; with the pour's time, each day has its date below it."""
    common: dict[str, Any] = {"tickMinStep": 1, "tickCount": 6, "format": "d", "grid": False}
    common |= {"labelOverlap": "greedy", "labelSeparation": 10}  # dates that touch read as one
    if start is None:
        return alt.Axis(**common)
    # Told as if its clock were UTC, so that each reader sees the maker's own dates.
    own = calendar_day(start)
    label = f"[datum.label, utcFormat({own} + datum.value * {MILLISECONDS_A_DAY}, '%-d %b')]"
    return alt.Axis(labelExpr=label, **common)
