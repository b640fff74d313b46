"""Nothing that leaves the journal carries what a camera wrote into its photos: place, owner, serial, thumbnail."""

from __future__ import annotations

import io
import json
import struct
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pypdf
import pytest
from PIL import Image

from curejournal import workflow
from curejournal.batch.records import Event, PhotoNote, Portion
from curejournal.journal.photos import PhotoFacts
from curejournal.journal.store import Journal, NewEntry
from curejournal.workflow import documents
from tests.judging.batches import INTENDED
from tests.workflow.test_documents import BY, CORNERS, INSIDE, NOW, POURED, reading, recipe

SECRETS = [
    b"SN-987654321",
    b"Lens-4711",
    b"Owner Of Phone",
    b"Maker of phones",
    b"kitchen drawer 7",
    b"IMG_secret_name",
]
THUMBNAIL = b"seen in the thumbnail alone"
PLACE = (58.0, 22.0, 33.25)


def photo_file(shade: int) -> bytes:
    """A JPEG as a phone makes it: where, by whom, with what, a thumbnail, a comment (Exif 2.31, 4.6.5 to 4.6.8)."""
    pixels = np.full((480, 640, 3), 90, np.uint8)
    pixels[100:300, 400:560] = (205, 180, 100 + shade)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = "Maker of phones", "Model 9", "Owner Of Phone"
    exif.get_ifd(0x8769).update({0xA431: "SN-987654321", 0xA435: "Lens-4711", 0x9003: "2026:01:02 03:04:05"})
    exif.get_ifd(0x8825).update({1: "N", 2: PLACE, 3: "E", 4: (26.0, 43.0, 21.125)})
    small = io.BytesIO()
    Image.new("RGB", (160, 120), (10, 200, 30)).save(small, "JPEG", comment=THUMBNAIL)
    tiff = exif.tobytes().removeprefix(b"Exif\0\0")
    order = "<" if tiff.startswith(b"II") else ">"
    first = struct.unpack_from(f"{order}I", tiff, 4)[0]
    link = first + 2 + 12 * struct.unpack_from(f"{order}H", tiff, first)[0]
    where = len(tiff) + 30
    directory = struct.pack(f"{order}HHHIIHHIII", 2, 513, 4, 1, where, 514, 4, 1, len(small.getvalue()), 0)
    whole = tiff[:link] + struct.pack(f"{order}I", len(tiff)) + tiff[link + 4 :] + directory + small.getvalue()
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=95, exif=b"Exif\0\0" + whole, comment=b"kitchen drawer 7")
    return out.getvalue()


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Journal:
    with Journal.open(tmp_path_factory.mktemp("leaving") / "journal") as journal:
        made = recipe("clove")
        records = [made, Portion("cream", target_lab=INTENDED, target_source="swatch")]
        workflow.start_batch(journal, "B1", "Soap", at=POURED, by=BY, now=NOW, records=records)
        items = [NewEntry(Event("poured"), POURED), NewEntry(Event("cut", bars=2), POURED + timedelta(days=1))]
        for day in (1, 10, 30, 50):
            when = POURED + timedelta(days=day)
            facts = PhotoFacts(".jpg", 640, 480, when, "exif", "IMG_secret_name.jpg")
            photo = journal.keep_photo(photo_file(day), facts).sha256
            colour = replace(reading(INTENDED), area=json.dumps(INSIDE), corners=CORNERS)
            items += [NewEntry(colour, when, photo=photo), NewEntry(PhotoNote("on the shelf"), when, photo=photo)]
        journal.add_many("B1", items, by=BY)
        yield journal


def one_photo(journal: Journal) -> str:
    return journal.photos_of("B1")[0].sha256


LEAVING: dict[str, Callable[[Journal, Path], bytes]] = {
    "batch record": lambda journal, _: documents.batch_record(journal, ["B1"], NOW),
    "record of a lot": lambda journal, _: documents.lot_page(journal, "clove-lot", NOW),
    "fact sheet": lambda journal, _: documents.fact_sheet(journal, "clove", NOW),
    "fact sheet as text": lambda journal, _: documents.fact_sheet(journal, "clove", NOW, "markdown"),
    "portfolio on paper": lambda journal, _: documents.portfolio_on_paper(journal, ["B1"], NOW, unreleased=True),
    "square picture": lambda journal, _: documents.square_picture(journal, "B1", NOW),
    "calendar": lambda journal, _: documents.calendar_file(journal, NOW, POURED.tzinfo),
    "labels": lambda journal, _: documents.labels(journal, "B1", NOW),
    "recipe": lambda journal, _: documents.recipe_out(journal, "B1", "json"),
    "small picture": lambda journal, _: workflow.small_picture(journal, one_photo(journal), 640),
    "marked picture": lambda journal, _: workflow.marked_picture(photo_file(1), None, 640),
}


def all_within(data: bytes) -> list[bytes]:
    """A file, and what is compressed or hidden in it: each stream and text of a PDF."""
    found = [data]
    if data.startswith(b"%PDF"):
        reader = pypdf.PdfReader(io.BytesIO(data))
        found += [page.extract_text().encode() for page in reader.pages]
        found.append(repr(reader.metadata).encode())
        for number in range(1, len(reader.xref[0]) + 1):
            thing = reader.get_object(number)
            found.append(repr(thing).encode())
            if isinstance(thing, pypdf.generic.StreamObject):
                found += [thing._data, thing.get_data()]
    return found


def assert_bare(data: bytes, original: bytes) -> None:
    for part in all_within(data):
        for secret in (*SECRETS, THUMBNAIL, b"Exif\0\0", b"33.25", b"21.125"):
            assert secret not in part, secret
        assert original not in part
    for image in pictures_in(data):
        assert not image.getexif()
        assert not {"exif", "xmp", "comment", "photoshop"} & set(image.info)


def pictures_in(data: bytes) -> list[Image.Image]:
    if data.startswith(b"%PDF"):
        return [image.image for page in pypdf.PdfReader(io.BytesIO(data)).pages for image in page.images]
    return [Image.open(io.BytesIO(data))] if data.startswith((b"\xff\xd8", b"RIFF")) else []


def test_the_photos_hold_all_that_must_not_leave(told: Journal) -> None:
    data = told.photo_bytes(one_photo(told))
    assert all(secret in data for secret in SECRETS if secret != b"IMG_secret_name")
    assert THUMBNAIL in data
    exif = Image.open(io.BytesIO(data)).getexif()
    assert tuple(map(float, exif.get_ifd(0x8825)[2])) == PLACE
    assert exif.get_ifd(0x8769)[0xA431] == "SN-987654321"


@pytest.mark.parametrize("name", LEAVING)
def test_nothing_of_a_photo_but_its_pixels_leaves(name: str, told: Journal, tmp_path: Path) -> None:
    data = LEAVING[name](told, tmp_path)
    assert len(data) > 100
    assert_bare(data, told.photo_bytes(one_photo(told)))


def test_the_pictures_are_in_what_should_show_them(told: Journal) -> None:
    for name in ("batch record", "portfolio on paper", "square picture", "small picture"):
        assert pictures_in(LEAVING[name](told, Path())), name


def test_the_pages_of_a_portfolio_carry_nothing_else(told: Journal, tmp_path: Path) -> None:
    files = documents.portfolio(told, ["B1"], tmp_path / "pages", NOW, unreleased=True)
    assert any(path.suffix == ".jpg" for path in files)
    for path in (tmp_path / "pages").rglob("*"):
        if path.is_file():
            assert_bare(path.read_bytes(), told.photo_bytes(one_photo(told)))
