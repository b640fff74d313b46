"""How far a newcomer walks: rooms, floors and arrows of the house, and the stops of one photo and of one weight.

Run: python -m tests.house

A *stop* is where a function of another place takes over. In `photo/`, where the pixels are, a place is a module; any
other room is one place, however many modules it has inside. What travels along is no place: values with their methods
(dataclasses, and the modules in `VALUES`), and the arithmetic and words beneath (`colour`, `soap`, `base`).
A *return* is a stop in a room that was left before; `workflow`, which leads the walk, is not left.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, is_dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from types import CodeType, FrameType

import grimp

import curejournal
from curejournal.batch.records import Event, Portion, Weighing
from curejournal.journal.store import Journal
from curejournal.photo.analysis import Cards, analyse
from curejournal.workflow.batches import enter
from curejournal.workflow.cards import find_card
from curejournal.workflow.photos.answers import Answers
from curejournal.workflow.photos.commit import commit
from curejournal.workflow.photos.context import context_of
from curejournal.workflow.photos.dates import facts_of
from curejournal.workflow.photos.propose import propose

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = Path(curejournal.__file__).parent
SAMPLE = ROOT / "sample_images/cardamom-3.jpg"
POURED, NOW = datetime(2026, 10, 15, 9, tzinfo=UTC), datetime(2026, 11, 20, tzinfo=UTC)
BENEATH = ("base", "colour", "soap")
VALUES = ("photo.card", "photo.placement", "photo.pixels", "batch.records")


@dataclass(frozen=True)
class Step:
    """A function of ours that was called from another module."""

    module: str
    function: str

    @property
    def place(self) -> str:
        """Where it is: the module in `photo`, else the room."""
        return self.module if self.module.startswith("photo") else self.module.partition(".")[0]

    @property
    def room(self) -> str:
        """The room: in `photo` the one inside it."""
        return ".".join(self.module.split(".")[:2]) if self.module.startswith("photo.") else self.place


def steps_of(run: Callable[[], object]) -> list[Step]:
    """Every call of a function of ours from another module, in order."""
    steps: list[Step] = []

    def on(frame: FrameType, event: str, _arg: object) -> None:
        if event != "call" or (module := _module(frame.f_code)) is None or frame.f_code.co_name.startswith("<"):
            return
        back = frame.f_back
        while back is not None and _module(back.f_code) is None:
            back = back.f_back
        owner = frame.f_locals.get("self", frame.f_locals.get("cls"))
        if (back is not None and _module(back.f_code) == module) or (owner is not None and is_dataclass(owner)):
            return
        if module.partition(".")[0] not in BENEATH and module not in VALUES:
            steps.append(Step(module, frame.f_code.co_qualname))

    sys.setprofile(on)
    try:
        run()
    finally:
        sys.setprofile(None)
    return steps


def _module(code: CodeType) -> str | None:
    path = Path(code.co_filename)
    if not path.is_relative_to(PACKAGE):
        return None
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts).removesuffix(".__init__")


def stops_of(steps: list[Step]) -> list[str]:
    """The places in the order in which they take over."""
    places = [step.place for step in steps]
    return [place for k, place in enumerate(places) if k == 0 or place != places[k - 1]]


def returns_of(steps: list[Step]) -> list[str]:
    """The rooms that were entered again after they had been left."""
    rooms = [step.room for step in steps]
    entered = [room for k, room in enumerate(rooms) if k == 0 or room != rooms[k - 1]]
    return [room for k, room in enumerate(entered) if room in entered[:k] and room != "workflow"]


def photo_steps() -> list[Step]:
    """One photo with a card, from bytes to its stored readings: `analyse`, `propose`, `commit`."""
    data, cards = SAMPLE.read_bytes(), Cards(find_card("window"))
    analyse(data, cards)  # what is read once, at first use, is no part of the way
    with TemporaryDirectory() as folder, Journal.open(Path(folder)) as journal:
        journal.start_batch("B-1", "Rye", at=POURED, by="Ana", records=[Event("poured"), Portion("cardamom")])
        kept: dict[str, object] = {}

        def analysed() -> None:
            kept["analysis"] = analyse(data, cards)

        steps = steps_of(analysed)
        analysis = kept["analysis"]
        answers = Answers(batch="B-1")
        context = context_of(journal, analysis, facts_of(analysis, "a.jpg", UTC), answers, NOW)

        def filed() -> None:
            filing = propose(analysis, context, answers)
            assert not filing.questions, filing.questions
            assert commit(journal, filing, by="Ana", original=data)

        return steps + steps_of(filed)


def weight_steps() -> list[Step]:
    """One weight, from what was typed to its entry."""
    with TemporaryDirectory() as folder, Journal.open(Path(folder)) as journal:
        journal.start_batch("B-1", "Rye", at=POURED, by="Ana", records=[Event("poured")])
        enter(journal, "B-1", Weighing("bar 1", 120.0), at=POURED, by="Ana", now=NOW)
        return steps_of(lambda: enter(journal, "B-1", Weighing("bar 1", 118.0), at=NOW, by="Ana", now=NOW))


def floors() -> list[list[str]]:
    """The floors from the top, each with its rooms, as the import rules have them."""
    rules = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
    layers = next(rule["layers"] for rule in rules if rule["type"] == "layers")
    return [[room.strip() for room in layer.split("|")] for layer in layers if layer != "__main__"]


def arrows() -> set[tuple[str, str]]:
    """Which room imports which."""
    graph = grimp.build_graph("curejournal", include_external_packages=False, cache_dir=None)
    pairs = ((one.split("."), other.split(".")) for one in graph.modules for other in _imported(graph, one))
    return {(one[1], other[1]) for one, other in pairs if len(one) > 1 < len(other) and one[1] != other[1]}


def _imported(graph: grimp.ImportGraph, module: str) -> set[str]:
    return graph.find_modules_directly_imported_by(module)


def main() -> None:
    """Print what there is to walk."""
    rooms = [room for floor in floors() for room in floor]
    print(f"rooms {len(rooms)}, floors {len(floors())}, arrows between rooms {len(arrows())}")
    for name, steps in (("photo", photo_steps()), ("weight", weight_steps())):
        stops, returns = stops_of(steps), returns_of(steps)
        print(f"a {name}'s way: {len(stops)} stops, {len(returns)} returns {returns or ''}")
        print("  " + " > ".join(stops))


if __name__ == "__main__":
    main()
