"""Which layer of a window is which portion of the batch: by order and by earlier colours, or a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from math import perm
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.readings import Part, Subject
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab
from curejournal.photo.window.layers import FILM_MOST, LEAST_STEP, Form, Layer, Layers

Floats = NDArray[np.float64]

# All ours, chosen on drawn windows; a wrong portion is worse than a question.
SURE = 0.95
# How far all portions of a batch move together (another card, browning), in Lab units, as a standard deviation.
TOGETHER_SD = 8.0
# What a portion of unknown colour counts: as an ordinary misfit of one that is known.
UNKNOWN_MISFIT = 3.0
# A larger share of the window in colours that are nowhere clear hides a portion.
UNCLEAR = 0.08
# Layers that differ by less, ΔE00, may be one portion: mottled, gelled in part, or noise in a dark photo.
ONE_PORTION = 6.0
# Bands seen upside down are as likely as upright ones; a window that shows only some of them is less likely.
SOME_ONLY = np.log(0.1)
# More ways than this for swirls to be portions are not weighed: 12 portions in 6 colours have 665 280, seconds of work.
TOO_MANY = 50_000
# How much likelier, as a logarithm, one of two colours must be the known portion than the other: 19 to 1; where the
# form already says that the middle is gelled, and only which of the two is followed is open, 2 to 1.
KNOWN, NEARER = np.log(19.0), np.log(2.0)
# A layer further than this many standard deviations from its portion's known colour is unlike the batch.
UNLIKE_SD = 3.5
# How a part lies in a window: a gelled middle clear of its edge, the rim along it; veins may run anyhow.
FORM_OF: dict[Part, Form] = {"gel": "middle", "rim": "rim"}


@dataclass(frozen=True)
class Expected:
    """A portion as last known: its CIELAB colour, if any, and how far it may have moved since, ΔE00 as an sd.

    Or a `part` of the portion `whole` that is followed apart. `settled` are the parts that the maker was asked about
    and left out.
    """

    name: str
    lab: Lab | None = None
    sd: float = 8.0
    part: Part = ""
    whole: str = ""
    settled: frozenset[Part] = frozenset()


About = Literal["portions", "film", "gel", "veins"]
"""What a question is about: which portion is which; or whether a paler part is a film, the middle is gelled, lines are
of another colour."""
Region = Literal["", "film", "gel", "rim", "veins", "shade"]


@dataclass(frozen=True)
class Match:
    """`names` of the layers in their order; `confidence` that all are right; a question in words if they must be asked.

    With a question the names are a proposal only, empty where there is none. `regions` say, where a layer is only a
    region of a portion, which that is (with a question: may be); empty if none is.
    """

    names: tuple[str, ...]
    confidence: float
    question: str = ""
    about: About = "portions"
    regions: tuple[Region, ...] = ()


def match(found: Layers, portions: Sequence[Expected], *, pour_day: bool = False) -> Match:
    """Name the layers of a window.

    Where there are more colours than portions, each is compared with what the portions are known to be before
    anything is left out; what could be the soap as well as a film, a gelled middle or a drizzle is asked.

    Parameters
    ----------
    found : Layers
    portions : sequence of Expected
        The batch's, in their order; a batch without any is one portion named "soap".
    pour_day : bool
        Whether the photo is of the day of the pour, when there is no film of soda ash yet.
    """
    portions = [one for one in portions if _may_show(found, one, portions)] or portions or [Expected("soap")]
    seen, known = len(found.layers), len(portions)
    if seen > known:
        explained = _explain_regions(found, portions, pour_day)
        if explained is not None:
            return explained
    if seen == 0:
        return Match((), 0.0, msg("Nothing but foreign bodies, glints or shadows was seen in the window."))
    if found.unclear > UNCLEAR:
        question = msg("Part of the window shows colours that are nowhere clear. Which of the others is which?")
        return Match(("",) * seen, 0.0, question)
    too_many = found.kind == "swirls" and perm(known, seen) > TOO_MANY
    choices = [] if seen > known or too_many else _choices(found, portions)
    if not choices and not too_many:
        return _of_other_number(found, portions)
    if too_many:
        question = msg(
            "{seen} colours in swirls may be the batch's {known} portions in too many ways. Which is which?",
            seen=seen,
            known=known,
        )
        return Match(("",) * seen, 0.0, question)
    scores = _scores(found, portions, choices)
    shares = np.exp(scores - scores.max())
    shares /= shares.sum()
    best = int(np.argmax(shares))
    return _named(found, [portions[k] for k in choices[best]], float(shares[best]))


def _named(found: Layers, chosen: Sequence[Expected], confidence: float) -> Match:
    """The layers by their likeliest portions, with a question where that is not sure or not like them."""
    names, seen = tuple(portion.name for portion in chosen), len(found.layers)
    if confidence < SURE:
        many = msg("Which portion is this?") if seen == 1 else msg("Which of these {seen} is which?", seen=seen)
        return Match(
            names, confidence, msg("The window's colours do not tell the portions apart surely. {many}", many=many)
        )
    unlike = [one.name for layer, one in zip(found.layers, chosen, strict=True) if _is_unlike(layer, one)]
    question = msg("The colour is unlike what is known of {unlike}. Is it this batch?", unlike=join(", ", unlike))
    return Match(names, confidence, question) if unlike else Match(names, confidence)


def _of_other_number(found: Layers, portions: Sequence[Expected]) -> Match:
    """The question where there are more or fewer colours than portions; the likeliest of one portion is named."""
    likely = _likeliest(found, portions)
    names = tuple(portions[0].name if len(portions) == 1 and layer is likely else "" for layer in found.layers)
    shown = msg(
        "The window shows {seen} colours, but the batch has {known}.",
        seen=len(found.layers),
        known=msg_n("{number} portion", "{number} portions", len({one.whole or one.name for one in portions})),
    )
    return Match(names, 0.0, msg("{shown} Which is which?", shown=shown))


def _is_unlike(layer: Layer, portion: Expected) -> bool:
    """Whether a colour is further from what is known of a portion than that is in doubt."""
    if portion.lab is None:
        return False
    return float(ciede2000(np.array(layer.lab), np.array(portion.lab))) > UNLIKE_SD * portion.sd


def _explain_regions(found: Layers, portions: Sequence[Expected], pour_day: bool) -> Match | None:
    """The match where some layers are a film on others, a gelled middle, veins or a shade; None if none is."""
    films: list[int] = []
    for number, layer in enumerate(found.layers):
        if not layer.film or pour_day:
            continue
        under = _largest_but(found, number)
        favour = _favour(layer, found.layers[under], portions)
        if favour > (NEARER if layer.form == "rim" else KNOWN) or (layer.form == "veins" and favour < -KNOWN):
            continue  # the pale colour is the portion itself; or lines on one that is known, whatever they are
        if favour > -KNOWN or layer.share > FILM_MOST or layer.form in ("rim", "veins"):
            return _asked_of_film(found, number, under, portions)
        films.append(number)
    if films and len(films) < len(found.layers):
        return _without(found, films, portions, pour_day, "film")
    forms = [layer.form for layer in found.layers]
    if "middle" in forms and "rim" in forms:
        return _with_gel(found, forms.index("middle"), forms.index("rim"), portions, pour_day)
    if "veins" in forms:
        return _with_veins(found, forms.index("veins"), portions, pour_day)
    extra = _repeated(found, portions)
    return _without(found, extra, portions, pour_day, "shade") if extra and len(extra) < len(found.layers) else None


def _favour(one: Layer, other: Layer, portions: Sequence[Expected]) -> float:
    """How much likelier a known portion has the one colour than the other, as a logarithm; 0 if none is known."""
    known = [portion for portion in portions if portion.lab is not None]
    if not known:
        return 0.0
    off = ciede2000(np.array([one.lab, other.lab])[:, None], np.array([portion.lab for portion in known])[None])
    nearest = (off / np.array([portion.sd for portion in known])).min(axis=1)
    return float(nearest[1] ** 2 - nearest[0] ** 2) / 2


def _asked_of_film(found: Layers, pale: int, under: int, portions: Sequence[Expected]) -> Match:
    layer = found.layers[pale]
    where = {"rim": msg("all round the edge"), "veins": msg("in lines"), "middle": msg("in the middle")}.get(
        layer.form, "in patches"
    )
    other = msg(", or has the middle gelled") if layer.form == "rim" else msg(" or the soap's own colour")
    text = msg(
        "{share:.0f}% of the window is paler, {where}. Is that a white film (soda ash){other}? "
        "Which colour is the soap?",
        share=100 * layer.share,
        where=where,
        other=other,
    )
    base = pale if layer.share > FILM_MOST or layer.form == "rim" else under
    names = _named_alone(found, base, portions)
    return Match(names, 0.0, text, "film", _only(found, pale, "film"))


def _named_alone(found: Layers, number: int, portions: Sequence[Expected]) -> tuple[str, ...]:
    """The name of each layer where there is but one portion: that layer's, and none for the others."""
    name = portions[0].name if len(portions) == 1 else ""
    return tuple(name if n == number else "" for n in range(len(found.layers)))


