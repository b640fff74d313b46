"""Charts of a batch, each with a sentence that says what it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from curejournal.base.counting import digits
from curejournal.base.lazy import Module
from curejournal.base.messages import join, msg, msg_n, sentence
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import Batch, ScalarReading
from curejournal.colour.difference import Interval
from curejournal.documents import formatting
from curejournal.documents.chart_marks import accepted, day_axis, day_lines, limit_line, rows_of, slope_line
from curejournal.documents.style import CHART_BAND, CHART_CALM, CHART_LINE, chart_config
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.drying import DryingReport

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


def difference_figure(
    journey: ColourSeries, portion: str, zone: tzinfo | None = None, on: datetime | None = None
) -> Figure | None:
    """ΔE00 to the target colour over days: readings with 95 % intervals, the curve, what it predicts."""
    if journey.target_lab is None or not journey.points:
        return None
    last = journey.points[-1].days
    points = _difference_points(journey, zone)
    curve = journey.curve
    rows = _curve_rows(curve.days, last, curve.difference, curve.difference_low, curve.difference_high) if curve else []
    start = _start(journey)
    ahead = journey.forecast.at if journey.forecast and journey.forecast.expected else None
    named = _named_days(start, last, on, ahead, msg("on target"))
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
            curves += curve_layers(_curve_rows(curve.days, last, *columns), colour, colour)
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


def _named_days(
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
            _curve_rows(
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
        chart = chart_of(layers, meaning, _padded(ends), height=200, start=_start(journey))
        figures.append(Figure(chart, words + "."))
    return tuple(figures)


def drying_figure(
    report: DryingReport, start: datetime | None = None, on: datetime | None = None, limit_pct_week: float = 1.0
) -> Figure | None:
    """Weight in % of the first weight over days: the curve, four weeks ahead, and how steep the limit would be."""
    if not report.points:
        return None
    points: list[dict[str, Any]] = [
        {
            "days": point.days,
            "value": 100 * point.part,
            "low": 100 * (point.part - 1.96 * point.part_sd),
            "high": 100 * (point.part + 1.96 * point.part_sd),
            "what": point.subject,
            "when": formatting.moment(point.at),
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
        rows_of(points)
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
    now = float(np.interp(last, curve.days, curve.part)) if curve else points[-1]["value"] / 100
    layers = [
        *curve_layers(rows, banded=report.weighings > 1),
        *slope_line(
            last, 100 * now, limit_pct_week, 3, msg("{limit_pct_week:g}% a week", limit_pct_week=limit_pct_week)
        ),
        marks,
        *day_lines(_named_days(start, last, on, report.steady_at, "steady")),
    ]
    chart = chart_of(layers, msg("weight, % of the first"), _padded(ends), start=start)
    return Figure(chart, _drying_words(report))


def room_figures(batch: Batch) -> tuple[Figure, ...]:
    """Each quantity that was read in the room or the batter, over time."""
    figures = []
    for kind in KINDS.values():
        readings = [(at, record.value) for at, record in batch.records(ScalarReading) if record.kind == kind.name]
        if not readings:
            continue
        start = batch.poured_at or readings[0][0]
        points = [{"days": (at - start) / DAY, "value": value, "when": formatting.moment(at)} for at, value in readings]
        line = rows_of(points).encode(
            x=alt.X("days:Q"),
            y=alt.Y("value:Q"),
            tooltip=[alt.Tooltip("when:N", title="when"), alt.Tooltip("value:Q", title=kind.unit)],
        )
        values = [value for _, value in readings]
        low, high, latest = (digits(value) for value in (min(values), max(values), values[-1]))
        words = msg(
            "{words}: {values}, {low} to {high} {unit}, last {latest} on {readings}.",
            words=kind.words,
            values=msg_n("{number} reading", "{number} readings", len(values)),
            low=low,
            high=high,
            unit=kind.unit,
            latest=latest,
            readings=formatting.day(readings[-1][0]),
        )
        layers = [line.mark_line(color=LINE), line.mark_point(filled=True, color=LINE, size=60)]
        chart = chart_of(layers, kind.unit, _padded(values), height=200, start=start)
        figures.append(Figure(chart, sentence(words)))
    return tuple(figures)


def _curve_rows(days: Sequence[float], last: float, *columns_over_days: Sequence[float]) -> list[dict[str, Any]]:
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


def _padded(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    margin = max(0.06 * (high - low), 0.5)
    return low - margin, high + margin


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


def _drying_words(report: DryingReport) -> str:
    words = msg("Drying: {state}, {words}.", state=report.state, words=report.words)
    if report.loss_pct is not None:
        words += msg(" Lost so far: {loss_pct} %", loss_pct=digits(report.loss_pct, 1))
        words += (
            msg(", of the {most_loss_pct:.0f} % water that went in.", most_loss_pct=report.most_loss_pct)
            if report.most_loss_pct
            else "."
        )
    if report.shown_at is not None and report.state.value == "drying":
        around = formatting.span(report.shown_interval)
        words += msg(
            " Weighings can show it steady from about {shown_at} ({around}).",
            shown_at=formatting.day(report.shown_at),
            around=around,
        )
    return words
