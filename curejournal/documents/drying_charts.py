"""Charts of drying and of the room, each with a sentence that says what it shows."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from curejournal.base.counting import digits
from curejournal.base.lazy import Module
from curejournal.base.messages import msg, msg_n, sentence
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import Batch, ScalarReading
from curejournal.documents import formatting
from curejournal.documents.chart_frame import (
    DAY,
    LINE,
    Figure,
    chart_of,
    curve_layers,
    curve_rows,
    named_days,
    padded,
)
from curejournal.documents.chart_marks import day_lines, rows_of, slope_line
from curejournal.judging.drying import DryingReport

if TYPE_CHECKING:
    import altair as alt
else:  # a page without a chart needs it not
    alt = Module("altair")


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
        curve_rows(curve.days, last, *([100 * value for value in part] for part in (curve.part, curve.low, curve.high)))
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
        *day_lines(named_days(start, last, on, report.steady_at, "steady")),
    ]
    chart = chart_of(layers, msg("weight, % of the first"), padded(ends), start=start)
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
        chart = chart_of(layers, kind.unit, padded(values), height=200, start=start)
        figures.append(Figure(chart, sentence(words)))
    return tuple(figures)


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
