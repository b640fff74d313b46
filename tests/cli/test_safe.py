"""What a refusal says is safe is true: every command that writes into a journal, each of its writes failing in turn.

A write fails at its end by what SQLite tells of a held lock, whose refusal says that nothing was changed.
"""

from __future__ import annotations

import json
import shlex
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from sqlalchemy import Connection

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.batch.workshop import TagId
from curejournal.cli import command_names, main
from curejournal.colour.difference import Interval
from curejournal.journal.database import DATABASE
from curejournal.journal.ledger import Ledger
from curejournal.journal.store import Journal
from curejournal.materials.effects import MaterialEffects, TestPour
from curejournal.photo import analysis
from curejournal.photo.find.tag import payload
from curejournal.workflow import documents, materials
from curejournal.workflow.photos import Clock, Source, adding, commit, import_photos, importing, strips
from tests.cli.test_cli_recipe import MIXED
from tests.photo.windows import drawn
from tests.rolls import analysed_once
from tests.ui.journals import CREAM, OURS, TAKEN, plain_jpeg, small_journal

# Commands that follow each other are tried each in turn; words in capitals stand for what `workshop` lays out.
WRITES = """
photo add B-2 HERE/one.jpg HERE/two.jpg --keep --at 2026-11-25T08:00
photo import HERE/roll --workers 1 --behind 3
batch start B-9 --name New --recipe HERE/mixed.toml --portion top --portion base
batch portion B-1 soap --control --batter 900 --confirmed ; batch note B-2 trace --confirmed
batch recipe B-2 --enter HERE/mixed.toml --confirmed ; batch target B-1 soap --lab 80,2,14 --confirmed
batch weigh B-1 bar-9 101 --confirmed ; batch test B-1 strip --ph 9.5 --half-width 0.5 --confirmed
batch surface B-1 clear ; batch reading B-1 HUMIDITY 60 ; batch out B-1 2 --to market --confirmed
batch weighed B-1 oils "weighed twice" ; batch packet B-1 P --strip 9 --meter 10.2
batch accept-colour B-1 soap --why fine
batch release B-1 --statement ready ; batch test B-1 meter --ph 12 ; batch keep-on-sale B-1 --statement kept
batch release B-1 --statement ready ; batch withdraw B-1 --statement wrong
batch hold B-1 --statement kept ; batch hold B-1 --statement over --lift
photo assign WAITS --aside none ; photo assign WAITS --batch B-1
photo assign PLACED --at 2026-10-06T10:00 ; photo assign PLACED --batch B-2 --portion a --at 2026-11-24T12:00
photo assign PLACED --at EARLY
photo assign WAITS --batch B-1 ; photo clock PLACED WAITS --behind 7
batch order B-1=2 --name Shop --confirmed ; batch back B-1 1 --why soft ; batch complaint B-1 soft
batch complaint B-1 cracked --photo HERE/one.jpg
batch order B-1=2 --name Shop --confirmed ; customer erase Shop --why asked
batch place B-1 rack ; batch rules B-1 min_age_days=90 --why wet ; material enter-lot olive OL-1
journal room HERE/room.csv --keep
material test-pour "invented scent"
batch rename B-1 Other ; batch undo LAST --why wrong
strip enrol HERE/one.jpg --name k --lot L --area AREA ; strip read B-1 HERE/two.jpg --key k --lot L --pad AT --keep
enrol HERE/one.jpg --copy-id W-9
card chart24 --values HERE/values.csv --save-as mine ; card mine --values HERE/values.csv --save-as own --pdf NO/c.pdf
settings --place Here --time-zone Europe/Lisbon --rule min_age_days=35 ; batch import HERE/bundle --code B-8
batch tags B-1 --pdf NO/tags.pdf
demo --folder JOURNAL --no-app
""".strip().splitlines()
OTHERS = {
    "recipe check", "judge", "batch due", "material list", "material show", "material cause", "recipe predict",
    "material lot", "record", "batch portfolio", "batch calendar", "batch share", "photo inbox", "photo correct",
    "measure", "serve", "batch labels", "batch history", "journal backup", "journal restore", "journal export",
    "journal import", "journal check", "journal move", "journal salvage", "batch list", "batch show", "people add",
    "people list", "people remove", "people code", "photo contribute", "batch darkened", "batch recall",
    "material outcome", "customer list", "customer show",
}  # fmt: skip
"""They only read, or write elsewhere than into the journal that they are asked about."""

Rows = dict[str, list[dict]]


ANSWERS = "photo answers"


