"""How often the 24-patch chart is found, how exactly, and how often something else is taken for it.

python -m tests.benchmarks.chart_finding [--fresh-seeds]

Beside ours, on the same pictures: OpenCV's own finder, cv2.mcc.
"""

from __future__ import annotations

import argparse
import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.photo.card import Card
from tests import chart_pictures as pictures
from tests.chart_pictures import Array, Picture, find_chart
from tests.scenes import card_named

SEED = 20261125


@dataclass(frozen=True)
class Case:
    """A picture, the group it is reported in, and its chart's corners (4, 2) if it has one."""

    group: str
    name: str
    picture: Picture
    corners: Array | None = None


def cases_with_chart(card: Card, seed: int) -> Iterator[Case]:
    """Sixty and more: all real ones, the same charts in other poses and sizes, and drawn ones."""
    photos = [photo for photo in pictures.real_photos() if photo.corners is not None]
    for photo in photos:
        yield Case("real photo", photo.name, photo.picture, photo.corners)
    rng = np.random.default_rng(seed)
    sharp = [photo for photo in photos if np.linalg.norm(photo.corners[1] - photo.corners[0]) > 280]
    for number, photo in enumerate(sharp):
        sheet = pictures.cut_out(photo, card)
        shot = pictures.random_shot(rng)
        yield Case(
            "real chart, turned and tilted", photo.name, *pictures.photographed(sheet, card, shot, seed + number)
        )
    for number, photo in enumerate(sharp[::3]):
        sheet = pictures.cut_out(photo, card)
        shot = pictures.random_shot(rng, small=True)
        yield Case("real chart, small", photo.name, *pictures.photographed(sheet, card, shot, seed + 50 + number))
    for number in range(12):
        sheet = pictures.random_drawn_sheet(card, rng)
        shot = pictures.random_shot(rng)
        yield Case("drawn chart", str(number), *pictures.photographed(sheet, card, shot, seed + 100 + number))
    for number in range(6):
        sheet = pictures.random_drawn_sheet(card, rng)
        shot = pictures.random_shot(rng, small=True)
        yield Case("drawn chart, small", str(number), *pictures.photographed(sheet, card, shot, seed + 200 + number))


def cases_without_chart(card: Card, seed: int) -> Iterator[Case]:
    """Sixty and more: scenes, look-alikes, other cards, and charts cut, mirrored or painted over."""
    photos = pictures.real_photos()
    for name, draw in pictures.look_alikes(card, card_named("window"), seed):
        yield Case("look-alike or scene", name, draw())
    for photo in photos:
        if photo.corners is None:
            yield Case("real photo of something else", photo.name, photo.picture)
    with_chart = [photo for photo in photos if photo.corners is not None]
    for photo in with_chart[::2]:
        yield Case("chart painted over", photo.name, pictures.painted_over(photo))
    for photo in with_chart[1::3]:
        yield Case("chart mirrored", photo.name, pictures.mirrored(photo))
    for photo, share in zip(with_chart[::3], (0.15, 0.3, 0.5, 0.15, 0.3, 0.5, 0.15), strict=False):
        yield Case("chart cut by the frame", photo.name, pictures.cropped_through_chart(photo, share))
    lines = ("first row", "last row", "first column", "last column")
    for number, photo in enumerate(with_chart[1::2]):
        by = (None, *pictures.SCENES)[number % (1 + len(pictures.SCENES))]
        yield Case("chart partly covered", photo.name, pictures.covered(photo, lines[number % 4], by))


def ours(picture: Picture, card: Card) -> Array | None:
    """The card's corners."""
    found = find_chart(picture, card)
    return None if found is None else np.array(found.corners)


def opencv(picture: Picture, card: Card) -> Array | None:
    """The card's corners by cv2.mcc, from its patches' outlines."""
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(np.ascontiguousarray(picture[..., ::-1]), 1):
        return None
    patches = np.array(detector.getBestColorChecker().getColorCharts()).reshape(24, 4, 2).mean(1)
    centres = np.array([(patch.x + patch.w / 2, patch.y + patch.h / 2) for patch in card.patches])
    return pictures.through(cv2.findHomography(centres, patches.astype(float))[0], pictures.corners_mm(card))


def off_by(corners: Array, truth: Array, card: Card) -> NDArray[np.float64]:
    """Distance of each corner from the truth over the side of a patch."""
    to_picture = cv2.getPerspectiveTransform(
        pictures.corners_mm(card).astype(np.float32), truth.astype(np.float32)
    ).astype(float)
    patch = card.patches[len(card.patches) // 2]
    a, b = pictures.through(to_picture, np.array([(patch.x, patch.y), (patch.x + patch.w, patch.y + patch.h)]))
    return np.linalg.norm(corners - truth, axis=1) / (np.linalg.norm(b - a) / np.sqrt(2))


FINDERS: dict[str, Callable[[Picture, Card], Array | None]] = {"ours": ours, "cv2.mcc": opencv}


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--fresh-seeds", action="store_true", help="other pictures than in RESULTS.md")
    arguments.add_argument("--only-ours", action="store_true", help="leave the other finder out")
    options = arguments.parse_args()
    seed = secrets.randbelow(10**6) if options.fresh_seeds else SEED
    card = card_named("chart24")
    finders = {"ours": ours} if options.only_ours else FINDERS
    rows: list[tuple[str, str, bool, NDArray[np.float64] | None, float]] = []
    for case in [*cases_with_chart(card, seed), *cases_without_chart(card, seed)]:
        for finder, find in finders.items():
            begun = time.process_time()
            corners = find(case.picture, card)
            seconds = time.process_time() - begun
            off = None if corners is None else np.full(4, np.inf)
            if corners is not None and case.corners is not None:
                off = off_by(corners, case.corners, card)
            # A corner half a patch off leaves no patch's middle outside the patch.
            right = (off is not None and off.max() < 0.75) if case.corners is not None else off is None
            rows.append((case.group, finder, right, off, seconds))
            if not right and finder == "ours":
                print("missed or wrong:", case.group, "|", case.name, "|", off)
    print(f"\nseed {seed}\n")
    print("| pictures | n | finder | right | wrong finds | corner off, patches: median / p95 | CPU s: median / max |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for group in [*dict.fromkeys(row[0] for row in rows), "with a chart", "without a chart"]:
        for finder in finders:
            with_chart = {case_group for case_group, _, _, off, _ in rows if off is not None and np.isfinite(off).all()}
            of_group = [
                row
                for row in rows
                if row[1] == finder
                and (row[0] == group or group == ("with a chart" if row[0] in with_chart else "without a chart"))
            ]
            right = [row for row in of_group if row[2]]
            wrong = sum(not row[2] and row[3] is not None for row in of_group)
            offs = [row[3] for row in right if row[3] is not None]
            off = f"{np.median(offs):.3f} / {np.percentile(offs, 95):.3f}" if offs else ""
            times = [row[4] for row in of_group]
            print(
                f"| {group} | {len(of_group)} | {finder} | {len(right) / len(of_group):.1%} | {wrong} "
                f"| {off} | {np.median(times):.3f} / {max(times):.2f} |"
            )


if __name__ == "__main__":
    main()
