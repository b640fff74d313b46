"""Whether a batch may still brown."""

from __future__ import annotations

from datetime import timedelta

from curejournal.judging.context import Context

DAY = timedelta(days=1)
YOUNG_DAYS = 60.0
"""Age below which browning may begin unseen: it goes on for weeks to months [common practice, no source]. Ours."""


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