def answers_alone(new: Rows) -> bool:
    """Whether nothing was kept but what was said about photos."""
    return set(new) == {"entry"} and all(row["kind"] == ANSWERS for row in new["entry"])


# What is said instead where something was kept, by the rows that were added.
SAYS: dict[str, Callable[[Rows], str]] = {
    "photo add": lambda new: f"Kept before it: {', '.join(row['original_name'] for row in new['photo'])}.",
    "photo import": lambda new: "What was taken in so far is kept: the same photos again go on from there.",
    "photo assign": lambda new: "It stays placed as it was; your answers are kept." if answers_alone(new) else "",
    "photo clock": lambda new: f"The clock of {sum(row['kind'] == ANSWERS for row in new['entry'])} other is set.",
    "card": lambda new: f"The card {new['card'][0]['name']} is kept.",
    "batch tags": lambda new: "No batch, photo or card was changed." if set(new) == {"entry"} else "",
    "demo": lambda new: "What was entered so far is kept: the demo goes on from there.",
}
WIDE = Interval(5.0, 1.0, 9.0)
TRUE_OF_NOTHING = {CureJournalError("").safe, SAYS["photo import"]({}), SAYS["demo"]({})}

SCENARIO = """
calendar_stands_at = 2026-11-25T09:00:00Z
time_zone = "UTC"
place = "Invented"
cards = []
[[batches]]
code = "B-7"
name = "Invented"
events = [{ kind = "poured", at = 2026-11-01T09:00:00Z, by = "Ann" }]
recipe = { at = 2026-11-01T08:00:00Z, by = "Ann", oils = [{ key = "olive", grams = 9 }], alkalis = [], liquids = [] }
"""


def name_of(command: str) -> str:
    return next(name for name in command_names() if f"{command} ".startswith(f"{name} "))


