"""The check of the record: what an inspector would ask for."""

from __future__ import annotations

from curejournal.base.messages import join, msg
from curejournal.batch.records import Event
from curejournal.judging.context import Context
from curejournal.judging.findings import Check, Finding, Verdict
from curejournal.soap.recipe import Recipe

SOURCE = msg(
    "Regulation (EC) No 1223/2009, Art. 11 and 19 [looked up: an authority's page]; ISO 22716 themes [from memory]; "
    "local codes decide"
)


def record_complete(context: Context) -> Finding:
    """What an inspector would ask for is there.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    rule = msg("recipe and pour on record; lots and number of bars noted where missing")
    source = SOURCE
    recipe = context.batch.recipe
    if recipe is None or context.poured_at is None:
        known = {msg("the recipe"): recipe, msg("the time of the pour"): context.poured_at}
        missing = join(", ", (name for name, there in known.items() if there is None))
        words, advice = msg("missing: {missing}", missing=missing), msg("Enter what is missing.")
        return Finding("record complete", Verdict.PENDING, words, rule, source, advice=advice, needs=missing)
    lots = _without_lot(recipe)
    notes = []
    if lots:
        notes.append(msg("no lot for {lots}", lots=join(", ", lots)))
    if not any(event.bars for _, event in context.batch.records(Event)):
        notes.append(msg("number of bars not noted"))
    return Finding(
        "record complete",
        Verdict.UNKNOWN if notes else Verdict.PASS,
        join("; ", [msg("not complete"), *notes]) if notes else "complete",
        rule,
        SOURCE,
        {msg("materials without a lot"): (float(len(lots)), "")},
        advice=msg("Complete the record before an inspector asks.") if notes else "",
    )


def _without_lot(recipe: Recipe) -> list[str]:
    lots = [
        *((oil.key, oil.lot) for oil in recipe.oils),
        *((alkali.kind, alkali.lot) for alkali in recipe.alkalis),
        *((additive.name, additive.lot) for additive in recipe.additives),
        *((acid.key, acid.lot) for acid in recipe.acids),
    ]
    return [name for name, lot in lots if not lot]


CHECK = Check(
    msg("record complete"),
    record_complete,
    msg("Whether the record has what an inspector would ask for."),
    needed=False,
    safety=False,
    source=SOURCE,
    rank=70,
)
