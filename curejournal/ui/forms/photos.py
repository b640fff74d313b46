"""What the photo page does with each picture: measure, show, ask for what is missing, keep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from curejournal import workflow
from curejournal.batch.records import Batch
from curejournal.documents.formatting import moment
from curejournal.ui.components import common, marking
from curejournal.ui.forms import surface
from curejournal.ui.i18n import st
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, Corners, Measurement, Points
from curejournal.workflow.photos import inbox

NO_CARD = "no card: picture only"
TYPES = ["jpg", "jpeg", "png", "heic", "heif", "tif", "tiff", "webp"]


@dataclass(frozen=True)
class Shot:
    """A picture on its way in, and all that is known of it so far; `key` tells two files of one name apart.

    `at` is when it was taken if the maker or the camera here says so; `when` is what counts: that, or its own date.
    `marking` says that it is shown already, to mark places in.
    """

    key: str
    name: str
    data: bytes
    at: datetime | None = None
    when: datetime | None = None
    card: Card | None = None
    portion: str = ""
    measurement: Measurement | None = None
    areas: dict[str, Points] | None = None
    corners: Corners | None = None
    marking: bool = False
    caption: str = ""

    @property
    def coloured(self) -> bool:
        """Whether there is a colour to keep."""
        return self.measurement is not None and self.measurement.usable and bool(self.measurement.areas)


def cards_to_choose(desk: Desk) -> dict[str, Card]:
    """The cards by name: the journal's own first, then the one that a maker prints."""
    built_in = workflow.card_names()
    names = sorted(workflow.card_names(desk.journal), key=lambda name: (name in built_in, name != "window"))
    return {name: workflow.find_card(name, desk.journal) for name in names}


def chosen_card(desk: Desk) -> Card | None:
    """Ask which card lies in the picture; the journal's own come first."""
    cards = cards_to_choose(desk)
    name = st.selectbox(
        "Which card lies in the picture?",
        [*cards, NO_CARD],
        format_func=lambda name: cards[name].title or name if name in cards else name,
        key="photo-card",
    )
    return cards.get(name)


def chosen_portion(batch: Batch | None, card: Card | None) -> str:
    """Ask what the window shows, if the batch has several portions and the card a window."""
    names = [portion.name for portion in batch.portions] if batch else []
    if len(names) < 2 or card is None or card.window is None:
        return names[0] if names else ""
    key = f"photo-portion-{batch.code if batch else ''}"
    return st.pills("Which portion lies in the window?", names, key=key, format_func=plain) or ""


def pictures(desk: Desk) -> Iterator[Shot]:
    """Photos from the phone or computer, or straight from the camera, which is dated now."""
    turn = st.session_state.setdefault("photo-turn", 0)
    files = st.file_uploader(
        "Photos of this batch",
        type=TYPES,
        accept_multiple_files=True,
        key=f"photo-files-{turn}",
        help="On a phone this also opens its camera; such photos are sharper and carry their date.",
    )
    for file in files:
        yield Shot(file.file_id, file.name, file.getvalue())
    if st.toggle("Use this device’s camera here", key=f"photo-camera-on-{turn}"):
        shot = st.camera_input("Card and soap in one picture", key=f"photo-camera-{turn}", resolution="1080p")
        if shot is not None:
            # Seen first, not looked at last: what was typed meanwhile took its time.
            at = st.session_state.setdefault(f"camera-at-{shot.file_id}", desk.now)
            yield Shot(shot.file_id, "camera.jpg", shot.getvalue(), at)


def measured(desk: Desk, batch: Batch | None, shot: Shot) -> Shot | None:
    """Show what is in a picture, ask for what is missing; None if it cannot be used at all."""
    common.say(shot.name, "soft")
    found = _measured(desk, batch, shot) if shot.card else shot
    if found is None:
        return None
    caption = _drawn(found.measurement)
    picture = attempt(lambda: cache.marked_picture(found.data, found.measurement, 1200))
    if picture is None:
        return None
    if found.marking:
        st.caption(caption)
    else:
        st.image(picture, width="stretch", caption=caption, alt=f"{shot.name}. {caption}")
    return found if batch is None else _dated(desk, found)


def _measured(desk: Desk, batch: Batch | None, shot: Shot) -> Shot | None:
    card = shot.card
    assert card is not None
    first = attempt(lambda: cache.measured(shot.data, card, None, None))
    if first is None:
        return None
    needed = card.window is None
    if st.toggle("Mark the places in the picture", value=needed, key=f"mark-{shot.key}"):
        names = [portion.name for portion in batch.portions] if batch else []
        picture = cache.marked_picture(shot.data, first if first.corners else None, 1200)
        alt = f"{shot.name}, to mark the soap in"
        propose = batch if not first.areas else None
        proposed = inbox.proposed_areas(desk.journal, propose, card, first.corners) if propose else {}
        if proposed:
            common.say(
                "The areas of the last photo are drawn where they would lie in this one. Draw anew what is not so."
            )
        marks = marking.mark(
            picture, first.width, first.height, names or ["soap"], f"marks-{shot.key}", alt, proposed=proposed
        )
        shot = replace(shot, areas=marks.areas or None, corners=marks.corners or None, marking=True)
        first = attempt(lambda: cache.measured(shot.data, card, shot.areas, shot.corners))
        if first is None:
            return None
    _result(first, shot.portion)
    return replace(shot, measurement=first)


