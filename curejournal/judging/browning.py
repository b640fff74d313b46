"""Whether a batch may still brown, and how long a photo speaks of its colour now."""

from __future__ import annotations

from datetime import timedelta

from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.context import Context

DAY = timedelta(days=1)
YOUNG_DAYS = 60.0
"""Age below which browning may begin unseen: it goes on for weeks to months [common practice, no source]. Ours."""

FRESH_DAYS = 14.0
"""Age of the last photo from which it no longer speaks of the colour now. Ours: of 400 batches of the study of foreign
worlds that were called ready, those that had turned brown meanwhile had not been photographed since."""


def out_of_date(context: Context, journey: ColourSeries) -> bool:
    """Whether the last photo of a portion with a target is too old to release the batch by.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.
    journey : ColourSeries
        What the portion's colour does.

    Returns
    -------
    bool
    """
    if journey.target_lab is None or not journey.points or context.batch.released_at is not None:
        return False
    return context.on - journey.points[-1].at > FRESH_DAYS * DAY


def may_brown(context: Context) -> bool:
    """Whether later browning cannot be excluded: a fragrance is in it, which may hold vanillin, or it is young.

    Parameters
    ----------
    context : Context

    Returns
    -------
    bool
    """
    if context.poured_at is None or context.on - context.poured_at >= YOUNG_DAYS * DAY:
        return False
    recipe = context.batch.recipe
    scented = recipe is not None and any(additive.kind == "fragrance" for additive in recipe.additives)
    return scented or context.on - context.poured_at < context.rules.min_age_days * DAY
