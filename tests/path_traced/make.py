"""Makes the path-traced sets: `python -m tests.path_traced.make [choosing] [reporting] [faults] [--into FOLDER]`.

Pictures are kept by their scene's fingerprint in the folder that `CUREJOURNAL_SCENES` names (else
~/.cache/curejournal-scenes), so that only what changed is rendered again: some seconds a picture on a GPU, minutes on
a processor. `--into` also lays out NAME.jpg and truth.json there. For another machine with a GPU: `--shots FILE` writes
what is not in the cache, `tests.path_traced.farm` renders it there, `--taken FOLDER` puts its pictures into the cache.
"""

from __future__ import annotations

import argparse
import json
import lzma
import os
import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.path_traced import develop, sets, tracer
from tests.path_traced.prints import print_of, references
from tests.path_traced.world import Shot
from tests.path_traced.worlds import CHOOSING, REPORTING, World

FAULTS_TO_CHOOSE_BY = 30


def choosing() -> Iterator[Shot]:
    yield from sets.good(CHOOSING, 120)
    yield from sets.enrolments(CHOOSING)
    yield from sets.faults(CHOOSING, FAULTS_TO_CHOOSE_BY)


def reporting() -> Iterator[Shot]:
    yield from sets.good(REPORTING, 300)
    yield from sets.enrolments(REPORTING)


def faults() -> Iterator[Shot]:
    yield from sets.faults(REPORTING, 60)


SETS: dict[str, tuple[Callable[[], Iterator[Shot]], World]] = {
    "choosing": (choosing, CHOOSING),
    "reporting": (reporting, REPORTING),
    "faults": (faults, REPORTING),
}


def cache() -> Path:
    """Where rendered pictures are kept."""
    folder = Path(os.environ.get("CUREJOURNAL_SCENES") or Path.home() / ".cache" / "curejournal-scenes")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def kept(shot: Shot) -> Path:
    return cache() / f"{shot.fingerprint}.jpg"


def truth_of(world: World, shots: list[Shot]) -> dict[str, Any]:
    """What truth.json says: the cards as printed (before any fault), and each scene."""
    prints = {
        f"{world.name}-{which}": {card: references(print_of(world, which), card) for card in ("window", "side")}
        for which in range(len(world.printers))
    }
    scenes = {shot.name: {"file": f"{shot.name}.jpg", "fingerprint": shot.fingerprint, **shot.truth} for shot in shots}
    return {"size": list(sets.SIZE), "prints": prints, "scenes": scenes}


def lay_out(name: str, folder: Path) -> int:
    """Lay the pictures of a set that are in the cache into a folder, with their truth; say how many."""
    make, world = SETS[name]
    there = [shot for shot in make() if kept(shot).exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for shot in there:
        (folder / f"{shot.name}.jpg").write_bytes(kept(shot).read_bytes())
    (folder / "truth.json").write_text(json.dumps(truth_of(world, there), indent=1), encoding="utf-8")
    return len(there)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("sets", nargs="*", help=", ".join(SETS))
    parser.add_argument("--into", type=Path)
    parser.add_argument("--shots", type=Path)
    parser.add_argument("--taken", type=Path)
    parser.add_argument("--only-laid-out", action="store_true", help="render nothing")
    options = parser.parse_args()
    names = options.sets or list(SETS)
    shots = [shot for name in names for shot in SETS[name][0]()]
    if options.taken:
        for shot in shots:
            if (picture := options.taken / f"{shot.name}.jpg").exists():
                kept(shot).write_bytes(picture.read_bytes())
    missing = [shot for shot in shots if not kept(shot).exists()]
    print(f"{len(shots)} scenes, {len(missing)} to be rendered", flush=True)
    if options.shots:
        options.shots.write_bytes(lzma.compress(pickle.dumps(missing), preset=3))
    elif missing and not options.only_laid_out:
        mitsuba = tracer.start()
        for number, shot in enumerate(missing):
            kept(shot).write_bytes(develop.jpeg_of(tracer.trace(mitsuba, shot), shot))
            print(f"{number + 1} of {len(missing)}: {shot.name}", flush=True)
    if options.into:
        for name in names:
            print(f"{name}: {lay_out(name, options.into / name)} pictures in {options.into / name}")


if __name__ == "__main__":
    main()
