"""How a card holds out: its patches in a picture and in words, those that changed marked."""

from __future__ import annotations

from html import escape

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg, msg_n
from curejournal.documents import formatting
from curejournal.ui.components import common
from curejournal.ui.i18n import _
from curejournal.ui.page import Desk
from curejournal.workflow.card_health import CardHealth, card_health

CHANGED = "!"


def show(desk: Desk, card: workflow.Card) -> None:
    """The card as it is known, and what its photos say."""
    health = card_health(desk.journal, card.name)
    changed = {drift.patch: drift for drift in health.drift or ()}
    st.html(_picture(card, set(changed)))
    common.say(_verdict(health), "verdict" if changed else "")
    common.listed(
        msg(
            "{changed} {patch}: {at_first:.1f} ΔE00 off in its first photos, {now:.1f} now",
            changed=CHANGED,
            patch=drift.patch,
            at_first=drift.at_first,
            now=drift.now,
        )
        for drift in changed.values()
    )
    if health.misfits:
        with st.expander(_("Patch by patch: how far each is off now")):
            worst_first = sorted(health.misfits.items(), key=lambda pair: -pair[1])
            common.values({patch: msg("{misfit:.1f} ΔE00", misfit=misfit) for patch, misfit in worst_first})


def _verdict(health: CardHealth) -> str:
    photos = msg_n("{number} photo", "{number} photos", health.photos)
    if health.drift is None:
        return msg(
            "{photos} so far; {photos_needed} are needed to see whether a patch changes.",
            photos=photos,
            photos_needed=health.photos_needed,
        )
    if not health.drift:
        return msg("✓ In {photos}, every patch fits as it did at first.", photos=photos)
    return msg(
        "{changed} In {photos}, {drift} of {misfits} patches no longer fit as they did: faded "
        "or stained. Look at them; print and measure a new copy if it is so.",
        changed=CHANGED,
        photos=photos,
        drift=len(health.drift),
        misfits=len(health.misfits),
    )


def _picture(card: workflow.Card, changed: set[str]) -> str:
    """The card's patches where they are, in the colours they are known to have; a sign on those that changed."""
    width, height = card.size_mm
    pieces = []
    for patch in card.patches:
        place = (
            f"left:{100 * patch.x / width:.2f}%;top:{100 * patch.y / height:.2f}%;"
            f"width:{100 * patch.w / width:.2f}%;height:{100 * patch.h / height:.2f}%"
        )
        if patch.lab_d50 is None:
            pieces.append(f'<i class="unknown" style="{place}"></i>')
        else:
            pieces.append(f'<i style="{place};background:{formatting.hex_colour(patch.lab_d50)}"></i>')
        if patch.id in changed:
            middle = (
                f"left:{100 * (patch.x + patch.w / 2) / width:.2f}%;top:{100 * (patch.y + patch.h / 2) / height:.2f}%"
            )
            pieces.append(f'<b style="{middle}">{CHANGED}</b>')
    told = msg(
        "The patches of {name}, {references} of them known",
        name=card.title or card.name,
        references=len(card.references),
    )
    told += msg("; changed: {changed}", changed=join(", ", sorted(changed))) if changed else ""
    return (
        f'<div class="card-picture" role="img" aria-label="{escape(told, quote=True)}" '
        f'style="aspect-ratio:{width:g}/{height:g}">{"".join(pieces)}</div>'
    )
