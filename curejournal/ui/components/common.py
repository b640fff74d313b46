"""Pieces that pages share. Everything from a journal is escaped: it is shown as text, whatever it holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, TypeVar

import streamlit as st

from curejournal.base import messages
from curejournal.base.messages import msg, quantity
from curejournal.batch.descriptions import acid_words, alkali_words, describe_embed
from curejournal.batch.records import ColourReading
from curejournal.colour.sample import Grade, Lab
from curejournal.documents import formatting, style
from curejournal.documents.ribbon import as_image
from curejournal.documents.sketches import Sketch, sketch
from curejournal.ui.i18n import _, localise_chart, localised, tr, word_of
from curejournal.ui.page import Desk, plain

if TYPE_CHECKING:
    from curejournal.documents.chart_frame import Figure
    from curejournal.judging.judgement import Judgement
    from curejournal.soap.recipe import Recipe
    from curejournal.workflow import Measurement


T = TypeVar("T")


def tag(word: str) -> str:
    """A state as a tag of sign and word."""
    state = style.state_of(word)
    said = escape(word_of(word))
    return f'<span class="state {state.kind}"><span aria-hidden="true">{state.sign}</span> {said}</span>'


def drawing(svg: str) -> str:
    """A small drawing beside words, as HTML: Streamlit takes bare SVG away."""
    return f'<img src="{as_image(svg)}" alt="">'


def state_of(judgement: Judgement) -> str:
    """The one word for a batch: *released* once somebody signed it."""
    return judgement.word


def because(judgement: Judgement) -> str:
    """What stands behind the verdict's word, as a sentence."""
    return sentence(judgement.why)


def sentence(words: str) -> str:
    """Words as a sentence: a capital first, a stop last."""
    return messages.sentence(words, "" if words.endswith((".", "!", "?")) else ".")


def say(text: str, style: str = "") -> None:
    """A paragraph of plain text."""
    st.html(f'<p class="{style}">{escape(tr(text))}</p>')


def text(words: str) -> str:
    """Plain text as HTML."""
    return escape(tr(words))


def table(rows: Iterable[tuple[str, str]]) -> None:
    """Two columns of plain text, a line between rows."""
    lines = "".join(f"<tr><td>{text(first)}</td><td>{text(second)}</td></tr>" for first, second in rows)
    st.html(f'<table class="lines">{lines}</table>')


def may_enter(desk: Desk) -> bool:
    """Whether whoever looks may enter anything; if not, that is said here."""
    if desk.reads_only:
        say(msg("{by} is signed in to read: nothing can be entered here.", by=desk.by), "soft")
    return not desk.reads_only


def empty(what: Sketch, words: str) -> None:
    """Say that nothing is here yet, beside a drawing of what will be."""
    st.html(f'<div class="empty-page">{drawing(sketch(what))}<p class="lead">{text(words)}</p></div>')


def first_act(desk: Desk, slug: str, label: str) -> None:
    """The one thing to do on a page that is empty yet; who may only read is offered none."""
    if not desk.reads_only:
        with st.container(key="first-act"):
            way(desk, slug, label)


def listed(lines: Iterable[str]) -> None:
    """A list of plain lines."""
    items = "".join(f"<li>{escape(tr(line))}</li>" for line in lines)
    if items:
        st.html(f'<ul class="plain">{items}</ul>')


def values(pairs: Mapping[str, str]) -> None:
    """Names and values, plain."""
    rows = "".join(
        f"<dt>{escape(word_of(name))}</dt><dd>{escape(tr(value))}</dd>" for name, value in pairs.items() if value
    )
    if rows:
        st.html(f'<dl class="figures">{rows}</dl>')


def patch(lab: Lab | None, name: str, words: str = "", size: str = "") -> str:
    """A measured colour beside its name and words, as HTML; hatched where no colour is known."""
    look = f' style="background:{formatting.hex_colour(lab)}"' if lab else ' class="empty"'
    head = f"<b>{escape(tr(name))}</b>"
    more = f'<div class="soft">{escape(tr(words))}</div>' if words else ""
    return f'<div class="swatch {size}"><i{look} aria-hidden="true"></i><div>{head}{more}</div></div>'


def patches(items: Iterable[str]) -> None:
    """Several patches in a row that wraps."""
    st.html(f'<div class="strip">{"".join(items)}</div>')


def latest_colours(judgement: Judgement) -> list[str]:
    """Each portion's colour at its last reading."""
    return [
        patch(journey.points[-1].lab, name, journey.words, "half")
        for name, journey in judgement.journeys.items()
        if journey.points
    ]


def figure(shown: Figure | None, told: bool = False) -> None:
    """A chart with the sentence that says the same, unless that is told on the page already."""
    if shown is not None:
        # Without Streamlit's own theme for charts, whose grey is too pale on paper: ink and paper are the page's then.
        # Names within a chart are in the page's ink, which Streamlit sets for axes and legends alone.
        roles = style.DARK if st.context.theme.type == "dark" else style.LIGHT
        chart = shown.chart.copy()
        chart.config.text.color = roles.ink
        st.altair_chart(localise_chart(chart), width="stretch", theme=None, alt=tr(tr(shown.words)))
        if not told:
            st.caption(plain(shown.words))


