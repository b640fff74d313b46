"""A portfolio of batches as static web pages that work from a folder: light, printable, the same without script."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from curejournal.base.messages import Voice, localise, msg
from curejournal.documents import formatting
from curejournal.documents.page_fonts import embedded_faces
from curejournal.documents.pictures import jpeg_within
from curejournal.documents.portfolio_soap import Design, PortfolioBatch, Shot, Soap, soap_of
from curejournal.documents.ribbon import RIBBON_CSS, ribbon_html
from curejournal.documents.share_square import square
from curejournal.documents.style import variables
from curejournal.documents.true_colour import Pixels, smaller, time_lapse

HERO_PX, TALL_PX, COVER_PX, MIDDLE_PX, LARGE_PX, SHOT_PX, FRAME_PX = 1600, 800, 480, 800, 1280, 1000, 480
HERO_BYTES, TALL_BYTES, COVER_BYTES, MIDDLE_BYTES = 105_000, 70_000, 28_000, 60_000
LARGE_BYTES, SHOT_BYTES, PAIR_BYTES = 110_000, 80_000, 50_000
"""What a picture may weigh, by what it is for: so that a first screen stays below 300 kB with its page and its type."""
HERO_ASPECT = 2.0


@dataclass(frozen=True)
class _File:
    """A picture as a page names it."""

    file: str
    width: int
    height: int
    alt: str
    caption: str = ""


class _Files:
    """The pictures of one batch under their names, as they are made."""

    def __init__(self, soap: Soap, slug: str) -> None:
        self.soap, self.slug = soap, slug
        self.made: list[tuple[str, bytes]] = []
        self._drawn: dict[int, Pixels] = {}

    def drawn(self, shot: Shot, longest: int) -> Pixels:
        """A picture in pixels; each is drawn once, as large as it is needed anywhere."""
        if id(shot) not in self._drawn:
            self._drawn[id(shot)] = shot.pixels(HERO_PX if shot is self.soap.cover else SHOT_PX)
        return smaller(self._drawn[id(shot)], longest)

    def add(self, shot: Shot, name: str, pixels: Pixels, most_bytes: int) -> _File:
        """A picture, its size and what it shows."""
        file, (height, width) = f"{self.slug}-{name}.jpg", pixels.shape[:2]
        self.made.append((file, jpeg_within(pixels, most_bytes)))
        return _File(file, int(width), int(height), self.soap.alt(shot), self.soap.age(shot))


def portfolio_pages(
    batches: Iterable[PortfolioBatch], design: Design, *, made_on: datetime, software: str, voice: Voice | None = None
) -> Iterator[tuple[str, bytes]]:
    """The files of the portfolio, one by one.

    Parameters
    ----------
    batches : iterable of PortfolioBatch
        Taken one at a time, so that the photos of one batch alone are in memory.
    design : Design
    made_on : datetime
        When it is made.
    software : str
        Named at the foot of each page.
    voice : Voice, optional
        How its reader is spoken to; English if left out.

    Returns
    -------
    iterator of (str, bytes)
        A file's name and what is in it. `index.html` comes last. Names are letters, digits and hyphens; no file name,
        location, serial number or thumbnail of the originals is in any of them.

    """
    environment = _environment(voice)
    title, about, layout = design.title, design.about, design.layout
    common = {"site": title, "made_on": formatting.day(made_on), "software": software, "layout": layout}
    used: set[str] = {"index", "portfolio"}
    told: list[dict[str, Any]] = []
    hero: dict[str, Any] | None = None
    texts = []
    for batch in batches:
        soap = soap_of(batch)
        slug = _slug(batch.batch.code, used)
        files = _Files(soap, slug)
        one = _told(files, title)
        if hero is None and layout != "book" and soap.cover is not None:
            hero = _hero(files, soap.cover)
        page = environment.get_template("batch.html").render(common, heading=soap.name, **one)
        yield from files.made
        yield f"{slug}.html", page.encode()
        texts.append(page)
        told.append({"page": f"{slug}.html", **one})
    index = environment.get_template("index.html").render(common, heading=title, about=about, hero=hero, batches=told)
    source, _, _ = PackageLoader("curejournal.documents").get_source(environment, "portfolio.css")
    script, _, _ = PackageLoader("curejournal.documents").get_source(environment, "portfolio.js")
    faces = embedded_faces("".join([index, *texts]))
    yield "portfolio.css", f"{faces}\n{variables()}{RIBBON_CSS}{source}".encode()
    yield "portfolio.js", script.encode()
    yield "index.html", index.encode()


def _environment(voice: Voice | None) -> Environment:
    """Templates whose texts and values are said to the reader."""
    environment = Environment(
        loader=PackageLoader("curejournal.documents"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: localise(value, voice),
    )
    environment.globals["_"] = lambda template, **values: localise(msg(template, **values), voice)
    return environment


def _slug(code: str, used: set[str]) -> str:
    slug = re.sub(r"[^a-z0-9]+", "-", code.lower()).strip("-") or "batch"
    number = 2
    unique = slug
    while unique in used:
        unique, number = f"{slug}-{number}", number + 1
    used.add(unique)
    return unique


def _told(files: _Files, site: str) -> dict[str, Any]:
    """What the pages say of a batch; its pictures are made on the way."""
    soap = files.soap
    cover = soap.cover
    covers = [] if cover is None else [files.add(cover, "cover", files.drawn(cover, COVER_PX), COVER_BYTES)]
    if cover is not None:
        covers.append(files.add(cover, "middle", files.drawn(cover, MIDDLE_PX), MIDDLE_BYTES))
        covers.append(files.add(cover, "large", files.drawn(cover, LARGE_PX), LARGE_BYTES))
        files.made.append((f"{files.slug}-square.jpg", square(soap, site)))
    named = [
        {
            "name": name if len(soap.ribbons) > 1 else "",
            "html": ribbon_html(drawn, axis=number == len(soap.ribbons)),
            "strip": ribbon_html(drawn, "strip"),
        }
        for number, (name, drawn) in enumerate(soap.ribbons, 1)
    ]
    pair = soap.pair or ()
    return {
        "name": soap.name,
        "lead": soap.lead,
        "sentence": soap.sentence,
        "covers": covers,
        "ribbons": named,
        "pair": [
            files.add(shot, f"pair-{n}", files.drawn(shot, SHOT_PX), PAIR_BYTES) for n, shot in enumerate(pair, 1)
        ],
        "time_lapse": _lapse(files),
        "pictures": [
            files.add(shot, f"{n:02d}", files.drawn(shot, SHOT_PX), SHOT_BYTES) for n, shot in enumerate(soap.shots, 1)
        ],
        "square": f"{files.slug}-square.jpg" if covers else "",
    }


def _hero(files: _Files, cover: Shot) -> dict[str, Any]:
    """The picture over the first page: wide for a desk, as it is for a phone."""
    wide = files.drawn(cover, HERO_PX)
    band = round(wide.shape[1] / HERO_ASPECT)
    top = max((wide.shape[0] - band) // 2, 0)
    return {
        "wide": files.add(cover, "hero", wide[top : top + band], HERO_BYTES),
        "tall": files.add(cover, "hero-tall", files.drawn(cover, TALL_PX), TALL_BYTES),
    }


def _lapse(files: _Files) -> dict[str, Any] | None:
    soap = files.soap
    made = time_lapse([(files.drawn(shot, FRAME_PX), soap.age(shot)) for shot in soap.frames])
    if made is None:
        return None
    data, width, height = made
    file = f"{files.slug}-time-lapse.webp"
    files.made.append((file, data))
    first, last = soap.frames[0], soap.frames[-1]
    alt = msg(
        "Time-lapse of {name}, from {first} to {last}", name=soap.name, first=soap.age(first), last=soap.age(last)
    )
    return {"file": file, "width": width, "height": height, "frames": len(soap.frames), "alt": alt}
