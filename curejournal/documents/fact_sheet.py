"""A sheet on a material for its supplier or a forum: its ribbons, before and after, figures; no claim beyond them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from curejournal.base.messages import Voice, join, localise, msg, msg_n
from curejournal.documents import formatting
from curejournal.documents.record_making import NO_LOT
from curejournal.documents.ribbon import SCALES, ribbon_of
from curejournal.documents.sheet import INK, SOFT, Picture, Sheet
from curejournal.documents.typefaces import DISPLAY
from curejournal.judging.colour_states import State
from curejournal.materials.effects import Effect
from curejournal.materials.expectation import Expected
from curejournal.materials.history import History, Use

USES_SHOWN, RIBBONS_SHOWN = 12, 5
LABEL_MM = 34.0
"""Room for a batch's code, dose and lot beside its ribbon."""


@dataclass(frozen=True)
class FactSheet:
    """What a sheet says. `effect` is its part in all batches together, None where that cannot be told.

    `pictures` are of one portion, close up: at its turn, and last; `soaps` show the bars at about the same times.
    """

    history: History
    expected: Expected
    effect: Effect | None
    pictures: tuple[Picture, ...]
    soaps: tuple[Picture, ...] = ()


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
        (msg("kind"), history.kind),
        (
            msg("used in"),
            msg(
                "{uses} of {batches}",
                uses=msg_n("{number} portion", "{number} portions", len(history.uses)),
                batches=msg_n("{number} batch", "{number} batches", len(history.batches)),
            ),
        ),
        (msg("lots"), join(", ", lots) or NO_LOT),
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
                    same="" if same else msg(" to {most:.1f}", most=doses[1]),
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
                msg("one more batch may discolour by"),
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


def headline(history: History) -> str:
    """What it did, in one sentence."""
    known, left = history.known, history.turned
    back = [story.back_days[0] for story in left if story.back_days and story.back_days[0] is not None]
    if not known:
        return _so_far(history)
    if not left:
        return msg_n(
            "It left the colour of {number} portion as it was.",
            "It left the colour of {number} portions as it was.",
            len(known),
        )
    if len(known) == 1:
        if not back:
            return msg("It discoloured the batter, which is not back on its target colour.")
        return msg("It discoloured the batter, which recovered by itself after {days} days.", days=_ends(back))
    told = msg(
        "It discoloured {left} of {known}",
        left=len(left),
        known=msg_n("{number} portion", "{number} portions", len(known)),
    )
    if not back:
        return msg("{told}; none is back on its target colour.", told=told)
    if len(back) < len(left):
        return msg("{told}; {back} recovered, after {days} days.", told=told, back=len(back), days=_ends(back))
    return msg("{told}, and each recovered by itself, after {days} days.", told=told, days=_ends(back))


def _so_far(history: History) -> str:
    """What can be said while no portion has come to rest."""
    states = {use.story.journey.state for use in history.uses}
    if State.RECOVERING in states:
        return msg("The batter with it discoloured, and is recovering.")
    if State.DISCOLOURING in states:
        return msg("The batter with it is still discolouring.")
    return msg("No portion with it has been followed to its end yet.")


def three_figures(history: History) -> list[tuple[str, str]]:
    """The figures of the first page, each with what it is."""
    known, left = history.known, history.turned
    back = [story.back_days[0] for story in left if story.back_days and story.back_days[0] is not None]
    told = []
    if len(known) > 1:
        shares = msg("{left} of {known}", left=len(left), known=len(known))
        told.append((shares, msg("portions left their target colour")))
    if back:
        told.append((msg("{days} days", days=_ends(back)), msg("from the pour until back on the target colour")))
    doses = history.doses_pct
    if doses:
        told.append((msg("{doses}%", doses=_ends(doses, 1)), msg("of the oils by mass: the doses that were tried")))
    turns = [use.story.turn_days for use in history.uses if use.story.turn_days is not None]
    if turns:
        told.append((msg("day {days}", days=_ends(turns)), msg("when it was furthest from its target colour")))
    photos = sum(use.story.journey.moments for use in history.uses)
    if photos:
        told.append((str(photos), msg("colour readings stand behind this page")))
    return told[:3]


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _ends(values: Sequence[float], decimals: int = 0) -> str:
    low, high = f"{min(values):.{decimals}f}", f"{max(values):.{decimals}f}"
    return low if low == high else msg("{low} to {high}", low=low, high=high)


def fact_sheet_pdf(
    sheet: FactSheet, *, made_on: datetime, software: str, place: str = "", voice: Voice | None = None
) -> bytes:
    """The sheet as a PDF: what it did on the first page, its figures overleaf, with the latest uses that fit."""
    foot = msg("{made_on} · {software}", made_on=formatting.day(made_on), software=software)
    page = Sheet(sheet.history.material, foot, made_on, voice=voice)
    _first_page(page, sheet, place)
    page.add_page()
    page.title_line(_capital(sheet.history.material), msg("the figures"))
    page.facts(summary(sheet), 48)
    page.heading(msg("Each use"))
    uses = sheet.history.uses[-USES_SHOWN:]
    page.rows(HEAD, [use_row(use) for use in uses], (17, 24, 22, 14, 30, 28, 22), right=(3,))
    if len(uses) < len(sheet.history.uses):
        page.say(msg("The latest {shown} of {all}.", shown=len(uses), all=len(sheet.history.uses)), 8)
    page.say(limits(sheet.history), 8)
    return bytes(page.output())


