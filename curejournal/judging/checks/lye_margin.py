"""The check of the lye margin: fat left over at the low end of what is published."""

from __future__ import annotations

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg
from curejournal.judging.context import MOST_SUPERFAT_PCT, Context
from curejournal.judging.findings import Check, Finding, Verdict

SOURCE = msg("ranges in the list of oils, each with its source")


def lye_margin(context: Context) -> Finding:
    """Fat left over at the low end of what is published.

    Parameters
    ----------
    context : Context
        What is known of the batch at that time.

    Returns
    -------
    Finding
        The verdict of this check, with its words and advice.
    """
    rule = msg(
        "superfat above zero over the whole interval of published saponification values, and no more than "
        "{most_superfat_pct:g}%, or a good titration",
        most_superfat_pct=MOST_SUPERFAT_PCT,
    )
    if context.lye is None:
        words = context.lye_problem or msg("no recipe")
        return Finding("lye margin", Verdict.UNKNOWN, words, rule, SOURCE, advice=msg("Enter the recipe as weighed."))
    low, high = context.lye.superfat_interval_pct
    figures = {
        "superfat": (context.lye.superfat_nominal_pct, "%"),
        msg("superfat, low"): (low, "%"),
        msg("superfat, high"): (high, "%"),
        msg("superfat, worst case"): (context.lye.superfat_worst_pct[0], "%"),
    }
    words = msg("superfat {low} to {high}%", low=digits(low, 1), high=digits(high, 1))
    if context.lye.lye_g <= 0:
        return Finding("lye margin", Verdict.UNKNOWN, msg("the recipe has no alkali"), rule, SOURCE, figures)
    if context.margin_proven or context.titrated_good:
        more = "" if context.margin_proven else msg(", and titrated good")
        return Finding("lye margin", Verdict.PASS, words + more, rule, SOURCE, figures)
    if context.lye.unknown_oils and context.lye.superfat_worst_pct[1] >= 0:
        unknown = join(" and ", context.lye.unknown_oils)
        words = msg("how much lye {unknown} takes up is not known, so the superfat cannot be told", unknown=unknown)
        advice = msg("Enter the certificate's value, or titrate.")
        return Finding("lye margin", Verdict.PENDING, words, rule, SOURCE, figures, advice=advice, needs="a titration")
    if context.margin_absurd:
        return Finding(
            "lye margin",
            Verdict.PENDING,
            msg("{words}: no soap has that much, so a weight in the recipe is wrong", words=words),
            rule,
            SOURCE,
            figures,
            advice=msg("Correct the recipe, or titrate."),
            needs=msg("the recipe as weighed"),
        )
    verdict = Verdict.HOLD if context.lye.superfat_nominal_pct < 0 else Verdict.PENDING
    return Finding(
        "lye margin",
        verdict,
        msg("{words}: lye may be left over", words=words),
        rule,
        SOURCE,
        figures,
        advice=msg("Titrate before selling. If the recipe was mistyped, correct it."),
        needs="a titration",
    )


CHECK = Check(
    msg("lye margin"),
    lye_margin,
    msg("Whether fat is left over for the whole range of published saponification values."),
    needed=False,
    safety=True,
    source=SOURCE,
    rank=20,
)
