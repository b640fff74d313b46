"""How a card holds out: its patches in a picture and in words, those that changed marked."""

from __future__ import annotations

from html import escape

from curejournal import workflow
from curejournal.base.counting import how_many
from curejournal.documents import formatting
from curejournal.ui.components import common
from curejournal.ui.i18n import st
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
        f"{CHANGED} {drift.patch}: {drift.at_first:.1f} ΔE00 off in its first photos, {drift.now:.1f} now"
        for drift in changed.values()
    )
    if health.misfits:
        with st.expander("Patch by patch: how far each is off now"):
            worst_first = sorted(health.misfits.items(), key=lambda pair: -pair[1])
            common.values({patch: f"{misfit:.1f} ΔE00" for patch, misfit in worst_first})


def _verdict(health: CardHealth) -> str:
    photos = how_many(health.photos, "photo")
    if health.drift is None:
        return f"{photos} so far; {health.photos_needed} are needed to see whether a patch changes."
    if not health.drift:
        return f"✓ In {photos}, every patch fits as it did at first."
    return (
        f"{CHANGED} In {photos}, {len(health.drift)} of {len(health.misfits)} patches no longer fit as they did: faded "
        "or stained. Look at them; print and measure a new copy if it is so."
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
    told = f"The patches of {card.title or card.name}, {len(card.references)} of them known"
    told += f"; changed: {', '.join(sorted(changed))}" if changed else ""
    return (
        f'<div class="card-picture" role="img" aria-label="{escape(told, quote=True)}" '
        f'style="aspect-ratio:{width:g}/{height:g}">{"".join(pieces)}</div>'
    )
