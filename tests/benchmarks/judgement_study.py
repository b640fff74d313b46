"""How often the judgement is right, on simulated batches of known truth.

Run: python -m tests.benchmarks.judgement_study [--batches 600] [--fresh-seeds]
"""

from __future__ import annotations

import argparse
import secrets
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from curejournal.batch.records import AlkaliTest, Batch, ColourReading, Weighing
from curejournal.judging.colour_states import AHEAD_DAYS, State, classify, soon
from curejournal.judging.judgement import judge
from tests.benchmarks.simulated_batches import (
    FREE_ALKALI_LIMIT,
    LIMIT_PCT_WEEK,
    POURED,
    TOLERANCE,
    Simulated,
    by_another_instrument,
    simulate,
)

SEED = 20261125
LEAST_AGE, DAYS_APART, COLOUR_APART = 28.0, 7.0, 5.0


def _named(simulated: Simulated, at_day: float, seen: np.ndarray, tolerance: float) -> State:
    """What the true curve does at a time, as the readings of the days `seen` could show it without any error.

    *Back* is a claim on two readings within tolerance some days apart: before the second one, the right
    word is *coming back*.
    """
    truth = simulated.truth
    at = truth.lab(np.array([at_day, at_day + soon(at_day), at_day + AHEAD_DAYS]))[None]
    away = truth.away(seen)
    left = np.array([(away > tolerance).any()])
    state = State(classify(at_day, at, truth.target, tolerance, left)[0])
    shown = (away[seen <= seen[-1] - COLOUR_APART] <= tolerance).any()
    return State.RECOVERING if state is State.RECOVERED and not shown else state


def true_state(simulated: Simulated, day: float, seen: np.ndarray) -> State:
    """The right word."""
    return _named(simulated, day, seen, TOLERANCE)


def near_border(simulated: Simulated, day: float, seen: np.ndarray) -> set[State]:
    """The words that a small step (0.3 ΔE00 of tolerance, or 15% of the time) would make right."""
    return {
        _named(simulated, day * shift, seen, TOLERANCE + step)
        for step in (-0.3, 0.0, 0.3)
        for shift in (0.85, 1.0, 1.15)
    }


def _return_day(truth) -> float:
    """When the true colour is within tolerance to stay; infinite if never."""
    grid = np.linspace(0, 200, 4001)
    outside = np.flatnonzero(truth.away(grid) > TOLERANCE)
    return 0.0 if not outside.size else (np.inf if outside[-1] == len(grid) - 1 else float(grid[outside[-1] + 1]))


def _steady_day(truth) -> float:
    grid = np.linspace(0, 200, 4001)
    outside = np.flatnonzero(np.abs(truth.loss_next_week(grid)) >= LIMIT_PCT_WEEK)
    return 0.0 if not outside.size else float(grid[min(outside[-1] + 1, len(grid) - 1)])


def _truly_ready(truth, day: float, room_known_days: float = 0.0) -> dict[str, bool]:
    """Each check's truth. A room that changed in the last `room_known_days` is taken as it was before."""
    away = truth.away(np.array([day, day + 14.0]))
    return {
        "age": day >= LEAST_AGE,
        "drying": bool(abs(truth.loss_next_week(day, room_known_days)[0]) < LIMIT_PCT_WEEK),
        "alkali": truth.free_alkali_pct(day) <= FREE_ALKALI_LIMIT,
        "colour": bool((away <= TOLERANCE).all()),
    }


def _could_show(simulated: Simulated, day: float) -> bool:
    """Whether true values at the visits so far would satisfy every rule."""
    truth, batch = simulated.truth, simulated.batch
    if not all(_truly_ready(truth, day).values()):
        return False

    def days_of(kind):
        return np.array(
            [
                (e.at - POURED) / timedelta(days=1)
                for e in batch.of(kind)
                if (e.at - POURED) / timedelta(days=1) <= day + 1e-6
            ]
        )

    weighed, read = np.unique(days_of(Weighing)), days_of(ColourReading)
    read = np.array([d for d, e in zip(read, batch.of(ColourReading), strict=False) if e.record.grade != "not usable"])
    if len(weighed) < 2 or len(read) < 2:
        return False
    steady = np.abs(truth.loss_next_week(weighed)) < LIMIT_PCT_WEEK
    within = truth.away(read) <= TOLERANCE
    good = any(
        test.method != "strip" and truth.free_alkali_pct((at - POURED) / timedelta(days=1)) <= FREE_ALKALI_LIMIT
        for at, test in batch.records(AlkaliTest)
        if (at - POURED) / timedelta(days=1) <= day + 1e-6
    )
    return bool(
        good
        and steady[-1]
        and (steady & (weighed <= weighed[-1] - DAYS_APART)).any()
        and within[-1]
        and (within & (read <= read[-1] - COLOUR_APART)).any()
    )


