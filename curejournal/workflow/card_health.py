"""How a printed card holds out, told from the photos that were taken with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from curejournal.batch.records import PhotoNote
from curejournal.journal.store import Journal
from curejournal.photo.health import FEWEST_PHOTOS, PatchDrift, drifting, typical_misfits


@dataclass(frozen=True)
class CardHealth:
    """A card's state: from how many photos, how far each patch is off now (ΔE00), and which got worse.

    `drift` is None while there are fewer than `photos_needed` photos to say.
    """

    photos: int
    photos_needed: int
    misfits: Mapping[str, float]
    drift: tuple[PatchDrift, ...] | None


def card_health(journal: Journal, name: str) -> CardHealth:
    """The state of a card, from every photo that was measured with it, oldest first."""
    notes = [entry for batch in journal.all_batches() for entry in batch.of(PhotoNote)]
    history = [
        dict(entry.record.patch_errors)
        for entry in sorted(notes, key=lambda entry: entry.at)
        if entry.record.card == name and entry.record.patch_errors
    ]
    return CardHealth(len(history), 2 * FEWEST_PHOTOS, typical_misfits(history), drifting(history))


def card_drift(journal: Journal, name: str) -> tuple[PatchDrift, ...] | None:
    """The patches of a card that no longer fit as they did; None if there are too few photos to say."""
    return card_health(journal, name).drift
