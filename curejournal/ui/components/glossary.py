"""The word list: what signs, states, grades and the trade's terms mean, in plain words."""

from __future__ import annotations

from curejournal.documents.style import STATES as SHOWN
from curejournal.judging.checks import CHECKS

_SAID = {
    "ready": "All needed checks passed. A person still signs the release. It says so where nothing was titrated.",
    "not yet": "Something has to be waited for or measured first.",
    "on hold": "Something speaks against it: lye, or fat going rancid. Keep it apart until that is settled.",
    "decide": "Its colour came to rest off its target. Not a matter of safety: you decide.",
    "pass": "This check is content.",
    "pending": "This check needs time or another reading.",
    "not known": "Nothing was measured that would tell.",
}
SIGNS = {f"{SHOWN[word].sign} {word}": said for word, said in _SAID.items()}

CHECK_WORDS = {check.name: check.glossary for check in CHECKS}

STATES = {
    "discolouring": "Moving away from its target colour.",
    "recovering": "Moving toward its target colour.",
    "recovered": "Within tolerance now, with its whole interval, on two readings some days apart, and at rest.",
    "stable, off target": "At rest, but outside the tolerance.",
    "still browning": "Growing darker still.",
    "stable": "It has not changed.",
    "too few readings": "More photos are needed before anything can be said.",
}

GRADES = {
    "measured": "Against colours of the card that are known. Comparable with other batches.",
    "relative": "Against a card whose own colours are not known. Good for following one batch.",
    "approximate": "Something in the photo makes it doubtful. It counts, with a wide interval.",
    "not usable": "No colour is claimed.",
    "ΔE00": "Difference between two colours (CIEDE2000). About 1 is just noticeable side by side.",
    "L*, a*, b*": "Lightness; green to red; blue to yellow (CIELAB, D50).",
    "95 % interval": "Where the true value lies in 19 cases of 20, as far as the errors are known.",
}

TRADE = {
    "batter": "Soap before it sets.",
    "trace": "The batter begins to thicken: light, medium, thick.",
    "acceleration, seizing, ricing": "It thickens too fast; goes solid; forms grains.",
    "gel phase": "The loaf heats up and turns clear from the middle.",
    "loaf, slab, log": "Forms that soap is poured in.",
    "portion": "A layer, swirl colour or topper of a batch.",
    "cure": "Weeks of drying after cutting.",
    "superfat, lye discount": "The part of the oils for which no lye was put in, in %.",
    "lye-heavy": "More lye than the oils take up.",
    "soda ash": "A white film of sodium carbonate. A matter of looks.",
    "orange spots": "Fat going rancid in places.",
    "lot": "The supplier’s number of the delivery that a material came from.",
    "control": "An unscented portion or a kept bar to compare with.",
}