def _first_page(page: Sheet, sheet: FactSheet, place: str) -> None:
    page.add_page()
    page.type(9, colour=SOFT)
    whose = msg("For its supplier and for fellow makers{place}", place=join("", (" · ", place)) if place else "")
    page.multi_cell(0, 5, page.fit(whose), align="L", new_x="LMARGIN", new_y="NEXT")
    page.ln(1)
    page.type(32, face=DISPLAY)
    page.multi_cell(0, 13, page.fit(_capital(sheet.history.material)), align="L", new_x="LMARGIN", new_y="NEXT")
    page.ln(1)
    page.story(headline(sheet.history), 15)
    page.ln(4)
    most = RIBBONS_SHOWN - 1 if sheet.soaps else RIBBONS_SHOWN
    seen = [use for use in sheet.history.uses if use.story.journey.points][-most:]
    for use in reversed(seen):
        _ribbon_row(page, use)
    if seen:
        page.type(7, colour=SOFT)
        page.set_x(page.l_margin + LABEL_MM)
        page.cell(0, 3.4, SCALES["root"], new_x="LMARGIN", new_y="NEXT")
    page.ln(4)
    page.pictures(sheet.soaps[:2], across=2)
    page.pictures(sheet.pictures[:2], across=4 if sheet.soaps else 2)
    page.ln(2)
    _big_figures(page, three_figures(sheet.history))
    page.set_y(-36)
    page.rule()
    page.ln(2)
    page.say(
        msg(
            "Measured from photos against a colour card (CIELAB D50); every figure with its interval is overleaf. "
            "Nothing is claimed beyond these batches."
        ),
        8.5,
    )


def _ribbon_row(page: Sheet, use: Use) -> None:
    """One use: batch, dose and lot, and beside them its ribbon."""
    journey, top, dose = use.story.journey, page.get_y(), use.ingredient.dosage.of_oils_pct
    last = journey.points[-1]
    page.type(9, "B")
    page.cell(LABEL_MM, 4.4, page.fit(use.story.batch), new_x="LMARGIN", new_y="NEXT")
    page.type(8, colour=SOFT)
    told = [msg("{dose:.1f} % of oils", dose=dose)] if dose is not None else []
    told += [use.ingredient.lot] if use.ingredient.lot else []
    page.cell(LABEL_MM, 4.2, page.fit(join(" · ", told))[:30], new_x="LMARGIN", new_y="NEXT")
    page.set_y(top - 0.8)
    drawn = ribbon_of(journey, use.story.portion, last.days, end=msg("day {days:.0f}", days=last.days))
    page.ribbon(drawn, 9, said=False, x=page.l_margin + LABEL_MM, width=page.epw - LABEL_MM)
    page.ln(1.5)


def _big_figures(page: Sheet, told: Sequence[tuple[str, str]]) -> None:
    top, gap = page.get_y(), 6.0
    width = (page.epw - 2 * gap) / 3
    for column, (figure, words) in enumerate(told):
        x = page.l_margin + column * (width + gap)
        page.set_draw_color(*INK)
        page.set_line_width(0.4)
        page.line(x, top, x + width, top)
        page.set_xy(x, top + 1.5)
        page.type(20, face=DISPLAY)
        page.cell(width, 9, page.fit(figure))
        page.set_xy(x, top + 11)
        page.type(8.5, colour=SOFT)
        page.multi_cell(width, 4.2, page.fit(words), align="L")


HEAD = (
    msg("batch"),
    msg("poured"),
    msg("lot"),
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


def fact_sheet_markdown(sheet: FactSheet, *, made_on: datetime, software: str, voice: Voice | None = None) -> str:
    """The same as Markdown, without pictures."""

    def said(text: str) -> str:
        return _plain(str(localise(text, voice)))

    lines = [f"# {_plain(sheet.history.material)}", "", said(msg("What it did in cold-process soap.")), ""]
    lines += [f"- **{said(name)}**: {said(value)}" for name, value in summary(sheet)]
    lines += ["", f"| {' | '.join(map(said, HEAD))} |", f"|{' --- |' * len(HEAD)}"]
    lines += [f"| {' | '.join(map(said, use_row(use)))} |" for use in sheet.history.uses]
    lines += [
        "",
        said(limits(sheet.history)),
        "",
        said(msg("{made_on}, {software}", made_on=formatting.day(made_on), software=software)),
        "",
    ]
    return "\n".join(lines)


def _plain(text: str) -> str:
    """Text that no Markdown reader takes for a mark, a cell or a link."""
    flat = " ".join(text.split())
    return "".join(f"\\{sign}" if sign in "\\`*_[]<>|#" else sign for sign in flat)


def _range(values: Sequence[float], decimals: int) -> str:
    low, middle, high = (f"{value:.{decimals}f}" for value in (min(values), float(np.median(values)), max(values)))
    return low if low == high else msg("{low} to {high} (median {middle})", low=low, high=high, middle=middle)
