"""Photos of a batch, from choosing them to keeping them."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from curejournal.batch.records import Batch
from curejournal.ui.forms import photos, surface
from curejournal.ui.page import Desk


def take(desk: Desk, batch: Batch | None) -> None:
    """Ask for photos of a batch, show their colours, keep them; without a batch they are measured only."""
    card = photos.chosen_card(desk)
    portion = photos.chosen_portion(batch, card)
    photos.done(desk, batch)
    if card is not None:
        surface.ask_all(desk, card)
    shots = []
    for shot in photos.pictures(desk, card):
        with st.container(border=True, key=f"photo-{shot.key}"):
            answers = replace(shot.answers, window=portion)
            shots.append(photos.shown(desk, batch, replace(shot, card=card, answers=answers)))
    known = [shot for shot in shots if shot is not None]
    if batch is not None and known:
        photos.keep(desk, batch, known)
