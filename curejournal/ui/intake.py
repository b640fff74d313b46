"""What the photo page does with each picture: measure, show, ask for what is missing, keep."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

import streamlit as st

from curejournal import workflow
from curejournal.cure.records import Batch
from curejournal.report.wording import moment
from curejournal.ui import cache, parts
from curejournal.ui.page import Desk, attempt, plain
from curejournal.workflow import Box, Card, Measurement

NO_CARD = "no card: picture only"
TYPES = ["jpg", "jpeg", "png", "heic", "heif", "tif", "tiff", "webp"]


def chosen_card(desk: Desk) -> Card | None:
    """Ask which card lies in the picture; the journal's own come first."""
    names = [*workflow.card_names(desk.journal), NO_CARD]
    name = st.selectbox("Which card lies in the picture?", names, key="photo-card")
    if name == NO_CARD:
        return None
    return attempt(lambda: workflow.find_card(name, desk.journal))


def chosen_portion(batch: Batch | None) -> str:
    """Ask what the window shows, if the batch has several portions."""
    names = [portion.name for portion in batch.portions] if batch else []
    if len(names) < 2:
        return names[0] if names else ""
    return (
        st.pills("Which portion lies in the window?", names, key=f"photo-portion-{batch.code if batch else ''}") or ""
    )


def pictures(desk: Desk) -> Iterator[tuple[str, bytes, datetime | None]]:
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
        yield file.name, file.getvalue(), None
    if st.toggle("Use this device’s camera here", key=f"photo-camera-on-{turn}"):
        shot = st.camera_input("Card and soap in one picture", key=f"photo-camera-{turn}", resolution="1080p")
        if shot is not None:
            yield "camera.jpg", shot.getvalue(), desk.now


def one(
    desk: Desk, batch: Batch | None, card: Card | None, portion: str, name: str, data: bytes, at: datetime | None
) -> None:
    """One photo: what is in it, and what becomes of it."""
    parts.say(name, "soft")
    areas = _areas(name, batch, card)
    measurement = attempt(lambda: cache.measured(data, card, areas)) if card else None
    if card and measurement is None:
        return
    if not card and attempt(lambda: cache.marked_picture(data, None, 1200)) is None:
        return
    if measurement is not None:
        _result(measurement, portion)
    caption = _drawn(measurement)
    st.image(cache.marked_picture(data, measurement, 1200), width="stretch", caption=caption, alt=f"{name}. {caption}")
    if batch is not None:
        _keep(desk, batch, card, portion, name, data, at, measurement, areas)


def _drawn(measurement: Measurement | None) -> str:
    if measurement is None:
        return "The picture alone, without a card."
    if not measurement.corners:
        return "No card was found in it."
    faults = any(reason.outline for reason in measurement.reasons)
    return f"White line: the card. Yellow: the measured area.{' Crossed: what is at fault.' if faults else ''}"


def _areas(name: str, batch: Batch | None, card: Card | None) -> dict[str, Box] | None:
    if card is None or (card.window is not None and not st.toggle("Mark the areas myself", key=f"mark-{name}")):
        return None
    portions = [portion.name for portion in batch.portions] if batch else []
    areas: dict[str, Box] = {}
    for portion in portions or ["soap"]:
        with st.container(horizontal=True, key=f"box-{name}-{portion}", vertical_alignment="bottom"):
            st.markdown(f"**{plain(portion)}**, in pixels")
            sides = [
                st.number_input(side, value=None, min_value=0, step=10, key=f"box-{name}-{portion}-{side}", width=120)
                for side in ("left", "top", "right", "bottom")
            ]
        left, top, right, bottom = sides
        if left is not None and top is not None and right is not None and bottom is not None:
            areas[portion] = (float(left), float(top), float(right), float(bottom))
    return areas or None


def _result(measurement: Measurement, portion: str) -> None:
    if measurement.usable and measurement.areas:
        parts.measured_colours(measurement, {"window": portion or "the soap in the window"})
    elif measurement.usable:
        st.info("The card was found. Mark where the soap is to see its colour.")
    else:
        st.error("**No colour can be told from this photo.** None is claimed.", icon=":material/back_hand:")
    doubts = parts.doubts_of(measurement)
    parts.listed(doubts)
    if measurement.usable and measurement.card_error is not None:
        with st.expander("How sure is it?"):
            parts.values(
                {
                    "Grade": str(measurement.grade),
                    "Card": f"{measurement.card}, its colours {measurement.card_kind}",
                    "The card’s own patches, each foretold from the others": f"{measurement.card_error:.1f} ΔE00 off",
                    "Correction": measurement.model,
                }
            )


def _keep(
    desk: Desk,
    batch: Batch,
    card: Card | None,
    portion: str,
    name: str,
    data: bytes,
    at: datetime | None,
    measurement: Measurement | None,
    areas: dict[str, Box] | None,
) -> None:
    when = at or attempt(lambda: workflow.when_taken(data, name, desk.zone))
    if when is None:
        st.warning("Nothing in this file says when it was taken. When was it?", icon=":material/back_hand:")
        typed = st.datetime_input("Taken", value=None, format="YYYY-MM-DD", step=300, key=f"taken-{name}")
        when = at = typed.replace(tzinfo=desk.zone) if typed else None
    else:
        parts.say(f"Taken {moment(when)}.", "soft")
    caption = st.text_input("Caption, if you like", key=f"caption-{name}", max_chars=300)
    coloured = measurement is not None and measurement.usable and bool(measurement.areas)
    unnamed = coloured and areas is None and len(batch.portions) > 1 and not portion
    if unnamed:
        parts.say("Say above which portion lies in the window.")
    if not coloured:
        parts.say("Take another one; or keep the picture for the story, without a colour.")
    label = "Keep photo and colour" if coloured else "Keep the picture without a colour"
    if st.button(
        label, key=f"keep-{name}", type="primary" if coloured else "secondary", disabled=when is None or unnamed
    ):
        taken = attempt(
            lambda: workflow.take_in(
                desk.journal,
                batch.code,
                data,
                name=name,
                card=card,
                by=desk.by,
                now=desk.now,
                zone=desk.zone,
                areas=areas,
                portion=portion,
                at=at,
                caption=caption.strip(),
                keep_without_colour=True,
            )
        )
        if taken is not None:
            st.session_state["photo-done"] = (batch.code, [f"{name}: {taken.outcome}. {taken.why}".strip()])
            st.session_state["photo-turn"] = st.session_state.get("photo-turn", 0) + 1
            st.rerun()


def done(desk: Desk) -> None:
    """Say what was kept just now."""
    if "photo-done" in st.session_state:
        code, lines = st.session_state["photo-done"]
        st.success("\n\n".join(plain(line) for line in lines), icon=":material/check:")
        parts.way(desk, "batch", "Open the batch", batch=code)
