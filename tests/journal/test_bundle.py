"""A batch goes to another journal whole, or not at all."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from datetime import UTC, datetime, timedelta

import pytest

from curejournal.batch.records import Decision, Entry, Event, Weighing, Withdrawn
from curejournal.journal.bundle import DATA, read_bundle, take_bundle, write_bundle
from curejournal.journal.errors import CodeInUse, DataRefused, EntryRefused, SignedByOther
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, NewEntry
from tests.judging.batches import RECIPE, reading

AT = datetime(2026, 9, 1, 10, 0, tzinfo=UTC)
NOW = AT + timedelta(days=80)


@pytest.fixture
def filled(journal: Journal) -> Journal:
    """A batch with a photo, a card of its own, a correction and a withdrawal."""
    journal.start_batch("B1", "Žšõ soap", at=AT, by="Kaja", records=[RECIPE, Event("poured")])
    photo = journal.keep_photo(b"not really a photo", PhotoFacts(".jpg", 40, 30, AT, "exif", "IMG 1.jpg"))
    journal.keep_card("window", "[card]\n", "W-01")
    journal.keep_card("another", "[other]\n")
    first, _ = journal.add_many(
        "B1",
        [NewEntry(Weighing("bar 1", 1200.0), AT), NewEntry(reading((80, 1, 2)), AT, photo=photo.sha256)],
        by="Kaja",
    )
    second = journal.add("B1", Weighing("bar 1", 120.0), at=AT, by="Tarvo", supersedes=first.id)
    journal.withdraw(second.id, why="wrong bar", by="Tarvo", at=AT)
    return journal


def told(entries):
    """What is the same in every journal: the history with its links by place."""
    place = {entry.id: number for number, entry in enumerate(entries)}
    return [(e.at, e.by, e.record, place.get(e.supersedes), e.photo) for e in entries]


def test_another_journal_holds_the_same_history_photos_and_card(filled, tmp_path):
    data = write_bundle(filled, "B1", "curejournal 0.1.0")
    with Journal.open(tmp_path / "other") as other:
        other.start_batch("X1", "here before", at=AT, by="Ott")
        other.add("X1", Event("poured"), at=AT, by="Ott")
        assert take_bundle(other, read_bundle(data), by="Ott", now=NOW) == "B1"
        *history, origin = other.history("B1")
        assert told(history) == told(filled.history("B1"))
        assert "brought in from a bundle of batch B1" in origin.record.note
        (photo,) = other.photos_of("B1")
        assert other.photo_bytes(photo.sha256) == b"not really a photo"
        assert photo.facts == filled.photo(photo.sha256).facts
        assert [card.name for card in other.cards()] == ["window"]
        assert other.check() == ()


def test_it_can_have_another_code_and_never_replaces_a_batch(filled):
    bundle = read_bundle(write_bundle(filled, "B1", "x"))
    before = filled.history("B1")
    with pytest.raises(CodeInUse):
        take_bundle(filled, bundle, by="Ott", now=NOW)
    assert take_bundle(filled, bundle, code="B1 of Kaja", by="Ott", now=NOW) == "B1 of Kaja"
    assert filled.history("B1") == before


def test_a_code_that_differs_in_case_alone_is_refused_before_anything_is_entered(filled, tmp_path):
    bundle = read_bundle(write_bundle(filled, "B1", "x"))
    with Journal.open(tmp_path / "other") as other:
        other.start_batch("b1", "Rye", at=AT, by="Ott")
        with pytest.raises(CodeInUse, match="b1 already"):
            take_bundle(other, bundle, by="Ott", now=NOW)
        assert (list(other.names()), other.unfiled_photos(), other.cards()) == (["b1"], (), ())
        assert take_bundle(other, bundle, code="B1-Kaja", by="Ott", now=NOW) == "B1-Kaja"


def test_a_signature_taken_back_in_an_early_journal_comes_as_it_was(filled, tmp_path):
    signed = Entry(1, AT, "Kaja", AT, Decision("release", "Kaja", "sound", "1", "{}"))
    undone = Entry(2, AT, "Tarvo", AT, Withdrawn("too early"), supersedes=1)
    filled.bring_in("B0", "Early", at=AT, by="Kaja", history=[signed, undone])
    data = write_bundle(filled, "B0", "x")
    with Journal.open(tmp_path / "other") as other:
        take_bundle(other, read_bundle(data), by="Ott", now=NOW)
        assert told(other.history("B0")[:-1]) == told(filled.history("B0"))
        assert other.batch("B0").released_at is None


@pytest.mark.parametrize(
    ("person", "by", "refused"),
    [("", " ", EntryRefused), ("Kaja", "Kaja", SignedByOther)],
    ids=["no name", "signed in"],
)
def test_what_is_refused_half_way_leaves_nothing_behind(filled, tmp_path, person, by, refused):
    """The last entry is that of whoever brings it in; of the others some are Tarvo's."""
    bundle = read_bundle(write_bundle(filled, " B1", "x"))
    with Journal.open(tmp_path / "other") as other:
        with pytest.raises(refused, match="Nothing in the journal was changed"):
            take_bundle(other.of(person), bundle, by=by, now=NOW)
        assert (other.names(), other.unfiled_photos(), other.cards(), other.check()) == ({}, (), (), ())
        assert take_bundle(other, bundle, by="Ott", now=NOW) == "B1"


