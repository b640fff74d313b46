"""One page on a material, for its supplier or a forum: figures and pictures, and no claim beyond them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from curejournal.base.messages import join, msg, msg_n
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
    return msg(
        "These are observations of {batches} by one maker, in their recipes, "
        "with their lye and in their room. Colours were measured from photos against a colour "
        "card (CIELAB D50, CIEDE2000); intervals are 95 %. Other materials were in the same batches. Nothing is said "
        "about other lots, other doses, other soaps, or about safety on skin.",
        batches=msg_n("{number} batch", "{number} batches", len(history.batches)),
    )


def summary(sheet: FactSheet) -> list[tuple[str, str]]:
    """The figures, a name and a value each."""
    history, expected = sheet.history, sheet.expected
    lots = [lot for lot in dict.fromkeys(use.ingredient.lot for use in history.uses) if lot]
    told = [
        ("kind", history.kind),
        (
            msg("used in"),
            msg(
                "{uses} of {batches}",
                uses=msg_n("{number} portion", "{number} portions", len(history.uses)),
                batches=msg_n("{number} batch", "{number} batches", len(history.batches)),
            ),
        ),
        ("lots", join(", ", lots) or NO_LOT),
    ]
    doses = history.doses_pct
    if doses:
        same = round(doses[0], 1) == round(doses[1], 1)
        told.append(
            (
                "dose",
                msg(
                    "{doses:.1f}{same} % of the oils by mass",
                    doses=doses[0],
                    same="" if same else f" to {doses[1]:.1f}",
                ),
            )
        )
        soap = [pct for use in history.uses for pct in use.ingredient.dosage.of_soap_pct]
        told.append(
            (
                msg("in the finished soap"),
                msg("{fresh:.1f} to {dry:.1f} % by mass, fresh to fully dry", fresh=min(soap), dry=max(soap)),
            )
        )
    turns = [use.story.turn.estimate for use in history.uses if use.story.turn]
    if turns:
        told.append((msg("greatest change seen"), msg("{turns} ΔE00 from the target colour", turns=_range(turns, 1))))
        days = [use.story.turn_days for use in history.uses if use.story.turn_days is not None]
        told.append((msg("seen at its greatest"), msg("day {days}", days=_range(days, 1))))
    back = [
        use.story.back_days[0] for use in history.uses if use.story.back_days and use.story.back_days[0] is not None
    ]
    if back:
        told.append((msg("back within tolerance"), msg("after {back} days", back=_range(back, 0))))
    told.append((msg("what became of it"), expected.words))
    ends = [use.story.end_difference.estimate for use in history.uses if use.story.end_difference]
    if ends:
        told.append((msg("at rest at"), msg("{ends} ΔE00 from the target colour", ends=_range(ends, 1))))
    traces = [use.story.trace for use in history.uses if use.story.trace]
    if traces:
        told.append((msg("trace, as noted"), join("; ", dict.fromkeys(traces))))
    if expected.turn:
        together = msg(", several lots taken together") if len(expected.lots) > 1 else ""
        told.append(
            (
                msg("one more batch may turn by"),
                msg("{turn} ΔE00{together}", turn=formatting.figure(expected.turn), together=together),
            )
        )
    if sheet.effect is not None:
        told.append((msg("its own part in it"), effect_words(sheet.effect)))
    return told


def effect_words(effect: Effect) -> str:
    """What a material does by itself, as far as all batches together can tell."""
    size = msg(
        "{at_usual_dose} ΔE00 at {usual_dose_pct:.1f} % of its portion's batter",
        at_usual_dose=formatting.figure(effect.at_usual_dose),
        usual_dose_pct=effect.usual_dose_pct,
    )
    told = msg("{size}; chance that it does anything {chance:.0f} %", size=size, chance=100 * effect.chance)
    if len(effect.materials) > 1:
        return msg(
            "{materials} were never apart, so only together: {told}",
            materials=join(" and ", effect.materials),
            told=told,
        )
    if not effect.separable:
        return msg("it is in every portion, so it cannot be told from the soap itself: {told}", told=told)
    if effect.not_told_apart_from:
        return msg(
            "{told}; not told apart from {not_told_apart_from}",
            told=told,
            not_told_apart_from=join(" or ", effect.not_told_apart_from),
        )
    return told


def fact_sheet_pdf(sheet: FactSheet, *, made_on: datetime, software: str) -> bytes:
    """The sheet as one page of PDF; the table of uses shows the latest that fit."""
    page = Sheet(
        sheet.history.material,
        msg("{made_on} · {software}", made_on=formatting.day(made_on), software=software),
        made_on,
    )
    page.add_page()
    page.title_line(sheet.history.material, msg("what it did in cold-process soap"))
    page.facts(summary(sheet), 48)
    longest = max(sheet.history.uses, key=lambda use: use.story.journey.moments, default=None)
    if longest is not None and longest.story.journey.points:
        journey = longest.story.journey
        page.heading(
            msg(
                "Its colour over time, batch {batch}, {portion}",
                batch=longest.story.batch,
                portion=longest.story.portion,
            )
        )
        page.swatches([Swatch(point.days, point.lab) for point in journey.points], journey.target_lab, 9)
    page.pictures([(picture.jpeg, picture.caption, picture.alt) for picture in sheet.pictures[:3]])
    page.heading(msg("Each use"))
    uses = sheet.history.uses[-USES_SHOWN:]
    page.rows(HEAD, [use_row(use) for use in uses], (17, 24, 22, 14, 30, 28, 22), right=(3,))
    if len(uses) < len(sheet.history.uses):
        page.say(msg("The latest {shown} of {all}.", shown=len(uses), all=len(sheet.history.uses)), 8)
    page.say(limits(sheet.history), 8)
    return bytes(page.output())


HEAD = (
    "batch",
    "poured",
    "lot",
    msg("% of oils"),
    msg("greatest change, ΔE00"),
    msg("what became of it"),
    msg("back after"),
)


def use_row(use: Use) -> tuple[str, ...]:
    """One use as a row of the table."""
    story, dose = use.story, use.ingredient.dosage.of_oils_pct
    back = story.back_days
    return (
        story.batch,
        formatting.day(story.poured_at) if story.poured_at else NO_LOT,
        use.ingredient.lot or NO_LOT,
        f"{dose:.1f}" if dose is not None else "",
        formatting.figure(story.turn) if story.turn else msg("not measured"),
        story.outcome,
        msg_n("{number} day", "{number} days", round(back[0])) if back and back[0] is not None else "",
    )


def fact_sheet_markdown(sheet: FactSheet, *, made_on: datetime, software: str) -> str:
    """The same as Markdown, without pictures."""
    lines = [f"# {_plain(sheet.history.material)}", "", msg("What it did in cold-process soap."), ""]
    lines += [f"- **{name}**: {_plain(value)}" for name, value in summary(sheet)]
    lines += ["", f"| {' | '.join(HEAD)} |", f"|{' --- |' * len(HEAD)}"]
    lines += [f"| {' | '.join(_plain(cell) for cell in use_row(use))} |" for use in sheet.history.uses]
    lines += [
        "",
        limits(sheet.history),
        "",
        msg("{made_on}, {software}", made_on=formatting.day(made_on), software=software),
        "",
    ]
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Text that no Markdown reader takes for a mark, a cell or a link."""
    flat = join(" ", text.split())
    return "".join(f"\\{sign}" if sign in "\\`*_[]<>|#" else sign for sign in flat)


def _range(values: Sequence[float], decimals: int) -> str:
    low, middle, high = (f"{value:.{decimals}f}" for value in (min(values), float(np.median(values)), max(values)))
    return low if low == high else msg("{low} to {high} (middle {middle})", low=low, high=high, middle=middle)
