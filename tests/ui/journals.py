"""A small journal for the tests of pages, built from records alone."""

from __future__ import annotations

import io
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image

from curejournal.batch.records import (
    AlkaliTest,
    ColourReading,
    Event,
    PhotoNote,
    Portion,
    Record,
    ScalarReading,
    SurfaceNote,
    Weighing,
)
from curejournal.batch.workshop import TagId
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, NewEntry
from curejournal.soap.recipe import Additive, Alkali, Liquid, Oil, Recipe

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
POUR = NOW - timedelta(days=60)
POURED = NOW - timedelta(days=40)
TAKEN = POURED + timedelta(days=9)
OURS = "OURS22"
CREAM, AMBER, BROWN = (88.0, 2.0, 14.0), (64.0, 16.0, 44.0), (36.0, 14.0, 20.0)
COVARIANCE = ((0.3, 0.0, 0.0), (0.0, 0.3, 0.0), (0.0, 0.0, 0.3))
RECIPE = Recipe(
    (Oil("olive", 700, "OL-1"), Oil("coconut", 300, "CO-1")),
    (Alkali("NaOH", 138, lot="N-1"),),
    (Liquid("water", 280),),
    (Additive("invented scent", "fragrance", 30, lot="F-1"),),
)
GRAMS = (
    (2, 120.0),
    (9, 112.0),
    (16, 109.0),
    (23, 107.6),
    (30, 107.0),
    (37, 106.7),
    (44, 106.6),
    (51, 106.5),
    (58, 106.5),
)
UNFRIENDLY = "![x](https://example.org/x.png) <img src=x onerror=alert(1)> **loud** :red[red]"


def reading(lab: tuple[float, float, float], portion: str = "soap") -> ColourReading:
    return ColourReading(portion, lab, COVARIANCE, "measured", (), 5000, (1, 1, 1), "W-01", "[]", (), "test")


def plain_jpeg(shade: int) -> bytes:
    """A picture without anything in it."""
    file = io.BytesIO()
    Image.new("RGB", (64, 48), (200, 190, 100 + shade)).save(file, "JPEG")
    return file.getvalue()


@cache
def _made_once() -> TemporaryDirectory[str]:
    """The small journal, which each test of this process gets a copy of; gone with the process."""
    made = TemporaryDirectory()
    _make_small_journal(Path(made.name))
    return made


def small_journal(folder: Path) -> Path:
    """A batch that is ready, one just poured, and one whose texts try to be more than text."""
    return Path(shutil.copytree(_made_once().name, folder, dirs_exist_ok=True))


def _make_small_journal(folder: Path) -> None:
    with Journal.open(folder) as journal:
        journal.set_setting("calendar stands at", NOW.isoformat())
        journal.set_setting("time zone", "UTC")
        journal.start_batch("B-1", "Plain", at=POUR, by="Ann", records=[RECIPE, Portion("soap", 0, (85, 1, 12))])
        records: list[tuple[float, Record]] = [(0, Event("poured", temperature_c=38)), (2, Event("cut", bars=12))]
        records += [(day, Weighing("bar 1", grams, 0.1)) for day, grams in GRAMS]
        records += [(50, AlkaliTest("titration", soap_g=5, acid_ml=(0.1, 0.11), acid_mol_l=0.1, blank_ml=0.02))]
        records += [(40, AlkaliTest("strip", ph=9.5, half_width=0.5, strength_pct=1))]
        records += [(55, SurfaceNote("clear")), (20, ScalarReading("room temperature", 19.5))]
        journal.add_many("B-1", [NewEntry(record, POUR + timedelta(days=day)) for day, record in records], by="Ann")
        for day in (1, 10, 25, 40, 55):
            picture = plain_jpeg(day)
            facts = PhotoFacts(".jpg", 64, 48, POUR + timedelta(days=day), "exif", f"{day}.jpg")
            kept = journal.keep_photo(picture, facts)
            pair = (PhotoNote("on the shelf"), reading((85.0, 1.0, 12.2)))
            journal.add_many(
                "B-1", [NewEntry(r, POUR + timedelta(days=day), photo=kept.sha256) for r in pair], by="Ann"
            )
        journal.start_batch(
            "B-2", "Young", at=NOW - timedelta(days=1), by="Ann", records=[Portion("a"), Portion("b", 1)]
        )
        journal.add("B-2", Event("poured"), at=NOW - timedelta(days=1), by="Ann")
        journal.start_batch("B-3", UNFRIENDLY, at=NOW, by=UNFRIENDLY[:80], records=[Portion(UNFRIENDLY[:60])])
        journal.add("B-3", Event("note", note=UNFRIENDLY), at=NOW, by="Ann")


def three_batches(folder: Path) -> Path:
    """Batches that wait for photos, poured at `POURED`: one portion, two known layers, two unknown ones."""
    with Journal.open(folder) as journal:
        journal.set_setting("calendar stands at", NOW.isoformat())
        journal.set_setting("time zone", "UTC")
        journal.add("", TagId(OURS), at=journal.clock(), by="Ana")
        by = "Kaja (invented)"
        journal.start_batch("B-1", "Plain", at=POURED, by=by, records=[Event("poured")])
        known = [Portion("top", 0, CREAM, "swatch"), Portion("base", 1, BROWN, "swatch"), Event("poured")]
        journal.start_batch("B-2", "Two layers", at=POURED, by=by, records=known)
        layers = [Portion("a", 0), Portion("b", 1), Event("poured")]
        journal.start_batch("B-3", "Unknown layers", at=POURED, by=by, records=layers)
    return folder


def blends(folder: Path, twin: str = "") -> Path:
    """Eight batches of mint and clove: clove turns each batter that holds it, by fourteen at 3 %; the mint never does.

    `twin` goes into each batch that holds clove, so that nothing tells the two apart.
    """
    with Journal.open(folder) as journal:
        for number in range(8):
            clove = number % 2 == 0
            names = ["mint"] * (number % 3 > 0) + [name for name in ("clove", twin) if clove and name]
            additives = tuple(Additive(name, "fragrance", 30.0, lot=f"{name}-{number // 4}") for name in names)
            start = NOW - timedelta(days=80 + number)
            records = [replace(RECIPE, additives=additives), Portion("soap", 0, (85.0, 1.0, 12.0))]
            journal.start_batch(f"T-{number}", f"Blend {number}", at=start, by="Ann", records=records)
            seen = [(0.0, Event("poured")), *_turned(14.0 if clove else 0.5)]
            journal.add_many(f"T-{number}", [NewEntry(r, start + timedelta(days=d)) for d, r in seen], by="Ann")
    return folder


def _turned(turn: float) -> list[tuple[float, ColourReading]]:
    """A turn that comes back, and the readings of it."""
    days = (0.2, 1, 3, 8, 15, 25, 35)
    labs = [np.add((85.0, 1.0, 12.0), np.array([-0.7, 0.2, 0.7]) * turn * np.exp(-0.3 * day)) for day in days]
    return [(day, reading(tuple(map(float, lab)))) for day, lab in zip(days, labs, strict=True)]
