"""The portfolio works from a folder, without script, for everyone, and gives nothing away but soap."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import html5lib
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from curejournal.documents import portfolio_soap
from curejournal.documents.pictures import jpeg
from curejournal.documents.portfolio import portfolio_pages
from curejournal.documents.portfolio_paper import portfolio_pdf
from curejournal.documents.portfolio_soap import LAYOUTS, Design, PortfolioBatch, Shot, soap_of
from curejournal.documents.share_square import SIDE_PX, square
from curejournal.documents.soap_pictures import ASPECTS, View, soap_picture
from curejournal.documents.true_colour import Seen
from curejournal.judging.judgement import judge
from tests.judging.batches import BASICS, INTENDED, batch, day, seen

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


def shot(days, lab=INTENDED, caption="", soap=(205, 180, 140)):
    view = View((Seen(tuple(map(tuple, INSIDE)), lab),))
    data = photo_file(soap)
    return Shot(day(days), caption, lambda longest, cut: jpeg(soap_picture(data, view, longest, ASPECTS[cut])))


def shown(code="T-1", name="a test", photos=3, records=(), course="comes back", days=(0.2, 1, 3, 7, 14, 28)):
    one = replace(batch(*BASICS, *seen(course, days), *records), code=code, name=name)
    shots = tuple(shot(1 + 9 * n, caption=f"caption {n}", soap=(205 - 10 * n, 180, 140)) for n in range(photos))
    aligned = tuple((each, {"cream": INTENDED}) for each in shots)
    return PortfolioBatch(one, judge(one, day(60)).journeys, shots[-1] if shots else None, shots, aligned)


def pages(*batches, title="Soap", about="Told in pictures", layout="gallery"):
    design = Design(title, about, layout)
    return dict(portfolio_pages(batches, design, made_on=day(60), software="curejournal 0.1.0"))


def paper(*batches, title="Soap", layout="gallery", size="A4"):
    design = Design(title, "", layout)
    return portfolio_pdf(batches, design, made_on=day(60), software="x", paper=size)


HOSTILE = "<script>alert(1)</script>\"'&{{ 7*7 }}<img src=x onerror=alert(2)>"


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("name", ["a test", HOSTILE, "石鹸 صابون 🧼", ""])
def test_every_page_is_valid_html_with_whatever_name(name, layout):
    made = pages(
        *(shown(name=name, photos=2), shown(code="bare", name=name, photos=0)),
        title=name or "Soap", about=name, layout=layout,
    )  # fmt: skip
    for file, data in made.items():
        if file.endswith(".html"):
            html5lib.HTMLParser(strict=True).parse(data.decode())
            assert data.count(b"<script") == data.count(b'<script src="portfolio.js" defer></script>') == 1
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
            linked |= {one.split()[0] for one in element.attrib.get("srcset", "").split(",") if one}
    linked = {address for address in linked if not address.startswith("data:image/svg+xml")}
    assert linked == set(made)
    assert all(re.fullmatch(r"[a-z0-9-]+\.(html|jpg|webp|css|js)", file) for file in made)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_picture_has_a_text_alternative_and_a_size_before_it_is_there(layout):
    for file, data in pages(shown(), layout=layout).items():
        if not file.endswith(".html"):
            continue
        for element in named(tree(data), "img"):
            assert len(element.attrib["alt"]) > 8
            if not element.attrib["src"].startswith("data:"):
                assert int(element.attrib["width"]) > 0
                assert int(element.attrib["height"]) > 0


LAB_TERMS = re.compile(r"square root|ΔE|CIE|L\*|a\*|b\*|D50|CIEDE|interval|tolerance|±")


@pytest.mark.parametrize("course", ["comes back", "settles off", "stays"])
def test_customers_read_no_lab_term_and_no_code(course):
    made = pages(shown(course=course))
    for file, data in made.items():
        if file.endswith(".html"):
            words = " ".join([*tree(data).itertext(), *(e.attrib.get("alt", "") for e in tree(data).iter())])
            assert not LAB_TERMS.search(words), LAB_TERMS.search(words)
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(paper(shown(course=course)))).pages)
    assert not LAB_TERMS.search(text)


@pytest.mark.parametrize(
    ("course", "sentence"),
    [("comes back", r"It (darkened|changed colour), and recovered in \d+ (days|weeks)\."),
     ("settles off", r"It settled in a colour of its own\."),
     ("stays", r"It has kept its colour for 4 weeks\.")],
)  # fmt: skip
def test_the_story_of_a_colour_is_one_sentence(course, sentence):
    assert re.fullmatch(sentence, soap_of(shown(course=course)).sentence)


@pytest.mark.parametrize(
    ("days", "words"),
    [(0.02, "1 hour"), (0.5, "12 hours"), (1, "1 day"), (12.4, "12 days"), (35, "5 weeks"), (200, "7 months")],
)
def test_a_span_is_told_as_people_tell_it(days, words):
    assert portfolio_soap.span_words(days) == words


def test_the_square_is_square_and_gives_nothing_else_away():
    data = square(soap_of(shown(name="石鹸 " + "long " * 40)), "A workshop, somewhere")
    image = Image.open(io.BytesIO(data))
    assert image.size == (SIDE_PX, SIDE_PX) and not image.getexif()
    assert SERIAL.encode() not in data


def test_the_first_screen_is_light():
    """Page, style with its type, script, and the pictures in sight: 300 kB, whatever the photos are like."""
    rng = np.random.default_rng(3)
    rough = jpeg(rng.integers(0, 255, (1500, 2000, 3)).astype(np.uint8), 95)
    noisy = Shot(day(3), "", lambda longest, cut: jpeg(soap_picture(rough, View(), longest, ASPECTS[cut])))
    alike = tuple((noisy, {"cream": INTENDED}) for _ in range(2))
    made = pages(*(replace(shown(code=f"T-{n}", photos=0), cover=noisy, aligned=alike) for n in range(3)))
    weights = {name: len(data) for name, data in made.items()}
    always = ["portfolio.css", "portfolio.js"]
    desk = ["index.html", "t-0-hero.jpg", *(f"t-{n}-cover.jpg" for n in range(3))]
    phone = ["index.html", "t-0-hero-tall.jpg", "t-0-middle.jpg"]
    one = ["t-0.html", "t-0-large.jpg", "t-0-pair-1.jpg", "t-0-pair-2.jpg"]
    for first in (desk, phone, one):
        assert sum(weights[name] for name in (*always, *first)) <= 300_000, {name: weights[name] for name in first}


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


def test_the_ribbon_tells_from_the_pour_on_in_plain_words():
    (_, drawn), *_ = soap_of(shown()).ribbons
    assert [name for _, name in drawn.ticks] == ["poured", "4 weeks later"]
    assert drawn.words.startswith("Its colour from the pour to 4 weeks later. It ")


def test_a_time_lapse_plays_what_can_be_laid_on_each_other():
    made = pages(shown(photos=3))
    lapse = Image.open(io.BytesIO(made["t-1-time-lapse.webp"]))
    assert lapse.n_frames == 3
    assert 300 <= lapse.size[0] <= 480


def test_a_batch_without_photos_or_colours_has_a_page_too():
    made = pages(PortfolioBatch(batch(), {}, None, ()))
    assert set(made) == {"t-1.html", "index.html", "portfolio.css", "portfolio.js"}


def test_an_empty_portfolio_says_so():
    assert b"No batch was chosen" in pages()["index.html"]


@pytest.mark.parametrize("size", ["A4", (215.9, 279.4)], ids=["A4", "Letter"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_same_on_paper(layout, size):
    data = paper(shown(name="Kreem"), shown(code="T-2", photos=0), title="Мыло", layout=layout, size=size)
    assert data.startswith(b"%PDF")
    assert SERIAL.encode() not in data
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).split())
    assert "Мыло" in text and "Kreem" in text and soap_of(shown()).sentence in text


def pair_of(*colours):
    """Which pictures of a batch are before and after, by these colours, ten days apart."""
    aligned = [(shot(1 + 10 * n, lab, f"caption {n}"), {"cream": lab}) for n, lab in enumerate(colours)]
    pair = portfolio_soap.pair_of(aligned, "cream")
    return [one.caption for one in pair]


LIGHT, DARK, DARKER = (85.0, 2.0, 18.0), (60.0, 8.0, 25.0), (50.0, 9.0, 25.0)


@pytest.mark.parametrize(
    ("colours", "before"),
    [((LIGHT, DARK, DARKER), "caption 0"), ((LIGHT, DARKER, DARK, LIGHT), "caption 1"), ((DARK, LIGHT), "caption 0")],
    ids=["browning: from its first photo", "back: from where it was farthest", "two photos"],
)
def test_before_is_the_photo_whose_colour_is_farthest_from_the_last(colours, before):
    assert pair_of(*colours) == [before, f"caption {len(colours) - 1}"]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_on_paper_a_soap_is_never_broken_over_two_pages(layout):
    data = paper(*(shown(code=f"T-{n}", name=f"Soap number {n}") for n in range(5)), layout=layout)
    texts = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages]
    for n in range(5):
        (page,) = (text for text in texts if f"Soap number {n}" in text)
        assert page.count("It ") >= page.count("Soap number"), "each with its sentence"