def test_a_card_of_this_journal_with_the_same_name_stays(filled, tmp_path):
    data = write_bundle(filled, "B1", "x")
    with Journal.open(tmp_path / "other") as other:
        other.keep_card("window", "[mine]\n")
        take_bundle(other, read_bundle(data), by="Ott", now=NOW)
        assert other.card_text("window") == "[mine]\n"


def changed(data: bytes, change) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            made = change(name, old.read(name))
            if made is not None:
                new.writestr(name, made)
    return out.getvalue()


def plain(edit):
    """A change to batch.json alone."""

    def change(name, data):
        if name != DATA:
            return data
        told = json.loads(data)
        edit(told)
        return json.dumps(told).encode()

    return change


@pytest.mark.parametrize(
    "change",
    [
        lambda name, data: None if name.startswith("photos/") else data,
        lambda name, data: data + b"!" if name.startswith("photos/") else data,
        lambda name, data: None if name == DATA else data,
        lambda name, data: b"{" if name == DATA else data,
        plain(lambda told: told.update(format="curejournal batch 99")),
        plain(lambda told: told.update(more=1)),
        plain(lambda told: told["entries"][0].update(kind="spell")),
        plain(lambda told: told["entries"][0].update(supersedes=10**6)),
        plain(lambda told: told["entries"][1].update(id=told["entries"][0]["id"])),
        plain(lambda told: told["entries"][2]["record"].update(grams="many")),
        plain(lambda told: told["entries"][0].update(photo="f" * 64)),
        plain(lambda told: told["photos"][0].update(suffix="/../../x")),
        plain(lambda told: told["photos"][0].update(sha256="../x")),
        plain(lambda told: told.update(started_at="2026-09-01T10:00:00")),
    ],
)
def test_a_bundle_that_was_changed_is_refused(filled, change):
    with pytest.raises(DataRefused):
        read_bundle(changed(write_bundle(filled, "B1", "x"), change))


def test_a_bundle_with_a_part_that_begins_before_it_is_refused(filled):
    data = bytearray(write_bundle(filled, "B1", "test"))
    end = data.rindex(b"PK\x05\x06") + 16
    struct.pack_into("<L", data, end, struct.unpack_from("<L", data, end)[0] + 200)
    with pytest.raises(DataRefused, match="damaged"):
        read_bundle(bytes(data))


@pytest.mark.parametrize("data", [b"", b"PK", b"not a bundle" * 100])
def test_what_is_no_bundle_is_refused(data):
    with pytest.raises(DataRefused):
        read_bundle(data)


def test_every_cut_of_a_bundle_is_refused(filled):
    data = write_bundle(filled, "B1", "x")
    for length in range(0, len(data), 97):
        with pytest.raises(DataRefused):
            read_bundle(data[:length])
