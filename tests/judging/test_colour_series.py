"""A portion's colour over time: the words follow the evidence."""

import numpy as np
import pytest

from curejournal.colour.difference import ciede2000
from curejournal.judging.colour_series import fit_colour_series
from curejournal.judging.colour_states import State, classify, soon
from curejournal.judging.forecast import forecast_from_history
from curejournal.judging.target_difference import grey_scale_grade
from tests.judging.batches import INTENDED, JOURNEYS, POURED, day, entries, reading, seen

DAYS = (0.2, 1, 3, 7, 12, 18, 25, 33, 42)


def _follow(records, **kwargs):
    return fit_colour_series(entries(records), POURED, INTENDED, 3.0, **kwargs)


@pytest.mark.parametrize(
    ("journey", "state"),
    [
        ("comes back", State.RECOVERED),
        ("settles off", State.STABLE_OFF),
        ("browns", State.BROWNING),
        ("stays", State.STABLE),
    ],
)
@pytest.mark.parametrize("seed", range(3))
def test_nine_readings_name_what_happened(journey, state, seed):
    found = _follow(seen(journey, DAYS, seed))
    assert found.state is state, found.chances


def test_on_its_way_it_is_coming_back_with_a_date():
    found = _follow(seen("comes back", DAYS[:6]))
    assert found.state in (State.RECOVERING, State.RECOVERED)
    # The true curve enters 3 ΔE00 near day 11.
    low, high = found.forecast.interval
    assert low <= day(11.2) and (high is None or high >= day(10.8))


def test_hours_after_the_pour_it_is_turning():
    turn = tuple(
        (d, reading(np.array(INTENDED) + np.array([-14.0, 5, 24]) * (1 - np.exp(-2 * d))))
        for d in (0.05, 0.2, 0.5, 0.8)
    )
    assert _follow(turn).state is State.DISCOLOURING


@pytest.mark.parametrize("count", [0, 1, 2])
def test_few_readings_are_called_too_few(count):
    found = _follow(seen("comes back", DAYS[:count]))
    assert found.state is State.TOO_FEW
    assert found.moments == count


def test_fewer_readings_give_wider_intervals():
    widths = []
    for count in (2, 4, 8):
        now = _follow(seen("stays", DAYS[:count])).difference_now
        widths.append(now.high - now.low)
    assert widths[0] > widths[1] > widths[2]


@pytest.mark.parametrize("shift", [0.0, 2.0, 8.0])
def test_a_single_readings_interval_holds_the_true_difference(shift):
    rng = np.random.default_rng(11)
    true = np.add(INTENDED, (-0.6 * shift, 0.0, 0.8 * shift))
    truth = float(ciede2000(INTENDED, true))
    held = []
    for _ in range(80):
        found = _follow([(20, reading(true + rng.normal(0, 1.5, 3), sd=1.5))])
        held.append(found.points[0].difference.low <= truth <= found.points[0].difference.high)
    assert np.mean(held) >= 0.9


def test_back_needs_two_readings_some_days_apart():
    first = seen("comes back", (0.2, 1, 3, 7))
    last = seen("comes back", (30, 30.2, 30.4), seed=4)
    together = _follow(first + last)
    apart = _follow(first + last + seen("comes back", (37,), seed=5))
    assert together.state is not State.RECOVERED
    assert apart.state is State.RECOVERED


def test_back_is_a_claim_of_the_interval_and_not_of_the_point():
    vague = tuple((d, reading(JOURNEYS["comes back"](d), sd=4.0)) for d in (0.2, 3, 14, 25, 33))
    found = _follow(vague)
    assert found.difference_now.estimate < 3.0 < found.difference_now.high
    assert found.state is not State.RECOVERED


def test_an_error_that_all_readings_share_counts_against_another_instruments_colour_and_not_between_readings():
    readings = seen("comes back", DAYS)
    alone, shared = _follow(readings), _follow(readings, target_sd=2.0)
    width = [found.difference_now.high - found.difference_now.low for found in (alone, shared)]
    assert width[1] > 2 * width[0]
    assert alone.proven_within and not shared.proven_within
    # What the colour did is seen as well as before: what is shared moves no reading against another.
    assert [model.weight for model in shared.models] == [model.weight for model in alone.models]
    assert shared.lab_now == pytest.approx(alone.lab_now, abs=0.15)
    assert dict(shared.chances)[State.BROWNING] < 0.1


