"""Evidence of lye is entered where a batch is written down."""

from __future__ import annotations

from pathlib import Path

from curejournal.batch.records import AlkaliTest, PacketCheck, SurfaceNote, WeighingCheck
from curejournal.journal.store import Journal
from tests.ui.pages import form, only, writing


def _latest(small: Path, kind: type) -> object:
    with Journal.open(small) as journal:
        return journal.batch("B-2").records(kind)[-1][1]


def test_a_weighing_check_is_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a weighing check")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    assert _latest(small, WeighingCheck) == WeighingCheck("lye and oils", "weighed twice")


def test_a_packet_of_strips_is_kept(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a packet of strips")
    at.text_input(key="packet-B-2-0-packet").set_value("P7")
    at.number_input(key="packet-B-2-0-strip").set_value(9.0)
    at.number_input(key="packet-B-2-0-meter").set_value(10.2)
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    assert _latest(small, PacketCheck) == PacketCheck("P7", 9.0, 10.2, 0.5)


def test_a_strip_names_its_bar_and_packet(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "an alkali test")
    at.segmented_control(key="test-B-2-0-method").set_value("strip").run()
    at.number_input(key="test-B-2-0-ph").set_value(9.0)
    at.text_input(key="test-B-2-0-which").set_value("bar 3")
    at.text_input(key="test-B-2-0-packet").set_value("P7")
    only(at.button, "Save").click().run()
    test = _latest(small, AlkaliTest)
    assert (test.bar, test.packet, test.half_width) == ("bar 3", "P7", 0.5)


def test_a_look_at_the_outside_alone_is_kept_as_that(small: Path) -> None:
    at = form(writing("B-2"), "B-2", "a surface check")
    at.checkbox(key="look-B-2-0-outside").check()
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    assert _latest(small, SurfaceNote).outside_only
