"""The word list: what signs, states, grades and the trade's terms mean, in plain words."""

from __future__ import annotations

from curejournal.base.messages import join, msg
from curejournal.documents.style import STATES as SHOWN
from curejournal.judging.checks import CHECKS

_SAID = {
    "ready": msg("All needed checks passed. A person still signs the release. It says so where nothing was titrated."),
    "not yet": msg("Something has to be waited for or measured first."),
    msg("on hold"): msg("Something speaks against it: lye, or fat going rancid. Keep it apart until that is settled."),
    "decide": msg("Its colour came to rest off its target. Not a matter of safety: you decide."),
    "pass": msg("This check is content."),
    "pending": msg("This check needs time or another reading."),
    msg("not known"): msg("Nothing was measured that would tell."),
}
SIGNS = {join(" ", (SHOWN[word].sign, word)): said for word, said in _SAID.items()}

CHECK_WORDS = {check.name: check.glossary for check in CHECKS}

STATES = {
    "discolouring": msg("Moving away from its target colour."),
    "recovering": msg("Moving toward its target colour."),
    "recovered": msg("Within tolerance now, with its whole interval, on two readings some days apart, and at rest."),
    msg("stable, off target"): msg("At rest, but outside the tolerance."),
    "still browning": msg("Growing darker still."),
    "stable": msg("It has not changed."),
    msg("too few readings"): msg("More photos are needed before anything can be said."),
}

GRADES = {
    "measured": msg("Against colours of the card that are known. Comparable with other batches."),
    "relative": msg("Against a card whose own colours are not known. Good for following one batch."),
    "approximate": msg("Something in the photo makes it doubtful. It counts, with a wide interval."),
    msg("not usable"): msg("No colour is claimed."),
    "ΔE00": msg("Difference between two colours (CIEDE2000). About 1 is just noticeable side by side."),
    "L*, a*, b*": msg("Lightness; green to red; blue to yellow (CIELAB, D50)."),
    "95 % interval": msg("Where the true value lies in 19 cases of 20, as far as the errors are known."),
}

TRADE = {
    "batter": msg("Soap before it sets."),
    "trace": msg("The batter begins to thicken: light, medium, thick."),
    msg("acceleration, seizing, ricing"): msg("It thickens too fast; goes solid; forms grains."),
    msg("gel phase"): msg("The loaf heats up and turns clear from the middle."),
    msg("loaf, slab, log"): msg("Forms that soap is poured in."),
    "portion": msg("A layer, swirl colour or topper of a batch."),
    "cure": msg("Weeks of drying after cutting."),
    msg("superfat, lye discount"): msg("The part of the oils for which no lye was put in, in %."),
    "lye-heavy": msg("More lye than the oils take up."),
    msg("soda ash"): msg("A white film of sodium carbonate. A matter of looks."),
    "orange spots": msg("Fat going rancid in places."),
    "lot": msg("The supplier’s number of the delivery that a material came from."),
    "control": msg("An unscented portion or a kept bar to compare with."),
}
