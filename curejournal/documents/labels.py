"""Labels for bars and boxes, and what net weight they can bear."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import Day, Voice, join, msg
from curejournal.batch.kinds import GRAMS_IN_OUNCE
from curejournal.batch.records import Batch, Weighing
from curejournal.documents import formatting
from curejournal.documents.card_sheet import PAPERS, Paper
from curejournal.documents.qr import draw_qr
from curejournal.documents.ribbon import Ribbon
from curejournal.documents.sheet import HOLD, INK, RGB, RULE, SOFT, Sheet, grams
from curejournal.documents.typefaces import DISPLAY, TEXT
from curejournal.judging.drying import analyse_drying

LOCAL_RULES = msg(
    "The net weight on a label must hold when the bar is sold. What else a label has to say (ingredients, allergens, "
    "who made it, warnings, durability, how net contents are written and checked) is set by local codes: in the EU "
    "Regulation (EC) No 1223/2009, Art. 19, and Directive 76/211/EEC, with Regulation (EC) No 648/2004 for what is "
    "sold as a detergent; in the US 21 CFR 701.20 for what is soap and what is a cosmetic, and the Fair Packaging and "
    "Labeling Act with 16 CFR 500, for instance. Ask licensed practice where you sell."
)
"""Looked up: 21 CFR 701.20 as of 22 December 2023 (soap consists mostly of alkali salts of fatty acids, cleanses by
them, and is sold as soap alone; a cosmetic bar states its weight in avoirdupois pounds and ounces); 16 CFR 500 by its
headings and the notice of 12 January 1994 (net contents in inch/pound and metric units); Regulation (EC) No 648/2004 as
amended to 2015, Annex VII A (soap in ranges of weight percentage); Regulation (EC) No 1223/2009, Art. 19(1) (Official
Journal L 342 of 22 December 2009, p. 73, and an authority's page). From memory: Directive 76/211/EEC."""
SMALLEST_BAR_SD = 0.015
"""Spread of bars of one loaf about their mean, as a part of it, at the least. Ours: cut by hand, they differ by a few
per cent [common practice, no source]."""

LABEL_MM = (60.0, 37.0)
TALL_LABEL_MM = (90.0, 60.0)
"""Sizes of a label without and with its ingredients. Chosen by us, so that the list can be read."""
GAP_MM = 3.0


class LabelsNotPossible(CureJournalError):
    """A label that would say what is not known."""


@dataclass(frozen=True)
class NetWeight:
    """What a label may say, in whole grams rounded down, and where it comes from.

    `grams_each` is None where nothing was weighed. `lowest_now_g` is the lightest bar that was weighed, at its latest;
    `lowest_end_g` what it may come down to (lower end of 95 %). `settled` is false while that cannot be predicted well.
    """

    grams_each: int | None
    lowest_now_g: float | None
    lowest_end_g: float | None
    settled: bool
    words: str


def propose_net_weight(batch: Batch) -> NetWeight:
    """The net weight that every bar will still have when dry, by the bars that were weighed.

    Parameters
    ----------
    batch : Batch
        Its weighings and the number of bars cut.

    Returns
    -------
    NetWeight
        The lightest weighed bar's weight, less what it may still lose at most (95 %), less what the bars that nobody
        weighed may fall short of those that were, less half a step of the scale; rounded down to a gram.

    """
    weighings = batch.of(Weighing)
    # Counted from the first weighing, so that the predicted loss is a part of what was weighed then.
    drying = analyse_drying(weighings, weighings[0].at if weighings else None)
    points = [point for point in drying.points if not point.questioned]
    if not points:
        return NetWeight(None, None, None, False, msg("No bar was weighed: weigh every bar before it is labelled."))
    latest = {point.subject: point for point in points}
    now = {subject: point.grams / point.bars for subject, point in latest.items()}
    left = dict.fromkeys(latest, 1.0)
    if drying.final_loss_pct is not None:
        end = 1 - drying.final_loss_pct.high / 100
        left = {subject: min(1.0, end / point.part) for subject, point in latest.items()}
    ends = {subject: now[subject] * left[subject] for subject in latest}
    lightest = min(ends, key=ends.__getitem__)
    cut = batch.bars_cut
    weighed = sum(point.bars for point in latest.values())
    step = max((w.resolution_g / w.bars for _, w in batch.records(Weighing)), default=1.0)
    short = _short_of_weighed(list(now.values()), all(p.bars == 1 for p in latest.values()), cut, weighed)
    low = max(ends[lightest] - short * now[lightest] - step / 2, 0.0)
    settled = drying.determined
    words = [
        msg(
            "{piece} weighs {now} and may come down to {dry}",
            piece=lightest,
            now=grams(now[lightest]),
            dry=grams(ends[lightest]),
        )
    ]
    if short:
        off = msg("so {short:.1f} % is taken off for", short=100 * short)
        if not cut:
            words.append(msg("how many bars were cut is not noted, {off} those that nobody weighed", off=off))
        elif cut > weighed:
            words.append(
                msg("{weighed} of {cut} bars were weighed, {off} the others", weighed=weighed, cut=cut, off=off)
            )
        else:
            words.append(msg("several bars were weighed at once, {off} the lightest of them", off=off))
    if drying.final_loss_pct is None:
        words.append(msg("weighed once only: what it will still lose is not in this, so do not label yet"))
    elif not settled:
        words.append(msg("the end weight is not settled yet: propose again after further weighings"))
    return NetWeight(math.floor(low), now[lightest], ends[lightest], settled, msg("{words}.", words=join("; ", words)))


def _short_of_weighed(each_g: Sequence[float], single: bool, cut: int, weighed: int) -> float:
    """How far the lightest bar that nobody weighed alone may lie below the lightest that was, as a part.

    `single` says that each was weighed alone; `cut` is 0 where nobody noted how many there are.
    """
    if single and 0 < cut <= weighed:
        return 0.0
    mean = sum(each_g) / len(each_g)
    spread = SMALLEST_BAR_SD
    if single and len(each_g) >= 3:
        own = math.sqrt(sum((value - mean) ** 2 for value in each_g) / (len(each_g) - 1)) / mean
        spread = max(spread, own)
    # Two standard deviations below the mean of the weighed, counted from the lightest of them.
    return max(2 * spread - (1 - min(each_g) / mean), 0.0)


@dataclass(frozen=True)
class Label:
    """What one label says; `tag` is a batch tag's text, drawn as a QR code (ISO/IEC 18004).

    `maker` is who answers for it, `weight_word` how net contents are headed where it is sold, `ingredients` the list in
    descending order. `across` is printed over the whole label: what is not released says so. `ribbon`
    is its colour from the pour on.
    """

    code: str
    name: str
    poured_at: datetime | None
    cured: str
    net_weight_g: int | None = None
    tag: str = ""
    maker: str = ""
    weight_word: str = msg("Net Wt")
    ingredients: str = ""
    best_before: date | None = None
    across: str = ""
    ribbon: Ribbon | None = None


def labels_pdf(
    labels: Sequence[Label], *, paper: Paper = "a4", made_on: datetime, software: str, voice: Voice | None = None
) -> bytes:
    """Sheets of labels with cut lines, and on the last the note on what local codes ask for.

    Raises
    ------
    LabelsNotPossible
        Without any label.
    """
    if not labels:
        raise LabelsNotPossible(msg("There is nothing to print."), msg("Choose a batch and how many labels."))
    width, height = PAPERS[paper]
    sheet = Sheet(
        msg("Labels"),
        msg("Labels · printed {made_on} · {software}", made_on=formatting.moment(made_on), software=software),
        made_on,
        (width, height),
        voice,
    )
    size = TALL_LABEL_MM if any(label.ingredients for label in labels) else LABEL_MM
    across = int((width - 16 + GAP_MM) // (size[0] + GAP_MM))
    down = int((height - 36 + GAP_MM) // (size[1] + GAP_MM))
    left = (width - across * (size[0] + GAP_MM) + GAP_MM) / 2
    for number, label in enumerate(labels):
        place = number % (across * down)
        if place == 0:
            sheet.add_page()
        x = left + place % across * (size[0] + GAP_MM)
        _draw(sheet, label, x, 12 + place // across * (size[1] + GAP_MM), size)
    sheet.add_page()
    sheet.title_line(msg("Before these go on"))
    sheet.caution([LOCAL_RULES])
    for label in dict.fromkeys(labels):
        if label.net_weight_g is None:
            sheet.say(msg("{code}: no net weight is proposed; weigh each bar.", code=label.code))
    return bytes(sheet.output())


def _draw(sheet: Sheet, label: Label, x: float, y: float, size: tuple[float, float]) -> None:
    width, height = size
    sheet.set_draw_color(*RULE)
    sheet.set_line_width(0.15)
    sheet.set_dash_pattern(dash=1, gap=1)
    sheet.rect(x, y, width, height)
    sheet.set_dash_pattern()
    text_width = width - 6
    if label.tag:
        side = 19.5
        draw_qr(sheet, label.tag, x + width - side - 1, y + height - side - 1, side)
        text_width = width - side - 5
    _fitted(sheet, label.name, x + 3, y + 2.4, width - 6, 15, face=DISPLAY)
    if label.ribbon is not None:
        sheet.set_y(y + 9.2)
        sheet.ribbon(label.ribbon, 2.2, days=False, x=x + 3, width=width - 6)
    first = 13.4 if label.ribbon is not None else 11.5
    lines = [
        msg("batch {code}", code=label.code),
        msg("poured {poured_at}", poured_at=formatting.day(label.poured_at)) if label.poured_at else "",
        label.cured,
    ]
    lines += [
        msg("best before {best_before}", best_before=Day(label.best_before)) if label.best_before else "",
        label.maker,
    ]
    for row, line in enumerate(line for line in lines if line):
        _fitted(sheet, line, x + 3, y + first + row * 4.0, text_width, 8, colour=SOFT)
    if label.net_weight_g is not None:
        # Some countries ask for both. Ounces are rounded down, as grams are: a label must not promise too much.
        ounces = math.floor(100 * label.net_weight_g / GRAMS_IN_OUNCE) / 100
        weight = msg(
            "{weight_word} {net_weight_g} g ({ounces:.2f} oz)",
            weight_word=label.weight_word,
            net_weight_g=label.net_weight_g,
            ounces=ounces,
        )
        _fitted(sheet, weight, x + 3, y + height - 8.5, text_width, 12, "B")
    if label.ingredients:
        sheet.type(7)
        sheet.set_xy(x + 3, y + first + 21)
        sheet.multi_cell(
            text_width,
            2.5,
            sheet.fit(msg("Ingredients: {ingredients}", ingredients=label.ingredients)),
            align="L",
            max_line_height=2.9,
        )
    if label.across:
        with sheet.rotation(25, x + width / 2, y + height / 2):
            sheet.type(22, "B", HOLD)
            sheet.set_xy(x, y + height / 2 - 5)
            sheet.cell(width, 10, sheet.fit(label.across), align="C")


def _fitted(
    sheet: Sheet,
    text: str,
    x: float,
    y: float,
    width: float,
    size: float,
    style: str = "",
    *,
    face: str = TEXT,
    colour: RGB = INK,
) -> None:
    """One line, smaller where it would not fit and cut off with “…” where even that does not help."""
    text = sheet.fit(text)
    sheet.type(size, style, colour, face)
    if sheet.get_string_width(text) > width:
        sheet.type(max(0.99 * size * width / sheet.get_string_width(text), 6.0), style, colour, face)
        while sheet.get_string_width(text) > width and len(text) > 1:
            text = text[:-2].rstrip() + "…"
    sheet.set_xy(x, y)
    sheet.cell(width, size * 0.45, text)