def test_the_interval_holds_the_truth_where_all_readings_share_an_error():
    rng = np.random.default_rng(12)
    true, held, without = np.add(INTENDED, (-3.0, 1.0, 3.0)), [], []
    truth = float(ciede2000(INTENDED, true))
    for _ in range(40):
        off = rng.normal(0, 1.0, 3)
        readings = tuple((d, reading(true + off + rng.normal(0, 0.9, 3), sd=0.9)) for d in DAYS)
        for target_sd, into in ((1.0, held), (0.0, without)):
            now = _follow(readings, target_sd=target_sd).difference_now
            into.append(now.low <= truth <= now.high)
    assert np.mean(held) >= 0.9
    assert np.mean(without) < 0.85


def test_a_portion_that_browns_after_coming_back_is_not_back():
    def journey(t):
        return JOURNEYS["comes back"](t) + np.array([-14.0, 5, 10]) * (1 - np.exp(-0.03 * t))

    rng = np.random.default_rng(3)
    found = _follow(tuple((d, reading(journey(d) + rng.normal(0, 0.6, 3))) for d in DAYS))
    assert found.state is State.BROWNING


def test_a_reading_that_is_not_usable_never_enters():
    good = seen("stays", DAYS)
    bad = (20, reading((30.0, 30.0, 30.0), grade="not usable"), "bad")
    assert _follow((*good, bad)).difference_now == _follow(good).difference_now


def test_an_outlying_reading_is_questioned_kept_and_weighed_down():
    odd = (15, reading(np.add(INTENDED, (-12, 6, 14))), "odd")
    found = _follow((*seen("stays", DAYS), odd))
    (point,) = [p for p in found.points if p.days == pytest.approx(15)]
    assert point.questioned and point.weight < 0.3
    assert sum(p.questioned for p in found.points) == 1
    assert found.state is State.STABLE


def test_a_last_reading_far_off_takes_back_the_claim():
    odd = (45, reading(np.add(INTENDED, (-12, 6, 14))), "odd")
    assert _follow((*seen("comes back", DAYS), odd)).state is not State.RECOVERED


def test_photos_of_one_moment_count_as_one():
    burst = tuple((30 + i * 0.0015, reading(INTENDED), f"b{i}") for i in range(12))
    found = _follow(burst)
    assert found.moments == 1
    # Twelve photos in one light do not average its error away.
    assert min(found.points[0].lab_sd) >= 0.89


def test_a_control_in_the_same_photo_takes_out_the_light():
    rng = np.random.default_rng(7)
    records, controls = [], []
    for d in DAYS:
        light = rng.normal(0, 3.0, 3)
        records.append((d, reading(JOURNEYS["comes back"](d) + light, sd=3.0), f"p{d}"))
        controls.append((d, reading(np.array(INTENDED) + light, "control", sd=3.0), f"p{d}"))
    alone = _follow(records)
    beside = _follow(records, control=entries(controls))
    assert beside.difference_now.high - beside.difference_now.low < 0.6 * (
        alone.difference_now.high - alone.difference_now.low
    )
    assert beside.state is State.RECOVERED
    assert all(point.against_control for point in beside.points)


def test_without_a_target_colour_nothing_is_called_back():
    for journey, state in (("stays", State.STABLE), ("browns", State.BROWNING)):
        found = fit_colour_series(entries(seen(journey, DAYS)), POURED)
        assert found.state is state
        assert found.difference_now is None and found.forecast is None


def test_no_return_is_predicted_where_none_comes():
    for journey in ("settles off", "browns"):
        assert not _follow(seen(journey, DAYS)).forecast.expected


