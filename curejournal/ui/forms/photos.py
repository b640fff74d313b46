"""What the photo page does with each picture: analyse, show, ask for what is missing, keep."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import join, msg
from curejournal.batch.records import Batch
from curejournal.colour.sample import Grade
from curejournal.documents.formatting import moment
from curejournal.ui.components import common, marking, taking
from curejournal.ui.forms import photo_answers, surface
from curejournal.ui.i18n import localised, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache
from curejournal.workflow import Card, Measurement, photos
from curejournal.workflow.photos import Answers, Arrival, Filing, Marks, PhotoAnalysis, Question, Source

NO_CARD = msg("no card: picture only")
TYPES = ["jpg", "jpeg", "png", "heic", "heif", "tif", "tiff", "webp"]


@dataclass(frozen=True)
class Shot:
    """A picture on its way in, and all that is known of it so far; `key` tells two files of one name apart.

    `answers` are what the maker says with it; `filing` is what it would make in the batch, or what is asked first.
    """

    key: str
    name: str
    data: bytes
    card: Card | None = None
    answers: Answers = field(default_factory=Answers)
    analysis: PhotoAnalysis | None = None
    filing: Filing | None = None

    @property
    def coloured(self) -> bool:
        """Whether there is a colour to keep."""
        refused = self.filing is not None and bool(self.filing.item.no_colour)
        return self.usable and not refused and self.analysis is not None and bool(self.analysis.measurement.areas)

    @property
    def usable(self) -> bool:
        """Whether its card tells colours."""
        return self.analysis is not None and self.analysis.measurement.usable

    @property
    def clear(self) -> bool:
        """Whether nothing is asked about it any more."""
        return self.filing is not None and not [one for one in self.filing.questions if one.kind != "areas"]


def cards_to_choose(desk: Desk) -> dict[str, Card]:
    """The cards by name: the journal's own first, then the one that a maker prints."""
    built_in = workflow.card_names()
    names = sorted(workflow.card_names(desk.journal), key=lambda name: (name in built_in, name != "window"))
    return {name: workflow.find_card(name, desk.journal) for name in names}


def chosen_card(desk: Desk) -> Card | None:
    """Ask which card lies in the picture; the journal's own come first."""
    cards = cards_to_choose(desk)
    name = st.selectbox(
        tr(msg("Which card lies in the picture?")),
        [*cards, NO_CARD],
        format_func=localised(lambda name: cards[name].title or name if name in cards else name),
        key="photo-card",
    )
    return cards.get(name)


def chosen_portion(batch: Batch | None, card: Card | None) -> str:
    """Ask which one portion the whole window shows, if the batch has several; without an answer its layers tell."""
    names = [portion.name for portion in batch.portions] if batch else []
    if len(names) < 2 or card is None or card.window is None:
        return ""
    key = f"photo-portion-{batch.code if batch else ''}"
    return st.pills(tr(msg("Which portion lies in the window?")), names, key=key, format_func=plain) or ""


def pictures(desk: Desk, card: Card | None) -> Iterator[Shot]:
    """Photos from the phone or computer, or straight from the camera."""
    turn = st.session_state.setdefault("photo-turn", 0)
    files = st.file_uploader(
        tr(msg("Photos of this batch")),
        type=TYPES,
        accept_multiple_files=True,
        key=f"photo-files-{turn}",
        help=tr(msg("On a phone this also opens its camera; such photos are sharper and carry their date.")),
    )
    taking.offer(desk, card)
    for file in files:
        yield Shot(file.file_id, file.name, file.getvalue())


def shown(desk: Desk, batch: Batch | None, shot: Shot) -> Shot | None:
    """Show what is in a picture, ask for what is missing; None if it cannot be used at all."""
    common.say(shot.name, "soft")
    cards = photos.cards_for(desk.journal, shot.card)
    first = attempt(lambda: cache.analysed(shot.data, cards, shot.answers.marks_for(shot.card)))
    if first is None:
        return None
    marks = _marked(desk, batch, shot, first) if shot.card else None
    if marks is not None:
        window = "" if marks.areas else shot.answers.window
        of = shot.card.name if shot.card else ""
        answers = replace(shot.answers, areas=marks.areas or None, corners=marks.corners, corners_of=of, window=window)
        shot = replace(shot, answers=answers)
        first = attempt(lambda: cache.analysed(shot.data, cards, answers.marks_for(shot.card)))
        if first is None:
            return None
    shot = replace(shot, analysis=first)
    seen = first.measurement if shot.card else None
    if seen is not None:
        _result(desk, batch, shot, seen)
    caption = _drawn(seen)
    picture = attempt(lambda: cache.marked_picture(shot.data, seen, 1200))
    if picture is None:
        return None
    if marks is not None:
        st.caption(tr(caption))
    else:
        st.image(picture, width="stretch", caption=tr(caption), alt=tr(f"{shot.name}. {caption}"))
    return shot if batch is None else _asked(desk, batch, shot)


