"""How long `measure` takes beside Pillow's decode of the same photo, and how much memory a 48-megapixel photo takes.

Run: python -m tests.benchmarks.measure_pace [--repeats 15] [--seed 7 | --fresh-seeds]

Drawn 12-megapixel JPEGs (quality 92, with the grain of a phone): the window card over soap across 75, 50 and 30% of the
picture, and the 24-patch chart across 60%. The C library is told to keep the memory that it had, for both sides: what
Pillow's decode costs hangs on that more than on anything else.
Measured and decoded in one warm process, in turns; processor time, the fastest of all turns, and by the clock, their
median. Memory is the peak of a process that measures a photo of 48 megapixels, above its peak after a small one.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import re
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from curejournal.photo.measure.measurement import Area, measure
from curejournal.photo.read.picture_file import read_photo
from tests.scenes import card_named, draw_card

MODULE = "tests.benchmarks.measure_pace"
CARDS = ("window", "chart24")
SETTINGS = (("window", 0.75), ("window", 0.5), ("window", 0.3), ("chart24", 0.6))
KEEPING_MEMORY = {"MALLOC_TRIM_THRESHOLD_": "1000000000", "MALLOC_MMAP_THRESHOLD_": "1000000000"}
"""For the GNU C library: blocks of up to a gigabyte are kept and used again."""


def photo(name: str, width: int, seed: int, fill: float = 0.6) -> bytes:
    """A JPEG of `width` x 3/4 `width` pixels with the card across a share of it."""
    drawn = draw_card(card_named(name), size=(1600, 1200), fill=fill, turn_deg=5, tilt_deg=10, noise=0.0, seed=seed)
    size = (width, width * 3 // 4)
    large = cv2.resize(drawn.picture, size, interpolation=cv2.INTER_CUBIC)
    grain = np.random.default_rng(seed).normal(0, 3.5, (size[1], size[0], 3)).astype(np.float32)
    out = io.BytesIO()
    Image.fromarray(np.clip(large + grain, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


def areas(name: str, width: int) -> list[Area]:
    """The window; or beside the chart, as it has none, a box of the bench."""
    side = width / 20
    return [] if name == "window" else [Area("soap", Area.box("", side, side, 3 * side, 3 * side).outline)]


def decode(data: bytes) -> None:
    with Image.open(io.BytesIO(data)) as image:
        np.asarray(image.convert("RGB"))


def timed(work: Callable[[], object]) -> tuple[float, float]:
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return time.process_time() - processor, time.perf_counter() - clock


def pace(name: str, fill: float, repeats: int, seed: int) -> str:
    width = 4000
    data, card, places = photo(name, width, seed, fill), card_named(name), areas(name, width)
    assert measure(read_photo(data), card, places).usable
    decode(data)
    ours, pillows = [], []
    for _ in range(repeats):
        pillows.append(timed(lambda: decode(data)))
        ours.append(timed(lambda: measure(read_photo(data), card, places)))
    (own, own_clock), (other, other_clock) = (
        (1000 * min(p for p, _ in times), 1000 * float(np.median([c for _, c in times]))) for times in (ours, pillows)
    )
    return (
        f"| {name}, {100 * fill:.0f}% | {len(data) / 1e6:.1f} "
        f"| {own:.0f} / {own_clock:.0f} | {other:.0f} / {other_clock:.0f} "
        f"| {own / other:.2f} / {own_clock / other_clock:.2f} |"
    )


def memory(name: str, seed: int) -> str:
    width = 8000
    with tempfile.TemporaryDirectory() as folder:
        small, large = Path(folder) / "small.jpg", Path(folder) / "large.jpg"
        small.write_bytes(photo(name, 1600, seed))
        large.write_bytes(photo(name, width, seed))
        child = [sys.executable, "-m", MODULE, "--child", name, str(small), str(large)]
        plain = {key: value for key, value in os.environ.items() if key not in KEEPING_MEMORY}
        before, after = json.loads(subprocess.run(child, check=True, capture_output=True, text=True, env=plain).stdout)
    picture = width * width * 3 // 4 * 3
    return f"| {name} | {picture / 1e6:.0f} | {(after - before) / 1e6:.0f} | {(after - before) / picture:.2f} |"


def peak() -> int:
    """Bytes; of this process alone, where `resource.ru_maxrss` begins at its parent's."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())
    assert found
    return 1024 * int(found[1])


def child(name: str, *paths: str) -> None:
    """Measure a small photo, so that all is loaded, then the large one; print the peaks of memory after each."""
    card, peaks = card_named(name), []
    for path in paths:
        seen = read_photo(Path(path).read_bytes())
        assert measure(seen, card, areas(name, seen.width)).usable
        peaks.append(peak())
    print(json.dumps(peaks))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=15)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--fresh-seeds", action="store_true")
    parser.add_argument("--child", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        child(*options.child)
        return
    if not KEEPING_MEMORY.items() <= os.environ.items():
        os.execve(sys.executable, [sys.executable, "-m", MODULE, *sys.argv[1:]], {**os.environ, **KEEPING_MEMORY})
    seed = secrets.randbelow(1_000_000) if options.fresh_seeds else options.seed
    print(f"seed {seed}\n\n| 12 megapixels | MB | measure, ms, processor / clock | Pillow's decode | ratio |")
    print("| --- | --- | --- | --- | --- |")
    for name, fill in SETTINGS:
        print(pace(name, fill, options.repeats, seed), flush=True)
    print("\n| 48 megapixels | 8-bit picture, MB | memory above, MB | ratio |\n| --- | --- | --- | --- |")
    for name in CARDS:
        print(memory(name, seed), flush=True)


if __name__ == "__main__":
    main()
