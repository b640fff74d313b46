"""A portfolio of batches: static pages that work from a folder, and the same on paper."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n
from curejournal.batch.descriptions import describe_lab
from curejournal.batch.records import Batch, ColourReading
from curejournal.colour.difference import ciede2000
from curejournal.documents import formatting
from curejournal.documents.pictures import jpeg
from curejournal.documents.sheet import Sheet, Swatch, axis_blocks, axis_ticks
from curejournal.documents.true_colour import Framed, Pixels, Seen, balanced, smaller, time_lapse
from curejournal.judging.colour_series import ColourSeries
from curejournal.judging.colour_states import State

LARGE_PX, COVER_PX = 1280, 560
STRIP = 1000


@dataclass(frozen=True)
class PortfolioPhoto:
    """One photo of a batch: the original's bytes, when it was taken, its caption, and what was measured in it."""

    data: bytes
    at: datetime
    caption: str
    readings: tuple[ColourReading, ...]


@dataclass(frozen=True)
class PortfolioBatch:
    """A batch to show. `card_sizes_mm` are those of the cards in its photos by name, for the time-lapse."""

    batch: Batch
    journeys: Mapping[str, ColourSeries]
    photos: tuple[PortfolioPhoto, ...]
    card_sizes_mm: Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class _Picture:
    """A picture as it is shown, and where."""

    pixels: Pixels
    scale: float
    at: datetime
    file: str
    caption: str
    alt: str

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])


