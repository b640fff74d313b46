"""The portfolio works from a folder, without script, for everyone, and gives nothing away but soap."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace

import html5lib
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from curejournal.colour.difference import ciede2000
from curejournal.colour.spaces import lab_from_srgb
from curejournal.documents.portfolio import PortfolioBatch, PortfolioPhoto, portfolio_pages, portfolio_pdf
from curejournal.documents.true_colour import Seen, balanced
from curejournal.judging.judgement import judge
from tests.judging.batches import BASICS, INTENDED, batch, day, reading, seen

SERIAL, PLACE = "SN-987654321", "kitchen drawer 7"
CORNERS = ((20.0, 20.0), (300.0, 40.0), (290.0, 220.0), (25.0, 210.0))
INSIDE = [[400, 100], [560, 100], [560, 300], [400, 300]]


def photo_file(soap=(205, 180, 140), size=(640, 480)):
    """A JPEG with a place, a serial number, a thumbnail and a comment in it."""
    pixels = np.full((size[1], size[0], 3), 90, np.uint8)
    pixels[100:300, 400:560] = soap
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = "Maker of phones", "Model 9", "Kaja"
    exif.get_ifd(0x8769)[0xA431] = SERIAL
    exif.get_ifd(0x8825).update({1: "N", 2: (58.0, 22.0, 33.3), 3: "E", 4: (26.0, 43.0, 21.1)})
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=95, exif=exif, comment=PLACE.encode(), dpi=(300, 300))
    return out.getvalue()


def measured(lab=INTENDED, portion="cream"):
    return replace(reading(lab, portion), area=json.dumps(INSIDE), corners=CORNERS)


def shown(code="T-1", name="a test", photos=3, records=()):
    one = replace(batch(*BASICS, *seen("comes back", (0.2, 1, 3, 7, 14, 28)), *records), code=code, name=name)
    kept = tuple(
        PortfolioPhoto(photo_file((205 - 10 * n, 180, 140)), day(1 + 9 * n), f"caption {n}", (measured(),))
        for n in range(photos)
    )
    return PortfolioBatch(one, judge(one, day(60)).journeys, kept, {"window": (148.0, 105.0)})


def pages(*batches, title="Soap", about="Told in pictures"):
    return dict(portfolio_pages(batches, title=title, about=about, made_on=day(60), software="curejournal 0.1.0"))


HOSTILE = "<script>alert(1)</script>\"'&{{ 7*7 }}<img src=x onerror=alert(2)>"


@pytest.mark.parametrize("name", ["a test", HOSTILE, "石鹸 صابون 🧼", ""])
def test_every_page_is_valid_html_with_whatever_name(name):
    made = pages(shown(name=name, photos=2), shown(code="bare", name=name, photos=0), title=name or "Soap", about=name)
    for file, data in made.items():
        if file.endswith(".html"):
            html5lib.HTMLParser(strict=True).parse(data.decode())
            assert b"<script" not in data
            assert b"onerror=alert(2)>" not in data
            assert b"49" not in data.split(b"<h1>")[1].split(b"</h1>")[0]


def tree(data):
    return html5lib.parse(data.decode(), namespaceHTMLElements=False)


def named(page, name):
    """Elements of that name, those of a drawing too, of which there must be some."""
    found = [element for element in page.iter() if str(element.tag).rpartition("}")[2] == name]
    assert found, name
    return found


def test_every_link_leads_to_a_file_of_the_folder_and_every_file_is_linked():
    made = pages(shown(), shown(code="T-2"), shown(code="../T 2!"))
    linked = {"index.html"}
    for data in (data for file, data in made.items() if file.endswith(".html")):
        for element in tree(data).iter():
            linked |= {element.attrib[key] for key in ("href", "src") if key in element.attrib}
    assert linked == set(made)
    assert all(re.fullmatch(r"[a-z0-9-]+\.(html|jpg|webp|css)", file) for file in made)


def test_every_picture_has_a_text_alternative_and_its_size():
    for file, data in pages(shown()).items():
        if not file.endswith(".html"):
            continue
        for element in named(tree(data), "img"):
            assert len(element.attrib["alt"]) > 10
            assert int(element.attrib["width"]) > 0
            assert int(element.attrib["height"]) > 0
        for element in named(tree(data), "svg"):
            assert element.attrib["role"] == "img"
            assert "L*" in element.attrib["aria-label"]


def test_nothing_of_the_originals_but_their_pixels_is_in_any_file():
    original = photo_file()
    assert SERIAL.encode() in original
    assert PLACE.encode() in original
    made = pages(shown())
    for file, data in made.items():
        assert SERIAL.encode() not in data, file
        assert PLACE.encode() not in data, file
        assert b"Maker of phones" not in data, file
        assert b"Exif" not in data, file
        if file.endswith((".jpg", ".webp")):
            image = Image.open(io.BytesIO(data))
            assert not image.getexif()
            assert not {"exif", "xmp", "comment", "icc_profile", "photoshop"} & set(image.info), file
    text = b"".join(data for file, data in made.items() if file.endswith(".html")).decode()
    assert "a tester" not in text  # who entered what is nobody's business


def test_soap_shows_its_measured_colour_in_whatever_light_it_was_photographed():
    wanted = (80.0, 3.0, 22.0)
    for cast in ((230, 190, 110), (150, 170, 190), (120, 110, 90)):
        picture, scale = balanced(photo_file(cast), 320, [Seen(tuple(map(tuple, INSIDE)), wanted)])
        assert scale == pytest.approx(2.0)
        found = lab_from_srgb(np.median(picture[60:140, 210:270].reshape(-1, 3), axis=0) / 255)
        difference = float(ciede2000(np.array(wanted), found))
        print(cast, difference)
        assert difference < 1.0


@pytest.mark.parametrize(
    "area", ["window", "", "null", "[]", "[[1, 2]]", '{"a": 1}', "[[-50, -50], [900, 10], [5, 900]]"]
)
def test_a_reading_without_a_polygon_leaves_the_photo_as_it_is(area):
    one = shown(photos=1)
    odd = replace(one.photos[0], readings=(replace(measured(), area=area),))
    assert "t-1-01.jpg" in pages(replace(one, photos=(odd,)))


def test_dark_soap_does_not_set_the_balance():
    picture, _ = balanced(photo_file((30, 30, 30)), 320, [Seen(tuple(map(tuple, INSIDE)), (20.0, 0.0, 0.0))])
    assert picture[5, 5] == pytest.approx((90, 90, 90), abs=3)


def test_the_strip_shows_each_measured_colour_at_its_time_and_the_target():
    page = tree(pages(shown())["t-1.html"])
    strip = next(svg for svg in named(page, "svg") if svg.attrib["class"] == "strip")
    blocks = named(strip, "rect")
    assert len(blocks) == 7  # six readings and the target colour
    places = [float(block.attrib["x"]) for block in blocks]
    assert places == sorted(places)
    rows = [row for row in page.iter("tr") if row.find("td") is not None]
    assert len(rows) == 6


def test_a_time_lapse_lays_the_photos_on_each_other_by_the_card():
    made = pages(shown(photos=3))
    lapse = Image.open(io.BytesIO(made["t-1-time-lapse.webp"]))
    assert lapse.n_frames == 3
    assert lapse.size[0] == 384


def test_a_time_lapse_is_of_one_card():
    one = shown(photos=3)
    other = replace(one.photos[2], readings=(replace(measured(), card="chart24"),))
    made = pages(replace(one, photos=(*one.photos[:2], other)))
    assert Image.open(io.BytesIO(made["t-1-time-lapse.webp"])).n_frames == 2


def test_a_batch_without_photos_or_colours_has_a_page_too():
    bare = PortfolioBatch(batch(), {}, (), {})
    made = pages(bare)
    assert set(made) == {"t-1.html", "index.html", "portfolio.css"}


def test_an_empty_portfolio_says_so():
    assert b"No batch was chosen" in pages()["index.html"]


def test_the_same_on_paper():
    data = portfolio_pdf([shown(), shown(code="T-2", photos=0)], title="Мыло", about="", made_on=day(60), software="x")
    assert data.startswith(b"%PDF")
    assert SERIAL.encode() not in data


def pair_of(*colours):
    """The ages under *before and after* of a batch whose photos showed these colours, ten days apart."""
    kept = tuple(
        PortfolioPhoto(photo_file(), day(1 + 10 * n), f"caption {n}", (measured(lab),)) for n, lab in enumerate(colours)
    )
    page = tree(pages(replace(shown(), photos=kept))["t-1.html"])
    pair = next(element for element in page.iter("div") if element.attrib.get("class") == "pair")
    return ["".join(caption.itertext()).split(" · ")[-1].strip() for caption in named(pair, "figcaption")]


LIGHT, DARK, DARKER = (85.0, 2.0, 18.0), (60.0, 8.0, 25.0), (50.0, 9.0, 25.0)


@pytest.mark.parametrize(
    ("colours", "before"),
    [((LIGHT, DARK, DARKER), "caption 0"), ((LIGHT, DARKER, DARK, LIGHT), "caption 1"), ((DARK, LIGHT), "caption 0")],
    ids=["browning: from its first photo", "back: from where it was farthest", "two photos"],
)
def test_before_is_the_photo_whose_colour_is_farthest_from_the_last(colours, before):
    assert pair_of(*colours) == [before, f"caption {len(colours) - 1}"]


def test_on_paper_a_batch_that_fits_is_on_one_page_and_pages_are_filled():
    data = portfolio_pdf(
        [shown(code=f"T-{n}") for n in range(4)], title="Soap", about="", made_on=day(60), software="x"
    )
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    assert len(texts) == 2
    for n in range(4):
        (page,) = (text for text in texts if f"T-{n} a test" in " ".join(text.split()))
        assert page.count("cream: ") == 2