def _marked(desk: Desk, batch: Batch | None, shot: Shot, first: PhotoAnalysis) -> Marks | None:
    """The places that are marked in a picture; None if none are to be."""
    card, seen = shot.card, first.measurement
    assert card is not None
    if not st.toggle(tr(msg("Mark the places in the picture")), value=card.window is None, key=f"mark-{shot.key}"):
        return None
    names = [portion.name for portion in batch.portions] if batch else []
    picture = cache.marked_picture(shot.data, seen if seen.corners else None, 1200)
    alt = msg("{name}, to mark the soap in", name=shot.name)
    propose = batch if not seen.areas else None
    proposed = photos.proposed_areas(desk.journal, propose, card, seen.corners) if propose else {}
    if proposed:
        common.say(
            msg("The areas of the last photo are drawn where they would lie in this one. Redraw any that are wrong.")
        )
    marks = marking.mark(
        picture, seen.width, seen.height, names or ["soap"], f"marks-{shot.key}", alt, proposed=proposed
    )
    return Marks(marks.areas, marks.corners)


def _drawn(measurement: Measurement | None) -> str:
    if measurement is None:
        return msg("The picture alone, without a card.")
    if not measurement.corners:
        return msg("No card was found in it.")
    words = [msg("White line: the card.")]
    if measurement.areas:
        words.append(
            msg("Yellow: the measured area.") if measurement.usable else msg("Yellow: where the soap is looked for.")
        )
    outlined = [reason for reason in measurement.reasons if reason.outlines]
    if any(reason.limit is not Grade.NOT_USABLE for reason in outlined):
        words.append(msg("Red line: what makes a colour doubtful."))
    if any(reason.limit is Grade.NOT_USABLE for reason in outlined):
        words.append(msg("Red cross: what keeps it from being measured."))
    return join(" ", words)


def _result(desk: Desk, batch: Batch | None, shot: Shot, measurement: Measurement) -> None:
    if measurement.usable and measurement.areas:
        common.measured_colours(measurement, _names(desk, batch, shot))
    elif measurement.usable:
        st.info(tr(msg("The card was found. Mark where the soap is, and its colour is shown.")))
    else:
        st.error(tr(msg("**No colour can be told from this photo.** None is claimed.")), icon=":material/back_hand:")
    common.listed(common.doubts_of(measurement))
    if measurement.usable and measurement.card_error is not None:
        with st.expander(tr(msg("How sure is it?"))):
            common.values(
                {
                    msg("Grade"): common.grade_word(measurement.grade),
                    msg("Card"): msg(
                        "{card}, its colours {card_kind}", card=measurement.card, card_kind=measurement.card_kind
                    ),
                    msg("The card’s own patches, each predicted from the others"): msg(
                        "{card_error:.1f} ΔE00 off", card_error=measurement.card_error
                    ),
                    msg("Correction"): measurement.model,
                }
            )


def _names(desk: Desk, batch: Batch | None, shot: Shot) -> dict[str, str]:
    """What each colour is called, by the name of its area."""
    assert shot.analysis is not None
    areas = shot.analysis.measurement.areas
    if batch is None:
        many = len(areas) > 1
        return {
            area.name: msg("colour {number}", number=k) if many else msg("the soap in the window")
            for k, area in enumerate(areas, 1)
        }
    colours = photos.preview(desk.journal, batch.code, shot.analysis, shot.name, shot.answers, desk.now).item.colours
    return {area.name: colour.portion or msg("which portion?") for area, colour in zip(areas, colours, strict=True)}


