"""Orders, recalls, lots and the room's log in the app."""

from __future__ import annotations

from pathlib import Path

from curejournal.journal.store import Journal
from curejournal.workflow import customers, room, stock
from tests.ui.pages import app, only, text_of


def test_an_order_is_entered_asked_about_and_found_in_a_recall(small: Path) -> None:
    at = app("customers")
    key = "order-0"
    at.text_input(key=f"{key}-who").set_value("Corner Shop (invented)")
    at.text_input(key=f"{key}-details").set_value("555 0100")
    at.selectbox(key=f"{key}-code-0").set_value("B-1")
    at.number_input(key=f"{key}-bars-0").set_value(5)
    only(at.button, "Save").click().run()
    assert not at.exception
    assert "not released" in text_of(at)
    at.button(key=f"{key}-sure").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        (shop,) = customers.recall_list(journal, "B-1")
        assert shop.words.startswith("Corner Shop (invented) (555 0100): 5 bars of B-1")
    at = app("customers")
    at.button_group(key="customers-what").set_value("Recall").run()
    at.text_input(key="recall-lot").set_value("OL-1").run()
    assert "Corner Shop" in text_of(at)
    at.button_group(key="customers-what").set_value("What did they get?").run()
    at.selectbox(key="got-who").set_value(1).run()
    at.text_input(key="erase-why-1").set_value("asked by letter").run()
    at.button(key="erase-1").click().run()
    assert not at.exception and "Corner Shop" not in text_of(at)


def test_a_lot_is_entered_and_one_that_cannot_be_is_refused(small: Path) -> None:
    at = app("lots")
    key = "lot-None-0"
    at.text_input(key=f"{key}-material").set_value("olive")
    at.text_input(key=f"{key}-lot").set_value("OL-1")
    at.text_input(key=f"{key}-supplier").set_value("Invented Oils")
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    assert "olive, lot OL-1, from Invented Oils" in text_of(at)
    with Journal.open(small) as journal:
        assert stock.lots(journal)["olive", "ol-1"].supplier == "Invented Oils"


def test_a_loggers_file_is_shown_before_it_is_kept(small: Path) -> None:
    at = app("room")
    rows = "Time;Temp;RH\n2026-03-05 12:00;68;60\n2026-03-06 12:00;70;61\n"
    at.file_uploader[0].upload("cellar.csv", rows.encode(), "text/csv").run()
    assert not at.exception
    with Journal.open(small) as journal:
        assert room.room_log(journal) == ()
    only(at.radio, "The temperatures are in").set_value("°F").run()
    assert "20.0\u00a0°C" in text_of(at)
    only(at.button, "Save").click().run()
    assert not at.exception and not at.error
    with Journal.open(small) as journal:
        assert [round(one.temperature_c or 0, 1) for one in room.room_log(journal)] == [20.0, 21.1]