def test_every_command_is_known_to_write_into_the_journal_or_not() -> None:
    written = {name_of(command) for line in WRITES for command in line.split(" ; ")}
    assert set(command_names()) == written | OTHERS


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A folder with a journal that has no tags yet, one with photos, what is taken in; and what words stand for."""
    here = tmp_path_factory.mktemp("workshop")
    (here / "roll").mkdir()
    shutil.copytree(small_journal(here / "bare"), here / "journal")
    roll = [drawn(CREAM, tag=payload(OURS, "B-1") if k else "", at=TAKEN.replace(day=20 + k), seed=k) for k in range(4)]
    values = [",".join(map(str, (patch.id, *patch.lab_d50))) for patch in workflow.find_card("chart24").patches[1:]]
    files = {f"{name}.jpg": plain_jpeg(shade) for shade, name in enumerate(("one", "two"), 90)}
    files |= {"roll/a.jpg": roll[2].jpeg, "roll/b.jpg": roll[3].jpeg}
    files |= {"room.csv": b"time;temp C\n2026-10-01 12:00;18.5\n"}
    files |= {"values.csv": "\n".join(["id,L,a,b", *values]).encode(), "journal.toml": SCENARIO.encode()}
    with Journal.open(here / "journal") as journal:
        journal.add("", TagId(OURS), at=journal.clock(), by="Ana")
        files |= {"bundle": documents.bundle(journal, "B-1"), "mixed.toml": MIXED.encode()}
        sources = [Source(f"{k}.jpg", lambda k=k: roll[k].jpeg) for k in range(2)]
        how = {"card": workflow.find_card("window"), "by": "Ann", "now": workflow.calendar(journal, TAKEN)}
        clock = Clock(workflow.time_zone(journal))
        waits, placed = import_photos(journal, sources, clock=clock, workers=1, **how)
    assert (waits.outcome, placed.outcome) == ("needs you", "placed")
    for name, data in files.items():
        (here / name).write_bytes(data)
    words = {"EARLY": "2026-08-01T10:00", "HUMIDITY": "room humidity", "AREA": "8=0,0,9,9", "AT": "0,0,9,9"}
    return here, words | {"PLACED": placed.item.sha256, "WAITS": waits.item.sha256}


def rows_of(journal: Path) -> Rows:
    with closing(sqlite3.connect(journal / DATABASE)) as base:
        base.row_factory = sqlite3.Row
        names = ("batch", "entry", "photo", "card", "setting")
        return {name: [dict(row) for row in base.execute(f"SELECT * FROM {name} ORDER BY rowid")] for name in names}


def what_counts(rows: Rows) -> list[str]:
    gone, told = {row["supersedes"] for row in rows["entry"]}, ("kind", "at_utc", "record", "photo_sha256")
    entries = [str([row[name] for name in told]) for row in rows["entry"] if row["id"] not in gone and row["batch_id"]]
    return sorted(entries + [row["sha256"] for row in rows["photo"]])


class Run:
    """Runs a command as a user does, in this process; of its `writes` the one numbered `fails` fails."""

    def __init__(self, workshop: tuple, patch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        (self.here, self.words), self.patch, self.capsys, real = workshop, patch, capsys, Ledger._writing

        @contextmanager
        def writing(ledger: Ledger) -> Iterator[Connection]:
            with real(ledger) as connection:
                yield connection
                self.writes += 1
                if self.writes == self.fails:
                    busy = sqlite3.OperationalError("database is locked")
                    busy.sqlite_errorcode = sqlite3.SQLITE_BUSY
                    raise busy

        patch.setattr(Ledger, "_writing", writing)

    def __call__(self, command: str, journal: Path, fails: int = 0) -> dict | None:
        """What it was refused by."""
        self.writes, self.fails = 0, fails
        words = self.words | {"LAST": str(len(rows_of(journal)["entry"])), "JOURNAL": str(journal)}
        text = command.replace("HERE", str(self.here)).replace("NO/", f"{self.here}/none/")
        typed = shlex.split(text)
        self.patch.setenv("CUREJOURNAL_JOURNAL", str(journal))
        self.patch.setattr(sys, "argv", ["curejournal", *(words.get(word, word) for word in typed), "--json"])
        with pytest.raises(SystemExit) as end:
            main()
        out, err = self.capsys.readouterr()
        assert end.value.code in (0, 1), (command, out, err)
        return json.loads(out)["error"] if end.value.code else None


@pytest.mark.parametrize("line", WRITES, ids=name_of)
def test_what_a_refusal_says_is_safe_is_true(
    line: str, workshop: tuple, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run, now = (
        Run(workshop, monkeypatch, capsys),
        workshop[0] / ("bare" if name_of(line) in ("batch tags", "demo") else "journal"),
    )
    monkeypatch.delenv("CUREJOURNAL_DATABASE_URL", raising=False)
    monkeypatch.setattr("curejournal.workflow.demo.pictures_folder", lambda: workshop[0])
    # What is measured is not asked here, only what is kept of it.
    monkeypatch.setattr(workflow.cards, "enrol", lambda card, *_, copy_id, **__: (card, []))
    monkeypatch.setattr(strips, "check_photo", lambda seen: seen)
    monkeypatch.setattr(strips, "enrol_key", lambda name, lot, *_: strips.StripKey(name, lot, "window", ()))
    monkeypatch.setattr(strips, "read_strip", lambda *_, **__: strips.StripReading(9.5, 9.3, 9.7, 0.5, "k"))
    pour = TestPour("invented scent", 3.0, False, (), WIDE, WIDE)
    found = MaterialEffects((), WIDE, WIDE, 1, (pour,), (), None)
    monkeypatch.setattr(materials.analysis, "find_causes", lambda *_: found)
    for module in (analysis, adding, commit, importing):
        monkeypatch.setattr(module, "analyse", analysed_once)
    for command in line.split(" ; "):
        before, ends, fails, failed = rows_of(now), [], 0, True
        while failed:
            fails += 1
            journal = Path(shutil.copytree(now, tmp_path / f"{len(list(tmp_path.iterdir()))}"))
            refused = run(command, journal, fails)
            failed, after = run.writes >= fails, rows_of(journal)
            more = {name: rows[len(before[name]) :] for name, rows in after.items() if rows != before[name]}
            new = {name: rows for name, rows in more.items() if name != "seal"}
            assert all(after[name][: len(rows)] == rows for name, rows in before.items())
            assert refused or not failed, f"write {fails} of “{command}” failed, and nothing was said"
            if refused:
                true = TRUE_OF_NOTHING if not new else {SAYS[name_of(command)](new)} if name_of(command) in SAYS else {}
                assert refused["safe"] in true, (f"write {fails} of “{command}”", refused, new)
            with Journal.open(journal) as kept:
                assert not any(problem.serious for problem in kept.check())
            if failed:
                run(command, journal)
            ends.append(what_counts(rows_of(journal)))
        assert fails > 1, (f"“{command}” writes nothing", refused)
        assert bool(refused) == ("NO/" in command or "EARLY" in command), (command, refused)
        assert all(end == ends[-1] for end in ends), f"“{command}” again did not bring the rest"
        now = journal