def test_the_parts_say_which_way_it_is_off():
    found = _follow(seen("browns", DAYS))
    assert found.parts_now[0] < -5
    assert found.yellowness_now > _follow(seen("stays", DAYS)).yellowness_now


def test_the_curve_for_the_chart_runs_as_far_as_asked():
    found = fit_colour_series(entries(seen("stays", DAYS)), POURED, INTENDED, curve_until=day(80))
    rows = found.curve
    assert rows.days[-1] == pytest.approx(80)
    assert len(rows.days) == len(rows.difference) == len(rows.lab) == len(rows.lab_low)
    assert all(
        lo <= mid <= hi for lo, mid, hi in zip(rows.difference_low, rows.difference, rows.difference_high, strict=True)
    )


def test_the_order_of_entries_does_not_matter():
    records = entries(seen("comes back", DAYS))
    assert fit_colour_series(records[::-1], POURED, INTENDED) == fit_colour_series(records, POURED, INTENDED)


@pytest.mark.parametrize(
    ("change", "grade"),
    # Midpoints of the steps of ISO 105-A02 in ΔE*ab: 0.40 1.25 2.10 2.95 4.10 5.80 8.20 11.60.
    [
        (0.0, "5"),
        (0.39, "5"),
        (0.41, "4-5"),
        (1.3, "4"),
        (2.2, "3-4"),
        (3.0, "3"),
        (4.2, "2-3"),
        (6.0, "2"),
        (9.6, "1-2"),
        (13.6, "1"),
    ],
)
def test_the_grey_scale_style_grade_has_the_steps_of_the_standard(change, grade):
    assert grey_scale_grade((80.0, 0.0, 0.0), (80.0 - change, 0.0, 0.0)) == grade


def test_earlier_batches_predict_before_the_first_photo():
    assert forecast_from_history([], POURED) is None
    one, many = forecast_from_history([10.0], POURED), forecast_from_history([9.0, 10, 11, 10, 9.5], POURED)
    assert abs((many.at - day(9.9)).days) <= 1
    assert one.interval[0] < many.interval[0] < many.at < many.interval[1] < one.interval[1]
    assert not forecast_from_history([None, None, None], POURED).expected


def test_known_curves_are_named_by_what_they_do():
    def name(journey, t, left):
        at = np.array([[JOURNEYS[journey](x) for x in (t, t + soon(t), t + 28)]])
        return classify(t, at, np.array(INTENDED), 3.0, np.array([left]))[0]

    assert name("comes back", 2, True) == State.RECOVERING
    assert name("comes back", 30, True) == State.RECOVERED
    assert name("settles off", 30, True) == State.STABLE_OFF
    assert name("browns", 10, True) == State.BROWNING
    assert name("browns", 1, True) == State.DISCOLOURING
    assert name("stays", 10, False) == State.STABLE


def test_one_bad_photo_beside_a_good_one_is_questioned_and_no_turn():
    bad = ((0.3, reading(np.add(INTENDED, (-14.0, 3.0, 12.0)))), *seen("stays", (0.45, 2, 6, 12, 19, 26)))
    found = _follow(bad)
    assert found.state is State.STABLE
    assert [point.questioned for point in found.points] == [True] + [False] * 6
    # Days apart the same two are a turn that may well have gone.
    assert _follow(((0.3, bad[0][1]), *seen("stays", (5, 9, 13, 19, 26, 33)))).state is State.RECOVERED


def test_where_settled_and_browning_cannot_be_told_apart_both_are_said():
    def slow(t):
        return np.add(INTENDED, np.array([-9.0, 3, 6]) * (1 - np.exp(-0.06 * t)))

    rng = np.random.default_rng(5)
    rows = [_follow(tuple((d, reading(slow(d) + rng.normal(0, 0.7, 3))) for d in DAYS if d <= last)) for last in DAYS]
    told = [found for found in rows if found.perhaps]
    assert {State.STABLE_OFF, State.BROWNING} in [{found.state, found.perhaps} for found in told]
    for found in told:
        assert found.words.startswith(f"{found.state.value}; perhaps {found.perhaps.value}")
        assert dict(found.chances)[found.perhaps] >= 0.05
