"""The command line as a user runs it: one process a call, JSON on request, exit codes that scripts can trust."""

from __future__ import annotations

import json
import os
import re
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from curejournal import workflow
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import SurfaceLook
from tests.command import COMMAND, run_command
from tests.scenes import draw_card


def run(*arguments: object, journal: Path | None = None, code: int = 0, zone: str = "UTC") -> str:
    environment = {"CUREJOURNAL_BY": "Kaja (invented)", "COLUMNS": "200", "TZ": zone}
    environment["CUREJOURNAL_JOURNAL"] = str(journal or "/nonexistent/journal")
    done = run_command(*arguments, environment=environment)
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    return done.stdout if code in (0, 3) or "--json" in arguments else done.stderr


def as_json(*arguments: object, **how: object) -> dict:
    return json.loads(run(*arguments, "--json", **how))


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pictures")
    window, chart = workflow.find_card("window"), workflow.find_card("chart24")
    scenes = {
        "good": draw_card(window, lab_in_window=(84.0, 2.0, 16.0), exposure_ev=-0.3),
        "chart": draw_card(chart, exposure_ev=-0.3),
        "burnt": draw_card(window, exposure_ev=2.0),
        "half": draw_card(window, offset=(0.6, 0.0), exposure_ev=-0.3),
    }
    paths = {}
    for name, scene in scenes.items():
        paths[name] = folder / f"{name}.jpg"
        paths[name].write_bytes(scene.jpeg)
        np.savetxt(folder / f"{name}.corners", next(iter(scene.corners.values())))
    paths["text"] = folder / "text.jpg"
    paths["text"].write_text("not an image")
    paths["cut"] = folder / "cut.jpg"
    paths["cut"].write_bytes(scenes["good"].jpeg[:20_000])
    return paths


def test_the_installed_command_is_the_same(pictures: dict[str, Path]) -> None:
    """Its output, its exit codes and what it says on the other stream."""
    no_picture = ["measure", pictures["text"], "--card", "window"]
    for words, code in ((["--help"], 0), (no_picture, 1), (["measure"], 2), (["nothing"], 2)):
        environment = {"COLUMNS": "200", "CUREJOURNAL_JOURNAL": "/nonexistent/journal"}
        asked = run_command(*words, environment=environment)
        own = subprocess.run(
            [*COMMAND, *map(str, words)],
            capture_output=True,
            text=True,
            env={**os.environ, **environment},
            timeout=120,
            check=False,
        )
        assert own.returncode == asked.returncode == code
        # The width of frames was settled when the other was imported.
        for one, other in ((own.stdout, asked.stdout), (own.stderr, asked.stderr)):
            assert re.findall(r"\w+", one) == re.findall(r"\w+", other)


def test_measure_keeps_its_contract(pictures: dict[str, Path]) -> None:
    found = as_json("measure", pictures["good"], "--card", "window")
    assert set(found["photo"]) == {"width", "height", "taken_at"}
    assert {"name", "corners", "found"} <= set(found["card"])
    assert found["card"]["name"] == "window"
    assert found["card"]["found"] is True
    truth = np.loadtxt(pictures["good"].with_suffix(".corners"))
    assert np.abs(np.array(found["card"]["corners"]) - truth).max() < 2
    assert found["grade"] == "relative"
    assert isinstance(found["reasons"], list)
    (area,) = found["areas"]
    assert {"name", "lab", "lab_sd", "lab_interval95", "pixels", "grade"} <= set(area)
    assert area["lab"] == pytest.approx([84.0, 2.0, 16.0], abs=1.0)
    for value, sd, (low, high) in zip(area["lab"], area["lab_sd"], area["lab_interval95"], strict=True):
        assert low < value - sd < value + sd < high


def test_measure_takes_corners_areas_and_anybodys_card(pictures: dict[str, Path], tmp_path: Path) -> None:
    corners = np.loadtxt(pictures["chart"].with_suffix(".corners"))
    text = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
    whole = as_json("card", "chart24")
    eighteen = tmp_path / "eighteen.toml"
    rows = [f"size_mm = {whole['size_mm']}", 'name = "eighteen"', 'provenance = "a test"', 'kind = "published"']
    for patch in whole["patches"][6:]:
        rows += [
            "[[patches]]",
            *(f"{key} = {json.dumps(patch[key])}" for key in ("id", "x", "y", "w", "h", "srgb", "lab_d50")),
        ]
    eighteen.write_text("\n".join(rows))
    scale = (corners[1, 0] - corners[0, 0]) / whole["size_mm"][0]
    areas, first_row = [], whole["patches"][:6]
    for patch in first_row:
        x0, y0 = corners[0] + scale * np.array([patch["x"] + 10, patch["y"] + 10])
        areas += ["--area", f"{patch['id']}={x0:.0f},{y0:.0f},{x0 + 20 * scale:.0f},{y0 + 20 * scale:.0f}"]
    found = as_json("measure", pictures["chart"], "--card", eighteen, "--corners", text, *areas)
    assert [area["name"] for area in found["areas"]] == [patch["id"] for patch in first_row]
    for area, patch in zip(found["areas"], first_row, strict=True):
        assert area["lab"] == pytest.approx(patch["lab_d50"], abs=6.0)
    assert np.abs(np.array(found["card"]["corners"]) - corners).max() < 0.1


