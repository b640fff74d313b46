"""Many photos at once: taken in while the page may be left, what became of each, and the camera's clock."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo, available_timezones

import streamlit as st

from curejournal.base.messages import join, msg, msg_n
from curejournal.documents.formatting import moment
from curejournal.ui.components import common
from curejournal.ui.forms.photos import TYPES
from curejournal.ui.i18n import _, tr, word_of
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import background, cache
from curejournal.workflow import Card, photos
from curejournal.workflow.photos import InboxItem

INTAKE = "intake"
SHOWN = 6
MOVING = ["mov", "mp4", "m4v"]
"""Taken too, so that a video is answered in our words and not in the browser's."""
SETS = {
    "placed": "✓ Placed",
    "no colour": msg("✓ Placed, no colour from these"),
    "already there": msg("✓ There already"),
    "set aside": msg("‖ Set aside before"),
    "not a photo": msg("‖ Left out, nothing kept"),
}


def take_in(desk: Desk, card: Card) -> None:
    """Ask for photos and take them in; it goes on if the page is left, and what was taken in stays."""
    place, turn = str(desk.journal.location), st.session_state.setdefault("tray-turn", 0)
    files = st.file_uploader(
        _("Photos, as many as you like"), type=TYPES + MOVING, accept_multiple_files=True, key=f"tray-{turn}"
    )
    with st.expander(_("The camera’s clock or time zone was not right")):
        common.say(msg("Set it before you take them in, or later for the whole set."), "soft")
        clock = _clock(desk, "before")
    going = background.is_going(place, INTAKE)
    if going:
        common.say(msg("You may leave this page: it goes on, and what became of the photos is found here."), "soft")
    label = msg("Take in {files}", files=msg_n("{number} photo", "{number} photos", len(files)))
    if not files or not st.button(tr(label), key="tray-go", type="primary", disabled=going):
        return
    sources = [photos.Source(file.name, file.getvalue) for file in files]
    background.put_away(place, INTAKE)
    background.begin(
        place, INTAKE, msg("Looking at the photos"), lambda tell: _taken_in(desk, card, clock, sources, tell)
    )
    st.session_state["tray-turn"] = turn + 1
    st.rerun()


def _taken_in(
    desk: Desk, card: Card, clock: photos.Clock, sources: Sequence[photos.Source], tell: background.Tell
) -> list[photos.Arrival]:
    def show(step: photos.Progress) -> None:
        tell(step.done / step.total, msg("{done} of {total}, {name}", done=step.done, total=step.total, name=step.name))

    # One worker: the app's own process is left as it is.
    return photos.import_photos(
        desk.journal, sources, card=card, by=desk.by, now=desk.now, clock=clock, workers=1, progress=show
    )


def arrived(desk: Desk, card: Card, waiting: Iterable[str]) -> None:
    """What became of the photos that came in last, until it is put away."""
    place = str(desk.journal.location)
    done = background.done(place, INTAKE)
    if done is None:
        return
    arrivals: list[photos.Arrival] = done.result
    still = set(waiting)
    asked = [arrival for arrival in arrivals if arrival.outcome == "needs you" and arrival.item]
    open_ones = [arrival for arrival in asked if arrival.item and arrival.item.sha256 in still]
    with st.container(border=True, key="arrived"):
        st.subheader(tr(msg("{arrivals} came in", arrivals=len(arrivals)) if len(arrivals) != 1 else msg("1 came in")))
        if open_ones:
            told = msg("need you: they wait") if len(open_ones) > 1 else msg("needs you: it waits")
            common.say(msg("? {open_ones} {told} below.", open_ones=len(open_ones), told=told), "lead")
        if len(asked) > len(open_ones):
            common.say(msg("✓ {open_ones} that needed you are answered.", open_ones=len(asked) - len(open_ones)))
        for outcome, words in SETS.items():
            _set(desk, words, [arrival for arrival in arrivals if arrival.outcome == outcome])
        hashes = [a.item.sha256 for a in arrivals if a.item and a.outcome != "set aside"]
        if hashes:
            with st.expander(_("The clock was wrong in all of these")):
                _set_clock(desk, card, hashes)
        if st.button(_("Put this list away"), key="arrived-away"):
            background.put_away(place, INTAKE)
            st.rerun()


