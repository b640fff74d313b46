"""The check of the surface: nothing on the cut faces that speaks against the bars."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.records import SurfaceNote
from curejournal.judging.alkali import Outcome
from curejournal.judging.context import Context
from curejournal.judging.findings import Check, Finding, Verdict

SOURCE = msg("[common practice, no source]")

BARS_AFTER_POCKET = 3
"""Bars that are titrated after a lye pocket was seen. Ours: a pocket in one bar says that others may hold one."""

_SURFACE: dict[str, tuple[Verdict, str, str]] = {
    "clear": (Verdict.PASS, "clear", ""),
    "ash": (Verdict.PASS, msg("soda ash: a matter of looks, it can be washed or planed off"), ""),
    "sweat": (Verdict.PENDING, msg("beads of moisture"), msg("Dry the room's air; look again in a few days.")),
    "orange spots": (
        Verdict.HOLD,
        msg("orange spots: often the fat going rancid"),
        msg("Set the bars aside; smell them, and look at the others."),
    ),
    "weeping": (Verdict.HOLD, msg("oil or lye weeps out"), msg("Wear gloves and keep it apart; test what comes out.")),
}

Looks = Sequence[tuple[datetime, SurfaceNote]]


def surface(context: Context) -> Finding:
    """Nothing on the surface that speaks against it.

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
        "cut faces looked at; no orange spots or weeping since the bars were last noted as clear, no beads of moisture "
        "last time; after a lye pocket, {bars_after_pocket} bars titrated good and the affected ones set aside",
        bars_after_pocket=BARS_AFTER_POCKET,
    )

    def finding(verdict: Verdict, words: str, advice: str = "", needs: str = "", qualifier: str = "") -> Finding:
        return Finding("surface", verdict, words, rule, SOURCE, advice=advice, needs=needs, qualifier=qualifier)

    looks = context.batch.records(SurfaceNote)
    pockets = [look for look in looks if look[1].look == "lye pocket"]
    missing = _after_pockets(context, pockets)
    if missing:
        return finding(
            Verdict.HOLD,
            msg(
                "a lye pocket was seen on {pockets}: it is caustic; still missing: {missing}",
                pockets=_day(pockets[-1][0]),
                missing=missing,
            ),
            msg(
                "Wear gloves and keep it apart; do not sell it. Set the affected bars aside and note how many, and "
                "titrate "
                "{bars_after_pocket} of the others.",
                bars_after_pocket=BARS_AFTER_POCKET,
            ),
        )
    seen = [look for look in looks if _shows_cut_faces(context, *look) and look[1].look in _SURFACE]
    others = [look for look in looks if look[1].look in _SURFACE]
    if not seen and not any(_SURFACE[note.look][0] is Verdict.HOLD for _, note in others):
        words = msg("only the outside was looked at") if others else msg("no surface check noted")
        advice = msg("Look at the cut faces of the bars for white crumbs, wet spots and orange spots, and note it.")
        return finding(Verdict.UNKNOWN, words, advice, msg("a surface check of cut faces"))
    at, note = _worst(others)
    verdict, words, advice = _SURFACE[note.look]
    words = msg("{words} ({at})", words=words, at=_day(at))
    seen_once = (
        msg("a lye pocket was seen on {pockets}, and other bars were titrated good", pockets=_day(pockets[-1][0]))
        if pockets
        else ""
    )
    return finding(verdict, join("; ", filter(None, (words, seen_once))), advice, qualifier=seen_once)


def _shows_cut_faces(context: Context, at: datetime, note: SurfaceNote) -> bool:
    cut = context.batch.event_at("cut")
    return not note.outside_only and (cut is None or at >= cut)


def _worst(looks: Looks) -> tuple[datetime, SurfaceNote]:
    """What stands: what holds is undone neither by another bar on the same day nor by ash later, only by “clear”."""
    standing: list[tuple[datetime, SurfaceNote]] = []
    today: list[tuple[datetime, SurfaceNote]] = []
    for _, group in groupby(looks, key=lambda look: look[0].date()):
        today = list(group)
        bad = [look for look in today if _SURFACE[look[1].look][0] is Verdict.HOLD]
        cleared = not bad and any(note.look == "clear" for _, note in today)
        standing = [] if cleared else [*standing, *bad]
    return max([*reversed(standing), *today], key=lambda look: list(Verdict).index(_SURFACE[look[1].look][0]))


def _after_pockets(context: Context, pockets: Looks) -> str:
    """What is missing before bars of a batch with a lye pocket may be sold; empty if nothing is."""
    if not pockets:
        return ""
    first, last = pockets[0][0], pockets[-1][0]
    affected = max((note.count or 1) for _, note in pockets)
    aside = sum(note.set_aside or 0 for at, note in context.batch.records(SurfaceNote) if at >= first)
    scrapped = sum(out.bars for at, out in context.batch.bars_out_since(first) if out.why == "scrapped")
    good = [test for test in context.alkali.tests if test.method == "titration" and test.at >= last]
    bars = {test.bar or f"#{number}" for number, test in enumerate(good) if test.outcome is Outcome.GOOD}
    missing = []
    if len(bars) < BARS_AFTER_POCKET:
        missing.append(
            msg(
                "good titrations of {bars}",
                bars=msg_n("{number} more bar", "{number} more bars", BARS_AFTER_POCKET - len(bars)),
            )
        )
    if aside + scrapped < affected:
        missing.append(
            msg(
                "{scrapped} to set aside",
                scrapped=msg_n("{number} affected bar", "{number} affected bars", affected - aside - scrapped),
            )
        )
    return join(" and ", missing)


def _day(at: datetime) -> str:
    return f"{at.day} {at:%B}"


CHECK = Check(
    "surface",
    surface,
    msg("Soda ash, orange spots, moisture, lye pockets."),
    needed=True,
    safety=True,
    source=SOURCE,
    rank=30,
)
