"""Judge drawn batches at each of their visits, and compare what is said with what is true."""

from __future__ import annotations

import time
from collections.abc import Iterable
from datetime import timedelta

import numpy as np
from scipy.stats import beta

from curejournal.batch.records import ColourReading
from curejournal.judging.colour_states import AHEAD_DAYS, State, classify, soon
from curejournal.judging.findings import Verdict
from curejournal.judging.judgement import judge
from tests.benchmarks.foreign_study.worlds import LIMIT, POURED, TOLERANCE, Simulated, lye_only, simulate
from tests.benchmarks.judgement_study import with_sixty_readings

DAY = timedelta(days=1)
LEAST_AGE, LIMIT_PCT_WEEK, COLOUR_APART = 28.0, 1.0, 5.0


def days_of(at) -> float | None:
    return None if at is None else (at - POURED) / DAY


def false_ready(simulated: Simulated, day: float) -> list[str]:
    """What is not so although the batch is called ready; lye pockets in bars that nobody tested are counted apart."""
    world = simulated.world
    truths = {
        "age": day >= LEAST_AGE,
        "alkali": world.lye.bulk_pct(day) <= LIMIT,
        # The room of next week is nobody's to know: what counts is the room as it is.
        "drying": abs(world.change_next_week(day)[0]) < LIMIT_PCT_WEEK,
        "colour": world.away(day)[0] <= TOLERANCE,
    }
    return [name for name, true in truths.items() if not true]


def true_state(simulated: Simulated, day: float, seen: np.ndarray) -> State:
    """The right word for the true curve: recovered needs two readings within tolerance some days apart."""
    world = simulated.world
    at = world.lab(np.array([day, day + soon(day), day + AHEAD_DAYS]))[None]
    away = world.away(seen)
    state = State(classify(day, at, world.target, TOLERANCE, np.array([(away > TOLERANCE).any()]))[0])
    shown = (away[seen <= seen[-1] - COLOUR_APART] <= TOLERANCE).any()
    return State.RECOVERING if state is State.RECOVERED and not shown else state


def to_stay(values: np.ndarray, limit: float, grid: np.ndarray) -> float:
    """From which day of the grid on the values stay within the limit; infinite if they never do."""
    out = np.flatnonzero(values > limit)
    return 0.0 if not out.size else (np.inf if out[-1] == len(grid) - 1 else float(grid[out[-1] + 1]))


def held(interval, true: float, horizon: float) -> bool:
    low, high = map(days_of, interval)
    if low is None:
        return true > horizon
    return true >= low and (high is None or true <= high)


def judge_one(task: tuple[int, int]) -> dict:
    """One batch, judged at each of its visits."""
    seed, number = task
    simulated = simulate(np.random.default_rng([seed, number]), number)
    world, batch = simulated.world, simulated.batch
    seen_days = np.array([days_of(e.at) for e in batch.of(ColourReading) if e.record.grade != "not usable"])
    grid = np.linspace(0, 200, 2001)
    returns = to_stay(world.away(grid), TOLERANCE, grid)
    weekly = np.arange(0, 130, 0.5)
    steady = to_stay(np.abs(world.change_next_week(weekly)), LIMIT_PCT_WEEK, weekly)
    row = {
        "number": number, "maker": world.maker, "careful": world.careful, "journey": world.journey,
        "false_ready": [], "ready": False, "pocket": bool(world.lye.pocket_bars), "judgements": 0,
        "back": [], "holds": [], "states": [], "dates": [], "steady": [], "ms": [], "could": False,
    }  # fmt: skip
    for day in simulated.visits:
        on = POURED + timedelta(days=day, minutes=1)
        began = time.process_time()
        found = judge(batch, on)
        row["ms"].append(1e3 * (time.process_time() - began))
        row["judgements"] += 1
        checks = {finding.check: finding for finding in found.findings}
        if found.verdict == "ready":
            row["ready"] = True
            row["false_ready"] += [(round(day, 1), why) for why in false_ready(simulated, day)]
        if checks["alkali"].verdict is Verdict.HOLD:
            row["holds"].append(world.lye.bulk_pct(day) <= LIMIT and not world.lye.pocket_bars)
        journey = found.journeys["body"]
        if journey.state is State.RECOVERED:
            row["back"].append(bool(world.away(day)[0] <= TOLERANCE))
        seen = seen_days[seen_days <= day + 1e-6]
        if len(seen) and seen[-1] >= day - 1e-6:
            if journey.moments >= 6:
                row["states"].append((journey.state, true_state(simulated, day, seen), journey.perhaps))
            forecast = journey.forecast
            if journey.moments >= 3 and returns > 0 and forecast is not None and None not in forecast.interval:
                width = (forecast.interval[1] - forecast.interval[0]) / DAY
                row["dates"].append((held(forecast.interval, returns, day + 120), width, world.late_brown))
        drying = found.drying
        if drying.loss_pct_week is not None and steady > day:
            row["steady"].append((held(drying.steady_interval, steady, day + 180), world.gains))
    last = simulated.visits[-1]
    row["could"] = not false_ready(simulated, last) and not world.lye.pocket_bars and last >= 36
    if number % 10 == 0:
        until = POURED + timedelta(days=last + 1)
        many = with_sixty_readings(batch, until, np.random.default_rng([seed, number, 2]))
        began = time.process_time()
        judge(many, until)
        row["sixty"] = 1e3 * (time.process_time() - began)
    return row