def with_sixty_readings(batch: Batch, until: datetime, rng: np.random.Generator) -> Batch:
    """The batch as if its photos had been taken at sixty moments, evenly from its first to `until`."""
    taken = batch.of(ColourReading)
    others = [entry for entry in batch.entries if not isinstance(entry.record, ColourReading)]
    readings = []
    for number in range(60):
        one = taken[number * len(taken) // 60]
        lab = tuple((np.array(one.record.lab) + rng.normal(0, 0.4, 3)).tolist())
        at = taken[0].at + (until - taken[0].at) * number / 60
        readings.append(replace(one, id=10_000 + number, at=at, record=replace(one.record, lab=lab)))
    return replace(batch, entries=tuple(sorted((*others, *readings), key=lambda entry: (entry.at, entry.id))))


def study_one(task: tuple[int, int, float, float]) -> dict:
    """Judge one batch at each of its visits and compare with the truth."""
    seed, number, shared_sd, within = task
    simulated = simulate(np.random.default_rng([seed, number]), number, within)
    if shared_sd:
        simulated = by_another_instrument(simulated, np.random.default_rng([seed, number, 1]), shared_sd)
    truth, batch = simulated.truth, simulated.batch
    seen_days = np.array(
        [(e.at - POURED) / timedelta(days=1) for e in batch.of(ColourReading) if e.record.grade != "not usable"]
    )
    out = {
        "kind": (truth.journey, truth.drying, truth.alkali),
        "number": number,
        "false_ready": [],
        "strictly_false": False,
        "ready_day": None,
        "could_day": None,
        "back": [],
        "within": [],
        "states": [],
        "colour_cover": [],
        "drying_cover": [],
        "seconds": [],
        "judgements": 0,
    }
    returns, steady = _return_day(truth), _steady_day(truth)
    for day in simulated.visits:
        on = POURED + timedelta(days=day, minutes=1)
        began = time.process_time()
        found = judge(batch, on)
        out["seconds"].append(time.process_time() - began)
        out["judgements"] += 1
        ready = _truly_ready(truth, day, 7.0)
        if found.verdict == "ready":
            out["strictly_false"] |= not all(_truly_ready(truth, day).values())
            if not all(ready.values()):
                out["false_ready"].append((round(day, 1), [name for name, ok in ready.items() if not ok]))
            out["ready_day"] = day if out["ready_day"] is None else out["ready_day"]
        if out["could_day"] is None and _could_show(simulated, day):
            out["could_day"] = day
        journey = found.journeys["body"]
        seen = seen_days[seen_days <= day + 1e-6]
        if journey.proven_within:
            out["within"].append(bool(truth.away(day)[0] <= TOLERANCE))
        if journey.state is State.RECOVERED:
            out["back"].append(bool(truth.away(day)[0] <= TOLERANCE))
        if len(seen) and seen[-1] >= day - 1e-6:
            true = true_state(simulated, day, seen)
            out["states"].append(
                (
                    journey.moments,
                    journey.state,
                    true,
                    journey.state in near_border(simulated, day, seen),
                    round(day, 1),
                    journey.perhaps,
                )
            )
            if journey.moments >= 3 and returns > day and journey.forecast is not None:
                low, high = (
                    None if at is None else (at - POURED) / timedelta(days=1) for at in journey.forecast.interval
                )
                inside = (
                    (low is not None or not np.isfinite(returns) or returns > day + 120)
                    if low is None
                    else returns >= low
                )
                inside = inside and (high is None or returns <= high)
                out["colour_cover"].append(
                    (journey.forecast.expected, inside, journey.moments, day, returns, low, high)
                )
        report = found.drying
        if (
            report.loss_pct_week is not None
            and steady > day
            and not (np.isfinite(truth.rewet_day) and day < truth.rewet_day + 28)
        ):
            low, high = (None if at is None else (at - POURED) / timedelta(days=1) for at in report.steady_interval)
            inside = (low is not None and steady >= low) and (high is None or steady <= high)
            out["drying_cover"].append((inside, report.weighings, day, steady, low, high))
    until = POURED + timedelta(days=simulated.visits[-1] + 1)
    many = with_sixty_readings(batch, until, np.random.default_rng([seed, number, 2]))
    began = time.process_time()
    judge(many, until)
    out["sixty"] = time.process_time() - began
    return out


def _pct(part: float, whole: float) -> str:
    return f"{100 * part / whole:.2f}% ({part:g} of {whole:g})" if whole else "none"


def table(rows: list[dict], elapsed: float) -> list[tuple[str, str, str]]:
    """The figures of the study as (figure, to reach, found)."""
    falsely = [row for row in rows if row["false_ready"]]
    lye = [row for row in falsely if any("alkali" in why for _, why in row["false_ready"])]
    backs = [ok for row in rows for ok in row["back"]]
    within = [ok for row in rows for ok in row["within"]]
    could = [row for row in rows if row["could_day"] is not None]
    late = np.array([(np.inf if row["ready_day"] is None else row["ready_day"]) - row["could_day"] for row in could])
    states = [entry for row in rows for entry in row["states"] if entry[0] >= 6]
    cover = [entry for row in rows for entry in row["colour_cover"]]
    dry = [entry for row in rows for entry in row["drying_cover"]]
    ms = 1e3 * np.array([s for row in rows for s in row["seconds"]])
    sixty = 1e3 * np.array([row["sixty"] for row in rows])
    return [
        ("batches ever called *ready* falsely", "0.5%", _pct(len(falsely), len(rows))),
        (
            "the same, counting rooms that changed in the last week, which no weekly weight can show yet",
            "",
            _pct(sum(row["strictly_false"] for row in rows), len(rows)),
        ),
        (f"of these with free alkali above {FREE_ALKALI_LIMIT}%", "none", str(len(lye))),
        ("*back* said falsely", "2%", _pct(len(backs) - sum(backs), len(backs))),
        ("within tolerance (*back* or *steady*) said falsely", "2%", _pct(len(within) - sum(within), len(within))),
        ("days from the visit that could show *ready* to *ready*, median", "4", f"{np.median(late):.1f}"),
        ("batches that could show *ready* and never were called so", "", _pct(np.isinf(late).sum(), len(late))),
        *(
            (f"95% interval holds: return of colour, {name}", "90-98%", _pct(sum(c[1] for c in held), len(held)))
            for name, held in (("where expected", [c for c in cover if c[0]]), ("all", cover))
        ),
        ("95% interval holds: steady weight", "90-98%", _pct(sum(d[0] for d in dry), len(dry))),
        ("states named right from six readings on", "90%", _pct(sum(s[1] == s[2] for s in states), len(states))),
        (
            "the same, or right in what is said to be possible too",
            "",
            _pct(sum(s[2] in (s[1], s[5]) for s in states), len(states)),
        ),
        ("right, or right within 0.3 ΔE00 and 15% of the time", "", _pct(sum(s[3] for s in states), len(states))),
        (
            "one judgement, ms of processor time: median / 95th / most",
            "",
            f"{np.median(ms):.0f} / {np.quantile(ms, 0.95):.0f} / {ms.max():.0f}",
        ),
        (
            "the same with 60 readings at 60 moments",
            "50",
            f"{np.median(sixty):.0f} / {np.quantile(sixty, 0.95):.0f} / {sixty.max():.0f}",
        ),
        ("2,000 judgements, s of processor time", "120", f"{2 * ms.mean():.0f}"),
        ("whole study, s", "", f"{elapsed:.0f}"),
    ]


def main() -> None:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=600)
    parser.add_argument("--fresh-seeds", action="store_true")
    parser.add_argument("--details", action="store_true", help="also what was wrong, and how often")
    parser.add_argument("--shared-sd", type=float, default=0.0, help="target colours by another instrument")
    parser.add_argument(
        "--within", type=float, default=0.55, help="most tolerances that what comes back ends from its aim"
    )
    given = parser.parse_args()
    seed = secrets.randbits(32) if given.fresh_seeds else SEED
    began = time.perf_counter()
    tasks = [(seed, i, given.shared_sd, given.within) for i in range(given.batches)]
    with ProcessPoolExecutor(2) as pool:
        rows = list(pool.map(study_one, tasks, chunksize=10))
    print(f"seed {seed}, {given.batches} batches, {sum(row['judgements'] for row in rows)} judgements\n")
    print("| figure | to reach | found |\n| --- | --- | --- |")
    for line in table(rows, time.perf_counter() - began):
        print("| " + " | ".join(line) + " |")
    if given.details:
        states = [entry for row in rows for entry in row["states"] if entry[0] >= 6]
        print(
            "\nfalsely ready:", [(row["number"], row["kind"], row["false_ready"]) for row in rows if row["false_ready"]]
        )
        print("right words:", Counter(s[2].value for s in states))
        print("(right, said):", Counter((s[2].value, s[1].value) for s in states if s[1] != s[2]).most_common())


if __name__ == "__main__":
    main()
