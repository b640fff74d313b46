"""Ten loaves in a day, one lot of oil, one room.

Ana and Ben (invented) pour ten loaves of one recipe before a fair. Weeks later some have orange spots. Was it the oil,
the room, or the pour? Their logger's file tells the room; the lots tell the rest.
"""

from datetime import date

import pytest

from curejournal import workflow
from curejournal.batch.records import Event, SurfaceNote
from curejournal.batch.room_log import LogUnreadable
from curejournal.batch.stock import MaterialLot
from curejournal.soap.recipe import Alkali, Liquid, Oil, Recipe
from curejournal.workflow import materials, room, stock


def loaf(lot):
    return Recipe(
        (Oil("olive", 700.0, lot), Oil("coconut", 300.0, "CO-1")),
        (Alkali("NaOH", 140.0, lot="N-1"),),
        (Liquid("water", 280.0),),
    )


@pytest.fixture
def fair(workshop):
    for number in range(1, 11):
        old = number in (2, 5, 7, 9)
        workshop.pours(f"L-{number}", f"Loaf {number}", loaf("OLD-9" if old else "NEW-1"), day=number / 24, bars=12)
        workshop.looks(f"L-{number}", "orange spots" if old else "clear", day=40)
    return workshop


def test_ten_loaves_of_a_day_keep_their_own_codes_and_times(fair):
    poured = [fair.journal.batch(f"L-{number}").poured_at for number in range(1, 11)]
    assert len(set(poured)) == 10 and len(fair.journal.batches()) == 10


def test_the_spots_go_with_the_old_lot_of_oil(fair):
    answer = materials.causes_of_outcome(fair.journal, "orange spots", fair.day(60))
    first, *others = answer.causes
    assert "olive, lot OLD-9" in first.factors and first.with_it == (4, 4) and first.without_it == (0, 6)
    assert not any(cause.named for cause in others)
    assert answer.batches == 10


def test_an_outcome_nobody_looked_for_says_so(fair):
    from curejournal.materials.effects import TooFewBatches

    with pytest.raises(TooFewBatches, match="0 batches"):
        materials.causes_of_outcome(fair.journal, "ash", fair.day(60))


def test_a_lot_has_its_supplier_and_its_dates(fair):
    old = MaterialLot(
        "olive", "OLD-9", "oil", "Invented Oils", date(2024, 5, 1), date(2024, 6, 1), date(2025, 12, 1), "Ben"
    )
    stock.enter_lot(fair.journal, old, by=fair.by, now=fair.day(1))
    ages = stock.ages_at_pour(fair.journal.batch("L-2"), stock.lots(fair.journal))
    assert ages == {"age of olive, days": 670.0}
    assert stock.lots_in(fair.journal, fair.journal.batch("L-2").recipe) == (old,)


@pytest.mark.parametrize(
    ("received", "opened", "best_before", "says"),
    [
        (date(2026, 2, 10), date(2026, 2, 1), None, "opened on 2026-02-01, before it was received"),
        (date(2026, 2, 10), None, date(2026, 2, 1), "best before"),
        (date(2027, 1, 1), None, None, "cannot have been received"),
    ],
)
def test_a_lot_opened_before_it_was_received_is_refused_with_what_to_do(fair, received, opened, best_before, says):
    odd = MaterialLot("olive", "X-1", "oil", "", received, opened, best_before)
    with pytest.raises(stock.LotImpossible, match=says) as refused:
        stock.enter_lot(fair.journal, odd, by=fair.by, now=fair.day(1))
    assert refused.value.do and stock.lots(fair.journal) == {}


def test_the_logger_of_the_room_is_one_log_for_all_loaves(fair):
    rows = "".join(f"2026-03-{day:02d} 12:00;{17 + day / 10:.1f};{55 + day}\n" for day in range(3, 31))
    file = room.preview_room_file(f"Time;Temp C;RH %\n{rows}".encode(), fair.day(0).tzinfo)
    assert room.room_log(fair.journal) == (), "looked at, and not kept yet"
    assert room.keep_room_file(fair.journal, file, "cellar.csv", by=fair.by, now=fair.day(40)) == (28, 0)
    assert room.keep_room_file(fair.journal, file, "cellar.csv", by=fair.by, now=fair.day(41)) == (0, 28)
    for code in ("L-1", "L-10"):
        drying = next(one for one in fair.asks(code, day=28).findings if one.check == "drying")
        humid, unit = drying.figures["room humidity, two weeks"]
        assert unit == "% RH" and 70 < humid < 85


def test_a_file_that_leaves_its_unit_open_is_not_kept(fair):
    file = room.preview_room_file(b"time,temperature\n2026-03-05 12:00,68\n2026-03-06 12:00,69\n", fair.day(0).tzinfo)
    with pytest.raises(LogUnreadable, match="°F"):
        room.keep_room_file(fair.journal, file, "x.csv", by=fair.by, now=fair.day(40))
    assert room.room_log(fair.journal) == ()


def test_what_happened_is_counted_by_kind(fair):
    for number in (1, 2, 3):
        fair.writes(f"L-{number}", Event("overheated"), day=1)
    counted = materials.happenings(fair.journal)
    assert counted["overheated"].batches == ("L-1", "L-2", "L-3") and counted["overheated"].of == 10
    assert counted["orange spots"].batches == ("L-2", "L-5", "L-7", "L-9")
    assert SurfaceNote and workflow
