"""The colour that a portion should have when cured: a swatch, soap that is touched in a picture, or its numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch, ColourReading, Entry, Portion
from curejournal.colour.sample import Lab
from curejournal.documents.formatting import day
from curejournal.judging.target import TargetChoice, from_earlier_batch, from_reading
from curejournal.ui.components import common
from curejournal.ui.components.choices import swatched
from curejournal.ui.components.touch import Area, Picture, touched
from curejournal.ui.i18n import localised, tr, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache

CREAM: Lab = (85.0, 2.0, 14.0)
"""Where typing a colour begins. Ours."""
SWATCHES: Mapping[str, Lab] = {
    msg("white"): (95.0, 0.0, 4.0),
    msg("ivory"): (91.0, 1.0, 12.0),
    msg("cream"): CREAM,
    msg("honey"): (72.0, 12.0, 40.0),
    msg("yellow"): (84.0, 4.0, 55.0),
    msg("orange"): (68.0, 34.0, 50.0),
    msg("rose"): (74.0, 22.0, 8.0),
    msg("red clay"): (50.0, 28.0, 22.0),
    msg("lilac"): (66.0, 14.0, -16.0),
    msg("violet"): (42.0, 22.0, -28.0),
    msg("sky blue"): (74.0, -8.0, -16.0),
    msg("indigo"): (36.0, 2.0, -26.0),
    msg("sage"): (70.0, -10.0, 14.0),
    msg("green"): (52.0, -24.0, 22.0),
    msg("caramel"): (54.0, 16.0, 32.0),
    msg("cocoa"): (34.0, 10.0, 14.0),
    msg("grey"): (60.0, 0.0, 2.0),
    msg("charcoal"): (24.0, 0.0, 0.0),
}
"""Colours that soap can have (CIELAB D50/2), where none was measured yet. Ours: a swatch says what is meant."""
LATEST, PICTURES = 8, 8
"""Batches whose colours are offered, and pictures to touch: some three screens of a phone. Ours."""

HOW = msg("Target colour: how it should look when cured")
NONE, AS_BEFORE, SWATCH, PICTURE, NUMBERS = (
    msg("None yet"),
    msg("As before"),
    msg("A swatch"),
    msg("In a picture"),
    msg("By numbers"),
)
ACCEPTED: Mapping[float, str] = {
    1.0: msg("hardly to be seen side by side"),
    2.0: msg("seen side by side"),
    3.0: msg("seen, and usual for soap"),
    5.0: msg("plain to see"),
}
"""What a difference of ΔE00 looks like: about 1 is just noticeable. The words are ours."""


def choose(desk: Desk, key: str, before: Portion | None, *, none: bool = True) -> Portion | None:
    """Ask for a target colour; gives it on a portion without a name, or None where there is none.

    Parameters
    ----------
    key : str
        What the keys of its fields begin with.
    before : Portion, optional
        What it was in the batch before, or is now.
    none : bool
        Whether a portion may have none.
    """
    known = before is not None and before.target_lab is not None
    ways = [*([AS_BEFORE] if known else []), *([NONE] if none else []), SWATCH, PICTURE, NUMBERS]
    how = st.segmented_control(
        tr(HOW),
        ways,
        default=ways[0],
        required=True,
        key=f"{key}-how",
        format_func=word_of,
    )
    if how == AS_BEFORE:
        return before
    if how == NONE:
        return None
    picked = _BY_WAY[how](desk, key) if how in _BY_WAY else _numbers(key, before)
    if picked is None:
        return None
    st.html(common.patch(picked.target_lab, msg("Target colour"), picked.target_from))
    return picked


def tolerance(key: str, shown: float) -> float:
    """Ask how far a colour may be from the target, in words; the number is ΔE00."""
    options = sorted({*ACCEPTED, shown})
    chosen: float = st.selectbox(
        tr(msg("A difference you accept")),
        options,
        options.index(shown),
        key=key,
        format_func=localised(
            lambda value: msg(
                "{difference:g}: {look}", difference=value, look=ACCEPTED.get(value, msg("as it was set"))
            )
        ),
        help=tr(msg("The number is ΔE00, the usual measure of how different two colours look; 3 is usual.")),
    )
    return chosen


def _latest(desk: Desk) -> list[Batch]:
    codes = list(desk.journal.names())[:LATEST]
    return [desk.journal.batch(code) for code in codes]


def _readings(batch: Batch) -> dict[str, Entry[ColourReading]]:
    """The latest usable reading of each portion, and of each part."""
    return {item.record.subject: item for item in batch.of(ColourReading) if item.record.grade in _USABLE}


_USABLE = ("measured", "relative")


def _swatch(desk: Desk, key: str) -> Portion | None:
    """One of the colours that were measured lately, or one of ours."""
    measured = {
        msg("{name}, {portion}", name=batch.name, portion=portion): (batch, item)
        for batch in _latest(desk)
        for portion, item in _readings(batch).items()
    }
    names = [*measured, *SWATCHES]
    colours = [*(item.record.lab for _, item in measured.values()), *SWATCHES.values()]
    with swatched(colours, f"{key}-swatches"):
        chosen = st.pills(
            tr(msg("Soaps of yours first, each as it was read last")),
            names,
            key=f"{key}-swatch",
            format_func=lambda name: word_of(name) if name in SWATCHES else plain(name),
        )
    if chosen is None:
        return None
    if chosen in SWATCHES:
        return Portion("", target_lab=SWATCHES[chosen], target_source="swatch", target_from=chosen)
    batch, item = measured[chosen]
    rules = workflow.current_limits(desk.journal)
    return _picked(attempt(lambda: from_earlier_batch(Batch("", ""), batch, item.record.subject, rules)))


def _picked(picked: TargetChoice | None) -> Portion | None:
    if picked is None:
        return None
    common.listed(f"{doubt.text} {doubt.do}" for doubt in picked.doubts)
    return Portion(
        "",
        target_lab=picked.lab,
        target_source="cured earlier batch",
        target_from=picked.words,
        target_card=picked.card,
        target_sd=round(picked.sd, 3),
    )


def _picture(desk: Desk, key: str) -> Portion | None:
    """Soap with a measured colour, touched in its picture."""
    known = {str(item.id): (batch, item) for batch in _latest(desk) for item in batch.of(ColourReading)}
    pictures = _pictures(desk, known)
    if not pictures:
        common.say(
            msg("No picture has a measured colour yet: it needs the card beside the soap. A swatch does as well.")
        )
        return None
    common.say(msg("Touch the soap whose colour you want."), "soft")
    chosen = touched(pictures, f"{key}-touch")
    if chosen not in known:
        return None
    batch, item = known[chosen]
    rules = workflow.current_limits(desk.journal)
    return _picked(attempt(lambda: from_reading(batch, item, rules)))


def _pictures(desk: Desk, known: Mapping[str, tuple[Batch, Entry[ColourReading]]]) -> Sequence[Picture]:
    """The latest picture of each soap, with all that can be touched in it."""
    found: dict[str, Picture] = {}
    seen: set[tuple[str, str]] = set()
    for batch, item in sorted(known.values(), key=lambda pair: pair[1].at, reverse=True):
        photo, soap = item.photo, (batch.code, item.record.subject)
        if not photo or photo in found or soap in seen or not item.record.outline or len(found) == PICTURES:
            continue
        together = {number: other for number, (_, other) in known.items() if other.photo == photo}
        seen |= {(batch.code, other.record.subject) for other in together.values()}
        areas = tuple(
            Area(number, msg("{name}, {portion}", name=batch.name, portion=one.record.subject), one.record.outline)
            for number, one in together.items()
            if one.record.outline
        )
        facts = desk.journal.photo(photo).facts
        words = msg("{name}, {when}", name=batch.name, when=day(item.at.astimezone(desk.zone)))
        jpeg = cache.small_picture(desk.journal, photo, 480)
        found[photo] = Picture(jpeg, facts.width, facts.height, words, words, areas)
    return tuple(found.values())


def _numbers(key: str, before: Portion | None) -> Portion:
    """A colour by its L*, a* and b*, for who has them from an instrument."""
    shown = before.target_lab if before is not None and before.target_lab else CREAM
    common.say(
        msg("L* is lightness, 0 to 100; a* runs from green to red, b* from blue to yellow; light D50, 2° observer."),
        "soft",
    )
    lightness, a, b = (
        column.number_input(tr(f"{axis}*"), value=value, step=0.5, format="%.1f", key=f"{key}-{axis}")
        for column, axis, value in zip(st.columns(3), "Lab", shown, strict=True)
    )
    return Portion("", target_lab=(lightness, a, b), target_source="swatch", target_from=msg("as typed"))


_BY_WAY: Mapping[str, Callable[[Desk, str], Portion | None]] = {SWATCH: _swatch, PICTURE: _picture}