def test_a_chart_without_an_area_says_how_to_give_one(pictures: dict[str, Path]) -> None:
    """“Grade: measured” alone, without a colour, told nobody what was missing."""
    told = run("measure", pictures["chart"], "--card", "chart24")
    assert "no area was given" in told and "--area" in told


@pytest.mark.parametrize("name", ["burnt", "half"])
def test_no_usable_card_is_exit_3_with_the_same_object_and_no_colour(pictures: dict[str, Path], name: str) -> None:
    found = as_json("measure", pictures[name], "--card", "window", code=3)
    assert found["grade"] == "not usable"
    assert found["reasons"][0]["remedy"]
    assert all(area["lab"] is None for area in found["areas"])


def test_a_picture_without_a_card_is_exit_3(tmp_path: Path) -> None:
    Image.new("RGB", (800, 600), (120, 140, 90)).save(tmp_path / "plain.png")
    found = as_json("measure", tmp_path / "plain.png", "--card", "chart24", code=3)
    assert found["card"]["found"] is False
    assert found["card"]["corners"] == []


@pytest.mark.parametrize("name", ["text", "cut"])
def test_what_is_no_whole_picture_is_exit_1_with_a_sentence(pictures: dict[str, Path], name: str) -> None:
    error = as_json("measure", pictures[name], "--card", "window", code=1)["error"]
    assert error["what"]
    assert error["safe"] == "Nothing in the journal was changed."
    assert error["do"]
    assert "Nothing in the journal was changed." in run("measure", pictures[name], "--card", "window", code=1)


@pytest.mark.parametrize(
    "arguments",
    [
        ["--card", "nothing"],
        ["--card", "missing.toml"],
        ["--card", "chart24", "--corners", "1,2 3,4"],
        ["--card", "chart24", "--corners", "a,b c,d e,f g,h"],
        ["--card", "window", "--area", "no numbers"],
        ["--card", "window", "--area", "a=1,2,3"],
        ["--card", "window", "--area", "a=1,2,3,nan"],
        ["--card", "window", "--area", "a=1,2 3,inf 5,6"],
    ],
)
def test_what_cannot_be_read_is_exit_1_with_a_sentence(pictures: dict[str, Path], arguments: list[str]) -> None:
    assert run("measure", pictures["good"], *arguments, code=1)


@pytest.mark.parametrize("name", ["window", "chart24"])
def test_card_prints_one_whole(name: str) -> None:
    card = as_json("card", name)
    assert len(card["size_mm"]) == 2
    assert all({"dictionary", "id", "x", "y", "size"} <= set(marker) for marker in card["markers"])
    assert all({"id", "x", "y", "w", "h", "lab_d50", "srgb"} <= set(patch) for patch in card["patches"])
    assert (card["window"] is None) == (name == "chart24")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_card_writes_a_pdf(tmp_path: Path, paper: str) -> None:
    run("card", "window", "--pdf", tmp_path / "card.pdf", "--paper", paper, "--copy-id", "Ż-02")
    (page,) = PdfReader(tmp_path / "card.pdf").pages
    words = page.extract_text()
    assert "Ż-02" in words and "never “fit to page”" in words and "goggles and gloves" in words
    run("card", "chart24", "--pdf", tmp_path / "chart.pdf", code=1)


RECIPE = """
oils = [{ key = "olive", grams = 700 }, { key = "coconut", grams = 300 }]
alkalis = [{ kind = "NaOH", grams = 140 }]
liquids = [{ name = "distilled water", grams = 280 }]
additives = [{ name = "an invented scent", kind = "fragrance", grams = 20, lot = "X-1" }]
"""