def portfolio_pages(
    batches: Iterable[PortfolioBatch], *, title: str, about: str, made_on: datetime, software: str
) -> Iterator[tuple[str, bytes]]:
    """The files of the portfolio, one by one.

    Parameters
    ----------
    batches : iterable of PortfolioBatch
        Taken one at a time, so that the photos of one batch alone are in memory.
    title, about : str
        The heading of the first page and a sentence under it.
    made_on : datetime
        When it is made.
    software : str
        Named at the foot of each page.

    Returns
    -------
    iterator of (str, bytes)
        A file's name and what is in it. `index.html` comes last. Names are letters, digits and hyphens; no file name,
        location, serial number or thumbnail of the originals is in any of them.

    """
    environment = Environment(
        loader=PackageLoader("curejournal.documents"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    common = {"site": title, "made_on": formatting.day(made_on), "software": software}
    used: set[str] = {"index", "portfolio"}
    cards = []
    for batch in batches:
        slug = _slug(batch.batch.code, used)
        pictures = _pictures(batch, slug)
        for picture in pictures:
            yield picture.file, jpeg(picture.pixels)
        lapse = _lapse(batch, pictures, slug)
        if lapse is not None:
            yield lapse["file"], lapse.pop("data")
        lead = _lead(batch)
        page = environment.get_template("batch.html").render(
            common,
            heading=batch.batch.name,
            description=msg("{name}: photos and measured colours of a batch of soap.", name=batch.batch.name),
            lead=lead,
            pair=_pair(pictures, batch),
            portions=[_strip(name, journey) for name, journey in batch.journeys.items() if journey.points],
            time_lapse=lapse,
            pictures=pictures,
        )
        yield f"{slug}.html", page.encode()
        cover = _cover(pictures, batch, slug)
        if cover:
            yield cover.file, jpeg(cover.pixels)
        cards.append({"page": f"{slug}.html", "name": batch.batch.name, "cover": cover, "lead": lead, **_now(batch)})
    index = environment.get_template("index.html").render(
        common, heading=title, about=about, description=about or title, batches=cards
    )
    source, _, _ = PackageLoader("curejournal.documents").get_source(environment, "portfolio.css")
    yield "portfolio.css", source.encode()
    yield "index.html", index.encode()


def portfolio_pdf(
    batches: Iterable[PortfolioBatch], *, title: str, about: str, made_on: datetime, software: str
) -> bytes:
    """The same on paper; a batch that fits on a page is not broken."""
    sheet = Sheet(
        title,
        msg("{title} · {made_on} · {software}", title=title, made_on=formatting.day(made_on), software=software),
        made_on,
    )
    sheet.add_page()
    sheet.title_line(title, about)
    sheet.say(msg("Colours were measured from photos against a colour card (CIELAB, D50)."), 9)
    for batch in batches:
        pictures = _pictures(batch, "p")
        pair = _pair(pictures, batch) or pictures[:1]
        followed = {name: journey for name, journey in batch.journeys.items() if journey.points}
        high = max((picture.height / picture.width for picture in pair), default=0.0) * sheet.epw / 2
        room = min(high + 30 + 26 * len(followed), sheet.eph - 40)
        sheet.heading(f"{batch.batch.code}  {batch.batch.name}", room)
        sheet.start_section(f"{batch.batch.code} {batch.batch.name}")
        sheet.say(_lead(batch))
        sheet.ln(1.5)
        # A hand's width on paper needs no more pixels than this.
        sheet.pictures([(jpeg(smaller(p.pixels, 900)), p.caption, p.alt) for p in pair], across=2)
        for name, journey in followed.items():
            sheet.say(msg("{name}: {journey}", name=name, journey=_words(journey)))
            sheet.swatches([Swatch(point.days, point.lab) for point in journey.points], journey.target_lab)
    return bytes(sheet.output())


def in_measured_colours(photo: PortfolioPhoto, longest: int) -> bytes:
    """A photo as a JPEG, small, balanced by what was measured in it, and without metadata."""
    return jpeg(balanced(photo.data, longest, _seen(photo))[0])


# --- what is shown of a batch --------------------------------------------------------------


def _slug(code: str, used: set[str]) -> str:
    slug = re.sub(r"[^a-z0-9]+", "-", code.lower()).strip("-") or "batch"
    number = 2
    unique = slug
    while unique in used:
        unique, number = f"{slug}-{number}", number + 1
    used.add(unique)
    return unique


def _pictures(batch: PortfolioBatch, slug: str) -> list[_Picture]:
    return [
        _Picture(
            *balanced(photo.data, LARGE_PX, _seen(photo)),
            photo.at,
            f"{slug}-{number:02d}.jpg",
            join(" · ", (part for part in (_when(batch.batch, photo.at), photo.caption) if part)),
            _alt(batch.batch, photo),
        )
        for number, photo in enumerate(batch.photos, start=1)
    ]


def _seen(photo: PortfolioPhoto) -> tuple[Seen, ...]:
    return tuple(Seen(reading.outline, reading.lab) for reading in photo.readings if reading.outline)


def _when(batch: Batch, at: datetime) -> str:
    poured = batch.poured_at
    return formatting.day(at) if poured is None or at < poured else msg("{at} old", at=formatting.age(poured, at))


def _alt(batch: Batch, photo: PortfolioPhoto) -> str:
    what = photo.caption or msg("{name}, the soap", name=batch.name)
    colours = join(", ", (f"{reading.portion} {_colour_words(reading)}" for reading in photo.readings))
    return msg("{what}, {at}", what=what, at=_when(batch, photo.at)) + (
        msg("; {colours}", colours=colours) if colours else ""
    )


def _colour_words(reading: ColourReading) -> str:
    return describe_lab(reading.lab, 0)


def _pair(pictures: Sequence[_Picture], batch: PortfolioBatch) -> list[_Picture]:
    """Before and after: the last photo, and the one whose colours are farthest from it. None if there is but one."""
    measured = [pair for pair in zip(pictures, batch.photos, strict=True) if pair[1].readings]
    if len(measured) < 2:
        return [pictures[0], pictures[-1]] if len(pictures) > 1 else []
    after, last = measured[-1]
    latest = {reading.portion: reading.lab for reading in last.readings}

    def apart(photo: PortfolioPhoto) -> float:
        shared = [reading for reading in photo.readings if reading.portion in latest]
        return max((float(ciede2000(latest[reading.portion], reading.lab)) for reading in shared), default=0.0)

    return [max(measured[:-1], key=lambda pair: apart(pair[1]))[0], after]


def _cover(pictures: Sequence[_Picture], batch: PortfolioBatch, slug: str) -> _Picture | None:
    if not pictures:
        return None
    measured = [picture for picture, photo in zip(pictures, batch.photos, strict=True) if photo.readings]
    last = (measured or pictures)[-1]
    return _Picture(smaller(last.pixels, COVER_PX), last.scale, last.at, f"{slug}-cover.jpg", "", last.alt)


def _lead(batch: PortfolioBatch) -> str:
    poured = batch.batch.poured_at
    told = [msg("Batch {code}", code=batch.batch.code)]
    told += [msg("poured {poured}", poured=formatting.day(poured))] if poured else []
    told += [msg_n("{number} bar", "{number} bars", batch.batch.bars_cut)] if batch.batch.bars_cut else []
    told += (
        [msg("released {released_at}", released_at=formatting.day(batch.batch.released_at))]
        if batch.batch.released_at
        else []
    )
    return join(" · ", told)


_STATE_WORDS = {
    State.DISCOLOURING: msg("It is turning."),
    State.RECOVERING: msg("It is on its way back."),
    State.RECOVERED: msg("It turned, and came back to its target colour."),
    State.STABLE_OFF: msg("It settled at a colour other than its target."),
    State.BROWNING: msg("It is still browning."),
    State.STABLE: msg("It has kept its colour."),
    State.TOO_FEW: msg("Too few photos to say what it does."),
}


def _words(journey: ColourSeries) -> str:
    told = _STATE_WORDS[journey.state]
    if journey.state is State.STABLE and journey.target_lab is None:
        told = msg("Its colour is at rest.")
    if journey.darkens:
        told = (
            msg("It darkened to its target colour.")
            if journey.state is State.RECOVERED
            else msg("It is darkening as intended.")
        )
    if journey.difference_now is None:
        return told
    return msg(
        "{told} {difference_now} ΔE00 from the target colour at the last photo.",
        told=told,
        difference_now=formatting.figure(journey.difference_now),
    )


def _now(batch: PortfolioBatch) -> dict[str, Any]:
    last = {name: journey.points[-1] for name, journey in batch.journeys.items() if journey.points}
    return {
        "colours": [formatting.hex_colour(point.lab) for point in last.values()],
        "colours_alt": msg("measured last: ")
        + join("; ", (f"{name} {describe_lab(point.lab, 0)}" for name, point in last.items())),
    }


def _anchor(place: float) -> str:
    """Where a label at a share of the width begins, so that it stays inside."""
    if place < 0.03:
        return "start"
    return "end" if place > 0.97 else "middle"


def _strip(name: str, journey: ColourSeries) -> dict[str, Any]:
    days = [point.days for point in journey.points]
    width = STRIP - 160 if journey.target_lab else STRIP
    blocks = [
        {
            "x": round(start * width, 1),
            "width": round((end - start) * width, 1),
            "colour": formatting.hex_colour(point.lab),
            "title": msg("day {days:.1f}: {lab}", days=point.days, lab=describe_lab(point.lab)),
        }
        for point, (start, end) in zip(journey.points, axis_blocks(days), strict=True)
    ]
    ticks = [
        {
            "x": round(min(max(place * width, 1), width - 1), 1),
            "text": msg("day {day}", day=day) if day == 0 else str(day),
            "anchor": _anchor(place),
        }
        for day, place in axis_ticks(days)
    ]
    rows = [
        (
            f"{point.days:.1f}",
            *(f"{digits(value, 1)} ± {1.96 * sd:.1f}" for value, sd in zip(point.lab, point.lab_sd, strict=True)),
            formatting.figure(point.difference) if point.difference else msg("no target colour"),
        )
        for point in journey.points
    ]
    first, last = journey.points[0], journey.points[-1]
    alt = msg(
        "Measured colours of {name} over {days}: from {first_lab} on day {first_day:.1f} to {last_lab}",
        name=name,
        days=msg_n("{number} day", "{number} days", round(days[-1])),
        first_lab=describe_lab(first.lab, 0),
        first_day=first.days,
        last_lab=describe_lab(last.lab, 0),
    ) + (msg("; target {target_lab}", target_lab=describe_lab(journey.target_lab, 0)) if journey.target_lab else "")
    return {
        "name": name,
        "words": _words(journey),
        "blocks": blocks,
        "ticks": ticks,
        "rows": rows,
        "alt": alt,
        "target": formatting.hex_colour(journey.target_lab) if journey.target_lab else "",
    }


def _lapse(batch: PortfolioBatch, pictures: Sequence[_Picture], slug: str) -> dict[str, Any] | None:
    """The time-lapse of the portion and card that were photographed together most."""
    seen = [(reading.portion, reading.card) for photo in batch.photos for reading in photo.readings]
    together = [pair for pair in seen if pair[1] in batch.card_sizes_mm]
    if not together:
        return None
    portion, card = max(together, key=together.count)
    frames = [
        Framed(picture.pixels, picture.scale, reading.corners, _seen(photo), _when(batch.batch, photo.at))
        for photo, picture in zip(batch.photos, pictures, strict=True)
        for reading in photo.readings
        if (reading.portion, reading.card) == (portion, card)
    ]
    made = time_lapse(frames, batch.card_sizes_mm[card])
    if made is None:
        return None
    data, width, height = made
    alt = msg(
        "Time-lapse of {portion}: {photos} from {first_label} to {last_label}",
        portion=portion,
        photos=msg_n("{number} photo", "{number} photos", len(frames)),
        first_label=frames[0].label,
        last_label=frames[-1].label,
    )
    return {
        "data": data,
        "file": f"{slug}-time-lapse.webp",
        "width": width,
        "height": height,
        "frames": len(frames),
        "alt": alt,
    }
