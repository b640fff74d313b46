"""What a phone sends of the pour: kept once by its key, in its order, at its time, and nothing hostile among it."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curejournal.batch.records import Event, Portion, ScalarReading
from curejournal.journal.store import Changes, Journal, NewEntry, Press
from curejournal.workflow import presses
from curejournal.workflow.presses import Answer, NotASending, keep_presses, read_sending

NOW = datetime(2026, 11, 30, 9, 0, tzinfo=UTC)
PHONE, OTHER = "0123456789abcdef", "fedcba9876543210"
ANN = "Ann (invented)"


@pytest.fixture
def pour(journal: Journal) -> Journal:
    journal.set_setting("time zone", "UTC")
    portions = [Portion("a"), Portion("b", 1)]
    journal.start_batch("B-1", "Layers", at=NOW - timedelta(hours=1), by=ANN, records=portions)
    return journal


def press(number: int, what: str = "trace", seconds: float = 0, phone: str = PHONE, **more: Any) -> dict[str, Any]:
    """A press some seconds after `NOW` by the phone's clock."""
    at = round(1000 * (NOW.timestamp() + seconds))
    return {"key": f"{phone}-{number}", "by": ANN, "batch": "B-1", "what": what, "at": at, **more}


def sent(journal: Journal, *pressed: dict[str, Any], after: float = 0, skew: float = 0, **more: Any) -> list[Answer]:
    """Send some seconds after `NOW` by the server's clock; the phone's is `skew` seconds ahead of it."""
    clock = NOW + timedelta(seconds=after)
    body = {"journal": "x", "sent_at": round(1000 * (clock.timestamp() + skew)), "offset": 60, "presses": pressed}
    return keep_presses(journal, read_sending(json.dumps(body).encode()), clock=clock, **more)


def events(journal: Journal) -> list[tuple[str, str]]:
    return [(entry.record.kind, entry.record.portion) for entry in journal.batch("B-1").of(Event)]


def test_a_press_sent_again_since_its_answer_was_lost_is_one_entry(pour: Journal) -> None:
    first = sent(pour, press(1), after=1)
    assert sent(pour, press(1), after=60) == first
    assert [answer.state for answer in first] == ["kept"]
    (entry,) = pour.batch("B-1").of(Event)
    assert (entry.at, entry.press, entry.by) == (NOW, f"{PHONE}-1", ANN)
    assert entry.pressed_at is not None and entry.pressed_at.utcoffset() == timedelta(hours=1), "by the phone's clock"


def test_two_presses_of_one_happening_within_some_seconds_are_one_and_later_ones_are_two(pour: Journal) -> None:
    answers = sent(pour, press(1, "thickening"), press(2, "thickening", 0.8), after=1)
    assert [answer.made_by for answer in answers] == [f"{PHONE}-1"] * 2
    assert events(pour) == [("thickening", "")]
    sent(pour, press(1, "thickening", 2, phone=OTHER), after=3)
    assert len(events(pour)) == 1, "two people saw the same"
    sent(pour, press(3, "thickening", 10), press(4, "thickening", 10.5, portion="b"), after=11)
    assert events(pour) == [("thickening", ""), ("thickening", ""), ("thickening", "b")]


def test_a_second_press_of_the_pour_is_no_question_but_one_an_hour_later_is(pour: Journal) -> None:
    assert [a.state for a in sent(pour, press(1, "poured"), press(2, "poured", 1), after=2)] == ["kept", "kept"]
    (asked,) = sent(pour, press(3, "poured", 3600), after=3600)
    assert asked.state == "asked" and "A pour was noted already" in asked.words
    assert len(events(pour)) == 1
    sent(pour, press(3, "poured", 3600, confirmed=True), after=3605)
    assert len(events(pour)) == 2


def test_temperatures_and_notes_alike_are_two(pour: Journal) -> None:
    sent(pour, press(1, "temperature", value=41.0), press(2, "temperature", 0.5, value=41.0), after=1)
    sent(pour, press(3, "note", note=" warm "), press(4, "note", 0.5, note="warm"), after=1)
    assert [entry.record for entry in pour.batch("B-1").of(ScalarReading)] == [
        ScalarReading("batter temperature", 41.0)
    ] * 2
    assert [entry.record.note for entry in pour.batch("B-1").of(Event)] == ["warm", "warm"]


def test_what_waited_on_the_phone_bears_the_time_of_its_press_and_the_order_of_its_coming(pour: Journal) -> None:
    sent(pour, press(1, "trace"), press(2, "thickening", 20), after=3000)
    trace, thickening = pour.batch("B-1").of(Event)
    assert (trace.at, thickening.at) == (NOW, NOW + timedelta(seconds=20))
    assert trace.id < thickening.id and trace.recorded_at - trace.at > timedelta(minutes=1)


def test_where_the_calendar_stands_still_two_presses_share_no_moment(pour: Journal) -> None:
    stands_at = NOW + timedelta(days=300)
    pour.set_setting("calendar stands at", stands_at.isoformat())
    sent(pour, press(1, "trace"), after=1)
    sent(pour, press(2, "thickening", 2), after=3)
    first, second = (entry.at for entry in pour.batch("B-1").of(Event))
    assert second - first == timedelta(minutes=1) and first == stands_at


