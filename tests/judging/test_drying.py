"""Weight loss: the words follow the scale and the number of weighings."""

import numpy as np
import pytest

from curejournal.batch.records import Weighing
from curejournal.judging.drying import Drying, analyse_drying
from curejournal.judging.drying_models import RoomHistory, page_loss
from tests.judging.batches import POURED, day, entries, weighed

WEEKS = (0, 3, 7, 14, 21, 28, 35, 42, 56)


def _weigh_up(records, **kwargs):
    return analyse_drying(entries(records), POURED, **kwargs)


@pytest.mark.parametrize(
    ("days", "loss_next_week_pct"),
    # Worked series: 120 g to 102 g at 0.08 a day (arithmetic).
    [(7, 3.926), (14, 2.334), (21, 1.365), (28, 0.791), (35, 0.455), (42, 0.261)],
)
def test_the_rate_now_holds_the_worked_one(days, loss_next_week_pct):
    report = _weigh_up(weighed([d for d in WEEKS if d <= days]))
    assert report.loss_pct_week.low <= loss_next_week_pct <= report.loss_pct_week.high


def test_the_day_of_steadiness_of_the_worked_series():
    # The next seven days' loss falls below 1% on day 25.0 (arithmetic).
    report = _weigh_up(weighed(WEEKS))
    low, high = report.steady_interval
    assert low <= day(25.0) <= low + (day(5) - day(0))
    assert high is None, "nothing tells when a damper room would end it"
    ahead = _weigh_up(weighed(WEEKS[:5]))
    low, high = ahead.steady_interval
    assert low <= day(25.0) and (high is None or day(25.0) <= high)


def test_steady_needs_two_weighings_a_week_apart():
    assert _weigh_up(weighed((1, 7, 14, 21, 30))).state is Drying.DRYING
    assert _weigh_up(weighed((1, 7, 14, 21, 30, 38))).state is Drying.STEADY


@pytest.mark.parametrize("count", [0, 1])
def test_a_single_weighing_shows_no_rate(count):
    report = _weigh_up(weighed(WEEKS[:count]))
    assert report.state is Drying.UNKNOWN
    assert report.loss_pct_week is None and report.steady_at is None


def test_few_weighings_do_not_settle_the_end_weight_and_say_so():
    report = _weigh_up(weighed(WEEKS[:3]))
    assert not report.determined
    assert "not settled" in report.words
    assert report.final_loss_pct.high - report.final_loss_pct.low > 4


def test_no_curve_loses_more_than_the_water_that_went_in():
    free, bounded = _weigh_up(weighed(WEEKS[:4])), _weigh_up(weighed(WEEKS[:4]), water_share=0.16)
    assert bounded.final_loss_pct.high <= 16.6 < free.final_loss_pct.high
    assert bounded.most_loss_pct == 16


def test_a_coarse_scale_widens_the_interval_and_more_bars_narrow_it():
    fine, coarse = _weigh_up(weighed(WEEKS[:6])), _weigh_up(weighed(WEEKS[:6], step=1.0))
    several = _weigh_up(
        [item for i in range(5) for item in weighed(WEEKS[:6], m0=110 + 5 * i, step=1.0, subject=f"bar {i}", seed=i)]
    )
    width = [r.loss_pct_week.high - r.loss_pct_week.low for r in (fine, coarse, several)]
    assert width[0] < width[2] < width[1]


def test_bars_sold_from_a_tray_are_no_loss():
    whole = weighed(WEEKS[:5], m0=1200, subject="tray")
    tray = [(d, Weighing("tray", w.grams, 0.1, bars=10)) for d, w in whole]
    rest = [(d, Weighing("tray", w.grams * 0.7 * 1.01, 0.1, bars=7)) for d, w in weighed(WEEKS, m0=1200)[5:]]
    report, unsold = _weigh_up([*tray, *rest]), _weigh_up(weighed(WEEKS, m0=1200, subject="tray"))
    assert report.state is Drying.STEADY
    assert report.loss_pct_week.estimate == pytest.approx(unsold.loss_pct_week.estimate, abs=0.15)