def _with_gel(found: Layers, middle: int, rim: int, portions: Sequence[Expected], pour_day: bool) -> Match:
    """A middle of another colour inside a rim: asked about once, then followed is what the portion is known by."""
    favour = _favour(found.layers[rim], found.layers[middle], portions)
    if favour > NEARER and _settled("gel", portions):
        return _without(found, [middle], portions, pour_day, "gel")
    if favour < -NEARER and _settled("rim", portions):
        return _without(found, [rim], portions, pour_day, "rim")
    darker = found.layers[middle].lab[0] < found.layers[rim].lab[0]
    text = msg(
        "The middle is {darker} than the rim. If it has gelled in part, which of the two is to be followed, "
        "or both, each by itself? If it is a portion of its own, which one?",
        darker="darker" if darker else "lighter",
    )
    names = _named_alone(found, middle if favour < -NEARER else rim, portions)
    return Match(names, 0.0, text, "gel", _only(found, middle, "gel"))


def _with_veins(found: Layers, veins: int, portions: Sequence[Expected], pour_day: bool) -> Match:
    """Lines of another colour: asked about once, then left out where the portion is known by what lies between."""
    base = _largest_but(found, veins)
    if _favour(found.layers[base], found.layers[veins], portions) > KNOWN and _settled("veins", portions):
        return _without(found, [veins], portions, pour_day, "veins")
    names = _named_alone(found, base, portions)
    text = msg(
        "The window shows lines of another colour. Are they a portion (a drizzle, a vein), a part to be followed by "
        "itself, or to be left out?"
    )
    return Match(names, 0.0, text, "veins", _only(found, veins, "veins"))


