"""A portfolio of 200 batches with 12-megapixel photos against the time of resizing its photos alone.

Processor time of one process, so that a busy machine does not count; a few different photos stand for all.

Run: python -m tests.benchmarks.portfolio_build [--batches 200] [--photos 6]
"""

from __future__ import annotations

import argparse
import io
import time
from dataclasses import replace

import cv2
import numpy as np
from PIL import Image

from curejournal.documents.pictures import jpeg, small
from curejournal.documents.portfolio import LARGE_PX, portfolio_pages
from curejournal.documents.portfolio_soap import Design, PortfolioBatch, Shot
from curejournal.documents.soap_pictures import ASPECTS, View, soap_picture
from curejournal.documents.true_colour import Seen
from curejournal.judging.judgement import judge
from curejournal.photo.read.picture_file import read_photo
from tests.judging.batches import BASICS, batch, day, seen

SIZE = (4000, 3000)
CORNERS = ((600.0, 500.0), (3300.0, 560.0), (3260.0, 2480.0), (640.0, 2440.0))
INSIDE = ((1500.0, 1100.0), (2500.0, 1100.0), (2500.0, 1900.0), (1500.0, 1900.0))


def photo(seed: int) -> bytes:
    """A JPEG with as much detail as a phone's."""
    rng = np.random.default_rng(seed)
    pixels = cv2.resize(rng.integers(40, 220, (300, 400, 3)).astype(np.uint8), SIZE, interpolation=cv2.INTER_CUBIC)
    pixels[1100:1900, 1500:2500] = (205, 180, 150)
    noisy = np.clip(pixels + rng.normal(0, 4, pixels.shape), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(noisy).save(out, "JPEG", quality=92)
    return out.getvalue()


def shot(original: bytes, days: float) -> Shot:
    """A photo as a portfolio draws it, without what a journal keeps of earlier drawings."""
    view = View((Seen(INSIDE, (84.0, 2.0, 16.0)),), CORNERS)
    return Shot(day(days), "", lambda longest, cut: jpeg(soap_picture(original, view, longest, ASPECTS[cut])))


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser()
    options.add_argument("--batches", type=int, default=200)
    options.add_argument("--photos", type=int, default=6, help="photos of a batch")
    asked = options.parse_args()
    originals = [photo(seed) for seed in range(4)]
    one = batch(*BASICS, *seen("comes back", (0.2, 1, 3, 7, 14, 28)))
    journeys = judge(one, day(60)).journeys
    photos = tuple(shot(originals[n % len(originals)], 1 + 9 * n) for n in range(asked.photos))
    aligned = tuple((one, {"cream": (84.0, 2.0, 16.0)}) for one in photos)
    chosen = [
        PortfolioBatch(replace(one, code=f"B-{n}"), journeys, photos[-1], photos, aligned) for n in range(asked.batches)
    ]
    begun = time.process_time()
    for _ in chosen:
        for n in range(asked.photos):
            small(read_photo(originals[n % len(originals)]), LARGE_PX)
    resizing = time.process_time() - begun
    begun = time.process_time()
    size = sum(len(data) for _, data in portfolio_pages(chosen, Design("t"), made_on=day(60), software="x"))
    building = time.process_time() - begun
    figures = (asked.batches, asked.batches * asked.photos, f"{resizing:.1f}", f"{building:.1f}")
    print("| batches | photos | resizing alone, s | portfolio, s | ratio | MB |\n| --- | --- | --- | --- | --- | --- |")
    print(f"| {' | '.join(map(str, figures))} | {building / resizing:.2f} | {size / 1e6:.0f} |")


if __name__ == "__main__":
    main()
