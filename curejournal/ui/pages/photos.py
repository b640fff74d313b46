"""Photos into the journal: measured at once, kept when the maker says so."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from curejournal.batch.records import Batch
from curejournal.ui.components import common
from curejournal.ui.forms import photos, surface
from curejournal.ui.page import Desk, Page


def render(desk: Desk) -> None:
    """Draw the page."""
    code = common.chosen_batch(desk, "photo-batch", "Which batch is in the picture?")
    if code is None and not desk.journal.names():
        common.say("A photo belongs to a batch, and there is none yet: a code and a name are enough to start one.")
        common.way(desk, "batches", "Start a batch")
        common.say("You can measure a photo here already; it is not kept.", "soft")
    take(desk, desk.journal.batch(code) if code else None)
    common.way(desk, "tray", "Many at once: the tray", ":material/inbox:")


def take(desk: Desk, batch: Batch | None) -> None:
    """Ask for photos of a batch, show their colours, keep them; without a batch they are measured only."""
    card = photos.chosen_card(desk)
    portion = photos.chosen_portion(batch, card)
    photos.done(desk, batch)
    if card is not None:
        surface.ask_all(desk, card)
    shots = []
    for shot in photos.pictures(desk):
        with st.container(border=True, key=f"photo-{shot.key}"):
            answers = replace(shot.answers, window=portion)
            shots.append(photos.shown(desk, batch, replace(shot, card=card, answers=answers)))
    known = [shot for shot in shots if shot is not None]
    if batch is not None and known:
        photos.keep(desk, batch, known)


PAGE = Page("Photos", "photos", 30, render, ":material/photo_camera:", main=True, writes=True)