def _settled(part: Part, portions: Sequence[Expected]) -> bool:
    return any(part in one.settled for one in portions)


def _only(found: Layers, number: int, region: Region) -> tuple[Region, ...]:
    return tuple(region if n == number else "" for n in range(len(found.layers)))


def _repeated(found: Layers, portions: Sequence[Expected]) -> list[int]:
    """Of the two layers most alike the one to be left out, if they may be one portion in two shades.

    That is the one less like what is known, else the smaller.
    """
    labs = np.array([layer.lab for layer in found.layers])
    pairs = list(combinations(range(len(labs)), 2))
    off = np.array([float(ciede2000(labs[a], labs[b])) for a, b in pairs])
    # Bands that do not touch are two shades of one only if they are just about the same.
    touching = np.array([found.kind == "swirls" or b == a + 1 for a, b in pairs])
    off[~touching & (off >= LEAST_STEP)] = np.inf
    if off.min() >= ONE_PORTION:
        return []
    one, other = pairs[int(np.argmin(off))]
    favour = _favour(found.layers[one], found.layers[other], portions)
    if abs(favour) < NEARER:
        favour = found.layers[one].share - found.layers[other].share
    return [other if favour > 0 else one]


def _without(
    found: Layers, extra: Sequence[int], portions: Sequence[Expected], pour_day: bool, region: Region
) -> Match:
    """The match of the other layers; the extra ones get no name, so that nothing is measured there."""
    others = tuple(layer for number, layer in enumerate(found.layers) if number not in extra)
    kind = found.kind if len(others) > 1 else "one"
    matched = match(replace(found, kind=kind, layers=others), portions, pour_day=pour_day)
    names, regions = iter(matched.names), iter(matched.regions or _only(found, -1, ""))
    return replace(
        matched,
        names=tuple("" if n in extra else next(names) for n in range(len(found.layers))),
        regions=tuple(region if n in extra else next(regions) for n in range(len(found.layers))),
    )