@pytest.mark.parametrize("skew", [-7200, -90, 0, 90, 7200])
def test_a_phone_whose_clock_is_wrong_gives_times_that_are_right_and_in_order(pour: Journal, skew: float) -> None:
    sent(pour, press(1, "trace", skew), after=10, skew=skew)  # ten seconds on the way
    sent(pour, press(2, "thickening", 2 + skew), after=10.1, skew=skew)
    trace, thickening = pour.batch("B-1").of(Event)
    assert (trace.record.kind, thickening.record.kind) == ("trace", "thickening")
    for entry in (trace, thickening):
        assert abs(entry.at - NOW) <= timedelta(seconds=120)
        assert entry.at <= NOW + timedelta(seconds=10.2)
        assert entry.pressed_at is not None and abs((entry.pressed_at - NOW).total_seconds() - skew) <= 2


def test_a_cut_takes_its_bars_and_its_day_and_is_asked_about_in_the_minute_of_the_pour(pour: Journal) -> None:
    sent(pour, press(1, "poured"), after=1)
    (asked,) = sent(pour, press(2, "cut", 60, bars=12), after=61)
    assert asked.state == "asked" and "1 minute after the pour" in asked.words
    next_day = round(1000 * (NOW + timedelta(days=1)).timestamp())
    (kept,) = sent(pour, press(3, "cut", 2 * 86400, bars=12, happened=next_day), after=2 * 86400)
    assert kept.state == "kept" and kept.at == NOW + timedelta(days=1)
    assert pour.batch("B-1").bars_cut == 12


def test_undo_takes_back_what_one_press_did_and_asked_again_does_no_more(pour: Journal) -> None:
    sent(pour, press(1, "trace"), press(2, "thickening", 1), after=2)
    for after in (3, 9):
        (answer,) = sent(pour, press(3, "undo", 2, of=f"{PHONE}-2"), after=after)
        assert (answer.state, answer.made_by) == ("kept", f"{PHONE}-2")
    assert events(pour) == [("trace", "")]
    sent(pour, press(2, "thickening", 1), after=12)
    assert events(pour) == [("trace", "")], "sent again, it does not come back"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"batch": "nowhere"}, "There is no batch"),
        ({"portion": "c"}, "has no portion"),
        ({"what": "released"}, "not a press"),
        ({"what": "temperature"}, "temperature is missing"),
        ({"what": "temperature", "value": 4000.0}, "is not a possible"),
        ({"what": "temperature", "value": "4"}, "not a press"),
        ({"what": "note", "note": " "}, "note is empty"),
        ({"what": "note", "note": "x" * 501}, "not a press"),
        ({"what": "note", "note": "a\u202eb"}, "cannot be seen"),
        ({"what": "cut", "bars": 0}, "not a press"),
        ({"what": "undo"}, "not named"),
        ({"key": "1"}, "not a press"),
        ({"key": f"{PHONE}-1'; --"}, "not a press"),
        ({"by": ""}, "not a press"),
        ({"more": 1}, "not a press"),
        ({"at": -1}, "not a press"),
        ({"at": 0}, "which is not possible"),
        ({"at": 4_000_000_000_000}, "which is not possible"),
        ({"happened": 0}, "which is not possible"),
    ],
)
def test_what_no_phone_of_ours_sends_is_refused_in_a_sentence_and_stops_nothing_else(
    pour: Journal, wrong: dict[str, Any], told: str
) -> None:
    refused, kept = sent(pour, press(1) | wrong, press(2, "thickening"), after=1)
    assert refused.state == "refused" and told in refused.words
    assert kept.state == "kept" and events(pour) == [("thickening", "")]


@pytest.mark.parametrize("other", [{"seconds": 20}, {"what": "note", "note": "too hot"}])
def test_another_press_under_a_key_that_was_used_is_told_and_not_taken_for_the_first(
    pour: Journal, other: dict[str, Any]
) -> None:
    """A phone whose browser was copied to another phone, as a new phone is set up, counts on from the same number."""
    sent(pour, press(1), after=1)
    (answer,) = sent(pour, press(1, **other), after=30)
    assert answer.state == "refused" and "Enter it again" in answer.words
    assert events(pour) == [("trace", "")]
    assert sent(pour, press(1), after=60)[0].state == "kept", "sent again, it is the same"


def test_a_key_of_another_form_in_the_journal_stops_no_press(pour: Journal) -> None:
    """Data that was imported may have any key."""
    odd = Changes([NewEntry(Event("trace"), NOW, batch="B-1")], press=Press(f"{PHONE}-x", NOW))
    pour.commit(odd, by=ANN)
    assert [answer.state for answer in sent(pour, press(2, "thickening", 5), after=6)] == ["kept"]


def test_a_press_of_somebody_else_waits_until_they_sign_in(pour: Journal) -> None:
    (answer,) = sent(pour, press(1), after=1, person="Ben (invented)")
    assert answer.state == "refused" and "waits until Ann" in answer.words and not events(pour)


@given(st.binary(max_size=200) | st.recursive(st.none() | st.text(), st.lists).map(lambda x: json.dumps(x).encode()))
def test_anything_else_is_no_sending(data: bytes) -> None:
    with pytest.raises(NotASending):
        read_sending(data)


def test_a_sending_is_bounded() -> None:
    with pytest.raises(NotASending):
        read_sending(b" " * presses.MOST_BYTES + b"x")
    body = {"journal": "x", "sent_at": 1, "offset": 0, "presses": [press(n) for n in range(presses.MOST_PRESSES + 1)]}
    with pytest.raises(NotASending):
        read_sending(json.dumps(body).encode())
