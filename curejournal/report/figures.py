"""Charts of a batch, each with a sentence that says what it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import altair as alt
import numpy as np

from curejournal.colour.sample import Lab
from curejournal.colour.spaces import lab_to_srgb8
from curejournal.cure.journey import Journey
from curejournal.cure.kinds import KINDS
from curejournal.cure.records import Batch, ScalarReading
from curejournal.cure.weight import DryingReport
from curejournal.report import wording

DAY = timedelta(days=1)
# Mid-tones that stay readable on light paper and on dark.
LINE, BAND, CALM = "#857a6b", "#a39885", "#5f8f86"
HEIGHT = 300


@dataclass(frozen=True)
class Figure:
    """A chart, and the sentence that stands for it where no chart can be seen."""

    chart: Any
    words: str


def swatch(lab: Lab) -> str:
    """The sRGB hex colour nearest to a CIELAB D50 colour, for showing it."""
    red, green, blue = (int(value) for value in lab_to_srgb8(lab))
    return f"#{red:02x}{green:02x}{blue:02x}"


def difference_figure(journey: Journey, portion: str) -> Figure | None:
    """ΔE00 to the intended colour over days: readings with 95 % intervals, the curve, what it foretells."""
    if journey.intended_lab is None or not journey.points:
        return None
    last = journey.points[-1].days
    points: list[dict[str, Any]] = [
        {
            "days": point.days,
            "value": point.difference.estimate,
            "low": point.difference.low,
            "high": point.difference.high,
            "colour": swatch(point.lab),
            "when": wording.moment(point.at),
            "grade": str(point.grade),
        }
        for point in journey.points
        if point.difference is not None
    ]
    curve = journey.curve
    rows = _curve_rows(curve.days, last, curve.difference, curve.difference_low, curve.difference_high) if curve else []
    top = 1.15 * max([journey.tolerance * 2, *(point["high"] for point in points)])
    within = over([{"low": 0, "high": journey.tolerance}]).mark_rect(color=CALM, opacity=0.22)
    layers = [
        within.encode(y=alt.Y("low:Q"), y2="high:Q"),
        over([{"at": journey.tolerance, "text": f"within {journey.tolerance:g}: accepted"}])
        .mark_text(align="right", dx=-4, dy=-7, color=CALM, fontSize=12, clip=True)
        .encode(y="at:Q", text="text:N", x=alt.value("width")),
        *curve_layers(rows),
        *_point_layers(points, "ΔE00"),
    ]
    chart = chart_of(layers, "ΔE00 from the intended colour", (0, top))
    return Figure(chart, _difference_words(journey, portion))


def lab_figures(journey: Journey, portion: str) -> tuple[Figure, ...]:
    """L*, a* and b* over days, each with its intervals, curve and intended value."""
    figures = []
    meanings = ("lightness L*", "green to red a*", "blue to yellow b*")
    last = journey.points[-1].days if journey.points else 0.0
    for axis, meaning in enumerate(meanings if journey.points else ()):
        points: list[dict[str, Any]] = [
            {
                "days": point.days,
                "value": point.lab[axis],
                "low": point.lab[axis] - 1.96 * point.lab_sd[axis],
                "high": point.lab[axis] + 1.96 * point.lab_sd[axis],
                "colour": swatch(point.lab),
                "when": wording.moment(point.at),
                "grade": str(point.grade),
            }
            for point in journey.points
        ]
        curve = journey.curve
        rows = (
            _curve_rows(
                curve.days, last, *([row[axis] for row in part] for part in (curve.lab, curve.lab_low, curve.lab_high))
            )
            if curve
            else []
        )
        layers = [*curve_layers(rows), *_point_layers(points, meaning)]
        ends = [value for point in points for value in (point["low"], point["high"])]
        words = f"{portion}: {meaning} was {points[0]['value']:.1f} at first and {points[-1]['value']:.1f} at last"
        if journey.intended_lab is not None:
            intended = journey.intended_lab[axis]
            ends.append(intended)
            words += f"; intended is {intended:.1f}"
            layers.insert(
                0,
                over([{"at": intended}])
                .mark_rule(color=CALM, strokeWidth=2, strokeDash=[2, 3])
                .encode(y=alt.Y("at:Q")),
            )
        figures.append(Figure(chart_of(layers, meaning, _padded(ends), height=200), f"{words}."))
    return tuple(figures)


def drying_figure(report: DryingReport) -> Figure | None:
    """Weight in % of the first weight over days, with the curve and four weeks of forecast."""
    if not report.points:
        return None
    points: list[dict[str, Any]] = [
        {
            "days": point.days,
            "value": 100 * point.part,
            "low": 100 * (point.part - 1.96 * point.part_sd),
            "high": 100 * (point.part + 1.96 * point.part_sd),
            "what": point.subject,
            "when": wording.moment(point.at),
            "grams": f"{point.grams:g}\u00a0g",
        }
        for point in report.points
    ]
    curve = report.curve
    last = report.points[-1].days
    rows = (
        _curve_rows(
            curve.days, last, *([100 * value for value in part] for part in (curve.part, curve.low, curve.high))
        )
        if curve
        else []
    )
    marks = (
        over(points)
        .mark_point(filled=True, size=60, color=LINE, opacity=0.9)
        .encode(
            x=alt.X("days:Q"),
            y=alt.Y("value:Q"),
            shape=alt.Shape(
                "what:N", title=None, legend=alt.Legend(orient="top") if len(report.subjects) > 1 else None
            ),
            tooltip=[alt.Tooltip(f"{key}:N", title=key) for key in ("what", "when", "grams")],
        )
    )
    ends = [
        value for row in (*points, *(r for r in rows if r["days"] <= last + 14)) for value in (row["low"], row["high"])
    ]
    chart = chart_of([*curve_layers(rows), marks], "weight, % of the first", _padded(ends))
    return Figure(chart, _drying_words(report))


def room_figures(batch: Batch) -> tuple[Figure, ...]:
    """Each quantity that was read in the room or the batter, over time."""
    figures = []
    for kind in KINDS.values():
        readings = [(at, record.value) for at, record in batch.records(ScalarReading) if record.kind == kind.name]
        if not readings:
            continue
        start = batch.poured_at or readings[0][0]
        points = [{"days": (at - start) / DAY, "value": value, "when": wording.moment(at)} for at, value in readings]
        line = over(points).encode(
            x=alt.X("days:Q"),
            y=alt.Y("value:Q"),
            tooltip=[alt.Tooltip("when:N", title="when"), alt.Tooltip("value:Q", title=kind.unit)],
        )
        values = [value for _, value in readings]
        words = (
            f"{kind.words}: {len(values)} readings, {min(values):g} to {max(values):g} {kind.unit}, "
            f"last {values[-1]:g} on {wording.day(readings[-1][0])}."
        )
        layers = [line.mark_line(color=LINE), line.mark_point(filled=True, color=LINE, size=60)]
        chart = chart_of(layers, kind.unit, _padded(values), height=200)
        figures.append(Figure(chart, words[0].upper() + words[1:]))
    return tuple(figures)


def over(rows: Sequence[Mapping[str, Any]]) -> Any:
    """A layer over rows of data."""
    values: Any = alt.Data
    return alt.Chart(values(values=list(rows)))


def _curve_rows(days: Sequence[float], last: float, *columns_over_days: Sequence[float]) -> list[dict[str, Any]]:
    """Rows of a curve (middle, low, high), once up to the last reading and once after it, with one in common."""
    if not columns_over_days[0]:
        return []
    grid = np.unique([*days, last])
    columns = [np.interp(grid, days, column) for column in columns_over_days]
    rows = []
    for part, keep in (("seen", grid <= last), ("foretold", grid >= last)):
        for at, value, bottom, top in zip(grid[keep], *(column[keep] for column in columns), strict=True):
            row = {"days": float(at), "value": float(value), "low": float(bottom), "high": float(top), "part": part}
            rows.append(row)
    return rows


def curve_layers(rows: list[dict[str, Any]]) -> list[Any]:
    """A curve with its interval over rows of days, value, low, high and part (*seen* or *foretold*)."""
    if not rows:
        return []
    base = over(rows).encode(x=alt.X("days:Q"))
    dashes = alt.StrokeDash("part:N", legend=None, scale=alt.Scale(domain=["seen", "foretold"], range=[[1, 0], [5, 4]]))
    return [
        base.mark_area(color=BAND, opacity=0.28, clip=True).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(color=LINE, clip=True).encode(y="value:Q", strokeDash=dashes),
    ]


def _point_layers(points: list[dict[str, Any]], title: str) -> list[Any]:
    base = over(points).encode(x=alt.X("days:Q"))
    return [
        base.mark_rule(color=LINE, strokeWidth=2, clip=True).encode(y="low:Q", y2="high:Q"),
        base.mark_circle(size=190, stroke=LINE, strokeWidth=1.5, opacity=1, clip=True).encode(
            y="value:Q",
            color=alt.Color("colour:N", scale=None),
            tooltip=[
                alt.Tooltip("when:N", title="when"),
                alt.Tooltip("value:Q", title=title, format=".1f"),
                alt.Tooltip("low:Q", title="from", format=".1f"),
                alt.Tooltip("high:Q", title="to", format=".1f"),
                alt.Tooltip("grade:N", title="grade"),
            ],
        ),
    ]


def chart_of(layers: list[Any], title: str, domain: tuple[float, float], height: int = HEIGHT) -> Any:
    """Layers over days since the pour as one chart."""
    for layer in layers:
        # Every layer says the same title, or they would be strung together.
        encoding: Any = layer.encoding
        encoding.y.title = title
        if isinstance(encoding.x, alt.X):
            encoding.x = encoding.x.title("days since the pour").axis(tickMinStep=1, format="d")
    layers[0].encoding.y.scale = alt.Scale(domain=list(domain), nice=False, zero=False)
    chart = alt.layer(*layers).properties(height=height)
    return chart.configure_axis(labelFontSize=13, titleFontSize=13, titleFontWeight="normal").configure_axisX(
        grid=False
    )


def _padded(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    margin = max(0.06 * (high - low), 0.5)
    return low - margin, high + margin


def _difference_words(journey: Journey, portion: str) -> str:
    first, last = journey.points[0], journey.points[-1]
    words = (
        f"{portion}: {journey.words}. {journey.moments} readings, {wording.day(first.at)} to {wording.day(last.at)}."
    )
    if journey.difference_now is not None:
        words += (
            f" At the last one ΔE00 {wording.figure(journey.difference_now)} from the intended colour; "
            f"up to {journey.tolerance:g} is accepted."
        )
    forecast = journey.forecast
    if forecast is None or (forecast.at is not None and forecast.at <= last.at):
        return words
    if not forecast.expected or forecast.at is None:
        return f"{words} Within that: {forecast.words}."
    return f"{words} Within that {forecast.words} {wording.day(forecast.at)} ({wording.span(forecast.interval)})."


def _drying_words(report: DryingReport) -> str:
    words = f"Drying: {report.state}, {report.words}."
    if report.loss_pct is not None:
        words += f" Lost so far: {report.loss_pct:.1f} %"
        words += f", of the {report.most_loss_pct:.0f} % water that went in." if report.most_loss_pct else "."
    if report.steady_at is not None and report.state.value == "drying":
        words += f" Steady from about {wording.day(report.steady_at)} ({wording.span(report.steady_interval)})."
    return words