def _drawn(measurement: Measurement | None) -> str:
    if measurement is None:
        return "The picture alone, without a card."
    if not measurement.corners:
        return "No card was found in it."
    words = ["White line: the card."]
    if measurement.areas:
        words.append("Yellow: the measured area." if measurement.usable else "Yellow: where the soap is looked for.")
    if any(reason.outlines for reason in measurement.reasons):
        words.append("Crossed: what is at fault.")
    return " ".join(words)


def _result(measurement: Measurement, portion: str) -> None:
    if measurement.usable and measurement.areas:
        common.measured_colours(measurement, {"window": portion or "the soap in the window"})
    elif measurement.usable:
        st.info("The card was found. Mark where the soap is, and its colour is shown.")
    else:
        st.error("**No colour can be told from this photo.** None is claimed.", icon=":material/back_hand:")
    common.listed(common.doubts_of(measurement))
    if measurement.usable and measurement.card_error is not None:
        with st.expander("How sure is it?"):
            common.values(
                {
                    "Grade": str(measurement.grade),
                    "Card": f"{measurement.card}, its colours {measurement.card_kind}",
                    "The card’s own patches, each foretold from the others": f"{measurement.card_error:.1f} ΔE00 off",
                    "Correction": measurement.model,
                }
            )


def _dated(desk: Desk, shot: Shot) -> Shot:
    when = shot.at or attempt(lambda: workflow.when_taken(shot.data, shot.name, desk.zone))
    if when is None:
        st.warning("Nothing in this file says when it was taken. When was it?", icon=":material/back_hand:")
        typed = st.datetime_input("Taken", value=None, format="YYYY-MM-DD", step=300, key=f"taken-{shot.key}")
        when = typed.replace(tzinfo=desk.zone) if typed else None
        shot = replace(shot, at=when)
    else:
        common.say(f"Taken {moment(when, desk.zone)}.", "soft")
    caption = st.text_input("Caption, if you like", key=f"caption-{shot.key}", max_chars=300)
    return replace(shot, caption=caption.strip(), when=when)


def keep(desk: Desk, batch: Batch, shots: list[Shot]) -> None:
    """The buttons that keep what was looked at: those with a colour together, those without each by itself."""
    unnamed = len(batch.portions) > 1 and any(shot.coloured and not shot.areas and not shot.portion for shot in shots)
    coloured = [shot for shot in shots if shot.coloured]
    plain_ones = [shot for shot in shots if not shot.coloured]
    chosen: list[Shot] = []
    if coloured:
        if unnamed:
            common.say("Say above which portion lies in the window.")
        blocked = unnamed or any(shot.when is None for shot in coloured)
        label = "Keep photo and colour" if len(coloured) == 1 else f"Keep {len(coloured)} photos and their colours"
        if st.button(label, key="keep-coloured", type="primary", disabled=blocked):
            chosen = coloured
    if plain_ones:
        to_mark = any(shot.measurement and shot.measurement.usable for shot in plain_ones)
        common.say(
            "Mark where the soap is, and its colour can be kept; or keep the picture for the story."
            if to_mark
            else "No colour in it? Take another one, or keep the picture for the story."
        )
    for shot in plain_ones:
        label = "Keep the picture without a colour" + (f": {plain(shot.name)}" if len(plain_ones) > 1 else "")
        if st.button(label, key=f"keep-{shot.key}", disabled=shot.when is None):
            chosen = [shot]
    lines = [line for line in (_kept(desk, batch, shot) for shot in chosen) if line]
    if lines:
        st.session_state["photo-done"] = (batch.code, lines)
        if len(lines) < len(chosen):  # what was refused is told above: its photo stays here
            done(desk, batch)
            return
        if len(chosen) == len(shots):
            st.session_state["photo-turn"] = st.session_state.get("photo-turn", 0) + 1
        st.rerun()


def _kept(desk: Desk, batch: Batch, shot: Shot) -> str:
    taken = attempt(
        lambda: workflow.take_in(
            desk.journal,
            batch.code,
            shot.data,
            name=shot.name,
            card=shot.card,
            by=desk.by,
            now=desk.now,
            zone=desk.zone,
            areas=shot.areas,
            portion=shot.portion,
            corners=shot.corners,
            at=shot.at,
            caption=shot.caption,
            keep_without_colour=not shot.coloured,
        )
    )
    if taken and taken.photo and taken.outcome == "kept":
        surface.look_later(taken.photo.sha256)
    return f"{shot.name}: {taken.outcome}. {taken.why}".strip() if taken else ""


def done(desk: Desk, batch: Batch | None) -> None:
    """Say what was kept of this batch just now."""
    code, lines = st.session_state.get("photo-done", ("", []))
    if batch is not None and batch.code == code:
        st.success("\n\n".join(plain(line) for line in lines), icon=":material/check:")
        common.way(desk, "batch", "Open the batch", batch=code)
