"""pH strips by photo: a packet's key enrolled once, a strip read beside the card and kept as an alkali test."""

from __future__ import annotations

from collections.abc import Sequence

from curejournal import strips, workflow
from curejournal.cure.records import Batch
from curejournal.strips import StripKey
from curejournal.ui import cache, marking, parts
from curejournal.ui.intake import TYPES, cards_to_choose
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.telling import st
from curejournal.workflow import Card, Points

KEY_ROW = "the row of its colours"
PAD = "the pad"
# The middle of a field, as a share of the way to the next one: clear of its rim and of the gap. Ours.
FIELD_SHARE = 0.22


def chosen_card(desk: Desk) -> Card:
    """Ask which card lies beside key and strip; the journal's own come first."""
    cards = cards_to_choose(desk)
    name = st.selectbox(
        "Which card lies beside it?", list(cards), format_func=lambda name: cards[name].title or name, key="strip-card"
    )
    return cards[name]


def enrol(desk: Desk, card: Card) -> None:
    """Ask for a photo of the packet's key, and where its colours are."""
    parts.say(
        "Photograph the colour key on the packet beside the card in good daylight. It is measured once; after that "
        "a photo of a strip is enough. A key counts for its own packet’s lot alone."
    )
    file = st.file_uploader("Photo of the key", type=TYPES, key="key-photo")
    with st.container(horizontal=True):
        name = st.text_input("What to call it", key="key-name", max_chars=60, width=300)
        lot = st.text_input("Lot on the packet", key="key-lot", max_chars=60, width=300)
    typed = st.text_input("The pH of its colours, in their order", key="key-ph", placeholder="7 7.5 8 8.5 9 9.5 10")
    values = _numbers(typed)
    if file is None or len(values) < 3:
        parts.say("With a photo and at least three pH values, the colours are marked next.", "soft")
        return
    areas = _fields(card, file.getvalue(), values)
    if len(areas) == len(values):
        measured = attempt(lambda: workflow.measure_photo(file.getvalue(), card, areas))
        if measured is not None:
            parts.patches(
                parts.patch(area.sample.lab if area.sample else None, f"pH {area.name}", str(area.grade), "half")
                for area in measured.areas
            )
            parts.listed(parts.doubts_of(measured))
    complete = bool(name.strip() and lot.strip() and len(areas) == len(values))
    if not complete:
        parts.say("A name, the lot and the place of every colour are needed.", "soft")
    if st.button("Keep this key", key="key-keep", type="primary", disabled=not complete):
        places = {ph: areas[f"{ph:g}"] for ph in values}
        key = attempt(
            lambda: strips.enrol_strip_key(desk.journal, file.getvalue(), card, name.strip(), lot.strip(), places)
        )
        if key is not None:
            st.success(f"Kept: {len(key.steps)} colours of {plain(name)}.", icon=":material/check:")


def _fields(card: Card, data: bytes, values: Sequence[float]) -> dict[str, Points]:
    """Where each colour of a key is: along one row from the first to the last, or marked one by one."""
    shown = attempt(lambda: cache.measured(data, card, None, None))
    if shown is None:
        return {}
    picture = cache.marked_picture(data, None, 1400)
    way = st.segmented_control(
        "Its colours lie",
        ["in a row, evenly", "anyhow: one by one"],
        default="in a row, evenly",
        required=True,
        key="key-way",
    )
    if way != "in a row, evenly":
        names = [f"{ph:g}" for ph in values]
        return marking.mark(
            picture, shown.width, shown.height, names, "key-marks", "The key, to mark", kinds=("box",), corners=False
        ).areas
    parts.say("Pull from the middle of the first colour to the middle of the last.", "soft")
    row = marking.mark(
        picture, shown.width, shown.height, [KEY_ROW], "key-row", "The key, to mark", kinds=("band",), corners=False
    ).areas.get(KEY_ROW)
    return {} if row is None else _along(row, values)


