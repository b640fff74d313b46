"""What a journal keeps about a batch: small frozen records, each made at one time.

A record says *what*; the `Entry` around it says when, by whom, and which
earlier entry it corrects. Nothing is overwritten: a correction is a new entry.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Generic, Literal, cast

from typing_extensions import TypeVar

from curejournal.base.messages import msg
from curejournal.batch.making import BatchKind as BatchKind
from curejournal.batch.making import Deviation as Deviation
from curejournal.batch.making import KindOfBatch
from curejournal.batch.making import MakingDetails as MakingDetails
from curejournal.batch.making import OwnRules as OwnRules
from curejournal.batch.making import Place as Place
from curejournal.batch.photo_view import PhotoView as PhotoView
from curejournal.batch.readings import AlkaliMethod as AlkaliMethod
from curejournal.batch.readings import AlkaliTest as AlkaliTest
from curejournal.batch.readings import ColourReading as ColourReading
from curejournal.batch.readings import PacketCheck as PacketCheck
from curejournal.batch.readings import PhotoNote as PhotoNote
from curejournal.batch.readings import ScalarReading as ScalarReading
from curejournal.batch.readings import SurfaceLook as SurfaceLook
from curejournal.batch.readings import SurfaceNote as SurfaceNote
from curejournal.batch.readings import Weighed as Weighed
from curejournal.batch.readings import WeighedHow as WeighedHow
from curejournal.batch.readings import Weighing as Weighing
from curejournal.batch.readings import WeighingCheck as WeighingCheck
from curejournal.batch.sales import BarsBack as BarsBack
from curejournal.batch.sales import BarsOut as BarsOut
from curejournal.batch.sales import Complaint as Complaint
from curejournal.batch.sales import WhyOut as WhyOut
from curejournal.batch.workshop import WORKSHOP_RECORDS, WorkshopRecord
from curejournal.colour.sample import Lab
from curejournal.soap.recipe import Recipe

EventKind = Literal[
    "trace",
    "thickening",
    "seizing",
    "ricing",
    "separation",
    "colour changed",
    "overheated",
    "volcano",
    "poured",
    "gel",
    "partial gel",
    "unmoulded",
    "cut",
    "soft",
    "crumbly",
    "cracked",
    "planed",
    "stamped",
    "washed",
    "smell gone",
    "smell off",
    "note",
]
NEW_SURFACE: tuple[EventKind, ...] = ("planed", "stamped", "washed")
"""What gives the soap a new surface: its colour is followed from there on."""
Act = Literal["release", "hold", "withdraw", "lift hold", "keep on sale"]
TargetSource = Literal["cured earlier batch", "control portion", "batter before fragrance", "swatch"]


@dataclass(frozen=True)
class Portion:
    """A layer, swirl colour, topper or control of a batch.

    `target_lab` is the colour that it should have when cured (CIELAB
    D50/2); `tolerance` the CIEDE2000 difference the maker accepts;
    `control` marks an unscented portion or kept bar to compare with.
    `target_from` names what the target colour was picked from, `target_card` the card that it was read with, and
    `target_sd` is what it may itself be off, in each Lab coordinate.
    """

    name: str
    order: int = 0
    target_lab: Lab | None = None
    target_source: TargetSource | None = None
    tolerance: float = 3.0
    control: bool = False
    target_from: str = ""
    target_card: str = ""
    target_sd: float = 0.0


@dataclass(frozen=True)
class Event:
    """Something that happened, of a kind that is counted and compared, or a note."""

    kind: EventKind
    portion: str = ""
    note: str = ""
    temperature_c: float | None = None
    bars: int | None = None


@dataclass(frozen=True)
class Decision:
    """A person's signed act. `evidence` is the judgement frozen as it stood, as JSON text.

    It is never corrected or taken back: the next signed act answers it, a lifted hold a hold.
    """

    act: Act
    signed_by: str
    statement: str
    rules_version: str
    evidence: str


@dataclass(frozen=True)
class ColourAccepted:
    """The maker accepts the colour that a portion has off its target, `lab`, and says why. The target stays."""

    portion: str
    why: str
    lab: Lab | None = None


@dataclass(frozen=True)
class Renamed:
    """The batch is called this from now on: its first name was mistyped, say. Its code stays."""

    name: str


@dataclass(frozen=True)
class Withdrawn:
    """Takes an earlier entry back without replacing it; `why` is kept."""

    why: str


Record = (
    Recipe
    | Portion
    | Event
    | ColourReading
    | PhotoNote
    | PhotoView
    | Weighing
    | AlkaliTest
    | SurfaceNote
    | ScalarReading
    | BarsOut
    | BarsBack
    | Complaint
    | BatchKind
    | Place
    | OwnRules
    | MakingDetails
    | Deviation
    | Decision
    | WeighingCheck
    | PacketCheck
    | ColourAccepted
    | Renamed
    | Withdrawn
    | WorkshopRecord
)

R = TypeVar("R", bound=Record)
R_co = TypeVar("R_co", bound=Record, covariant=True, default=Record)

RECORDS: dict[str, type[Record]] = {
    "recipe": Recipe,
    "portion": Portion,
    "event": Event,
    "colour": ColourReading,
    "photo": PhotoNote,
    msg("photo view"): PhotoView,
    "weighing": Weighing,
    msg("alkali test"): AlkaliTest,
    "surface": SurfaceNote,
    "reading": ScalarReading,
    msg("bars out"): BarsOut,
    msg("bars back"): BarsBack,
    "complaint": Complaint,
    msg("batch kind"): BatchKind,
    "place": Place,
    msg("own rules"): OwnRules,
    msg("making details"): MakingDetails,
    "deviation": Deviation,
    "decision": Decision,
    msg("weighing check"): WeighingCheck,
    msg("packet check"): PacketCheck,
    msg("colour accepted"): ColourAccepted,
    "renamed": Renamed,
    "withdrawn": Withdrawn,
    **WORKSHOP_RECORDS,
}
"""Every kind of record by the name it is kept under. A new kind is one entry here."""

WITHOUT_BATCH: frozenset[type[Record]] = frozenset({ScalarReading, Withdrawn, *WORKSHOP_RECORDS.values()})
"""The kinds that may be entered for the workshop itself; those of `WORKSHOP_RECORDS` for nothing else."""


@dataclass(frozen=True)
class Entry(Generic[R_co]):
    """A record with its time, its author and its place in the history.

    `at` is when it happened, with its offset; `recorded_at` when it was written down.
    `supersedes` is the id of the entry that this one corrects; `photo` the hash of the photo it came from.
    `press` is the key of the press that made it, if it had one, and `pressed_at` when that was, by the clock of
    whoever pressed: entries that waited on a phone are recorded later.
    """

    id: int
    at: datetime
    by: str
    recorded_at: datetime
    record: R_co
    supersedes: int | None = None
    photo: str | None = None
    press: str | None = None
    pressed_at: datetime | None = None


def of_kind(entries: Iterable[Entry], kind: type[R]) -> tuple[Entry[R], ...]:
    """The entries whose record is of this kind, in their order."""
    return tuple(cast("Entry[R]", entry) for entry in entries if isinstance(entry.record, kind))


@dataclass(frozen=True)
class Batch:
    """A batch and its current entries, in order of time. Corrected entries are left out."""

    code: str
    name: str
    entries: tuple[Entry, ...] = field(default=())

    def as_of(self, on: datetime) -> Batch:
        """The batch by what had happened at a time: later entries are left aside."""
        return replace(self, entries=tuple(entry for entry in self.entries if entry.at <= on))

    def of(self, kind: type[R]) -> tuple[Entry[R], ...]:
        """The entries whose record is of this kind, in order of time."""
        return of_kind(self.entries, kind)

    def records(self, kind: type[R]) -> tuple[tuple[datetime, R], ...]:
        """(when, record) of one kind, in order of time."""
        return tuple((entry.at, entry.record) for entry in self.of(kind))

    @property
    def recipe(self) -> Recipe | None:
        """The latest recipe, if one was entered."""
        recipes = self.records(Recipe)
        return recipes[-1][1] if recipes else None

    @property
    def portions(self) -> tuple[Portion, ...]:
        """The portions in their order; the latest entry of each name counts."""
        latest = {portion.name: portion for _, portion in self.records(Portion)}
        return tuple(sorted(latest.values(), key=lambda portion: portion.order))

    @property
    def parts(self) -> dict[str, str]:
        """The parts of portions that are followed apart, each with its portion."""
        return {reading.subject: reading.portion for _, reading in self.records(ColourReading) if reading.part}

    def event_at(self, kind: EventKind, portion: str = "") -> datetime | None:
        """When an event first happened (of one portion, if named and noted so)."""
        times = [at for at, event in self.records(Event) if event.kind == kind]
        own = [at for at, event in self.records(Event) if event.kind == kind and portion and event.portion == portion]
        return min(own or times, default=None)

    @property
    def poured_at(self) -> datetime | None:
        """When the batch was poured: its age counts from here."""
        return self.event_at("poured")

    @property
    def bars_cut(self) -> int:
        """How many bars were cut; 0 if nobody noted it."""
        return max((event.bars or 0 for _, event in self.records(Event)), default=0)

    @property
    def bars_out(self) -> int:
        """How many bars left the rack, for whatever reason."""
        return sum(out.bars for _, out in self.records(BarsOut))

    def bars_out_since(self, at: datetime) -> tuple[tuple[datetime, BarsOut], ...]:
        """When bars left from a time on, and what is on record of them."""
        return tuple(out for out in self.records(BarsOut) if out[0] >= at)

    @property
    def bars_back(self) -> int:
        """How many bars came back."""
        return sum(back.bars for _, back in self.records(BarsBack))

    @property
    def bars_here(self) -> int:
        """How many of the bars that were cut are here; meaningless if nobody noted how many were cut."""
        return self.bars_cut - self.bars_out + self.bars_back

    @property
    def kind(self) -> KindOfBatch:
        """What kind of batch it is: as noted last, or a rebatch by its recipe."""
        noted = self.records(BatchKind)
        rebatch = self.recipe is not None and self.recipe.rebatch
        said = noted[-1][1].kind if noted else "soap"
        return "rebatch" if said == "soap" and rebatch else said

    @property
    def place(self) -> str:
        """Where it lies, as noted last; empty if nobody noted it."""
        places = [place.words for _, place in self.records(Place) if not place.subject]
        return places[-1] if places else ""

    @property
    def none_left(self) -> bool:
        """Whether every bar that was cut has left, and none was retained: nothing is here to weigh or to look at."""
        kept = any(out.why == "retained" for _, out in self.records(BarsOut))
        return self.bars_cut > 0 and self.bars_here <= 0 and not kept

    @property
    def released_at(self) -> datetime | None:
        """When it was released, unless a later act holds or withdraws it."""
        at, act = self.last_act
        return at if act is not None and act.act == "release" else None

    @property
    def last_act(self) -> tuple[datetime | None, Decision | None]:
        """When something was signed last, and what: it stands until the next one; after a lifted hold nothing does.

        That it stays on sale answers a question, and leaves what was signed before as it stands.
        """
        acts = [signed for signed in self.records(Decision) if signed[1].act != "keep on sale"]
        at, act = next(reversed(acts), (None, None))
        return (None, None) if act is not None and act.act == "lift hold" else (at, act)


def same_code(one: str, other: str) -> bool:
    """Whether two codes name one batch: case and blanks around them do not count."""
    return one.strip().casefold() == other.strip().casefold()