def _asked(desk: Desk, batch: Batch, shot: Shot) -> Shot | None:
    """Ask what only the maker knows of a picture, until nothing is asked; None if it is in the batch already."""
    analysis = shot.analysis
    assert analysis is not None
    if batch.code in {code for code, _ in desk.journal.entries_of_photo(analysis.sha256)}:
        common.say(msg("✓ It is in this batch."))
        taking.are_safe([shot.name])
        return None

    def filed(answers: Answers) -> Filing:
        return photos.preview(desk.journal, batch.code, analysis, shot.name, answers, desk.now)

    filing, answers = filed(shot.answers), shot.answers
    dated = _say(filing, "date")
    if dated:
        typed = st.datetime_input(tr(msg("Taken")), value=None, format="YYYY-MM-DD", step=300, key=f"taken-{shot.key}")
        answers = replace(answers, at=typed.replace(tzinfo=desk.zone) if typed else answers.at)
        filing = filed(answers)
    if filing.item.at is not None:
        common.say(msg("Taken {zone}.", zone=moment(filing.item.at, desk.zone)), "soft")
    named = _say(filing, "portions")
    if named:
        picture = attempt(lambda: photos.outlined_photo(shot.data, named.outlines, 1000))
        portions = photo_answers.named_colours(filing.item, named.choices, picture, f"shot-{shot.key}")
        answers = replace(answers, portions=portions)
    filing = filed(answers)
    others = [question for question in filing.questions if question.kind not in photo_answers.FORMS]
    for question in others:
        _say(filing, question.kind)
    confirmed, chosen = photo_answers.other_answers([*([dated] if dated else []), *others], f"shot-{shot.key}")
    caption = st.text_input(tr(msg("Caption, if you like")), key=f"caption-{shot.key}", max_chars=300).strip()
    answers = replace(answers, confirmed=confirmed, chosen=chosen, caption=caption or None)
    return replace(shot, answers=answers, filing=filed(answers))


def _say(filing: Filing, kind: str) -> Question | None:
    """Say what is asked of a kind, if anything is."""
    question = next((question for question in filing.questions if question.kind == kind), None)
    if question is not None:
        st.warning(plain(question.text), icon=":material/back_hand:")
    return question


def keep(desk: Desk, batch: Batch, shots: list[Shot]) -> None:
    """The buttons that keep what was looked at: those with a colour together, those without each by itself."""
    coloured = [shot for shot in shots if shot.coloured]
    plain_ones = [shot for shot in shots if not shot.coloured]
    clear = [shot for shot in coloured if shot.clear]
    chosen: list[Shot] = []
    if coloured:
        label = (
            msg("Keep photo and colour")
            if len(clear) < 2
            else msg("Keep {clear} photos and their colours", clear=len(clear))
        )
        if len(clear) < len(coloured):
            common.say(
                msg("Answer what is asked above to save the others too.")
                if clear
                else msg("Answer what is asked above first.")
            )
        if st.button(tr(label), key="keep-coloured", type="primary", disabled=not clear):
            chosen = clear
    if plain_ones:
        to_mark = any(shot.usable for shot in plain_ones)
        common.say(
            msg("Mark where the soap is, and its colour can be kept; or keep the picture for the story.")
            if to_mark
            else msg("No colour in it? Take another one, or keep the picture for the story.")
        )
    for shot in plain_ones:
        label = msg("Keep the picture without a colour") + (
            msg(": {name}", name=plain(shot.name)) if len(plain_ones) > 1 else ""
        )
        if st.button(tr(label), key=f"keep-{shot.key}", disabled=not shot.clear):
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
    added = attempt(_adding(desk, batch, shot))
    if added:
        taking.are_safe([shot.name])
    if added and added.item and added.outcome == "placed":
        surface.look_later(added.item.sha256)
    return (
        msg("{name}: {outcome}. {why}", name=shot.name, outcome=added.outcome, why=added.why).strip() if added else ""
    )


def _adding(desk: Desk, batch: Batch, shot: Shot) -> Callable[[], Arrival]:
    assert shot.analysis is not None
    source = Source(shot.name, lambda: shot.data)
    how = partial(photos.add_analysed, by=desk.by, now=desk.now, story=not shot.coloured)
    return partial(how, desk.journal, batch.code, source, shot.analysis, shot.answers)


def done(desk: Desk, batch: Batch | None) -> None:
    """Say what was kept of this batch just now."""
    code, lines = st.session_state.get("photo-done", ("", []))
    if batch is not None and batch.code == code:
        st.success(tr("\n\n".join(plain(line) for line in lines)), icon=":material/check:")
        common.way(desk, "batch", msg("Open the batch"), batch=code)
