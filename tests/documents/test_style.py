"""The visual language is one: readable in both themes, the same in Streamlit's own theme, its type in the package."""

from __future__ import annotations

import re
import tomllib
from dataclasses import asdict
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

import curejournal
from curejournal.documents import style

HOME = Path(curejournal.__file__).parent
UI = HOME / "ui"
THEMES = {"light": style.LIGHT, "dark": style.DARK}


def contrast(first: str, second: str) -> float:
    """Contrast ratio (WCAG 2.2, definition of relative luminance and contrast ratio)."""

    def luminance(colour: str) -> float:
        channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_agrees_with_the_standards_extremes() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.parametrize("theme", THEMES)
def test_text_and_states_are_readable_on_paper_and_card(theme: str) -> None:
    roles = THEMES[theme]
    for ground in (roles.paper, roles.card):
        for text in (roles.ink, roles.soft, roles.ready, roles.wait):
            assert contrast(text, ground) >= 4.5, (text, ground)
        assert contrast(roles.edge, ground) >= 3.0, "edges of fields and buttons"
        assert contrast(style.CHART_LINE, ground) >= 3.0, "lines of charts, the same in both themes"
    assert contrast(roles.hold_ink, roles.hold) >= 4.5


def test_every_state_has_a_sign_of_its_kind_and_only_a_hold_is_filled() -> None:
    assert {state.kind for word, state in style.STATES.items() if "hold" in word} == {"hold"}
    signs: dict[str, set[str]] = {}
    for state in style.STATES.values():
        signs.setdefault(state.kind, set()).add(state.sign)
    assert sum(map(len, signs.values())) == len(set.union(*signs.values())), "no two kinds share a sign"
    assert style.TAGS.count("background") == 1 and ".state.hold{background" in style.TAGS


@pytest.mark.parametrize("theme", THEMES)
def test_streamlits_own_theme_has_the_same_roles(theme: str) -> None:
    told = tomllib.loads((UI / "config.toml").read_text())["theme"]
    roles = THEMES[theme]
    expected = {
        "backgroundColor": roles.paper,
        "secondaryBackgroundColor": roles.card,
        "textColor": roles.ink,
        "borderColor": roles.edge,
        "redBackgroundColor": roles.hold,
        "redTextColor": roles.hold_ink,
        "greenTextColor": roles.ready,
    }
    assert {name: told[theme][name] for name in expected} == expected
    assert told["font"].startswith(style.SANS) and told["headingFont"].startswith(style.SERIF)


def test_no_page_writes_colours_or_sizes_of_its_own() -> None:
    sources = {file.relative_to(UI).as_posix(): file.read_text() for file in UI.rglob("*.py")}
    assert len(sources) > 50
    for what, own in (("colours are roles", r"#[0-9a-fA-F]{6}\b"), ("sizes are a scale's", r"font-size|font-family")):
        found = {name: re.findall(own, source) for name, source in sources.items()}
        assert {name: these for name, these in found.items() if these} == {}, what


def test_the_style_sheet_takes_its_colours_from_roles() -> None:
    sheet = (UI / "app.css").read_text()
    printed = re.compile(r"\.card-picture[^}]*}", re.DOTALL)  # a card is white in the dark, too
    assert not re.findall(r"#[0-9a-fA-F]{3,6}\b", printed.sub("", sheet))
    known = set(re.findall(r"--([\w-]+):", style.variables() + (UI / "app.css").read_text()))
    assert set(re.findall(r"var\(--([\w-]+)\)", sheet)) <= known


@pytest.mark.parametrize("font", style.WEB_FONTS, ids=lambda font: font.file)
def test_web_fonts_are_in_the_package_with_their_licence(font: style.WebFont) -> None:
    assert Path(style.font_path(font.file)).read_bytes()[:4] == b"wOF2"
    licence = Path(style.font_path(f"OFL-{font.family}.txt")).read_text()
    assert "SIL Open Font License, Version 1.1" in licence


@pytest.mark.parametrize("name", style.PAPER_FONTS.values())
def test_paper_fonts_write_what_makers_write(name: str) -> None:
    with TTFont(style.font_path(name)) as font:
        signs = font.getBestCmap()
        assert "SIL Open Font License" in str(font["name"].getDebugName(13))
    assert not [sign for sign in "Õäöüžš ÅØ ß çé “”’–— °±×·½€ łńő" if ord(sign) not in signs and sign != " "]


def test_dark_and_light_know_the_same_roles() -> None:
    assert asdict(style.LIGHT).keys() == asdict(style.DARK).keys()
    for name in asdict(style.LIGHT):
        assert style.variables().count(f"--{name.replace('_', '-')}:") == 2