def test_what_was_lost_while_bars_left_the_tray_is_counted():
    # Arithmetic: 15% (1 - exp(-0.08 x 21)) since day 0; three bars left between days 7 and 14.
    tray = [(d, Weighing("tray", w.grams, 0.1, bars=10)) for d, w in weighed((0, 3, 7), m0=1200)]
    rest = [(d, Weighing("tray", w.grams * 0.7 * 0.99, 0.1, bars=7)) for d, w in weighed((14, 18, 21), m0=1200)]
    truth = 100 * 0.15 * (1 - np.exp(-0.08 * 21))
    assert _weigh_up([*tray, *rest]).loss_pct == pytest.approx(truth, abs=0.8)
    assert _weigh_up(weighed((0, 3, 7, 14, 18, 21))).loss_pct == pytest.approx(truth, abs=0.3)


def test_a_loaf_cut_later_dries_on_under_the_same_name():
    loaf = [(d, Weighing("loaf", w.grams, 1.0)) for d, w in weighed((0, 1, 3), m0=1200)]
    # Cutting took a few crumbs; ten bars lie where the loaf lay.
    bars = [(d, Weighing("loaf", w.grams * 0.985, 1.0, bars=10)) for d, w in weighed(WEEKS[2:], m0=1200)]
    report, whole = _weigh_up([*loaf, *bars]), _weigh_up(weighed(WEEKS, m0=1200, step=1.0))
    assert report.state is Drying.STEADY
    assert report.loss_pct_week.estimate == pytest.approx(whole.loss_pct_week.estimate, abs=0.2)


@pytest.mark.parametrize("mistake_g", [0.0, 40.0, -40.0])
def test_another_tray_with_its_tare_is_no_gain_and_no_loss(mistake_g):
    # The second tray's tare is off by so much, which is 4% of the bars' weight.
    early = [(d, Weighing("tray", w.grams, 1.0, tare_g=300, bars=10)) for d, w in weighed(WEEKS[:4], m0=1000)]
    later = [
        (d, Weighing("tray", w.grams + mistake_g, 1.0, tare_g=420, bars=10)) for d, w in weighed(WEEKS[4:], m0=1000)
    ]
    report, whole = _weigh_up([*early, *later]), _weigh_up(weighed(WEEKS, m0=1000, step=1.0))
    assert report.state is Drying.STEADY
    assert not any(point.questioned for point in report.points)
    assert report.loss_pct_week.estimate == pytest.approx(whole.loss_pct_week.estimate, abs=0.2)


def test_a_bar_that_gains_in_a_damp_room_is_not_steady():
    damp = [(d, Weighing("bar 1", w.grams + 0.45 * max(0, d - 28), 0.1)) for d, w in weighed(WEEKS[:7])]
    report = _weigh_up(damp)
    assert report.state in (Drying.GAINING, Drying.DRYING)


def test_a_wrong_weight_is_questioned_and_kept():
    odd = (24, Weighing("bar 1", 112.0, 0.1))
    report = _weigh_up([*weighed(WEEKS), odd])
    assert [round(p.days) for p in report.points if p.questioned] == [24]
    assert report.weighings == len(WEEKS) + 1


def test_drying_as_page_describes_is_followed_too():
    days = np.array(WEEKS, dtype=float)
    part = 1 - 0.14 * page_loss(days, np.array([[0.05, 0.7]]))[0, :, 0]
    records = [(d, Weighing("bar 1", float(round(1200 * p) / 10), 0.1)) for d, p in zip(WEEKS, part, strict=True)]
    report = _weigh_up(records)
    truth = 100 * (1 - (1 - 0.14 * page_loss(days[-1:] + 7, np.array([[0.05, 0.7]]))[0, 0, 0]) / part[-1])
    assert report.loss_pct_week.low <= truth <= report.loss_pct_week.high


