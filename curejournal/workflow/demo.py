"""The demo: an invented workshop's scenario replayed through the real pipeline, photo by photo.

Nothing is precomputed. The scenario (`sample_images/journal.toml`) holds what
makers would enter and which photos they took; colours come from the pictures.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from curejournal import workflow
from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg
from curejournal.batch.records import (
    AlkaliTest,
    BarsOut,
    Decision,
    Event,
    PhotoView,
    Portion,
    Record,
    ScalarReading,
    SurfaceNote,
    Weighing,
)
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Recipe
from curejournal.workflow.customers import fill_order
from curejournal.workflow.photos import ALL, Answers, Source, add_photo, outline_of
from curejournal.workflow.photos.showing import keep_view
from curejournal.workflow.settings import change_settings

ROWS: dict[str, type[Record]] = {
    "portions": Portion,
    "events": Event,
    "weighings": Weighing,
    "alkali_tests": AlkaliTest,
    "surface_notes": SurfaceNote,
    "readings": ScalarReading,
}
"""The scenario's tables and the records in them."""


class DemoPicturesMissing(CureJournalError):
    """The demo's pictures are not beside the program."""


@dataclass(frozen=True)
class Step:
    """Progress: `done` of `total` photos, and what was just done, in words."""

    done: int
    total: int
    words: str


def pictures_folder() -> Path:
    """Give the folder of the demo's pictures: inside an installed package, beside it in a clone.

    Raises
    ------
    DemoPicturesMissing
    """
    package = Path(str(files("curejournal"))).resolve()
    for folder in (package / "sample_images", package.parent / "sample_images"):
        if (folder / "journal.toml").is_file():
            return folder
    raise DemoPicturesMissing(
        msg("The demo's pictures (folder sample_images) are not here."),
        msg("Install curejournal again, from its wheel or a whole clone."),
    )


def build_demo(journal: Journal, folder: Path, progress: Callable[[Step], None] = lambda step: None) -> None:
    """Fill an empty journal with the scenario of a folder; a journal that holds it already is left as it is.

    Each batch is entered, then its photos are taken in one by one as a maker would,
    dated by their EXIF; those that cannot be measured are kept without a colour. What is interrupted goes on if begun
    again.
    """
    try:
        _replay(journal, folder, progress)
    except CureJournalError as fault:
        raise fault.after(msg("What was entered so far is kept: the demo goes on from there.")) from fault


def _replay(journal: Journal, folder: Path, progress: Callable[[Step], None]) -> None:
    scenario = tomllib.loads((folder / "journal.toml").read_text("utf-8"))
    stands_at: datetime = scenario["calendar_stands_at"]
    known = {head.code for head in journal.batches()}
    photos = sum(len(batch.get("photos", ())) for batch in scenario["batches"])
    photos += sum(len(card["photos"]) for card in scenario["cards"])
    done = 0
    named = {"time_zone": scenario["time_zone"], "place": scenario["place"]}
    change_settings(journal, **named, calendar_stands_at=stands_at)
    for row in scenario["cards"]:
        if row["copy_id"] not in workflow.card_names(journal):
            pictures = [(folder / name).read_bytes() for name in row["photos"]]
            card, chart = workflow.find_card(row["card"]), workflow.find_card(row["reference"])
            workflow.enrol_card(journal, card, pictures, chart, row["copy_id"])
        done += len(row["photos"])
        progress(Step(done, photos, msg("card {row} enrolled", row=row["copy_id"])))
    for batch in scenario["batches"]:
        if batch["code"] not in known:
            _start(journal, batch, stands_at)
        _enter_rows(journal, batch)
        for photo in batch.get("photos", ()):
            lying = workflow.find_card(photo["card"], journal) if photo.get("card") else None
            source = Source(photo["file"], (folder / photo["file"]).read_bytes)
            said, by = _answers(photo), photo["by"]
            arrival = add_photo(journal, batch["code"], source, lying, said, by=by, now=stands_at, story=True)
            if "view" in photo and arrival.item is not None:
                view = TypeAdapter(PhotoView).validate_python(photo["view"])
                keep_view(journal, batch["code"], arrival.item.sha256, view, by=by, now=stands_at)
            done += 1
            progress(
                Step(
                    done,
                    photos,
                    msg(
                        "{batch}: {photo}, {outcome}", batch=batch["name"], photo=photo["file"], outcome=arrival.outcome
                    ),
                )
            )
        _release_and_sell(journal, batch)


def _answers(photo: dict[str, Any]) -> Answers:
    """What the scenario's people say with a photo."""
    areas = {name: outline_of(tuple(box)) for name, box in photo.get("areas", {}).items()}
    window = "" if areas else photo.get("portion", "")
    return Answers(areas=areas or None, window=window, caption=photo.get("caption"), confirmed=ALL)


def _start(journal: Journal, batch: dict[str, Any], now: datetime) -> None:
    recipe = dict(batch["recipe"])
    at, by = recipe.pop("at"), recipe.pop("by")
    records = [TypeAdapter(Recipe).validate_python(recipe)]
    workflow.start_batch(journal, batch["code"], batch["name"], at=at, by=by, now=now, records=records)


def _enter_rows(journal: Journal, batch: dict[str, Any]) -> None:
    """Enter what the scenario's people noted, a kind and a person at a time; what an interrupted demo has, it keeps."""
    there = {(type(entry.record), entry.by) for entry in journal.batch(batch["code"]).entries}
    for key, kind in ROWS.items():
        entries: dict[str, list[NewEntry]] = {}
        for row in batch.get(key, ()):
            fields = {name: value for name, value in row.items() if name not in ("at", "by")}
            entries.setdefault(row["by"], []).append(NewEntry(TypeAdapter(kind).validate_python(fields), row["at"]))
        for person, items in entries.items():
            if (kind, person) not in there:
                journal.add_many(batch["code"], items, by=person)


def _release_and_sell(journal: Journal, batch: dict[str, Any]) -> None:
    """Sign what the scenario's people signed, by the same rules as theirs, and let bars go to a customer."""
    code = batch["code"]
    there = {type(entry.record) for entry in journal.batch(code).entries}
    for row in batch.get("releases", ()) if Decision not in there else ():
        workflow.decide(journal, code, "release", signed_by=row["by"], statement=row["statement"], on=row["at"])
    for row in batch.get("orders", ()) if BarsOut not in there else ():
        fields = {key: row[key] for key in ("name", "details", "order", "at", "by")}
        fill_order(journal, [(code, row["bars"])], now=row["at"], **fields)
