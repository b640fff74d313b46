"""What each material did in all batches, lot by lot, and what to expect of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from curejournal.base.messages import join, msg, msg_n, quantity
from curejournal.documents import formatting, material_charts
from curejournal.documents.fact_sheet import headline
from curejournal.documents.ribbon import ribbon_html, ribbon_of
from curejournal.materials.history import History, Named, Use
from curejournal.ui.components import common, preview
from curejournal.ui.i18n import _, localised, tr
from curejournal.ui.page import Desk
from curejournal.ui.state import cache, material_cache
from curejournal.workflow import documents, materials
from curejournal.workflow.photos.showing import shown_photos

SHOWN = 4
"""Uses at first. Ours: what comes after them is still found."""


def render(desk: Desk) -> None:
    """Draw the page."""
    known = {one.material: one for one in material_cache.named(desk)}
    if not known:
        common.empty("ribbons", msg("No recipe names a material yet. Enter one when you start a batch, with its lot."))
        common.first_act(desk, "batches", msg("Start a batch"))
        return
    common.say(msg("What a fragrance or pigment did before, and what to expect of it."), "lead")
    with st.container(horizontal=True, key="act-materials"):
        common.way(desk, "causes", msg("Find the cause"), ":material/troubleshoot:")
        common.way(desk, "plan", msg("Plan a pour"), ":material/event_upcoming:")
    asked = st.query_params.get("material", "")
    kinds = list(dict.fromkeys(one.kind for one in known.values()))
    usual = "fragrance" if "fragrance" in kinds else None
    first = known[asked].kind if asked in known else usual
    kind = st.pills(_("Kind"), kinds, default=first, key=f"kind-{asked}")
    names = [name for name, one in known.items() if kind in (None, one.kind)]
    labels = {
        name: msg(
            "{name} ({batches})",
            name=name,
            batches=msg_n("{number} batch", "{number} batches", len(known[name].batches)),
        )
        for name in names
    }
    name = st.selectbox(
        _("Material"),
        names,
        index=names.index(asked) if asked in names else 0,
        key=f"material-{kind}-{asked}",
        format_func=localised(labels.__getitem__),
    )
    _one(desk, known[name])


def _one(desk: Desk, named: Named) -> None:
    """What it did, seen; then what to expect, lot by lot, the figures, and the sheet to pass on."""
    name, number = named.material, len(named.batches)
    did, ahead = st.container(), st.container()
    most = materials.EARLIER
    if number > most and st.toggle(
        _("All {the_number} batches, not the latest {most} alone", the_number=number, most=most), key=f"all-{name}"
    ):
        most = number
    with ahead:
        st.subheader(_("What to expect"))
        dose = st.number_input(
            _("Planned dose, % of its portion’s batter (empty: as before)"),
            value=None,
            min_value=0.01,
            step=0.1,
            key=f"dose-{name}",
        )
    report = materials.material(
        desk.journal, name, desk.now, dose_pct=dose, most=most, beside_others=False, tell=material_cache.teller(desk)
    )
    with did:
        common.say(headline(report.history), "verdict")
        _uses(desk, report.history.uses[::-1], name)
    with ahead:
        if report.expected.beyond_doses:
            common.say(msg("This dose was never tried."), "soft")
        common.figure(material_charts.expected_figure(report.expected, name))
    _lots(report.history)
    with st.expander(_("Figures")):
        common.values(dict(materials.material_in_words(report)))
    _sheets(desk, name)


def _uses(desk: Desk, uses: Sequence[Use], name: str) -> None:
    shown = st.session_state.setdefault(f"shown-{name}", SHOWN)
    for number, use in enumerate(uses[:shown]):
        _use(desk, use, f"{number}-{use.story.batch}-{use.story.portion}")
    if len(uses) > shown and st.button(_("Show more ({uses} in all)", uses=len(uses)), key=f"more-{name}"):
        st.session_state[f"shown-{name}"] = shown + SHOWN
        st.rerun()


def _lots(history: History) -> None:
    lots = [lot for lot in history.lots if lot.uses[0].ingredient.lot]
    if len(lots) < 2:
        return
    st.subheader(_("Lot by lot"))
    common.values(
        {
            msg("lot {lot}", lot=lot.uses[0].ingredient.lot): join(
                "; ",
                (
                    msg("{batch} {turn} ΔE00", batch=use.story.batch, turn=formatting.figure(use.story.turn))
                    for use in lot.uses
                    if use.story.turn
                ),
            )
            or msg("no change measured")
            for lot in lots
        }
    )
    common.say(msg("How far each pour was from its target colour at most, with its 95% interval."), "soft")


def _use(desk: Desk, use: Use, key: str) -> None:
    story = use.story
    with st.container(key=f"row-{key}"):
        common.way(
            desk,
            "batch",
            msg("{batch} · {name}, {portion}", batch=story.batch, name=story.name, portion=story.portion),
            batch=story.batch,
        )
        dose = msg(", {words}", words=use.ingredient.dosage.words)
        lot = msg("lot {lot}", lot=use.ingredient.lot) if use.ingredient.lot else msg("no lot noted")
        poured = msg(", poured {poured_at}", poured_at=formatting.day(story.poured_at)) if story.poured_at else ""
        did = materials.outcome_words(story.outcome)
        common.say(
            msg(
                "{grams}{dose}, {lot}{poured}. It {did}.",
                grams=quantity(f"{use.ingredient.grams:g}", "g"),
                dose=dose,
                lot=lot,
                poured=poured,
                did=did,
            ),
            "soft",
        )
        if story.photos:
            captions = ("first", "furthest from target", "latest")[-len(story.photos) :]
            if len(story.photos) == 2:
                captions = ("first", "latest")
            by_hash = {one.sha256: one for one in shown_photos(desk.journal.batch(story.batch))}
            with st.container(horizontal=True, key=f"photos-{key}"):
                for sha256, caption in zip(story.photos, captions, strict=False):
                    st.image(
                        cache.true_picture(desk.journal, by_hash[sha256].around(story.portion), 480),
                        caption=tr(caption),
                        width=150,
                        alt=_("{name}, {portion}, {caption}", name=story.name, portion=story.portion, caption=caption),
                    )
        series = story.journey
        if series.points:
            last = series.points[-1]
            st.html(ribbon_html(ribbon_of(series, story.portion, last.days, end=formatting.day(last.at))))


def _sheets(desk: Desk, name: str) -> None:
    st.subheader(_("To pass on"))
    common.say(
        msg("Pictures and ribbons on one page, figures overleaf, for a supplier or a forum. It claims nothing beyond."),
        "soft",
    )
    made = partial(documents.fact_sheet, desk.journal, name, desk.now)
    with st.container(horizontal=True, key="sheets"):
        st.download_button(
            _("Fact sheet (PDF)"),
            made,
            f"{name}.pdf",
            "application/pdf",
            key="fact-sheet",
            on_click="ignore",
        )
        st.download_button(
            _("Fact sheet (Markdown)"),
            lambda: documents.fact_sheet(desk.journal, name, desk.now, "markdown"),
            f"{name}.md",
            "text/markdown",
            key="fact-sheet-md",
            on_click="ignore",
        )
    if st.toggle(_("Preview"), key=f"preview-{name}"):
        preview.paper(desk, "fact-sheet", made, name)
