"""A workshop in which stories play. Every person, shop and batch in these stories is invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from curejournal import workflow
from curejournal.batch.records import AlkaliTest, BarsOut, Entry, Event, Portion, Record, SurfaceNote, Weighing
from curejournal.journal.store import Journal
from curejournal.judging.judgement import Judgement
from curejournal.soap.lye import LyeCheck, check_lye
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe

MONDAY = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


def recipe(oils: dict[str, float], naoh_g: float, water_g: float, **more: Any) -> Recipe:
    """A recipe in a line: oils by name in g, solid NaOH of 97 to 99%, water."""
    lots = {name: f"{name[:2].upper()}-1" for name in oils}
    return Recipe(
        tuple(Oil(name, grams, lots[name]) for name, grams in oils.items()),
        (Alkali("NaOH", naoh_g, lot="N-1"),) if naoh_g else (),
        (Liquid("water", water_g),) if water_g else (),
        **more,
    )


@dataclass
class Workshop:
    """What makers do, day by day; `by` is who does it. Days count from Monday, 2 March 2026."""

    journal: Journal
    by: str = "Ana (invented)"

    def day(self, days: float) -> datetime:
        """The time so many days after the first Monday."""
        return MONDAY + timedelta(days=days)

    def pours(self, code: str, name: str, of: Recipe, *, day: float = 0.0, bars: int = 0, portions: int = 1) -> None:
        """Pour a batch, and cut it two days later if it is to have bars."""
        parts: list[Record] = [Portion(f"portion {number}", number) for number in range(1, portions + 1)]
        at = self.day(day)
        workflow.start_batch(self.journal, code, name, at=at, by=self.by, now=at, records=[of, *parts])
        self.writes(code, Event("poured"), day=day)
        if bars:
            self.writes(code, Event("cut", bars=bars), day=day + 2)

    def writes(self, code: str, record: Record, *, day: float, sure: bool = False, **more: Any) -> Entry:
        """Enter a record; `sure` keeps what is asked about."""
        at = self.day(day)
        return workflow.enter(self.journal, code, record, at=at, by=self.by, now=at, confirmed=sure, **more)[0]

    def dries(self, code: str, *, poured: float, until: float, grams: float = 120.0) -> None:
        """Weigh a marked bar each week while it dries toward nine tenths of its weight."""
        for week in range(int((until - poured) // 7) + 1):
            left = grams * (0.9 + 0.1 * 0.5**week)
            self.writes(code, Weighing("bar 1", round(left, 1), 0.1), day=poured + 2 + 7 * week, sure=True)

    def titrates(self, code: str, *bars: str, day: float, ml: float = 0.12) -> None:
        """Titrate some bars: 10 g of soap, acid of 0.1 mol/l, a blank of 0.05 ml."""
        for bar in bars:
            test = AlkaliTest("titration", soap_g=10.0, acid_ml=(ml, ml + 0.02), acid_mol_l=0.1, blank_ml=0.05, bar=bar)
            self.writes(code, test, day=day, sure=True)

    def looks(self, code: str, look: Any = "clear", *, day: float) -> None:
        """Look at the bars and note it."""
        self.writes(code, SurfaceNote(look), day=day)

    def sells(self, code: str, bars: int, to: str, *, day: float, sure: bool = False, **more: Any) -> Entry:
        """Let bars go."""
        return self.writes(code, BarsOut(bars, to, "sold", **more), day=day, sure=sure)

    def asks(self, code: str, *, day: float) -> Judgement:
        """What the journal says of a batch on a day."""
        return workflow.judge_batch(self.journal, code, self.day(day))

    def signs(self, code: str, act: Any = "release", *, day: float, statement: str = "seen and agreed") -> Entry:
        """Sign a release, a hold, a withdrawal."""
        at = self.day(day)
        return workflow.decide(self.journal, code, act, signed_by=self.by, statement=statement, on=at)

    def lye(self, of: Recipe) -> LyeCheck:
        """What a recipe's lye does."""
        return check_lye(of)