def _largest_but(found: Layers, number: int) -> int:
    return max((n for n in range(len(found.layers)) if n != number), key=lambda n: found.layers[n].share)


def _likeliest(found: Layers, portions: Sequence[Expected]) -> Layer:
    """The layer most like what is known; of equals the largest."""
    largest = max(found.layers, key=lambda layer: layer.share)
    return max(found.layers, key=lambda layer: (_favour(layer, largest, portions), layer.share))


def _choices(found: Layers, portions: Sequence[Expected]) -> list[tuple[int, ...]]:
    """The portions that the layers may be: bands in the batch's order or upside down, swirls in any."""
    seen, known = len(found.layers), range(len(portions))
    if found.kind == "swirls":
        ways = permutations(known, seen)
        return [way for way in ways if all(map(_fits, found.layers, (portions[k] for k in way)))]
    upright = list(combinations(known, seen))
    turned = [choice[::-1] for choice in upright]
    return upright + (turned if seen > 1 else [])


def _fits(layer: Layer, portion: Expected) -> bool:
    """Whether a colour lies in the window as a part does; a portion may lie anyhow."""
    return FORM_OF.get(portion.part, layer.form) == layer.form


def _may_show(found: Layers, one: Expected, portions: Sequence[Expected]) -> bool:
    """Whether a part may be in the window: as it lies, or alone, unless it is no more to be told from its portion."""
    if not one.part or found.kind == "swirls":
        return any(_fits(layer, one) for layer in found.layers)
    whole = next((other.lab for other in portions if other.name == one.whole), None)
    alike = whole is not None and float(ciede2000(np.array(whole), np.array(one.lab))) < LEAST_STEP
    return found.kind == "one" and not alike


def regions_left_out(found: Layers, names: Sequence[str]) -> tuple[Region, ...]:
    """What the colours are, by how they lie, to which the maker gave no name though others have one."""
    of_form: dict[Form, Region] = {"middle": "gel", "rim": "rim", "veins": "veins"}
    return tuple(
        of_form.get(layer.form, "") if any(names) and not name else ""
        for layer, name in zip(found.layers, names, strict=True)
    )


def offer_parts(found: Layers | None, portions: Sequence[str]) -> tuple[str, ...]:
    """The names of parts that the colours of a window may be, for the maker to choose from."""
    forms = {layer.form for layer in found.layers} if found is not None and len(found.layers) > 1 else set()
    may_be: list[Part] = [part for part, form in FORM_OF.items() if form in forms]
    may_be += ["veins", "base"] if forms & {"veins", "patches"} and found is not None and found.kind == "swirls" else []
    return tuple(Subject(portion, part).name for portion in portions for part in may_be)


def _scores(found: Layers, portions: Sequence[Expected], choices: Sequence[tuple[int, ...]]) -> Floats:
    """The logarithm of how likely the layers' colours are for each of the choices, up to a constant."""
    unknown = (np.nan,) * 3
    chosen = np.array(choices)
    layers = np.array([layer.lab for layer in found.layers])
    before = np.array([portion.lab or unknown for portion in portions])[chosen]
    known = ~np.isnan(before[..., 0])
    weight = known / np.array([portion.sd for portion in portions])[chosen] ** 2
    moved = np.where(known[..., None], layers - before, 0.0)
    # What all have in common, as far as it is likely that all moved together.
    common = (weight[..., None] * moved).sum(axis=1) / (weight.sum(axis=1) + 1 / TOGETHER_SD**2)[:, None]
    still = layers - common[:, None]
    off = ciede2000(still, np.where(known[..., None], before, still))
    misfit = UNKNOWN_MISFIT * (~known).sum(axis=1) + (common**2).sum(axis=1) / TOGETHER_SD**2
    misfit = misfit + (weight * off**2).sum(axis=1)
    some_only = SOME_ONLY if len(layers) < len(portions) else 0.0
    return np.asarray(some_only - misfit / 2)
