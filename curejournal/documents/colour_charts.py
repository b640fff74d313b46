"""Charts of a colour over time, each with a sentence that says what it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from curejournal.base.counting import digits
from curejournal.base.lazy import Module
from curejournal.base.messages import join, msg, msg_n
from curejournal.colour.difference import Interval
from curejournal.documents import formatting
from curejournal.documents.chart_frame import (
    CALM,
    DAY,
    LINE,
    Figure,
    chart_of,
    curve_layers,
    curve_rows,
    named_days,
    padded,
)
from curejournal.documents.chart_marks import accepted, day_lines, limit_line, rows_of
from curejournal.judging.colour_series import ColourSeries

if TYPE_CHECKING:
    import altair as alt
else:  # a page without a chart needs it not
    alt = Module("altair")


def difference_figure(
    journey: ColourSeries, portion: str, zone: tzinfo | None = None, on: datetime | None = None
) -> Figure | None:
    """ΔE00 to the target colour over days: readings with 95 % intervals, the curve, what it predicts."""
    if journey.target_lab is None or not journey.points:
        return None
    last = journey.points[-1].days
    points = _difference_points(journey, zone)
    curve = journey.curve
    rows = curve_rows(curve.days, last, curve.difference, curve.difference_low, curve.difference_high) if curve else []
    start = _start(journey)
    ahead = journey.forecast.at if journey.forecast and journey.forecast.expected else None
    named = named_days(start, last, on, ahead, msg("on target"))
    layers = [
        *accepted(journey.tolerance),
        *curve_layers(rows, banded=journey.moments > 1),
        *_point_layers(points, "ΔE00"),
        *day_lines(named),
    ]
    chart = chart_of(layers, msg("ΔE00 from the target colour"), (0, _top(points, journey.tolerance)), start=start)
    return Figure(chart, _difference_words(journey, portion))


def beside_figure(sides: Mapping[str, ColourSeries], zone: tzinfo | None = None) -> Figure | None:
    """ΔE00 to the target colour over days since the pour: two portions in one chart, each with a shape of its own."""
    if any(journey.target_lab is None or not journey.points for journey in sides.values()):
        return None
    points: list[dict[str, Any]] = []
    curves = []
    for (name, journey), colour in zip(sides.items(), (LINE, CALM), strict=True):
        points += [{**point, "which": name} for point in _difference_points(journey, zone)]
        if journey.curve:
            curve, last = journey.curve, journey.points[-1].days
            columns = (curve.difference, curve.difference_low, curve.difference_high)
            curves += curve_layers(curve_rows(curve.days, last, *columns), colour, colour)
    tolerances = {journey.tolerance for journey in sides.values()}
    layers = accepted(tolerances.pop()) if len(tolerances) == 1 else []
    chart = chart_of(
        [*layers, *curves, *_point_layers(points, "ΔE00", "which")],
        msg("ΔE00 from the target colour"),
        (0, _top(points, *(journey.tolerance for journey in sides.values()))),
    )
    words = [_difference_words(journey, name) for name, journey in sides.items()]
    return Figure(chart, join(" ", [*words, _both_on_a_day(sides)]).strip())


def _difference_points(journey: ColourSeries, zone: tzinfo | None) -> list[dict[str, Any]]:
    return [
        {
            "days": point.days,
            "value": point.difference.estimate,
            "low": point.difference.low,
            "high": point.difference.high,
            "colour": formatting.hex_colour(point.lab),
            "when": formatting.moment(point.at, zone),
            "grade": str(point.grade),
        }
        for point in journey.points
        if point.difference is not None
    ]


def _start(journey: ColourSeries) -> datetime:
    """The moment that its days count from."""
    return journey.points[0].at - journey.points[0].days * DAY


def _top(points: Sequence[Mapping[str, Any]], *tolerances: float) -> float:
    return float(1.15 * max([2 * max(tolerances), *(point["high"] for point in points)]))


def _both_on_a_day(sides: Mapping[str, ColourSeries]) -> str:
    """How far off both were on the last day up to which both were photographed."""
    day = min(journey.points[-1].days for journey in sides.values())
    told = []
    for name, journey in sides.items():
        curve = journey.curve
        if curve is None or not curve.difference:
            return ""
        columns = (curve.difference, curve.difference_low, curve.difference_high)
        ends = Interval(*(float(np.interp(day, curve.days, column)) for column in columns))
        told.append(f"{name} {formatting.figure(ends)}")
    return msg("On day {day:.0f} after the pour, by the curves: {told}.", day=day, told=join(" and ", told))


def lab_figures(journey: ColourSeries, portion: str, zone: tzinfo | None = None) -> tuple[Figure, ...]:
    """L*, a* and b* over days, each with its intervals, curve and target value."""
    figures = []
    meanings = (msg("lightness L*"), msg("green to red a*"), msg("blue to yellow b*"))
    last = journey.points[-1].days if journey.points else 0.0
    for axis, meaning in enumerate(meanings if journey.points else ()):
        points: list[dict[str, Any]] = [
            {
                "days": point.days,
                "value": point.lab[axis],
                "low": point.lab[axis] - 1.96 * point.lab_sd[axis],
                "high": point.lab[axis] + 1.96 * point.lab_sd[axis],
                "colour": formatting.hex_colour(point.lab),
                "when": formatting.moment(point.at, zone),
                "grade": str(point.grade),
            }
            for point in journey.points
        ]
        curve = journey.curve
        rows = (
            curve_rows(
                curve.days, last, *([row[axis] for row in part] for part in (curve.lab, curve.lab_low, curve.lab_high))
            )
            if curve
            else []
        )
        layers = [*curve_layers(rows), *_point_layers(points, meaning)]
        ends = [value for point in points for value in (point["low"], point["high"])]
        first, latest = (digits(point.lab[axis], 1) for point in (journey.points[0], journey.points[-1]))
        words = msg(
            "{portion}: {meaning} was {first} at first and {latest} at last",
            portion=portion,
            meaning=meaning,
            first=first,
            latest=latest,
        )
        if journey.target_lab is not None:
            target = journey.target_lab[axis]
            ends.append(target)
            words += msg("; the target is {target}", target=digits(target, 1))
            layers = [*limit_line(target, "target"), *layers]
        chart = chart_of(layers, meaning, padded(ends), height=200, start=_start(journey))
        figures.append(Figure(chart, words + "."))
    return tuple(figures)


def _point_layers(points: list[dict[str, Any]], title: str, which: str | None = None) -> list[Any]:
    """Readings in their own colours, with their intervals; `which` names the column that has a shape of its own."""
    base = rows_of(points).encode(x=alt.X("days:Q"))
    legend = alt.Legend(orient="top", columns=1, labelLimit=0, symbolFillColor=LINE, symbolStrokeColor=LINE)
    shapes = alt.Scale(range=["circle", "square"])
    shape = alt.Shape(f"{which}:N", title=None, sort=None, scale=shapes, legend=legend) if which else alt.Undefined
    return [
        base.mark_rule(color=LINE, strokeWidth=2, clip=True).encode(y="low:Q", y2="high:Q"),
        base.mark_point(filled=True, size=190, stroke=LINE, strokeWidth=1.5, opacity=1).encode(
            y="value:Q",
            color=alt.Color("colour:N", scale=None),
            shape=shape,
            tooltip=[
                alt.Tooltip("when:N", title="when"),
                alt.Tooltip("value:Q", title=title, format=".1f"),
                alt.Tooltip("low:Q", title="from", format=".1f"),
                alt.Tooltip("high:Q", title="to", format=".1f"),
                alt.Tooltip("grade:N", title="grade"),
            ],
        ),
    ]


def _difference_words(journey: ColourSeries, portion: str) -> str:
    first, last = journey.points[0], journey.points[-1]
    readings = msg_n("{number} reading", "{number} readings", journey.moments)
    words = msg(
        "{portion}: {words}. {readings}, {first_day} to {last_day}.",
        portion=portion,
        words=journey.words,
        readings=readings,
        first_day=formatting.day(first.at),
        last_day=formatting.day(last.at),
    )
    if journey.difference_now is not None:
        words += msg(
            " At the last one, by all of them together, ΔE00 {difference_now} "
            "from the target colour; up to {tolerance:g} is accepted.",
            difference_now=formatting.figure(journey.difference_now),
            tolerance=journey.tolerance,
        )
    forecast = journey.forecast
    if forecast is None or (forecast.at is not None and forecast.at <= last.at):
        return words
    if not forecast.expected or forecast.at is None:
        return msg("{now} Within that: {forecast}.", now=words, forecast=forecast.words)
    return msg(
        "{now} Within that {forecast} {at} ({interval}).",
        now=words,
        forecast=forecast.words,
        at=formatting.day(forecast.at),
        interval=formatting.span(forecast.interval),
    )
