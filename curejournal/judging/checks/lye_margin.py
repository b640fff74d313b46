"""The check of the lye margin: fat left over at the low end of what is published."""

from __future__ import annotations

from curejournal.base.counting import digits
from curejournal.judging.context import MOST_SUPERFAT_PCT, Context
from curejournal.judging.findings import Check, Finding, Verdict

SOURCE = "ranges in the list of oils, each with its source"


def lye_margin(context: Context) -> Finding:
    """Fat left over at the low end of what is published."""
    rule = (
        "superfat above zero over the whole interval of published saponification values, and no more than "
        f"{MOST_SUPERFAT_PCT:g}%, or a good titration"
    )
    if context.lye is None:
        words = context.lye_problem or "no recipe"
        return Finding("lye margin", Verdict.UNKNOWN, words, rule, SOURCE, advice="Enter the recipe as weighed.")
    low, high = context.lye.superfat_interval_pct
    figures = {
        "superfat": (context.lye.superfat_nominal_pct, "%"),
        "superfat, low": (low, "%"),
        "superfat, high": (high, "%"),
        "superfat, worst case": (context.lye.superfat_worst_pct[0], "%"),
    }
    words = f"superfat {digits(low, 1)} to {digits(high, 1)}%"
    if context.lye.lye_g <= 0:
        return Finding("lye margin", Verdict.UNKNOWN, "the recipe has no alkali", rule, SOURCE, figures)
    if context.margin_proven or context.titrated_good:
        more = "" if context.margin_proven else ", and titrated good"
        return Finding("lye margin", Verdict.PASS, words + more, rule, SOURCE, figures)
    if context.lye.unknown_oils and context.lye.superfat_worst_pct[1] >= 0:
        unknown = " and ".join(context.lye.unknown_oils)
        words = f"how much lye {unknown} takes up is not known, so the superfat cannot be told"
        advice = "Enter the certificate's value, or titrate."
        return Finding("lye margin", Verdict.PENDING, words, rule, SOURCE, figures, advice=advice, needs="a titration")
    if context.margin_absurd:
        return Finding(
            "lye margin",
            Verdict.PENDING,
            f"{words}: no soap has that much, so a weight in the recipe is wrong",
            rule,
            SOURCE,
            figures,
            advice="Correct the recipe, or titrate.",
            needs="the recipe as weighed",
        )
    verdict = Verdict.HOLD if context.lye.superfat_nominal_pct < 0 else Verdict.PENDING
    return Finding(
        "lye margin",
        verdict,
        f"{words}: lye may be over",
        rule,
        SOURCE,
        figures,
        advice="Titrate before selling. If the recipe was mistyped, correct it.",
        needs="a titration",
    )


CHECK = Check(
    "lye margin",
    lye_margin,
    "Whether fat is left over for the whole range of published saponification values.",
    needed=False,
    safety=True,
    source=SOURCE,
    rank=20,
)
