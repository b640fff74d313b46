"""Cards over soap, photographed: a set for choosing, one for reporting, and faults.

Each scene carries its truth: the colour of every portion in sight, as an instrument would read it (45:0 without gloss).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.path_traced.faults import FAULTS
from tests.path_traced.laying import ground, lay_card
from tests.path_traced.prints import chart_print, print_of, small_chart
from tests.path_traced.showing import aimed, corners_of, lit, phone, seen_in_window, seen_on_top
from tests.path_traced.soaps import BARS, SOAPS
from tests.path_traced.world import Body, Lens, Shot, place
from tests.path_traced.worlds import Draw, World
from tests.scenes import card_named

SIZE = (1200, 900)
SAMPLES = 64


def over_soap(draw: Draw, kind: str, number: int, fault: str = "") -> Shot:
    """The window card on a bar, or over a mould."""
    under = SOAPS[kind](draw, number)
    which = number % len(draw.world.printers)
    made = print_of(draw.world, which)
    under, made, extra = FAULTS[fault](draw, under, made, which) if fault else (under, made, {})
    thickness = extra.get("thickness") or float(np.exp(draw.between(np.log(0.3), np.log(2.0))))
    gap = under.depth or draw.between(0.1, 0.8)
    slope = 0.0 if under.depth else draw.about(0.6)
    at = place(
        draw.about(3), draw.about(3), under.top + gap, draw.about(6), slope, draw.about(0.4) if not under.depth else 0.0
    )
    curl = 0.0 if draw.chance(0.6) else draw.between(0.2, 2.5)
    laid = lay_card(
        card_named("window"), made, at, thickness, curl, draw.one((0.0, 90.0, 30.0)), {"copy_id": f"P-{which}"}
    )
    lens = aimed(draw, laid, SIZE)
    about, lamps, lights = extra["room"](lens) if "room" in extra else ((), *lit(draw, np.array(lens.at), at[:3, 3]))
    camera, how = phone(draw, lights)
    things = (ground(draw.one(draw.world.grounds), draw.seed, texels=512), *under.things, *about, *laid.things)
    body = under.soap.made_of
    assert isinstance(body, Body)
    truth = {
        "card": "window",
        "print": f"{draw.world.name}-{which}",
        "kind": kind,
        "fault": fault,
        "corners": corners_of(laid, lens),
        "portions": seen_in_window(laid, lens, under),
        "thickness_mm": round(thickness, 2),
        "gap_mm": round(gap, 2),
        "curl_mm": round(curl, 2),
        "soap_roughness": body.portions[0].finish.roughness,
        "card_roughness": made.paper_finish.roughness,
        "card_matt": made.paper_finish.matt,
        **how,
        **extra.get("truth", {}),
    }
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-10-05T11:00:00+02:00"}, truth=truth
    )


def _side_by_side(draw: Draw, number: int, card_name: str) -> Shot:
    """The side card or the chart beside bars that lie on their cut faces."""
    kind = draw.one(BARS)
    under = SOAPS[kind](draw, number)
    which = number % len(draw.world.printers)
    small = small_chart() if card_name == "chart24" else card_named(card_name)
    made = chart_print() if card_name == "chart24" else print_of(draw.world, which)
    thickness = draw.between(0.4, 2.0)
    lower = 0.0 if draw.chance(0.5) else under.top - thickness
    size = under.soap.options["size"]
    down = size[1] / 2 + small.size_mm[1] / 2 + draw.between(8, 16)
    border = 6.0 if card_name == "chart24" else 0.0
    laid = lay_card(small, made, place(draw.about(5), -down, lower, draw.about(3)), thickness, border_mm=border)
    w, h = small.size_mm
    middle = np.array([0, -down / 2, (lower + under.top) / 2])
    across = max(w, 1.33 * (down + h / 2 + size[1] / 2)) + 30
    tilt, towards = np.radians([abs(draw.about(10)), draw.between(200, 340)])
    eye = middle + across / 1.274 / 0.92 * np.array(
        [np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)]
    )
    lens = Lens(tuple(eye.tolist()), tuple(middle.tolist()), 65.0, SIZE, 0.9)
    lamps, lights = lit(draw, eye, middle)
    camera, how = phone(draw, lights)
    truth = {
        "card": card_name,
        "print": "chart24" if card_name == "chart24" else f"{draw.world.name}-{which}",
        "kind": kind,
        "fault": "",
        "corners": corners_of(laid, lens),
        "portions": seen_on_top(lens, under),
        **how,
    }
    bench = draw.one(draw.world.grounds)
    if bench == "linen" and not lower:  # its folds would come through a card that lies on it
        bench = "slate"
    things = (ground(bench, draw.seed, texels=512), under.soap, *laid.things)
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-10-05T11:00:00+02:00"}, truth=truth
    )


def enrolment(world: World, which: int, number: int) -> Shot:
    """One of three daylight photos of a printed window card beside the chart."""
    draw = Draw(world, 900_000 + 10 * which + number)
    chart = lay_card(small_chart(), chart_print(), place(0, 52, 0, draw.about(1.5)), 1.2, border_mm=6.0)
    laid = lay_card(
        card_named("window"),
        print_of(world, which),
        place(0, -58, 0, draw.about(1.5)),
        0.4,
        texts={"copy_id": f"P-{which}"},
    )
    tilt, towards = np.radians([draw.between(2, 10), draw.between(0, 360)])
    middle = np.array([0.0, -3.0, 0.0])
    eye = middle + 275 * np.array([np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)])
    lens = Lens(tuple(eye.tolist()), tuple(middle.tolist()), 65.0, SIZE, 0.9)
    daylight = replace(world, lights=tuple(light for light in world.lights if light.startswith("daylight")))
    draw.world = daylight
    lamps, lights = lit(draw, eye, middle, mixed=0.0)
    camera, how = phone(draw, lights)
    truth = {
        "card": "window", "print": f"{world.name}-{which}", "kind": "enrolment", "fault": "",
        "corners": corners_of(laid, lens), "chart_corners": corners_of(chart, lens), "portions": {}, **how,
    }  # fmt: skip
    things = (ground("paper", draw.seed), *chart.things, *laid.things)
    return Shot(
        "", things, lamps, lens, camera, draw.seed, SAMPLES, 6, exif={"at": "2026-09-01T11:00:00+02:00"}, truth=truth
    )


def named(shot: Shot, name: str) -> Shot:
    return replace(shot, name=name)


def good(world: World, count: int) -> Iterator[Shot]:
    """Scenes of a set: four in five with the window card, the others with the side card or the chart."""
    kinds = list(SOAPS)
    for number in range(count):
        draw = Draw(world, number)
        if number % 10 == 4:
            shot = _side_by_side(draw, number, "side")
        elif number % 10 == 9:
            shot = _side_by_side(draw, number, "chart24")
        else:
            shot = over_soap(draw, kinds[number % len(kinds)], number)
        yield named(shot, f"{world.name}-{number:03d}")


def faults(world: World, each: int) -> Iterator[Shot]:
    kinds = [kind for kind in SOAPS if kind not in ("stamped", "petals", "wet batter")]
    for family, fault in enumerate(FAULTS):
        for number in range(each):
            draw = Draw(world, 5000 * (family + 1) + number)
            own = [kind for kind in kinds if fault != "coloured wall" or kind not in ("loaf", "textured top")]
            shot = over_soap(draw, own[(number + family) % len(own)], number, fault)
            yield named(shot, f"{world.name}-{fault.replace(' ', '-')}-{number:02d}")


def enrolments(world: World) -> Iterator[Shot]:
    for which in range(len(world.printers)):
        for number in range(3):
            yield named(enrolment(world, which, number), f"{world.name}-enrol-{which}-{number}")
