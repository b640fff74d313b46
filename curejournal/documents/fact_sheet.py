"""One page on a material, for its supplier or a forum: figures and pictures, and no claim beyond them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from curejournal.base.counting import how_many
from curejournal.documents import formatting
from curejournal.documents.record import Picture
from curejournal.documents.record_making import NO_LOT
from curejournal.documents.sheet import Sheet, Swatch
from curejournal.materials.effects import Effect
from curejournal.materials.expectation import Expected
from curejournal.materials.history import History, Use

USES_SHOWN = 12


@dataclass(frozen=True)
class FactSheet:
    """What a sheet says. `effect` is its part in all batches together, None where that cannot be told.

    `pictures` are of one portion: first, at its turn, last.
    """

    history: History
    expected: Expected
    effect: Effect | None
    pictures: tuple[Picture, ...]


def limits(history: History) -> str:
    """What the figures are not."""
    return (
        f"These are observations of {how_many(len(history.batches), 'batch')} by one maker, in their recipes, "
        "with their lye and in their room. Colours were measured from photos against a colour "
        "card (CIELAB D50, CIEDE2000); intervals are 95 %. Other materials were in the same batches. Nothing is said "
        "about other lots, other doses, other soaps, or about safety on skin."
    )


def summary(sheet: FactSheet) -> list[tuple[str, str]]:
    """The figures, a name and a value each."""
    history, expected = sheet.history, sheet.expected
    lots = [lot for lot in dict.fromkeys(use.ingredient.lot for use in history.uses) if lot]
    told = [
        ("kind", history.kind),
        ("used in", f"{how_many(len(history.uses), 'portion')} of {how_many(len(history.batches), 'batch')}"),
        ("lots", ", ".join(lots) or NO_LOT),
    ]
    doses = history.doses_pct
    if doses:
        same = round(doses[0], 1) == round(doses[1], 1)
        told.append(("dose", f"{doses[0]:.1f}{'' if same else f' to {doses[1]:.1f}'} % of the oils by mass"))
        soap = [pct for use in history.uses for pct in use.ingredient.dosage.of_soap_pct]
        told.append(("in the finished soap", f"{min(soap):.1f} to {max(soap):.1f} % by mass, fresh to fully dry"))
    turns = [use.story.turn.estimate for use in history.uses if use.story.turn]
    if turns:
        told.append(("greatest change seen", f"{_range(turns, 1)} ΔE00 from the intended colour"))
        days = [use.story.turn_days for use in history.uses if use.story.turn_days is not None]
        told.append(("seen at its greatest", f"day {_range(days, 1)}"))
    back = [
        use.story.back_days[0] for use in history.uses if use.story.back_days and use.story.back_days[0] is not None
    ]
    if back:
        told.append(("back within tolerance", f"after {_range(back, 0)} days"))
    told.append(("what became of it", expected.words))
    ends = [use.story.end_difference.estimate for use in history.uses if use.story.end_difference]
    if ends:
        told.append(("at rest at", f"{_range(ends, 1)} ΔE00 from the intended colour"))
    traces = [use.story.trace for use in history.uses if use.story.trace]
    if traces:
        told.append(("trace, as noted", "; ".join(dict.fromkeys(traces))))
    if expected.turn:
        together = ", several lots taken together" if len(expected.lots) > 1 else ""
        told.append(("one more batch may turn by", f"{formatting.figure(expected.turn)} ΔE00{together}"))
    if sheet.effect is not None:
        told.append(("its own part in it", effect_words(sheet.effect)))
    return told


def effect_words(effect: Effect) -> str:
    """What a material does by itself, as far as all batches together can tell."""
    size = f"{formatting.figure(effect.at_usual_dose)} ΔE00 at {effect.usual_dose_pct:.1f} % of the oils in its portion"
    told = f"{size}; chance that it does anything {100 * effect.chance:.0f} %"
    if len(effect.materials) > 1:
        return f"{' and '.join(effect.materials)} were never apart, so only together: {told}"
    if not effect.separable:
        return f"it is in every portion, so it cannot be told from the soap itself: {told}"
    if effect.not_told_apart_from:
        return f"{told}; not told apart from {' or '.join(effect.not_told_apart_from)}"
    return told


def fact_sheet_pdf(sheet: FactSheet, *, made_on: datetime, software: str) -> bytes:
    """The sheet as one page of PDF; the table of uses shows the latest that fit."""
    page = Sheet(sheet.history.material, f"{formatting.day(made_on)} · {software}", made_on)
    page.add_page()
    page.title_line(sheet.history.material, "what it did in cold-process soap")
    page.facts(summary(sheet), 48)
    longest = max(sheet.history.uses, key=lambda use: use.story.journey.moments, default=None)
    if longest is not None and longest.story.journey.points:
        journey = longest.story.journey
        page.heading(f"Its colour over time, batch {longest.story.batch}, {longest.story.portion}")
        page.swatches([Swatch(point.days, point.lab) for point in journey.points], journey.intended_lab, 9)
    page.pictures([(picture.jpeg, picture.caption, picture.alt) for picture in sheet.pictures[:3]])
    page.heading("Each use")
    uses = sheet.history.uses[-USES_SHOWN:]
    page.rows(HEAD, [use_row(use) for use in uses], (17, 24, 22, 14, 30, 28, 22), right=(3,))
    if len(uses) < len(sheet.history.uses):
        page.say(f"The latest {len(uses)} of {len(sheet.history.uses)}.", 8)
    page.say(limits(sheet.history), 8)
    return bytes(page.output())


HEAD = ("batch", "poured", "lot", "% of oils", "greatest change, ΔE00", "what became of it", "back after")


def use_row(use: Use) -> tuple[str, ...]:
    """One use as a row of the table."""
    story, dose = use.story, use.ingredient.dosage.of_oils_pct
    back = story.back_days
    return (
        story.batch,
        formatting.day(story.poured_at) if story.poured_at else NO_LOT,
        use.ingredient.lot or NO_LOT,
        f"{dose:.1f}" if dose is not None else "",
        formatting.figure(story.turn) if story.turn else "not measured",
        story.outcome,
        how_many(round(back[0]), "day") if back and back[0] is not None else "",
    )


def fact_sheet_markdown(sheet: FactSheet, *, made_on: datetime, software: str) -> str:
    """The same as Markdown, without pictures."""
    lines = [f"# {_plain(sheet.history.material)}", "", "What it did in cold-process soap.", ""]
    lines += [f"- **{name}**: {_plain(value)}" for name, value in summary(sheet)]
    lines += ["", f"| {' | '.join(HEAD)} |", f"|{' --- |' * len(HEAD)}"]
    lines += [f"| {' | '.join(_plain(cell) for cell in use_row(use))} |" for use in sheet.history.uses]
    lines += ["", limits(sheet.history), "", f"{formatting.day(made_on)}, {software}", ""]
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Text that no Markdown reader takes for a mark, a cell or a link."""
    flat = " ".join(text.split())
    return "".join(f"\\{sign}" if sign in "\\`*_[]<>|#" else sign for sign in flat)


def _range(values: Sequence[float], decimals: int) -> str:
    low, middle, high = (f"{value:.{decimals}f}" for value in (min(values), float(np.median(values)), max(values)))
    return low if low == high else f"{low} to {high} (middle {middle})"
