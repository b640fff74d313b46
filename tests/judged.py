"""Batches that are kept with their verdicts, one file for each edition of the rules.

Run: python -m tests.judged. It writes the file of the edition in `limits.RULES_EDITION`, and refuses to change the
verdicts of an edition that is kept already: increment the edition first.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import numpy as np

from curejournal.batch.records import Batch, Entry
from curejournal.journal.record_json import from_json, kind_of, to_json
from curejournal.judging.judgement import judge
from curejournal.judging.limits import RULES_EDITION
from tests.benchmarks.foreign_study.worlds import simulate
from tests.benchmarks.simulated_batches import simulate as simulate_own
from tests.judging import batches, test_evidence

FOLDER = Path(__file__).parent / "data/judged"
DRAWN, SEED = 8, 3


def kept(edition: str = RULES_EDITION) -> list[dict]:
    """The batches of an edition, each with when it was judged and what was said."""
    return json.loads((FOLDER / f"edition-{edition}.json").read_text())


def said(batch: Batch, on: datetime) -> dict[str, str]:
    """The verdict, what holds it, and what each check says."""
    found = judge(batch, on)
    verdicts = {finding.check: str(finding.verdict) for finding in found.findings}
    return {"verdict": found.verdict, "hold for": found.hold_for, "reservations": len(found.reservations), **verdicts}


def as_batch(row: dict) -> Batch:
    """The batch that a row keeps."""
    entries = (
        Entry(
            number, datetime.fromisoformat(at), "kept", datetime.fromisoformat(at), from_json(kind, text), photo=photo
        )
        for number, (at, kind, text, photo) in enumerate(row["entries"], start=1)
    )
    return Batch(row["code"], "kept", tuple(entries))


def _row(code: str, batch: Batch, on: datetime) -> dict:
    entries = [[e.at.isoformat(), kind_of(e.record), to_json(e.record), e.photo] for e in batch.entries]
    row = {"code": code, "on": on.isoformat(), "entries": entries}
    return {**row, "said": said(as_batch(row), on)}


def _rows() -> list[dict]:
    named = {"ready": batches.READY, "by strips": test_evidence.BY_STRIPS, "pocket": test_evidence.POCKET}
    named |= {"basics": batches.BASICS, "off colour": test_evidence.OFF, "empty": ()}
    named |= {f"strips without {name}": records for name, (records, _) in test_evidence.WITHOUT.items()}
    rows = [_row(code, batches.batch(*records), batches.day(45)) for code, records in named.items()]
    for name, drawn in (("foreign", simulate), ("own", simulate_own)):
        for number in range(DRAWN):
            one = drawn(np.random.default_rng([SEED, number]), number)
            last = max(entry.at for entry in one.batch.entries)
            rows.append(_row(f"{name} {number}", one.batch, last))
    return rows


def main() -> None:
    """Write the file of this edition."""
    path, rows = FOLDER / f"edition-{RULES_EDITION}.json", _rows()
    if path.exists():
        before = {row["code"]: row["said"] for row in kept()}
        changed = [row["code"] for row in rows if row["code"] in before and before[row["code"]] != row["said"]]
        if changed:
            raise SystemExit(f"Verdicts would change ({', '.join(changed)}): increment limits.RULES_EDITION first.")
    path.write_text("[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]\n")
    print(f"{len(rows)} batches in {path.name}")


if __name__ == "__main__":
    main()
