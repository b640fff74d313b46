"""Soap under a card in path-traced scenes: error, intervals, grades, by set and by fault.

    python -m tests.benchmarks.path_traced_scenes FOLDER... [--enrolled]

Each folder holds pictures and `truth.json` (see `tests/path_traced`): the card's printed colours, each portion's true
colour at 45:0 without gloss, and an outline that holds that portion alone. The card's values are those of its print;
with `--enrolled` they are learned from the set's own photos of card and chart.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from skimage.color import deltaE_ciede2000

from curejournal.colour.sample import ColourSample, Grade
from curejournal.photo.card import Card, built_in_card_text, read_card
from curejournal.photo.enrol import enrol
from curejournal.photo.measure.measurement import Area, measure
from curejournal.photo.read.picture_file import read_photo


@dataclass(frozen=True)
class Row:
    """A portion of one scene: its true colour and what was said of it."""

    card: str
    fault: str
    truth: np.ndarray
    grade: Grade
    sample: ColourSample | None

    @property
    def off(self) -> np.ndarray:
        assert self.sample is not None
        return np.array(self.sample.lab) - self.truth

    @property
    def error(self) -> float:
        assert self.sample is not None
        return float(deltaE_ciede2000(self.truth, np.array(self.sample.lab)))


def cards_of(folder: Path, truth: dict[str, Any], *, enrolled: bool) -> dict[tuple[str, str], Card]:
    """Each print's cards, with the colours that they have, or that enrolment gives them."""
    cards = {}
    for name, own in truth["prints"].items():
        for kind, colours in own.items():
            card = read_card(built_in_card_text(kind))
            patches = tuple(replace(patch, lab_d50=tuple(colours[patch.id])) for patch in card.patches)
            cards[name, kind] = replace(card, kind="measured", provenance="path-traced", patches=patches)
        photos = [
            read_photo((folder / scene["file"]).read_bytes())
            for scene in truth["scenes"].values()
            if scene["kind"] == "enrolment" and scene["print"] == name
        ]
        if enrolled and photos:
            window, chart = (read_card(built_in_card_text(kind)) for kind in ("window", "chart24"))
            cards[name, "window"] = enrol(window, photos, chart)[0]
    return cards


def rows(folder: Path, *, enrolled: bool) -> Iterator[Row]:
    """Measure every portion that a scene of a folder shows with an outline of its own."""
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    cards = cards_of(folder, truth, enrolled=enrolled)
    chart = read_card(built_in_card_text("chart24"))
    for scene in truth["scenes"].values():
        areas = [
            Area(name, tuple((float(x), float(y)) for x, y in portion["area"]))
            for name, portion in scene["portions"].items()
            if portion.get("area")
        ]
        if scene["kind"] == "enrolment" or not areas:
            continue
        card = chart if scene["card"] == "chart24" else cards[scene["print"], scene["card"]]
        found = measure(read_photo((folder / scene["file"]).read_bytes()), card, areas)
        for area in areas:
            seen = next((each for each in found.areas if each.name == area.name), None)
            lab = np.array(scene["portions"][area.name]["lab"])
            sample, grade = (seen.sample, seen.grade) if seen else (None, Grade.NOT_USABLE)
            yield Row(scene["card"], scene["fault"], lab, grade, sample)


def line(name: str, some: list[Row]) -> str:
    """A row of the table."""
    claimed = [row for row in some if row.sample is not None]
    if not claimed:
        return f"| {name} | {len(some)} | {len(some)} | | | | | |"
    errors = np.array([row.error for row in claimed])
    ratios = np.array([row.off / np.array(row.sample.sd) for row in claimed if row.sample])
    joint = [row.off @ np.linalg.solve(row.sample.covariance_array, row.off) < 7.815 for row in claimed if row.sample]
    best = np.array([row.grade is Grade.MEASURED for row in claimed])
    held = ", ".join(f"{share:.0%}" for share in (np.abs(ratios) < 1.96).mean(axis=0))
    of_sd = ", ".join(f"{value:.2f}" for value in np.sqrt((ratios**2).mean(axis=0)))
    return (
        f"| {name} | {len(some)} | {len(some) - len(claimed)} "
        f"| {np.median(errors):.2f} / {np.quantile(errors, 0.95):.2f} "
        f"| {held} | {np.mean(joint):.0%} | {of_sd} | {best.sum() / len(some):.0%} | {(errors[best] > 4).sum()} |"
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--enrolled", action="store_true")
    options = parser.parse_args()
    for folder in options.folders:
        found = list(rows(folder, enrolled=options.enrolled))
        print(
            f"\n{folder.name}\n\n| | portions | refused | ΔE00 median / p95 | 95% holds L*, a*, b* | all three "
            "| error over sd | measured | of these off by > 4 |\n| --- " + "| --- " * 8 + "|"
        )
        for card in sorted({row.card for row in found}):
            good = [row for row in found if row.card == card and not row.fault]
            if good:
                print(line(card, good), flush=True)
        for fault in sorted({row.fault for row in found if row.fault}):
            print(line(fault, [row for row in found if row.fault == fault]), flush=True)


if __name__ == "__main__":
    main()
