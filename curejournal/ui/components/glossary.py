"""The word list: what signs, states, grades and the trade's terms mean, in plain words."""

from __future__ import annotations

SIGNS = {
    "✓ ready": "Every gauge that needs knowing says go. A person still signs the release.",
    "◔ not yet": "Something has to be waited for or measured first.",
    "‖ hold": "Something speaks against it. Keep it apart until that is settled.",
    "✓ go": "This gauge is content.",
    "◔ wait": "This gauge needs time or another reading.",
    "? not known": "Nothing was measured that would tell.",
}

GAUGE_WORDS = {
    "age": "Days since the pour.",
    "drying": "Whether the weight is steady.",
    "alkali": "Whether tests show free alkali.",
    "colour": "Whether each portion has the colour that it should have.",
    "surface": "Soda ash, orange spots, moisture, lye pockets.",
    "lye margin": "Whether fat is left over for the whole range of published saponification values.",
    "record complete": "Whether the record has what an inspector would ask for.",
}

STATES = {
    "turning": "Moving away from its intended colour.",
    "coming back": "Moving toward its intended colour.",
    "back": "Within tolerance with its whole interval, on two readings some days apart, and at rest.",
    "settled off colour": "At rest, but outside the tolerance.",
    "still browning": "Growing darker still.",
    "steady": "It has not changed.",
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
