"""Edits of one journal by three processes, and by a session of the app: none lost, stale ones told.

Run: python -m tests.benchmarks.interleaved_edits [--edits 1000 | --minutes 30 --app] [--url postgresql://…]
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from curejournal.batch.records import BarsOut, Event
from curejournal.journal.store import Journal
from tests.journal.together import Turns, Until, edit_together, lost
from tests.journal.under_fire import PROCESSES
from tests.ui.pages import form, only, writing

WRITERS, SALES_OF_A_BATCH = 3, 20
REST_S = 0.05
"""After each edit of a timed run, so that the number of edits stays one that can be compared at its end. Ours."""


def sell(folder: Path, url: str | None, over, pipe) -> None:
    """Sell a bar in the app, page after page, until it is over; say what the app confirmed."""
    kept: list[tuple[str, str]] = []
    os.environ |= {"CUREJOURNAL_JOURNAL": str(folder)} | ({"CUREJOURNAL_DATABASE_URL": url} if url else {})
    while not over.is_set():
        code = f"A-{len(kept) // SALES_OF_A_BATCH}"
        if len(kept) % SALES_OF_A_BATCH == 0:
            with Journal.open(folder, url=url, create=False, patience_s=60) as journal:
                cut = [Event("poured"), Event("cut", bars=1000)]
                past = datetime.now().astimezone() - timedelta(days=60)
                journal.start_batch(code, "Sold in the app", at=past, by="Ben", records=cut)
        page = form(writing(code), code, "bars out")
        whom = f"market {len(kept)}"
        only(page.number_input, "How many bars").set_value(1)
        only(page.text_input, "To whom or where: whom to ask in a recall").input(whom)
        only(page.button, "Save").click().run()
        if any(button.key == "keep-doubted" for button in page.button):
            page.button(key="keep-doubted").click().run()  # not released: it is asked about
        refused = [one.value for one in (*page.error, *page.exception)]
        if refused:
            raise AssertionError(refused)
        kept.append((code, whom))
    pipe.send(kept)


def missing_sales(folder: Path, url: str | None, kept: list[tuple[str, str]]) -> int:
    """How many sales that the app confirmed are not there once, and no more."""
    with Journal.open(folder, url=url, create=False) as journal:
        found = [
            (code, one.to) for code in {code for code, _ in kept} for _, one in journal.batch(code).records(BarsOut)
        ]
    return sum(found.count(sale) != 1 for sale in kept)


def main() -> int:
    """Edit, count, and print a table."""
    options = argparse.ArgumentParser()
    options.add_argument("--edits", type=int, default=1000)
    options.add_argument("--minutes", type=float, help="for so long, instead of so many edits")
    options.add_argument("--app", action="store_true", help="a session of the app enters sales meanwhile")
    options.add_argument("--url", help="an empty PostgreSQL database; SQLite without it")
    asked = options.parse_args()
    # Each turn of a process adds one entry and corrects another.
    until = (
        Until(seconds=60 * asked.minutes, pause_s=REST_S)
        if asked.minutes
        else Until(edits=-(-asked.edits // (2 * WRITERS)))
    )
    begun, over, sales = time.monotonic(), PROCESSES.Event(), list[tuple[str, str]]()
    here, there = PROCESSES.Pipe(duplex=False)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        with Journal.open(place, url=asked.url):
            pass
        session = PROCESSES.Process(target=sell, args=(place, asked.url, over, there), daemon=True)
        if asked.app:
            session.start()
        told = edit_together(place, asked.url, WRITERS, until)
        over.set()
        if asked.app:
            there.close()  # so that a session that failed is not waited for
            with suppress(EOFError):
                sales = here.recv()
        missing = lost(place, asked.url, told) + missing_sales(place, asked.url, sales)
    took = time.monotonic() - begun
    turns = [one for one in told.values() if isinstance(one, Turns)]
    stale = ", ".join(str(one.stale) for one in turns)
    print("| database | processes | edits | sales in the app | lost or doubled | told of a stale page | s |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    kind, edits = "PostgreSQL" if asked.url else "SQLite", 2 * sum(one.kept for one in turns)
    print(f"| {kind} | {WRITERS} | {edits} | {len(sales)} | {missing} | {stale} | {took:.1f} |")
    print(*(fault for fault in told.values() if isinstance(fault, str)), sep="\n")
    return 1 if missing or len(turns) < WRITERS or (asked.app and not sales) else 0


if __name__ == "__main__":
    sys.exit(main())