def slab_in_a_room(rng, humid):
    """Part of a bar that is left, in a room of these weekly humidities: diffusion, not what is fitted.

    J. Crank, The Mathematics of Diffusion, 2nd ed. 1975, eq. 4.18; isotherm of C. R. Oswin, 1946 [from memory].
    """
    k, water, a, b = rng.uniform(0.03, 0.12), rng.uniform(0.13, 0.20), rng.uniform(0.02, 0.06), rng.uniform(0.3, 0.5)
    moisture = np.minimum(a * (humid / (1 - humid)) ** b, water - 0.02)
    odd = np.arange(1, 60, 2)

    def left_of_step(days):
        return (8 / np.pi**2 * np.exp(-np.multiply.outer(np.maximum(days, 0.0) * k, odd**2)) / odd**2).sum(-1)

    def part(days, as_it_is_on=np.inf):
        t = np.asarray(days, float)
        left = moisture[0] + (water - moisture[0]) * left_of_step(t)
        for week, step in enumerate(np.diff(moisture), start=1):
            if 7 * week <= as_it_is_on:
                left = left + step * np.where(t > 7 * week, 1 - left_of_step(t - 7 * week), 0.0)
        return 1 - water + left

    return part


def test_a_room_that_was_noted_tells_next_weeks_loss_better():
    off, holds = [], []
    for seed in range(30):
        rng = np.random.default_rng([9, seed])
        humid = np.clip(rng.uniform(0.42, 0.6) + rng.normal(0, 0.05, 20), 0.25, 0.85)
        damp = int(rng.integers(3, 6))
        humid[damp : damp + 2] += 0.17
        part = slab_in_a_room(rng, humid)
        grams = {d: 110 * part(d) / part(1) + rng.normal(0, 0.03) for d in (*range(1, 45, 6), 45)}
        records = [(d, Weighing("bar 1", round(float(g), 1), 0.1)) for d, g in grams.items()]
        noted = [(d, 100 * humid[int(d // 7)] + rng.normal(0, 2)) for d in np.arange(0.5, 45)]
        true = float(100 * (part(45) - part(52, as_it_is_on=45)) / part(45))
        rates = [_weigh_up(records, room=room).loss_pct_week for room in (None, RoomHistory(noted))]
        off.append([abs(rate.estimate - true) for rate in rates])
        holds.append([rate.low <= true <= rate.high for rate in rates])
    (blind, told), (blind_holds, told_holds) = np.mean(off, axis=0), np.mean(holds, axis=0)
    assert told < 0.85 * blind
    assert told_holds > blind_holds + 0.05


@pytest.mark.parametrize("degrees", [5.0, -5.0])
def test_a_warm_spell_is_not_taken_for_a_bar_that_dries_fast_by_itself(degrees):
    # As much water leaves in a warm day as in 1.8 ** (degrees / 10) of the others.
    warm = [(d, 20 + (degrees if 12 <= d < 24 else 0.0)) for d in np.arange(0.5, 36)]
    speed = np.where((np.arange(360) >= 120) & (np.arange(360) < 240), 1.8 ** (degrees / 10), 1.0) / 10
    passed = np.concatenate([[0.0], np.cumsum(speed)])
    grams = {d: 120 - 18 * (1 - np.exp(-0.06 * passed[10 * d])) for d in range(0, 36, 5)}
    records = [(d, Weighing("bar 1", round(float(g), 2), 0.01)) for d, g in grams.items()]
    report = _weigh_up(records, room=RoomHistory((), warm))
    assert {m.name: m.weight for m in report.models}["room as noted"] > 0.5


def test_a_room_noted_only_twice_changes_nothing():
    records = weighed(WEEKS[:6])
    noted = RoomHistory([(3.0, 55.0), (4.0, 60.0)], [(3.0, 20.0)])
    assert _weigh_up(records, room=noted) == _weigh_up(records)
