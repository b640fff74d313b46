"""What a rebatch owes to its parents, and when its own bars say more than they do."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from curejournal.base.messages import join, msg
from curejournal.batch.records import AlkaliTest, Batch, SurfaceNote
from curejournal.judging.alkali import AlkaliSummary, Outcome
from curejournal.judging.checks import SAFETY
from curejournal.judging.findings import Verdict
from curejournal.judging.judgement import Judgement
from curejournal.judging.traceability import ancestors

BARS_TO_TITRATE = 3
"""Titrated bars of a rebatch that outrank a held parent. Chosen by us: melting mixes, but not surely; three bars from
different places would show lye that was left in a part of it."""

LYE_CHECKS = ("alkali", msg("lye margin"))
SIGNED = {"hold": msg("signed hold"), "withdraw": "withdrawn"}


def bars_titrated_good(batch: Batch, summary: AlkaliSummary) -> tuple[str, ...]:
    """The names of the bars whose titration was good, each once; a bar without a name cannot be told from another.

    Empty while any test of the batch holds it.

    Parameters
    ----------
    batch : Batch
    summary : AlkaliSummary
        Of all alkali tests of the batch.

    Returns
    -------
    tuple of str
    """
    if summary.holding:
        return ()
    titrations = [
        (test.bar.strip(), read.outcome)
        for (_, test), read in zip(batch.records(AlkaliTest), summary.tests, strict=False)
        if test.method == "titration"
    ]
    return tuple(dict.fromkeys(bar for bar, outcome in titrations if bar and outcome is Outcome.GOOD))


def why_held(batch: Batch, every: Mapping[str, Batch], judged: Callable[[Batch], Judgement]) -> str:
    """Say why pieces of other batches in a batch, or soap melted for it, keep it back; empty if they do not.

    Parameters
    ----------
    batch : Batch
    every : mapping of code to Batch
        All of the journal, the batch among them.
    judged : callable
        Gives the verdict on each batch, without regard to what is in it in turn.

    Returns
    -------
    str
    """
    melted = _melted(batch, every)
    own = judged(batch) if melted else None
    bars = bars_titrated_good(batch.as_of(own.on), own.alkali) if own is not None else ()
    for parent in ancestors(list(every.values()), batch.code):
        found = judged(parent)
        _, act = parent.as_of(found.on).last_act
        # What keeps the pieces back is their safety, not that their colour settled elsewhere.
        unsafe = [f.check for f in found.findings if f.verdict is Verdict.HOLD and f.check in SAFETY]
        signed = SIGNED.get(act.act, "") if act is not None else ""
        if parent.code.casefold() in melted and len(bars) >= BARS_TO_TITRATE and not _rancid(parent):
            continue
        why = join(", ", unsafe) or signed or (msg("recall question") if found.recall else "")
        if why and parent.code.casefold() in melted:
            left = msg(
                "; {bars_to_titrate} of its own bars, titrated and named, would outrank that, {bars} so far",
                bars_to_titrate=BARS_TO_TITRATE,
                bars=len(bars),
            )
            return msg(
                "soap of batch {code} was melted for it, which is held back ({why}){left}",
                code=parent.code,
                why=why,
                left=left,
            )
        if why:
            return msg("it has pieces of batch {code} in it, which is held back ({why})", code=parent.code, why=why)
    return ""


def _melted(batch: Batch, every: Mapping[str, Batch]) -> set[str]:
    """Codes, in lower case, of all whose soap was melted through for a batch, with all that had gone into them."""
    found = {piece.batch.strip().casefold() for piece in (batch.recipe.embeds if batch.recipe else ()) if piece.melted}
    before = [one.code.casefold() for code in found for one in ancestors(list(every.values()), code)]
    return found | set(before)


def _rancid(batch: Batch) -> bool:
    """Whether orange spots were seen: no titration speaks of rancid fat, and melting does not mend it."""
    return any(note.look == "orange spots" for _, note in batch.records(SurfaceNote))
