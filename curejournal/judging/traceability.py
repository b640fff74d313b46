"""Which lot and batch went into which, what was left in its pieces, and whom a recall has to reach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from curejournal.base.messages import Day, join, msg, msg_n
from curejournal.batch.descriptions import describe_embed
from curejournal.batch.records import BarsOut, Batch, WhyOut, same_code
from curejournal.judging.drying import DryingReport
from curejournal.soap.lye import LyeCheck
from curejournal.soap.recipe import MOST_WATER, Recipe


@dataclass(frozen=True)
class Gone:
    """Bars that others have: how many, whom to ask, since when and why."""

    at: datetime
    bars: int
    to: str
    why: WhyOut


@dataclass(frozen=True)
class Reach:
    """A batch that a recall reaches.

    `through` are the codes from the recalled batch to this one; the batch itself has one. `bars_cut` is 0 if nobody
    noted it; `gone` are the bars of it that others have.
    """

    batch: str
    name: str
    through: tuple[str, ...]
    released_at: datetime | None
    bars_cut: int
    gone: tuple[Gone, ...]


@dataclass(frozen=True)
class Recall:
    """A recall question: what raised it, and every batch that it reaches, the batch itself first.

    `words` say the same line by line.
    """

    batch: str
    name: str
    questions: tuple[str, ...]
    reach: tuple[Reach, ...]
    words: tuple[str, ...]


@dataclass(frozen=True)
class LotUse:
    """Where a lot went: the batch, what it was there and how much of it, and the bars of the batch that others have."""

    batch: str
    name: str
    poured_at: datetime | None
    material: str
    lot: str
    grams: float
    gone: tuple[Gone, ...] = ()


def parents(recipe: Recipe | None) -> tuple[str, ...]:
    """What a recipe may have of earlier batches: the batches of its embeds, and lots, which may be codes of batches.

    Parameters
    ----------
    recipe : Recipe or None

    Returns
    -------
    tuple of str
        Codes and lots.
    """
    if recipe is None:
        return ()
    named = [*(embed.batch for embed in recipe.embeds), *(item.lot for item in recipe.additives)]
    return tuple(dict.fromkeys(code.strip() for code in named if code.strip()))


def descendants(batches: Iterable[Batch], code: str) -> tuple[tuple[str, ...], ...]:
    """Every batch that has pieces of one in it, directly or through others, as the way to it: (code, …, its own).

    The nearest come first; each batch comes once, by a shortest way.

    Parameters
    ----------
    batches : iterable of Batch
        All of the journal.
    code : str
        Of a batch.

    Returns
    -------
    tuple of tuple of str
    """
    into: dict[str, list[str]] = {}
    for batch in batches:
        for parent in parents(batch.recipe):
            into.setdefault(parent.casefold(), []).append(batch.code)
    ways: list[tuple[str, ...]] = [(code,)]
    seen = {code.strip().casefold()}
    for way in ways:
        for child in into.get(way[-1].strip().casefold(), ()):
            if child.casefold() not in seen:
                seen.add(child.casefold())
                ways.append((*way, child))
    return tuple(ways[1:])


def ancestors(batches: Sequence[Batch], code: str) -> tuple[Batch, ...]:
    """Every batch that has pieces in this one, directly or through others; the nearest come first.

    Parameters
    ----------
    batches : sequence of Batch
        All of the journal.
    code : str
        Of a batch.

    Returns
    -------
    tuple of Batch
    """
    known = {batch.code.casefold(): batch for batch in batches}
    found = [known[code.strip().casefold()]] if code.strip().casefold() in known else []
    for batch in found:
        found += [
            known[parent.casefold()]
            for parent in parents(batch.recipe)
            if parent.casefold() in known and known[parent.casefold()] not in found
        ]
    return tuple(found[1:])


def recall(batches: Sequence[Batch], code: str, questions: Sequence[str]) -> Recall:
    """Whom a recall of a batch reaches: itself, all that its pieces went into, and the bars that others have.

    Parameters
    ----------
    batches : sequence of Batch
        All of the journal; the recalled one among them.
    code : str
        Of the batch that is to be recalled.
    questions : sequence of str
        What raised it, as in its judgement.

    Returns
    -------
    Recall

    """
    known = {batch.code: batch for batch in batches}
    own = next(batch for batch in batches if same_code(batch.code, code))
    reach = tuple(_reach(known[way[-1]], way) for way in ((own.code,), *descendants(batches, own.code)))
    words = [*questions, *(line for one in reach for line in _reach_words(one, known))]
    return Recall(own.code, own.name, tuple(questions), reach, tuple(words))


def gone_out(batch: Batch) -> tuple[Gone, ...]:
    """The bars of a batch that others have, in order of time.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    tuple of Gone
    """
    return tuple(Gone(at, out.bars, out.to, out.why) for at, out in batch.records(BarsOut) if out.left_the_house)


def describe_bars_out(gone: Sequence[Gone]) -> str:
    """Whom to ask: bars, place and day of each.

    Parameters
    ----------
    gone : sequence of Gone

    Returns
    -------
    str
    """
    each = (
        msg("{bars} to {to} on {at} ({why})", bars=one.bars, to=one.to, at=Day(one.at), why=one.why) for one in gone
    )
    return msg("gone out: {each}", each=join("; ", each)) if gone else msg("no bars are noted as gone out")


def _reach(batch: Batch, way: tuple[str, ...]) -> Reach:
    return Reach(batch.code, batch.name, way, batch.released_at, batch.bars_cut, gone_out(batch))


def _reach_words(one: Reach, known: dict[str, Batch]) -> list[str]:
    if len(one.through) == 1:
        return []  # its own judgement's question says it
    parent = one.through[-2]
    recipe = known[one.batch].recipe
    pieces = [describe_embed(embed) for embed in (recipe.embeds if recipe else ()) if same_code(embed.batch, parent)]
    what = join(" and ", pieces) or msg("material of batch {parent}", parent=parent)
    state = msg("released {released_at}", released_at=Day(one.released_at)) if one.released_at else msg("not released")
    bars = msg(", {bars_cut}", bars_cut=msg_n("{number} bar", "{number} bars", one.bars_cut)) if one.bars_cut else ""
    return [
        msg(
            "{batch} {name} has {what} in it ({state}{bars}): {gone}.",
            batch=one.batch,
            name=one.name,
            what=what,
            state=state,
            bars=bars,
            gone=describe_bars_out(one.gone),
        )
    ]


def most_water_left(lye: LyeCheck | None, drying: DryingReport) -> float:
    """The most of a batch's weight that may be water now: the upper bound for its embeds.

    Its fresh water less what its bars have lost; without a recipe it is `MOST_WATER`. Curls and pieces dry faster than
    the bars that were weighed, so they hold less.

    Parameters
    ----------
    lye : LyeCheck or None
        None without a recipe.
    drying : DryingReport
        What its bars have lost.

    Returns
    -------
    float
        From 0 to 1.
    """
    if lye is None or lye.water_g <= 0:
        return MOST_WATER
    lost = max(drying.loss_pct or 0.0, 0.0) / 100
    return min(max(0.0, (lye.water_share - lost) / (1 - lost)), MOST_WATER)


def where_did_it_go(batches: Iterable[Batch], lot: str) -> tuple[LotUse, ...]:
    """Every batch that a lot of any material went into, oldest first; oils, lye and liquids too.

    Parameters
    ----------
    batches : iterable of Batch
        All of the journal.
    lot : str
        As it is written on the packet; of embeds, the code of their batch.

    Returns
    -------
    tuple of LotUse
    """
    wanted = lot.strip().casefold()
    found = [
        LotUse(batch.code, batch.name, batch.poured_at, name, kept_lot, grams, gone_out(batch))
        for batch in batches
        if batch.recipe
        for name, kept_lot, grams in lots_of(batch.recipe)
        if kept_lot.strip().casefold() == wanted
    ]
    return tuple(sorted(found, key=lambda use: (use.poured_at is None, use.poured_at, use.batch)))


def reached_by(batches: Sequence[Batch], lot: str) -> tuple[LotUse, ...]:
    """Every batch that a lot reaches: those that it went into, then those that have pieces of them, however far.

    Parameters
    ----------
    batches : sequence of Batch
        All of the journal.
    lot : str
        As it is written on the packet; of embeds, the code of their batch.

    Returns
    -------
    tuple of LotUse
    """
    uses = list(where_did_it_go(batches, lot))
    known = {use.batch for use in uses}
    for use in uses:
        new = [child for child in where_did_it_go(batches, use.batch) if child.batch not in known]
        known |= {child.batch for child in new}
        uses += [replace(child, material=f"pieces of batch {use.batch}") for child in new]
    return tuple(uses)


def lots_of(recipe: Recipe) -> Iterator[tuple[str, str, float]]:
    """Every material of a recipe with its lot and its weight in g; the lot of embeds is the code of their batch.

    Parameters
    ----------
    recipe : Recipe

    Returns
    -------
    iterator of (str, str, float)
        Material, lot, grams.
    """
    yield from ((oil.key, oil.lot, oil.grams) for oil in recipe.oils)
    yield from ((alkali.kind, alkali.lot, alkali.grams) for alkali in recipe.alkalis)
    yield from ((liquid.name, liquid.lot, liquid.grams) for liquid in recipe.liquids)
    yield from ((additive.name, additive.lot, additive.grams) for additive in recipe.additives)
    yield from ((acid.key, acid.lot, acid.grams) for acid in recipe.acids)
    yield from (("embeds", embed.batch, embed.grams) for embed in recipe.embeds)