def test_a_batch_from_the_pour_to_a_verdict(tmp_path: Path, pictures: dict[str, Path]) -> None:
    """Every command of a maker's weeks, with --json on each."""
    journal = tmp_path / "journal"
    (tmp_path / "recipe.toml").write_text(RECIPE)
    lye = as_json("recipe", "check", tmp_path / "recipe.toml")
    assert lye["superfat_interval_pct"][0] < lye["superfat_nominal_pct"] < lye["superfat_interval_pct"][1]
    started = as_json(
        "batch", "start", "B1", "--name", "Plain", "--recipe", tmp_path / "recipe.toml", "--portion", "plain=84,2,16",
        "--at", "2026-09-01T09:00", journal=journal,
    )  # fmt: skip
    assert started["batch"]["code"] == "B1"
    as_json("batch", "note", "B1", "poured", "--at", "2026-09-01T10:00", journal=journal)
    taken = as_json(
        "photo", "add", "B1", pictures["good"], "--card", "window", "--at", "2026-09-10T10:00", journal=journal
    )
    assert taken["photos"][0]["outcome"] == "placed"
    as_json(
        "batch", "weigh", "B1", "bar 1", "120.5", "--resolution", "0.1", "--at", "2026-09-03T10:00", journal=journal
    )
    as_json(
        "batch",
        "test",
        "B1",
        "strip",
        "--ph",
        "9.5",
        "--half-width",
        "0.5",
        "--at",
        "2026-10-01T10:00",
        journal=journal,
    )
    judgement = as_json("judge", "B1", "--on", "2026-10-02", journal=journal)
    assert judgement["verdict"] == "not yet"
    assert {finding["check"] for finding in judgement["findings"]} >= {"age", "drying", "alkali", "colour"}
    assert judgement["next_step"]
    shown = as_json("batch", "show", "B1", journal=journal)
    assert len(shown["entries"]) >= 6
    assert as_json("batch", "list", journal=journal)["batches"][0]["code"] == "B1"
    assert as_json("batch", "due", journal=journal)["due"]
    assert as_json("journal", "check", journal=journal)["problems"] == []
    refused = as_json("batch", "release", "B1", "--statement", "sold", journal=journal, code=1)
    assert "not ready" in refused["error"]["what"]
    assert len(as_json("batch", "show", "B1", journal=journal)["entries"]) == len(shown["entries"])
    assert run("judge", "B1", journal=journal)


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    journal = tmp_path_factory.mktemp("started") / "journal"
    run("batch", "start", "B1", "--name", "Plain", "--at", "2026-09-01T09:00", journal=journal)
    run("batch", "note", "B1", "poured", "--at", "2026-09-01T10:00", journal=journal)
    return journal