def release_one(task: tuple[int, int, str]) -> dict:
    """Whether a batch's lye would ever be let pass from its least age on, and what it holds then."""
    seed, number, maker = task
    simulated = lye_only(
        np.random.default_rng([seed, number, 7]), number, maker, careful=maker == "strips" or number % 2 == 0
    )
    lye, passed, holds = simulated.world.lye, [], []
    for day in (28.2, 50.0):
        found = judge(simulated.batch, POURED + timedelta(days=day, minutes=1))
        verdicts = {finding.check: finding.verdict for finding in found.findings}
        if all(verdicts[name] is Verdict.PASS for name in ("alkali", "lye margin", "surface", "age")):
            passed.append(lye.bulk_pct(day))
        if verdicts["alkali"] is Verdict.HOLD:
            holds.append(lye.bulk_pct(day) <= LIMIT and not lye.pocket_bars)
    sound = lye.bulk_pct(50.0) <= LIMIT and not lye.pocket_bars
    return {"maker": maker, "passed": passed, "sound": sound, "holds": holds, "twice": lye.twice}


def _pct(part: float, whole: float) -> str:
    return f"{100 * part / whole:.2f}% ({part:g} of {whole:g})" if whole else "none"


def _upper(bad: int, count: int) -> str:
    """One-sided 95% bound of a share, Clopper and Pearson 1934."""
    return (
        f"{bad} of {count}, at most {100 * beta.ppf(0.95, bad + 1, max(count - bad, 1e-9)):.2f}%" if count else "none"
    )


def table(rows: list[dict]) -> Iterable[tuple[str, str, str]]:
    """The figures of the study as (figure, wanted, found)."""
    falsely = [row for row in rows if row["false_ready"]]
    lye = [row for row in falsely if any(why == "alkali" for _, why in row["false_ready"])]
    backs, holds, states, dates, steady = (
        [entry for row in rows for entry in row[name]] for name in ("back", "holds", "states", "dates", "steady")
    )
    yield "batches ever falsely *ready*", "0.5%", _pct(len(falsely), len(rows))
    yield f"of these with alkali above {LIMIT}% in the bulk", "", str(len(lye))
    yield "batches *ready* at all", "", _pct(sum(row["ready"] for row in rows), len(rows))
    yield (
        "truly ready at the last visit, and called so by then",
        "",
        _pct(sum(r["ready"] for r in rows if r["could"]), sum(r["could"] for r in rows)),
    )
    yield (
        "*ready* with a pocket in a bar that nobody tested",
        "",
        _pct(sum(r["ready"] for r in rows if r["pocket"]), sum(r["pocket"] for r in rows)),
    )
    yield "*recovered* while outside its tolerance now", "1%", _pct(len(backs) - sum(backs), len(backs))
    yield "sound batches among holds for alkali", "5%", _pct(sum(holds), len(holds))
    right = sum(s[0] == s[1] for s in states)
    yield "states named right from six readings on", "80%", _pct(right, len(states))
    yield (
        "the same, with the other state that is said to be possible",
        "90%",
        _pct(sum(s[1] in (s[0], s[2]) for s in states), len(states)),
    )
    yield "dates of colour hold, both ends given", "90%", _pct(sum(d[0] for d in dates), len(dates))
    early = [d for d in dates if not d[2]]
    yield "the same where nothing browns late", "", _pct(sum(d[0] for d in early), len(early))
    yield "their median width, days", "", f"{np.median([d[1] for d in dates]):.1f}" if dates else "none"
    yield "date of steady weight holds", "90%", _pct(sum(s[0] for s in steady), len(steady))
    never = [s for s in steady if not s[1]]
    yield "the same where it never gains", "", _pct(sum(s[0] for s in never), len(never))
    ms, sixty = [m for row in rows for m in row["ms"]], [row["sixty"] for row in rows if "sixty" in row]
    yield "one judgement, ms of processor time, median / 95th", "", f"{np.median(ms):.0f} / {np.quantile(ms, 0.95):.0f}"
    if sixty:
        yield "with 60 readings, median / 95th", "40", f"{np.median(sixty):.0f} / {np.quantile(sixty, 0.95):.0f}"


def release_table(rows: list[dict]) -> Iterable[tuple[str, str, str]]:
    """Of the batches whose lye was let pass: how many held too much of it."""
    for maker in sorted({row["maker"] for row in rows}):
        mine = [row for row in rows if row["maker"] == maker]
        passed = [row for row in mine if row["passed"]]
        bad = sum(max(row["passed"]) > LIMIT for row in passed)
        wanted = "none" if maker == "titration" else "0.3%"
        yield f"let pass by {maker} with alkali above {LIMIT}%, and 95% bound", wanted, _upper(bad, len(passed))
        sound = [row for row in mine if row["sound"]]
        yield f"truly sound, by {maker}: let pass", "80%", _pct(sum(bool(row["passed"]) for row in sound), len(sound))
        holds = [one for row in mine for one in row["holds"]]
        yield f"sound among holds, by {maker}", "5%", _pct(sum(holds), len(holds))