def way(desk: Desk, slug: str, label: str, icon: str = "", **query: str) -> None:
    """A link to a page."""
    st.page_link(desk.ways[slug], label=plain(label), icon=icon or None, query_params=query or None)


def batch_names(desk: Desk) -> dict[str, str]:
    """Every batch as it is offered to be chosen, by its code."""
    return {code: msg("{code} · {name}", code=code, name=name) for code, name in desk.journal.names().items()}


def chosen_batch(desk: Desk, key: str = "batch", label: str = "", asked_by: str = "batch") -> str | None:
    """Ask which batch, beginning with the one in the address."""
    names = batch_names(desk)
    if not names:
        return None
    asked = st.query_params.get(asked_by, "")
    only = 0 if len(names) == 1 else None
    first = list(names).index(asked) if asked in names else only
    return st.selectbox(
        tr(label or msg("Batch")),
        list(names),
        index=first,
        format_func=localised(names.__getitem__),
        key=f"{key}-{asked}",
        placeholder=_("Choose a batch"),
        label_visibility="visible" if label else "collapsed",
    )


def chosen_batches(names: Mapping[str, str], key: str, first: Sequence[str] = ()) -> list[str]:
    """Ask which of the named batches, beginning with the one in the address, or with `first`."""
    asked = st.query_params.get("batch", "")
    chosen: list[str] = st.multiselect(
        _("Which batches"),
        list(names),
        [asked] if asked in names else [*first],
        format_func=localised(lambda code: msg("{code} · {name}", code=code, name=names[code])),
        key=f"{key}-{asked}",
        placeholder=_("Choose batches"),
    )
    return chosen


def chosen(label: str, choices: Mapping[str, T], key: str) -> T:
    """One of a few, by its name; the first at first."""
    names = list(choices)
    return choices[
        st.segmented_control(tr(label), names, default=names[0], required=True, key=key, format_func=word_of)
    ]


def reading_words(reading: ColourReading) -> str:
    """A kept reading in words: values, doubt, grade."""
    sd = tuple(reading.covariance[axis][axis] ** 0.5 for axis in range(3))
    scale = msg(" on its card’s own scale") if reading.grade is Grade.RELATIVE else ""
    return msg(
        "{sd}{scale} · {grade}",
        sd=formatting.lab_with_doubt(reading.lab, (sd[0], sd[1], sd[2])),
        scale=scale,
        grade=grade_word(reading.grade),
    )


def grade_word(grade: str) -> str:
    """A grade as a maker reads it; what is kept and printed as JSON says *indicative*."""
    return "approximate" if grade == Grade.INDICATIVE else str(grade)


def measured_colours(measurement: Measurement, names: Mapping[str, str]) -> None:
    """What was measured in a photo: each area's colour large, its figures, its grade."""
    rows = []
    for area in measurement.areas:
        name = names.get(area.name, area.name)
        if area.sample is None:
            rows.append(patch(None, msg("{name}: no colour", name=name), "", "large"))
        else:
            words = formatting.lab_with_doubt(area.sample.lab, area.sample.sd)
            if measurement.is_relative:
                words += msg(" on this card’s own scale")
            rows.append(
                patch(area.sample.lab, msg("{name}: {grade}", name=name, grade=grade_word(area.grade)), words, "large")
            )
    patches(rows)


def doubts_of(measurement: Measurement) -> list[str]:
    """Every reason of a measurement with its remedy, the worst first, each once."""
    reasons = [*measurement.reasons, *(reason for area in measurement.areas for reason in area.reasons)]
    ordered = sorted(reasons, key=lambda reason: -reason.limit.rank)
    return list(dict.fromkeys(f"{reason.text} {reason.remedy}".strip() for reason in ordered))


def recipe_lines(recipe: Recipe | None) -> list[str]:
    """A recipe's materials, one a line, with lots; pieces; the batter of each portion."""
    if recipe is None:
        return []
    rows = [(msg("{grams} {key}", grams=quantity(f"{oil.grams:g}", "g"), key=oil.key), oil.lot) for oil in recipe.oils]
    rows += [
        (
            msg(
                "{alkali} ({purity_low_pct:g} to {purity_high_pct:g} % pure)",
                alkali=alkali_words(a),
                purity_low_pct=a.purity_low_pct,
                purity_high_pct=a.purity_high_pct,
            ),
            a.lot,
        )
        for a in recipe.alkalis
    ]
    rows += [
        (msg("{grams} {name}", grams=quantity(f"{liquid.grams:g}", "g"), name=liquid.name), liquid.lot)
        for liquid in recipe.liquids
    ]
    rows += [
        (
            msg(
                "{grams} {name}{portion}",
                grams=quantity(f"{a.grams:g}", "g"),
                name=a.name,
                portion=msg(" in {portion}", portion=a.portion) if a.portion else "",
            ),
            a.lot,
        )
        for a in recipe.additives
    ]
    rows += [(acid_words(acid), acid.lot) for acid in recipe.acids]
    lines = [
        msg("{what}, lot {lot}", what=what, lot=lot) if lot else msg("{what}, no lot noted", what=what)
        for what, lot in rows
    ]
    lines += map(describe_embed, recipe.embeds)
    return [
        *lines,
        *(
            msg("{grams} of batter in {portion}", grams=quantity(f"{part.grams:g}", "g"), portion=part.portion)
            for part in recipe.batter
        ),
    ]
