"""Batches, entries and their history."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from curejournal.batch.records import (
    Decision,
    Entry,
    Event,
    PhotoNote,
    Portion,
    Renamed,
    ScalarReading,
    Weighing,
    Withdrawn,
)
from curejournal.journal.errors import CodeInUse, EntryRefused, NotInJournal, SignatureStays, StaleEntry
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, NewEntry

POURED = datetime(2026, 3, 1, 10, 30, tzinfo=timezone(timedelta(hours=2)))


@pytest.fixture
def started(journal: Journal) -> Journal:
    journal.start_batch("B-1", "Oat and honey", at=POURED, by="Ana", records=[Portion("base"), Event("poured")])
    return journal


def test_a_batch_comes_back_as_it_was_started(started: Journal) -> None:
    batch = started.batch("B-1")
    assert (batch.code, batch.name) == ("B-1", "Oat and honey")
    assert [entry.record for entry in batch.entries] == [Portion("base"), Event("poured")]
    assert batch.poured_at == POURED
    assert {entry.by for entry in batch.entries} == {"Ana"}


@pytest.mark.parametrize("minutes", [0, 120, -210, 345, 840, -720])
def test_a_time_comes_back_with_the_offset_it_was_entered_with(started: Journal, minutes: int) -> None:
    at = datetime(2026, 3, 1, 23, 59, 59, 123456, tzinfo=timezone(timedelta(minutes=minutes)))
    entry = started.add("B-1", Weighing("bar 1", 100.0), at=at, by="Ana")
    kept = started.batch("B-1").of(Weighing)[0]
    assert kept == entry
    assert (kept.at, kept.at.utcoffset()) == (at, at.utcoffset())


def test_a_time_without_offset_is_refused(started: Journal) -> None:
    with pytest.raises(EntryRefused, match="offset"):
        started.add("B-1", Event("cut"), at=datetime(2026, 3, 2), by="Ana")
    with pytest.raises(EntryRefused, match="calendar"):
        started.add("B-1", Event("cut"), at=datetime.min.replace(tzinfo=timezone(timedelta(hours=2))), by="Ana")
    assert len(started.history("B-1")) == 2


def test_a_code_is_given_once(started: Journal) -> None:
    with pytest.raises(CodeInUse):
        started.start_batch("  B-1 ", "Another", at=POURED, by="Ana", records=[Event("poured")])
    assert [head.name for head in started.batches()] == ["Oat and honey"]


@pytest.mark.parametrize("code", ["Мыло-3", "صابون ١", "石けん", "Cafe\u0301", "<b>&'\"; --", "../../etc", "🧼"])
def test_a_code_may_be_in_any_script(journal: Journal, code: str) -> None:
    batch = journal.start_batch(code, code, at=POURED, by=code)
    assert journal.batch(code) == batch
    assert [head.code for head in journal.batches()] == [batch.code]


@pytest.mark.parametrize(
    "code", ["", "  ", "a\nb", "a\0b", "a\x1bb", "x" * 41, "abc\u202edcba", "a\ud800b", "a\u2028b"]
)
def test_a_code_that_cannot_be_read_is_refused(journal: Journal, code: str) -> None:
    with pytest.raises(EntryRefused):
        journal.start_batch(code, "name", at=POURED, by="Ana")
    assert journal.batches() == ()


def test_the_same_letters_are_the_same_code_however_they_are_composed(journal: Journal) -> None:
    journal.start_batch("Cafe\u0301", "one", at=POURED, by="Ana")
    assert journal.batch("Caf\u00e9").name == "one"


def test_a_correction_replaces_its_entry_and_the_history_keeps_both(started: Journal) -> None:
    first = started.add("B-1", Weighing("bar 1", 1000.0), at=POURED, by="Ana")
    second = started.add("B-1", Weighing("bar 1", 100.0), at=POURED, by="Ben", supersedes=first.id)
    assert started.batch("B-1").of(Weighing) == (second,)
    assert started.history("B-1")[-2:] == (first, second)


def test_the_second_of_two_corrections_is_told_who_was_first(started: Journal) -> None:
    first = started.add("B-1", Weighing("bar 1", 1000.0), at=POURED, by="Ana")
    started.add("B-1", Weighing("bar 1", 100.0), at=POURED, by="Ben", supersedes=first.id)
    with pytest.raises(StaleEntry, match="Ben changed it"):
        started.add("B-1", Weighing("bar 1", 10.0), at=POURED, by="Cho", supersedes=first.id)
    with pytest.raises(StaleEntry):
        started.withdraw(first.id, why="twice", by="Cho", at=POURED)


def test_a_withdrawn_entry_is_gone_from_the_batch_and_can_be_brought_back(started: Journal) -> None:
    first = started.add("B-1", Weighing("bar 1", 100.0), at=POURED, by="Ana")
    taken_back = started.withdraw(first.id, why="other bar", by="Ana", at=POURED)
    assert started.batch("B-1").of(Weighing) == ()
    assert started.batch("B-1").of(Withdrawn) == ()
    assert started.history("B-1")[-1].record == Withdrawn("other bar")
    again = started.add("B-1", first.record, at=first.at, by="Ana", supersedes=taken_back.id)
    assert started.batch("B-1").of(Weighing) == (again,)


def test_a_correction_stays_in_its_batch_and_kind(started: Journal) -> None:
    started.start_batch("B-2", "Other", at=POURED, by="Ana")
    first = started.add("B-1", Weighing("bar 1", 100.0), at=POURED, by="Ana")
    with pytest.raises(NotInJournal):
        started.add("B-2", Weighing("bar 1", 90.0), at=POURED, by="Ana", supersedes=first.id)
    with pytest.raises(EntryRefused, match="cannot correct"):
        started.add("B-1", Event("cut"), at=POURED, by="Ana", supersedes=first.id)
    with pytest.raises(EntryRefused, match="must name"):
        started.add("B-1", Withdrawn("no"), at=POURED, by="Ana")


def test_of_several_records_all_are_kept_or_none(started: Journal) -> None:
    before = started.history("B-1")
    good = NewEntry(Weighing("bar 1", 100.0), POURED)
    for bad in (
        NewEntry(Weighing("bar 2", float("nan")), POURED),
        NewEntry(Weighing("bar 2", 1.0), POURED, supersedes=999_999),
        NewEntry(Weighing("bar 2", 1.0), POURED, photo="0" * 64),
    ):
        with pytest.raises((EntryRefused, NotInJournal)):
            started.add_many("B-1", [good, bad], by="Ana")
    assert started.history("B-1") == before


def test_entries_stand_in_order_of_time_not_of_recording(started: Journal) -> None:
    for day in (9, 3, 6):
        at = POURED + timedelta(days=day)
        started.add("B-1", ScalarReading("room humidity", 50.0 + day), at=at, by="Ana")
    values = [reading.value for _, reading in started.batch("B-1").records(ScalarReading)]
    assert values == [53.0, 56.0, 59.0]


def test_the_list_of_batches_counts_only_what_is_current(started: Journal) -> None:
    later = POURED + timedelta(days=3)
    photo = started.keep_photo(b"a picture", PhotoFacts(".jpg", 4, 3, later, "exif", "a.jpg"))
    kept = started.add("B-1", PhotoNote(), at=later, by="Ana", photo=photo.sha256)
    wrong = started.add("B-1", Weighing("bar 1", 1.0), at=later + timedelta(days=30), by="Ana")
    started.withdraw(wrong.id, why="wrong day", by="Ana", at=later)
    started.start_batch("B-2", "Empty", at=later, by="Ben")
    empty, full = started.batches()
    assert (empty.code, empty.last_entry_at, empty.entries, empty.photos) == ("B-2", None, 0, 0)
    assert (full.code, full.last_entry_at, full.entries, full.photos) == ("B-1", kept.at, 3, 1)
    assert full.last_entry_at is not None
    assert full.last_entry_at.utcoffset() == later.utcoffset()


def test_all_batches_at_once_are_the_same_as_one_by_one(started: Journal) -> None:
    started.start_batch("B-0", "Earlier", at=POURED - timedelta(days=1), by="Ana", records=[Event("poured")])
    assert started.all_batches() == (started.batch("B-0"), started.batch("B-1"))


def test_what_is_not_there_is_said_so(started: Journal) -> None:
    for ask in (
        lambda: started.batch("B-9"),
        lambda: started.history("B-9"),
        lambda: started.photo("0" * 64),
        lambda: started.card_text("none"),
        lambda: started.add("B-9", Event("cut"), at=POURED, by="Ana"),
        lambda: started.withdraw(999_999, why="", by="Ana", at=POURED),
    ):
        with pytest.raises(NotInJournal):
            ask()


def test_the_time_of_recording_comes_from_the_clock_given(tmp_path) -> None:
    clock = datetime(2030, 1, 1, tzinfo=UTC)
    with Journal.open(tmp_path, now=lambda: clock) as journal:
        batch = journal.start_batch("B-1", "Oat", at=POURED, by="Ana", records=[Event("poured")])
    assert batch.entries[0].recorded_at == clock


def test_the_latest_setting_and_card_count_and_survive_reopening(started: Journal) -> None:
    for value in ({"days": 28}, {"days": 35, "list": [1, 2.5, None, "é"]}):
        started.set_setting("house rules", value)
    for text in ("size = 1", "size = 2"):
        started.keep_card("window", text, copy_id="A1")
    started.keep_card("chart24", "size = 3")
    assert started.setting("house rules") == {"days": 35, "list": [1, 2.5, None, "é"]}
    assert started.setting("never set", 7) == 7
    assert [(card.name, card.copy_id) for card in started.cards()] == [("chart24", ""), ("window", "A1")]
    assert started.card_text("window") == "size = 2"


def test_one_key_of_a_setting_is_set_and_what_another_window_set_stays(
    started: Journal, database_url: str | None
) -> None:
    started.set_in("keys", "here", 1)
    with Journal.open(started.location, url=database_url) as other:
        other.set_in("keys", "there", {"steps": [1, 2]})
    started.set_in("keys", "here", 3)
    assert started.setting("keys") == {"here": 3, "there": {"steps": [1, 2]}}


def test_a_setting_that_json_cannot_hold_is_refused(started: Journal) -> None:
    for value in (float("inf"), {1, 2}, object()):
        with pytest.raises(EntryRefused):
            started.set_setting("odd", value)
    assert started.setting("odd") is None


def test_undoing_is_itself_undone_and_all_stays_in_the_history(started: Journal) -> None:
    first = started.add("B-1", Weighing("bar 1", 100.0), at=POURED, by="Ana")
    second = started.add("B-1", Weighing("bar 1", 101.0), at=POURED, by="Ben", supersedes=first.id)

    def grams() -> list[float]:
        return [record.grams for _, record in started.batch("B-1").records(Weighing)]

    undone, again = started.undo(second.id, why="wrong bar", by="Ana", at=POURED)
    assert grams() == [100.0]
    assert (undone.record, again.supersedes) == (Withdrawn("wrong bar"), undone.id)
    started.undo(again.id, why="no, the right one", by="Ben", at=POURED)
    assert grams() == []
    taken_back = started.withdraw(started.add("B-1", Event("cut"), at=POURED, by="Ana").id, why="", by="Ana", at=POURED)
    started.undo(taken_back.id, why="it was cut", by="Ana", at=POURED)
    assert started.batch("B-1").event_at("cut") == POURED
    with pytest.raises(StaleEntry):
        started.undo(second.id, why="again", by="Ana", at=POURED)
    assert started.check() == ()


def test_a_signature_that_an_early_journal_took_back_is_not_brought_back_in_its_name(started: Journal) -> None:
    signed = Entry(7, POURED, "Ana", POURED, Decision("release", "Ana", "sound", "1", "{}"))
    undone = Entry(8, POURED, "Ben", POURED, Withdrawn("too early"), supersedes=7)
    started.bring_in("B-0", "Early", at=POURED, by="Ana", history=[signed, undone])
    before = started.history("B-0")
    with pytest.raises(SignatureStays, match="sign it again"):
        started.undo(before[-1].id, why="it was right", by="Ben", at=POURED)
    assert started.history("B-0") == before


def test_codes_that_differ_in_case_alone_are_one(started: Journal) -> None:
    with pytest.raises(CodeInUse, match="B-1 already"):
        started.start_batch("b-1", "Oat", at=POURED, by="Ben")
    assert list(started.names()) == ["B-1"]


def test_a_mistyped_name_is_corrected_and_stays_in_the_history(started: Journal) -> None:
    started.start_batch("B-2", "Other", at=POURED, by="Ben")
    started.add("B-1", Renamed("Oat & honey"), at=POURED, by="Ana")
    last = started.add("B-1", Renamed("Oats and honey"), at=POURED, by="Ana")

    def names() -> set[tuple[str, ...]]:
        heads, batches = ({each.code: each.name for each in read()} for read in (started.batches, started.all_batches))
        assert heads == batches
        return {(heads["B-1"], started.batch("B-1").name), (heads["B-2"],)}

    assert names() == {("Oats and honey", "Oats and honey"), ("Other",)}
    started.withdraw(last.id, why="the other was right", by="Ana", at=POURED)
    assert names() == {("Oat & honey", "Oat & honey"), ("Other",)}
    assert [entry.record.name for entry in started.history("B-1") if isinstance(entry.record, Renamed)] == [
        "Oat & honey",
        "Oats and honey",
    ]
