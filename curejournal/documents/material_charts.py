"""Charts of what all batches say, each with a sentence that says what it shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from curejournal.base.lazy import Module
from curejournal.base.messages import join, msg, msg_n
from curejournal.documents.chart_frame import CALM, LINE, Figure, chart_of, curve_layers, styled
from curejournal.documents.chart_marks import accepted, rows_of
from curejournal.materials.effects import Effect
from curejournal.materials.expectation import Expected

if TYPE_CHECKING:
    import altair as alt
else:  # a page without a chart needs it not
    alt = Module("altair")

ROW_PX = 46


def effects_figure(effects: Sequence[Effect], words: Sequence[str]) -> Figure | None:
    """Each material's effect at its usual dose with its 95 % interval; `words` says the same of each."""
    if not effects:
        return None
    rows: list[dict[str, Any]] = [
        {
            "name": join(" and ", effect.materials),
            "value": effect.at_usual_dose.estimate,
            "low": effect.at_usual_dose.low,
            "high": effect.at_usual_dose.high,
            "chance": f"{100 * effect.chance:.0f} %",
            "likely": "likely" if effect.chance >= 0.5 else "unlikely",
        }
        for effect in effects
    ]
    order = [row["name"] for row in rows]
    # Names stand above their lines: beside them, a phone would leave no room for either.
    axis = alt.Axis(
        title=None,
        labelLimit=alt.ExprRef("width"),
        labelAlign="left",
        labelBaseline="bottom",
        labelPadding=-4,
        labelOffset=-8,
    )
    base = rows_of(rows).encode(y=alt.Y("name:N", sort=order, axis=axis))
    title = msg("ΔE00 at the usual dose (95 %)")
    line = base.mark_rule(color=LINE, strokeWidth=3).encode(x=alt.X("low:Q", title=title), x2="high:Q")
    dot = base.mark_point(filled=True, size=150, color=CALM, opacity=1).encode(
        x=alt.X("value:Q", title=title),
        shape=alt.Shape(
            "likely:N",
            title=None,
            scale=alt.Scale(domain=["likely", "unlikely"], range=["circle", "triangle"]),
            legend=alt.Legend(orient="top"),
        ),
        tooltip=[
            alt.Tooltip("name:N", title="material"),
            alt.Tooltip("chance:N", title="chance that it does anything"),
            *(alt.Tooltip(f"{end}:Q", title=end, format=".1f") for end in ("value", "low", "high")),
        ],
    )
    chart = alt.layer(line, dot).properties(height=ROW_PX * len(rows) + 60)
    return Figure(
        styled(chart),
        join(" ", (msg("{name}: {said}", name=name, said=said) for name, said in zip(order, words, strict=True))),
    )


def expected_figure(expected: Expected, material: str, tolerance: float | None = None) -> Figure | None:
    """The journey that one more pour with a material may take: ΔE00 from the target colour over days."""
    if not expected.days:
        return None
    rows: list[dict[str, Any]] = [
        {"days": day, "value": ends.estimate, "low": ends.low, "high": ends.high, "part": "predicted"}
        for day, ends in zip(expected.days, expected.difference, strict=True)
    ]
    # By one batch the interval spans all that soap can do, and would be a slab.
    layers = curve_layers(rows, banded=expected.batches > 1)
    if tolerance is not None:
        layers = [*accepted(tolerance), *layers]
    ends = "high" if expected.batches > 1 else "value"
    top = 1.1 * max(*(row[ends] for row in rows), 2 * (tolerance or 0))
    chart = chart_of(layers, msg("ΔE00 from the target colour"), (0, top))
    peak = max(rows, key=lambda row: row["value"])
    of = msg(", lot {lot}", lot=expected.lot) if expected.lot else ""
    together = msg(", several lots taken together") if not of and len(expected.lots) > 1 else ""
    words = msg(
        "Expected with {material}{of}, by {batches}{together}: ",
        material=material,
        of=of,
        batches=msg_n("{number} batch", "{number} batches", expected.batches),
        together=together,
    )
    words += msg(
        "furthest from target about day {day:.0f}, by {difference:.1f} ΔE00 ",
        day=peak["days"],
        difference=peak["value"],
    )
    words += msg("({low:.1f} to {high:.1f})", low=peak["low"], high=peak["high"])
    if rows[-1] is not peak:
        words += msg("; on day {day:.0f} by {difference:.1f} ", day=rows[-1]["days"], difference=rows[-1]["value"])
        words += msg("({low:.1f} to {high:.1f})", low=rows[-1]["low"], high=rows[-1]["high"])
    words += "."
    return Figure(chart, words)
