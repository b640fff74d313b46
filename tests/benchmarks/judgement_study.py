"""How often the judgement is right, on simulated batches of known truth.

Run: python -m tests.benchmarks.judgement_study [--batches 600] [--fresh-seeds]
"""

from __future__ import annotations

import argparse
import secrets
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import timedelta

import numpy as np

from curejournal.cure.journey import AHEAD_DAYS, State, classify, soon
from curejournal.cure.judgement import judge
from curejournal.cure.records import AlkaliTest, ColourReading, Weighing
from tests.benchmarks.simulated_batches import (
    FREE_ALKALI_LIMIT,
    LIMIT_PCT_WEEK,
    POURED,
    TOLERANCE,
    Simulated,
    simulate,
)

SEED = 20261125
LEAST_AGE, DAYS_APART, COLOUR_APART = 28.0, 7.0, 5.0


def true_state(simulated: Simulated, day: float, seen: np.ndarray) -> State:
    """What the true curve is doing, named as the fitted ones are."""
    truth = simulated.truth
    at = truth.lab(np.array([day, day + soon(day), day + AHEAD_DAYS]))[None]
    left = np.array([(truth.away(seen) > TOLERANCE).any()])
    return State(classify(day, at, truth.intended, TOLERANCE, left)[0])


def near_border(simulated: Simulated, day: float, seen: np.ndarray) -> set[State]:
    """The states that a small step (0.3 ΔE00 of tolerance, or a tenth of the time) would make true."""
    truth = simulated.truth
    names = set()
    for tolerance in (TOLERANCE - 0.3, TOLERANCE + 0.3):
        for shift in (0.85, 1.0, 1.15):
            t = day * shift
            at = truth.lab(np.array([t, t + soon(t), t + AHEAD_DAYS]))[None]
            left = np.array([(truth.away(seen) > tolerance).any()])
            names.add(State(classify(t, at, truth.intended, tolerance, left)[0]))
    return names


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
    """Each gauge's truth. A room that changed in the last `room_known_days` is taken as it was before."""
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


def study_one(task: tuple[int, int]) -> dict:
    """Judge one batch at each of its visits and compare with the truth."""
    seed, number = task
    simulated = simulate(np.random.default_rng([seed, number]), number)
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
        if journey.state is State.BACK:
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
    return out


def _pct(part: float, whole: float) -> str:
    return f"{100 * part / whole:.2f}% ({part:g} of {whole:g})" if whole else "none"


def main() -> None:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=600)
    parser.add_argument("--fresh-seeds", action="store_true")
    parser.add_argument("--details", action="store_true")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    seed = secrets.randbits(32) if given.fresh_seeds else SEED
    began = time.perf_counter()
    with ProcessPoolExecutor(given.processes) as pool:
        rows = list(pool.map(study_one, [(seed, i) for i in range(given.batches)], chunksize=10))
    elapsed = time.perf_counter() - began

    judgements = sum(row["judgements"] for row in rows)
    falsely = [row for row in rows if row["false_ready"]]
    lye = [row for row in falsely if any("alkali" in why for _, why in row["false_ready"])]
    backs = [ok for row in rows for ok in row["back"]]
    delays = [
        (row["ready_day"] if row["ready_day"] is not None else np.inf) - row["could_day"]
        for row in rows
        if row["could_day"] is not None
    ]
    states = [entry for row in rows for entry in row["states"] if entry[0] >= 6]
    cover = [entry for row in rows for entry in row["colour_cover"]]
    dry = [entry for row in rows for entry in row["drying_cover"]]
    seconds = np.array([s for row in rows for s in row["seconds"]])
    print(f"seed {seed}, {given.batches} batches, {judgements} judgements\n")
    print("| figure | to reach | found |\n| --- | --- | --- |")
    print(f"| batches ever called ready falsely | 0.5% | {_pct(len(falsely), len(rows))} |")
    print(
        f"| the same, room changes of the last week counted, which no weighing can show yet | | {_pct(sum(row['strictly_false'] for row in rows), len(rows))} |"
    )
    print(f"| of these with free alkali above {FREE_ALKALI_LIMIT}% | none | {len(lye)} |")
    print(f"| *back* said falsely | 2% | {_pct(len(backs) - sum(backs), len(backs))} |")
    within = [ok for row in rows for ok in row["within"]]
    print(
        f"| within tolerance (*back* or *steady*) said falsely | 2% | {_pct(len(within) - sum(within), len(within))} |"
    )
    late = np.array(delays)
    print(
        f"| days from the visit that could show *ready* to *ready*, median (never said: {np.isinf(late).sum()} of {len(late)}) | 4 | {np.median(late) if len(late) else float('nan'):.1f} |"
    )
    for name, entries in (
        ("return of colour, where expected", [c for c in cover if c[0]]),
        ("return of colour, all", cover),
    ):
        print(f"| 95% interval holds: {name} | 90-98% | {_pct(sum(c[1] for c in entries), len(entries))} |")
    print(f"| 95% interval holds: steady weight | 90-98% | {_pct(sum(d[0] for d in dry), len(dry))} |")
    print(f"| states named right from six readings on | 90% | {_pct(sum(s[1] == s[2] for s in states), len(states))} |")
    print(
        f"| the same, or right within 0.3 ΔE00 and 15% of the time | | {_pct(sum(s[3] for s in states), len(states))} |"
    )
    print(
        f"| one judgement, ms: median / 95th / most | | {1e3 * np.median(seconds):.0f} / {1e3 * np.quantile(seconds, 0.95):.0f} / {1e3 * seconds.max():.0f} |"
    )
    print(f"| whole study, s | | {elapsed:.0f} |")
    if given.details:
        for row in falsely:
            print(row["number"], row["kind"], row["false_ready"])
        print(Counter((s[2].value, s[1].value) for s in states if s[1] != s[2]).most_common(20))
        print(Counter(s[2].value for s in states))
        wrong = [c for c in cover if c[0] and not c[1]]
        print(
            "colour misses: early",
            sum(c[5] is not None and c[4] < c[5] for c in wrong),
            "late",
            sum(c[6] is not None and c[4] > c[6] for c in wrong),
            len(wrong),
        )
        miss = [d for d in dry if not d[0]]
        print(
            "drying misses: steady before low",
            sum(d[4] is not None and d[3] < d[4] for d in miss),
            "after high",
            sum(d[5] is not None and d[3] > d[5] for d in miss),
        )


if __name__ == "__main__":
    main()