def _along(band: Points, values: Sequence[float]) -> dict[str, Points]:
    """A square in the middle of each of several fields that lie evenly along a band's middle line."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = band
    start, end = ((ax + dx) / 2, (ay + dy) / 2), ((bx + cx) / 2, (by + cy) / 2)
    step = ((end[0] - start[0]) / (len(values) - 1), (end[1] - start[1]) / (len(values) - 1))
    thick = ((ax - dx) ** 2 + (ay - dy) ** 2) ** 0.5
    side = min(FIELD_SHARE * (step[0] ** 2 + step[1] ** 2) ** 0.5, thick / 2)
    areas = {}
    for number, ph in enumerate(values):
        x, y = start[0] + number * step[0], start[1] + number * step[1]
        areas[f"{ph:g}"] = workflow.outline_of((x - side / 2, y - side / 2, x + side / 2, y + side / 2))
    return areas


def read(desk: Desk, card: Card, keys: dict[str, StripKey]) -> None:
    """Ask for a photo of a strip; show its pH with the interval; keep it as an alkali test if asked to."""
    name = st.selectbox(
        "Which key", list(keys), format_func=lambda name: f"{name}, lot {keys[name].lot}", key="strip-key"
    )
    key = keys[name]
    # Not filled in beforehand: another packet's strip is just what is to be noticed.
    lot = st.text_input("Lot on this strip’s packet, as printed", key=f"strip-lot-{name}", max_chars=60)
    code = parts.chosen_batch(desk, "strip-batch", "Which batch was tested?")
    strength = st.number_input(
        "Grams of soap in 100 ml of distilled water", 0.1, 20.0, 1.0, 0.1, format="%.1f", key="strip-strength"
    )
    file = st.file_uploader("Photo of the strip beside the card", type=TYPES, key="strip-photo")
    if file is None:
        return
    data = file.getvalue()
    seen = attempt(lambda: cache.measured(data, card, None, None))
    if seen is None:
        return
    picture = cache.marked_picture(data, None, 1400)
    pad = marking.mark(
        picture, seen.width, seen.height, [PAD], "strip-marks", "The strip, to mark", kinds=("box",), corners=False
    ).areas.get(PAD)
    if pad is None or not lot.strip():
        parts.say("Mark the pad and type the lot, and the pH is read.", "soft")
        return
    reading = attempt(lambda: strips.read_strip_photo(data, card, key, pad, lot.strip()))
    if reading is None:
        return
    st.subheader(f"pH {reading.ph:.1f}")
    parts.say(f"95 % interval {reading.low:.1f} to {reading.high:.1f}, by the key {key.name}.", "lead")
    parts.say("Strips often read low in soap: a strip can hold a batch, it does not prove that soap is safe.", "soft")
    if code is not None:
        _keep(desk, desk.journal.batch(code), file.name, data, reading, strength)
    elif desk.journal.names():
        parts.say("Choose above which batch was tested, and it can be kept as an alkali test.")


def _keep(desk: Desk, batch: Batch, name: str, data: bytes, reading: strips.StripReading, strength: float) -> None:
    when = workflow.when_taken(data, name, desk.zone)
    typed = None
    if when is None:
        typed = st.datetime_input("Tested", value=None, format="YYYY-MM-DD", step=300, key="strip-at")
    at = when or (typed.replace(tzinfo=desk.zone) if typed else None)
    sure = st.checkbox("It is as I read it, however unlikely", key="strip-sure")
    if st.button(
        f"Keep it as an alkali test of {plain(batch.code)}", key="strip-keep", type="primary", disabled=at is None
    ):
        kept = attempt(
            lambda: strips.keep_strip(
                desk.journal,
                batch.code,
                data,
                reading,
                name=name,
                strength_pct=strength,
                at=at or desk.now,
                by=desk.by,
                now=desk.now,
                confirmed=sure,
            )
        )
        if kept is not None:
            st.success(f"Kept: pH {reading.ph:.1f} for {plain(batch.code)}.", icon=":material/check:")


def _numbers(typed: str) -> list[float]:
    """The numbers in a text, each once; empty if any part is none."""
    try:
        return list(dict.fromkeys(float(part) for part in typed.replace(",", " ").split()))
    except ValueError:
        return []
