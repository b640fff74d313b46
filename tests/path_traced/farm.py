"""Renders a file of shots: `python -m tests.path_traced.farm SHOTS.pkl.xz FOLDER [--workers N] [--seconds S]`.

Each picture is written as NAME.jpg, and the folder packed into few tar files. Needs numpy, OpenCV, Pillow and
Mitsuba, and nothing else of the project than this folder, so that another machine can do it.
"""

from __future__ import annotations

import argparse
import lzma
import multiprocessing
import pickle
import tarfile
import time
from pathlib import Path

from tests.path_traced import develop, tracer
from tests.path_traced.world import Shot


def work(shots: list[Shot], folder: Path, started: float, seconds: float, number: int, workers: int) -> None:
    """Render every so-manieth shot until the time is up."""
    mitsuba = tracer.start()
    for shot in shots[number::workers]:
        if time.time() - started > seconds:
            break
        begun = time.time()
        try:
            raw = tracer.trace(mitsuba, shot)
        except Exception as fault:  # one scene that fails must not lose the others
            print(f"{shot.name}: {type(fault).__name__}: {fault}", flush=True)
            continue
        (folder / f"{shot.name}.jpg").write_bytes(develop.jpeg_of(raw, shot))
        print(f"{shot.name} {time.time() - begun:.1f} s", flush=True)


def pack(folder: Path, into: Path, most_bytes: int = 15_500_000) -> list[Path]:
    """Tar files of the pictures in a folder, none larger than asked."""
    packs: list[list[Path]] = [[]]
    size = 0
    for file in sorted(folder.glob("*.jpg")):
        if size + file.stat().st_size + 2048 > most_bytes:
            packs.append([])
            size = 0
        packs[-1].append(file)
        size += file.stat().st_size + 2048
    made = []
    for number, files in enumerate(packs):
        made.append(into / f"pictures-{number}.tar")
        with tarfile.open(made[-1], "w") as tar:
            for file in files:
                tar.add(file, file.name)
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("shots", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1e9)
    parser.add_argument("--pack", type=Path)
    options = parser.parse_args()
    started = time.time()
    shots = pickle.loads(lzma.decompress(options.shots.read_bytes()))
    options.folder.mkdir(parents=True, exist_ok=True)
    spawn = multiprocessing.get_context("spawn")
    args = (shots, options.folder, started, options.seconds)
    crew = [spawn.Process(target=work, args=(*args, k, options.workers)) for k in range(options.workers)]
    for each in crew:
        each.start()
    for each in crew:
        each.join()
    made = pack(options.folder, options.pack) if options.pack else []
    print(f"{len(list(options.folder.glob('*.jpg')))} of {len(shots)} pictures, {time.time() - started:.0f} s", *made)


if __name__ == "__main__":
    main()
