"""Run: python -m tests.benchmarks.foreign_study [--batches 200] [--releases 0] [--range first|second|…|fifth].

The first range is for development, the second checks it, the others are run once, each after changes.
`--releases N` counts N batches of each kind of maker, of which only what concerns lye is judged.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.benchmarks.foreign_study.study import judge_one, release_one, release_table, table
from tests.benchmarks.foreign_study.worlds import MAKERS

SEEDS = {"first": 1_907_311, "second": 40_118_260, "third": 775_220_419, "fourth": 330_817_502, "fifth": 518_204_933}


def main() -> None:
    """Run the study and print its tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=200)
    parser.add_argument("--releases", type=int, default=0)
    parser.add_argument("--range", choices=tuple(SEEDS), default="first")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--details", action="store_true")
    given = parser.parse_args()
    seed = SEEDS[given.range]
    with ProcessPoolExecutor(given.workers) as pool:
        rows = list(pool.map(judge_one, [(seed, i) for i in range(given.batches)], chunksize=5))
        tasks = [(seed, i, maker) for maker in MAKERS for i in range(given.releases)]
        released = list(pool.map(release_one, tasks, chunksize=20))
    judged = sum(row["judgements"] for row in rows)
    print(f"seed {seed}, {len(rows)} batches, {judged} judgements; {given.releases} of each maker for lye alone\n")
    print("| figure | wanted | found |\n| --- | --- | --- |")
    for line in [*(table(rows) if rows else ()), *(release_table(released) if released else ())]:
        print("| " + " | ".join(line) + " |")
    if given.details:
        print(
            "\nfalsely ready:",
            [(r["number"], r["maker"], r["journey"], r["false_ready"]) for r in rows if r["false_ready"]],
        )
        said = Counter((s[1].value, s[0].value) for row in rows for s in row["states"] if s[0] != s[1])
        print("(right, said):", said.most_common(12))


if __name__ == "__main__":
    main()
