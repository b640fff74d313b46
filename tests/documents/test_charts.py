"""Charts hold what was measured, and their sentences say the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import pytest

from curejournal.batch.records import Batch
from curejournal.documents import chart_frame, colour_charts, drying_charts, formatting
from curejournal.journal.store import Journal
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.judgement import Judgement, judge
from tests.ui.journals import NOW, small_journal


@pytest.fixture
def batch(tmp_path: Path) -> Batch:
    with Journal.open(small_journal(tmp_path)) as journal:
        return journal.batch("B-1")


@pytest.fixture
def judgement(batch: Batch) -> Judgement:
    return judge(batch, NOW)


def layers(figure: chart_frame.Figure) -> list[dict[str, Any]]:
    spec = figure.chart.to_dict()
    return [{"data": spec.get("data"), **layer} for layer in spec["layer"]]


def rows(figure: chart_frame.Figure, key: str) -> list[dict[str, Any]]:
    """The first layer's rows that have a column."""
    return next(data for layer in layers(figure) if key in (data := layer["data"]["values"])[0])


def test_the_journeys_chart_has_each_reading_with_its_interval_and_colour(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]
    figure = colour_charts.difference_figure(journey, "soap")
    assert figure is not None
    shown = rows(figure, "colour")
    assert [row["value"] for row in shown] == [
        point.difference.estimate for point in journey.points if point.difference
    ]
    assert all(row["low"] <= row["value"] <= row["high"] for row in shown)
    assert shown[0]["colour"] == formatting.hex_colour(journey.points[0].lab)


def test_the_journeys_curve_is_dashed_from_the_last_reading_on(judgement: Judgement) -> None:
    figure = colour_charts.difference_figure(judgement.journeys["soap"], "soap")
    assert figure is not None
    curve = rows(figure, "part")
    last = max(row["days"] for row in curve if row["part"] == "seen")
    assert last == pytest.approx(judgement.journeys["soap"].points[-1].days)
    assert last == min(row["days"] for row in curve if row["part"] == "predicted")


def test_the_sentence_says_state_difference_and_tolerance(judgement: Judgement) -> None:
    figure = colour_charts.difference_figure(judgement.journeys["soap"], "soap")
    assert figure is not None
    assert str(judgement.journeys["soap"].state) in figure.words
    assert "up to 3 is accepted" in figure.words and "5 readings" in figure.words


def test_l_a_and_b_have_a_chart_each_with_the_target_value(judgement: Judgement) -> None:
    shown = colour_charts.lab_figures(judgement.journeys["soap"], "soap")
    assert [layers(figure)[0]["data"]["values"][0]["at"] for figure in shown] == [85, 1, 12]


def test_drying_is_shown_in_percent_of_the_first_weight(judgement: Judgement) -> None:
    figure = drying_charts.drying_figure(judgement.drying)
    assert figure is not None
    shown = rows(figure, "grams")
    assert shown[0]["grams"] == "120\u00a0g" and len(shown) == 9
    assert shown[-1]["value"] / shown[0]["value"] == pytest.approx(106.5 / 120.0, rel=0.01)
    assert "steady" in figure.words


def test_the_room_is_charted_where_it_was_read(batch: Batch) -> None:
    (figure,) = drying_charts.room_figures(batch)
    assert "19.5" in figure.words and rows(figure, "value")[0]["value"] == 19.5


def test_without_readings_there_is_no_chart() -> None:
    empty = judge(Batch("X", "Nothing"), NOW)
    assert drying_charts.drying_figure(empty.drying) is None
    assert drying_charts.room_figures(Batch("X", "Nothing")) == ()


def test_two_journeys_stand_in_one_chart_each_with_a_shape_of_its_own(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]
    other = replace(journey, tolerance=4.0)
    figure = colour_charts.beside_figure({"one": journey, "two": other})
    assert figure is not None
    shown = rows(figure, "which")
    assert [row["which"] for row in shown] == ["one"] * 5 + ["two"] * 5
    assert all(row["low"] <= row["value"] <= row["high"] for row in shown)
    shapes = [layer["encoding"]["shape"]["field"] for layer in layers(figure) if "shape" in layer["encoding"]]
    assert shapes == ["which"]
    day = f"On day {journey.points[-1].days:.0f} after the pour, by the curves: one "
    assert figure.words.startswith("one: ") and "two: " in figure.words and day in figure.words


def test_what_both_accept_is_shown_only_if_it_is_the_same(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]

    def named(other: ColourSeries) -> list[str]:
        figure = colour_charts.beside_figure({"one": journey, "two": other})
        assert figure is not None
        return [layer["data"]["values"][0]["name"] for layer in layers(figure) if layer["mark"]["type"] == "rect"]

    assert named(journey) == ["within 3: on target"]
    assert named(replace(journey, tolerance=4.0)) == []


def test_a_journey_without_a_target_colour_is_not_put_beside_another(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]
    assert colour_charts.beside_figure({"one": journey, "two": replace(journey, target_lab=None)}) is None
    assert colour_charts.beside_figure({"one": journey, "two": replace(journey, points=())}) is None


def test_days_have_their_dates_and_what_matters_is_named_in_the_chart(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]
    figure = colour_charts.difference_figure(journey, "soap", on=judgement.on)
    assert figure is not None
    texts = [value["name"] for layer in layers(figure) for value in layer["data"]["values"] if "name" in value]
    assert "today" in texts and f"within {journey.tolerance:g}: on target" in texts
    axes = [layer["encoding"]["x"]["axis"] for layer in layers(figure) if "axis" in layer["encoding"].get("x", {})]
    assert axes and all("utcFormat" in axis["labelExpr"] for axis in axes)
    start = (journey.points[0].at - timedelta(days=journey.points[0].days)).replace(tzinfo=UTC)
    assert str(round(start.timestamp() * 1000)) in axes[0]["labelExpr"], "by the maker's own clock"


def test_the_limit_of_drying_is_drawn_as_steep_as_it_is(judgement: Judgement) -> None:
    figure = drying_charts.drying_figure(judgement.drying, judgement.drying.points[0].at, judgement.on, 1.0)
    assert figure is not None
    (line,) = [
        layer["data"]["values"]
        for layer in layers(figure)
        if layer["mark"]["type"] == "line"
        and len(layer["data"]["values"]) == 2
        and "part" not in layer["data"]["values"][0]
    ]
    weeks = (line[1]["days"] - line[0]["days"]) / 7
    assert line[1]["value"] / line[0]["value"] == pytest.approx(0.99**weeks)


def test_one_reading_has_no_slab_around_it(judgement: Judgement) -> None:
    journey = judgement.journeys["soap"]
    one = replace(journey, moments=1)
    figure = colour_charts.difference_figure(one, "soap")
    assert figure is not None and "area" not in [layer["mark"]["type"] for layer in layers(figure)]