def _set(desk: Desk, words: str, arrivals: Sequence[photos.Arrival]) -> None:
    if not arrivals:
        return
    common.say(msg("{words}: {arrivals}", words=words, arrivals=len(arrivals)), "lead")
    many = len(arrivals) > SHOWN
    whole = not many or st.toggle(_("Show all {arrivals}", arrivals=len(arrivals)), key=f"arrived-all-{words}")
    seen = [(arrival, photos.unanswered(desk.journal, arrival.item) if arrival.item else ()) for arrival in arrivals]
    # What is asked about a surface is shown even where not all are.
    seen.sort(key=lambda each: not each[1])
    for arrival, asked in seen if whole else seen[:SHOWN]:
        if arrival.item is None:
            common.say(msg("{name}: {why}", name=arrival.name, why=arrival.why))
        else:
            _row(desk, arrival.item, arrival.why, [finding.words for finding in asked])


def _row(desk: Desk, item: InboxItem, why: str, looks: Sequence[str]) -> None:
    with st.container(horizontal=True, key=f"row-{item.sha256[:12]}", vertical_alignment="center"):
        st.image(cache.small_picture(desk.journal, item.sha256, 320), width=120, alt=_("Photo {name}", name=item.name))
        with st.container(width="stretch"):
            when = msg(", {zone}", zone=moment(item.at, desk.zone)) if item.at else ""
            st.markdown(tr(f"**{plain(item.batch or 'no batch yet')}**{when} · {plain(item.name)}"))
            common.patches(
                common.patch(seen.lab, seen.portion, common.grade_word(seen.grade), "half")
                for seen in item.colours
                if seen.lab
            )
            if why:
                common.say(why)
            for words in looks:
                common.say(msg("? {words} Open it, and say whether it is so.", words=words))
            common.way(desk, "photo", msg("Look at it, correct it"), ":material/edit:", photo=item.sha256)


def _clock(desk: Desk, key: str) -> photos.Clock:
    """Ask for the zone of photos that do not tell theirs, and for how far the camera's clock was off."""
    own = str(desk.zone)
    zones = sorted({own, *available_timezones()})
    zone = st.selectbox(
        _("Time zone, for photos that do not tell theirs"), zones, zones.index(own), key=f"clock-zone-{key}"
    )
    way = st.segmented_control(
        _("The camera’s clock was"),
        ["behind", "ahead"],
        default="behind",
        required=True,
        key=f"clock-way-{key}",
        format_func=word_of,
    )
    with st.container(horizontal=True):
        amounts = [
            st.number_input(tr(unit), 0, 20_000, 0, key=f"clock-{number}-{key}", width=150)
            for number, unit in enumerate((msg("Days"), msg("Hours"), msg("Minutes")))
        ]
    behind = timedelta(days=amounts[0], hours=amounts[1], minutes=amounts[2])
    return photos.Clock(desk.zone if zone == own else ZoneInfo(zone), -behind if way == "ahead" else behind)


def _set_clock(desk: Desk, card: Card, hashes: Sequence[str]) -> None:
    clock = _clock(desk, "after")
    common.say(msg("Dates are counted from what the camera wrote, so the same correction twice is one."), "soft")
    if st.button(_("Set the clock for these {hashes}", hashes=len(hashes)), key="clock-go"):
        changed = attempt(_setting(desk, card, hashes, clock))
        if changed is not None:
            told = join(", ", (f"{item.name} {moment(item.at, desk.zone)}" for item in changed[:3] if item.at))
            st.success(
                plain(msg("Done: {told}{changed}", told=told, changed=" …" if len(changed) > 3 else "")),
                icon=":material/check:",
            )


def _setting(desk: Desk, card: Card, hashes: Sequence[str], clock: photos.Clock) -> Callable[[], tuple[InboxItem, ...]]:
    return lambda: photos.set_clock(desk.journal, hashes, clock, card=card, by=desk.by, now=desk.now)