BAD = {
    "negative grams": ["batch", "weigh", "B1", "bar 1", "-5"],
    "a weight before the pour": ["batch", "weigh", "B1", "bar 1", "100", "--at", "2026-08-30T10:00"],
    "a date that is none": ["batch", "weigh", "B1", "bar 1", "100", "--at", "yesterday"],
    "an unknown batch": ["batch", "weigh", "B9", "bar 1", "100"],
    "an impossible pH": ["batch", "test", "B1", "strip", "--ph", "15"],
    "an unknown test": ["batch", "test", "B1", "tongue", "--ph", "9"],
    "an unknown event": ["batch", "note", "B1", "sold"],
    "an unknown look": ["batch", "surface", "B1", "furry"],
    "fewer spots than none": ["batch", "surface", "B1", "orange spots", "--count", "-1"],
    "more than the whole surface": ["batch", "surface", "B1", "ash", "--area", "101"],
    "an area that is no number": ["batch", "surface", "B1", "ash", "--area", "nan"],
    "a surface before the pour": ["batch", "surface", "B1", "clear", "--at", "2026-08-30T10:00"],
    "an unknown quantity": ["batch", "reading", "B1", "mood", "5"],
    "an impossible humidity": ["batch", "reading", "B1", "room humidity", "101"],
    "a temperature that is no number": ["batch", "reading", "B1", "room temperature", "nan"],
    "a day before the calendar": ["batch", "note", "B1", "note", "--at", "0001-01-01T00:00+01:00"],
    "a clock that is no number": ["photo", "import", __file__, "--behind", "nan"],
    "a clock beyond the calendar": ["photo", "import", __file__, "--behind", "1e300"],
    "backups every no number of days": ["journal", "backup", Path(__file__).parent, "--every", "nan"],
    "a dose that is no number": ["material", "show", "clove", "--dose", "nan"],
    "a dose below zero": ["material", "show", "clove", "--dose", "-1"],
    "a code in use": ["batch", "start", "B1", "--name", "Again"],
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_values_are_exit_1_with_a_sentence_and_change_nothing(started: Path, fault: str) -> None:
    before = as_json("batch", "show", "B1", journal=started)
    error = as_json(*BAD[fault], journal=started, code=1)["error"]
    assert error["what"].endswith(".")
    assert as_json("batch", "show", "B1", journal=started) == before


def test_a_look_and_any_quantity_are_entered_as_typed(started: Path) -> None:
    words = ["--at", "2026-09-03T10:00", "--by", "Ben (invented)"]
    seen = as_json(
        "batch", "surface", "B1", "orange spots", "--count", "3", "--area", "2.5", "--note", "by the vent", *words,
        journal=started,
    )  # fmt: skip
    assert (seen["entry"]["by"], seen["entry"]["at"]) == ("Ben (invented)", "2026-09-03T10:00:00Z")
    record = {"look": "orange spots", "count": 3, "area_pct": 2.5, "note": "by the vent"}
    record |= {"outside_only": False, "set_aside": None}
    assert seen["entry"]["record"] == record
    helped = " ".join(run("batch", "reading", "--help").split())
    for kind in KINDS.values():
        assert f"{kind.name} ({kind.unit})" in helped
        kept = as_json("batch", "reading", "B1", kind.name, str(kind.low), *words, journal=started)["entry"]
        assert kept["record"] == {"kind": kind.name, "value": kind.low}
    assert run("batch", "surface", "B1", "clear", *words, journal=started) == "B1: surface clear\n"
    assert all(look in run("batch", "surface", "--help") for look in get_args(SurfaceLook))
    # Nothing about these is asked, so there is nothing to confirm.
    assert not any("--confirmed" in run("batch", command, "--help") for command in ("surface", "reading"))


@pytest.mark.parametrize("name", ["text", "cut", "burnt", "half", "good"])
def test_photos_that_cannot_be_taken_in_change_nothing(started: Path, pictures: dict[str, Path], name: str) -> None:
    """The good one has no date: it is refused for that alone."""
    before = as_json("batch", "show", "B1", journal=started)
    dated = [] if name == "good" else ["--at", "2026-09-10T10:00"]
    result = as_json(
        "photo",
        "add",
        "B1",
        pictures[name],
        "--card",
        "window",
        *dated,
        journal=started,
        code=3 if name in ("burnt", "half") else 1,
    )
    assert result.get("error") or result["photos"][0]["why"]
    assert as_json("batch", "show", "B1", journal=started) == before
    assert not list((started / "photos").rglob("*.jpg"))


def test_a_photo_that_is_refused_names_those_that_were_kept_before_it(started: Path, pictures: dict[str, Path]) -> None:
    dated = pictures["good"].with_name("IMG_20260910_100000.jpg")
    dated.write_bytes(pictures["good"].read_bytes())
    command = ["photo", "add", "B1", dated, pictures["chart"], "--card", "window", "--keep"]
    refused = as_json(*command, journal=started, code=1)["error"]
    assert refused["safe"] == f"Kept before it: {dated.name}." and refused["what"].startswith("chart.jpg: ")
    assert [entry["photo"] for entry in as_json("batch", "show", "B1", journal=started)["entries"] if entry["photo"]]


def test_of_the_day_that_it_is_what_has_passed_is_entered(started: Path) -> None:
    today = datetime.now(UTC)
    noted = as_json("batch", "note", "B1", "note", "--at", f"{today:%Y-%m-%d}", journal=started)["entry"]
    assert timedelta(0) <= datetime.fromisoformat(noted["at"]) - today < timedelta(minutes=2)
    run("batch", "note", "B1", "note", "--at", f"{today + timedelta(days=2):%Y-%m-%d}", journal=started, code=1)


def test_a_batch_poured_on_a_day_without_a_time_takes_the_photos_of_that_day(
    started: Path, pictures: dict[str, Path]
) -> None:
    run("batch", "start", "B2", "--name", "Oatmeal", "--at", "2026-09-10", journal=started)
    run("batch", "note", "B2", "poured", "--at", "2026-09-10", journal=started)
    taken = ["photo", "add", "B2", pictures["good"], "--card", "window", "--keep", "--at", "2026-09-10T09:00"]
    assert as_json(*taken, journal=started)["photos"][0]["entries"]
    weighed = ["batch", "weigh", "B2", "one", 100, "--at", "2026-09-10"]
    assert as_json(*weighed, journal=started)["entry"]["at"].startswith("2026-09-10T23:59")


def test_a_mistyped_command_is_exit_2() -> None:
    run("measure", code=2)
    run("nothing", code=2)
