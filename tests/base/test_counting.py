"""One is said as one, and several as several, in the maker's language too; less than nothing has a minus sign."""

from __future__ import annotations

from gettext import c2py

import pytest

from curejournal.base.counting import digits
from curejournal.base.messages import localise, msg, msg_n
from curejournal.workflow.readers import USUAL, Reader, _Catalogue


def test_what_is_counted_in_a_gap_is_said_in_another_language() -> None:
    # Esperanto: "1 trabo", "2 traboj" stand for bars.
    texts = {"Keep {bars}": "Konservi {bars}", "{number} bar": ("{number} trabo", "{number} traboj")}
    catalogue = _Catalogue(texts, c2py("(n != 1)"))

    class Listener(Reader):
        def template(self, singular: str, plural: str, number: float) -> str:
            return catalogue.find(singular, plural, number)

    kept = [msg("Keep {bars}", bars=msg_n("{number} bar", "{number} bars", number)) for number in (1, 2)]
    assert kept == ["Keep 1 bar", "Keep 2 bars"]
    assert [localise(one, Listener(USUAL)) for one in kept] == ["Konservi 1 trabo", "Konservi 2 traboj"]


@pytest.mark.parametrize(
    ("value", "decimals", "said"),
    [
        (-1.25, None, "\u22121.25"),
        (-12.34, 1, "\u221212.3"),
        (12.34, 1, "12.3"),
        (-0.04, 1, "0.0"),
        (-0.0, None, "0"),
        (-3, 0, "\u22123"),
        (30.0, None, "30"),
    ],
)
def test_below_zero_has_the_minus_sign_and_zero_has_none(value: float, decimals: int | None, said: str) -> None:
    """U+2212 is preferred to the hyphen-minus for a minus sign: The Unicode Standard, section 6.2 [from memory]."""
    assert digits(value, decimals) == said
