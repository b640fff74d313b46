"""Reference colours from a measuring instrument's text file: CGATS (ISO 28178), or CSV with a head line.

Patches are matched to a card's by their ids or names; whatever else the file says is left alone. Values for
another light or observer than D50 and 2 degrees are refused, since they cannot be turned into these.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Lab, as_matrix3
from curejournal.colour.spaces import lab_from_srgb, lab_from_xyz
from curejournal.photo.card import Card, Patch

# Ours: fifty times a chart of a thousand patches with all its spectra.
MAX_CHARACTERS = 20_000_000
# Median ΔE00 between measured and printed values beyond which the file is of another card: ours, above what a poor
# printer does to our cards (some 10) and below one chart's patches in another order (30 and more).
_MAX_MEDIAN_OFF = 20.0
# Fields of ISO 28178 first, then what a maker may write over the columns of a table.
_IDS = ("SAMPLE_ID", "SAMPLEID", "SAMPLE_NAME", "SAMPLENAME", "SAMPLE_LOC", "ID", "NAME", "PATCH", "SAMPLE")
_LAB = (("LAB_L", "LAB_A", "LAB_B"), ("L", "A", "B"), ("L*", "A*", "B*"))
_XYZ = (("XYZ_X", "XYZ_Y", "XYZ_Z"), ("X", "Y", "Z"))
_STDEV = (("STDEV_L", "STDEV_A", "STDEV_B"), ("SD_L", "SD_A", "SD_B"))
# Quoted text, a comment to the end of its line, or anything without spaces (ISO 28178, 5).
_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(#[^\n]*)|([^\s"]+)')
_OTHER_LIGHT = re.compile(r"\b(D ?(?:55|65|75|93)|(?:illuminant|illumination)\W{0,3}(?:A|C|E|F\d+))\b", re.IGNORECASE)
_OTHER_OBSERVER = re.compile(r"\b10 ?(?:°|deg)|(?:observer|observerangle)\W{0,3}10\b", re.IGNORECASE)
# Keywords that state for what light and observer the values are.
_STATING = ("WEIGHTING_FUNCTION", "MEASUREMENT_SOURCE", "ILLUMINATION_NAME", "OBSERVER_ANGLE", "ILLUMINANT", "OBSERVER")


class ValuesUnreadable(CureJournalError):
    """A file of reference values cannot be used for this card."""


@dataclass(frozen=True)
class Measured:
    """The colour of one patch in a file: all the names it goes by there, Lab D50/2, and its standard deviation."""

    names: tuple[str, ...]
    lab: Lab
    sd: Lab | None


def read_values(data: bytes) -> tuple[Measured, ...]:
    """The colours in a file.

    Parameters
    ----------
    data : bytes
        The file as it came.

    Returns
    -------
    tuple of Measured
        In the order of the file.

    Raises
    ------
    ValuesUnreadable
    """
    text = _text(data)
    fields, rows = _cgats(text) if re.search(r"^\s*BEGIN_DATA_FORMAT\b", text, re.M | re.I) else _table(text)
    head = [field.strip().upper() for field in fields]
    twice = next((field for field in head if field and head.count(field) > 1), None)
    if twice:
        raise _unreadable(msg("the column {twice} occurs twice", twice=twice[:40]))
    ids = [head.index(name) for name in _IDS if name in head]
    lab, xyz, stdev = (_columns(head, names) for names in (_LAB, _XYZ, _STDEV))
    if not ids or not (lab or xyz):
        raise _unreadable(msg("it needs a column SAMPLE_ID (or id), and LAB_L, LAB_A, LAB_B (or L, a, b; or XYZ_X, …)"))
    found = [_measured(row, head, ids, lab, xyz, stdev) for row in rows]
    if not found:
        raise _unreadable(msg("it holds no values"))
    if not lab and max(float(xyz_y) for xyz_y in (_number(row, head, xyz[1]) for row in rows)) <= 1.2:
        raise _unreadable(msg("its XYZ values are not on the scale on which a perfect white has Y = 100"))
    return tuple(found)


def with_values(card: Card, values: Sequence[Measured], source: str) -> tuple[Card, tuple[str, ...]]:
    """A card with measured colours in place of its own, and what is doubtful about it in sentences.

    Several values of one patch are averaged. A patch without one has no known colour from then on.

    Parameters
    ----------
    card : Card
    values : sequence of Measured
        Matched to patches by id.
    source : str
        Where they are from, for the provenance.

    Returns
    -------
    card : Card
        Of kind *measured*.
    doubts : tuple of str

    Raises
    ------
    ValuesUnreadable
        If too few of the patches are in the file, or the values are not those of this card.
    """
    by_name: dict[str, list[Measured]] = {}
    for value in values:
        for name in {_plain(name) for name in value.names}:
            by_name.setdefault(name, []).append(value)
    patches = tuple(_known(patch, by_name.get(_plain(patch.id), [])) for patch in card.patches)
    known = [(patch.srgb, patch.lab_d50) for patch in patches if patch.lab_d50 is not None]
    if len(known) < max(1, len(patches) / 2):
        some = join(", ", (patch.id for patch in card.patches[:4]))
        raise _unreadable(
            msg("it has values for {known} of the card's {patches} patches", known=len(known), patches=len(patches)),
            msg("Name the patches as the card does: {some}, …", some=some),
        )
    printed, labs = (np.array(colours, dtype=float) for colours in zip(*known, strict=True))
    off = float(np.median(ciede2000(lab_from_srgb(printed / 255.0), labs)))
    if off > _MAX_MEDIAN_OFF:
        raise _unreadable(
            msg(
                "half of its colours differ from those that are printed on this card by ΔE00 {off:.0f} or more", off=off
            ),
            msg("Check that the file is of this card, and that the patches were measured in their order."),
        )
    without = [patch.id for patch in patches if patch.lab_d50 is None]
    doubts = (
        (msg("Not in the file, and so no longer used: {without}.", without=join(", ", without[:12])),)
        if without
        else ()
    )
    provenance = msg("measured values from the file {source}", source=source)
    return replace(card, patches=patches, kind="measured", provenance=provenance, shared_covariance=None), doubts


def _known(patch: Patch, values: Sequence[Measured]) -> Patch:
    if not values:
        return replace(patch, lab_d50=None, covariance=None)
    mean = np.mean([value.lab for value in values], axis=0)
    sds = [value.sd for value in values if value.sd is not None]
    covariance = as_matrix3(np.diag(np.mean(np.square(sds), axis=0))) if sds else None
    return replace(patch, lab_d50=(float(mean[0]), float(mean[1]), float(mean[2])), covariance=covariance)


def _plain(name: str) -> str:
    return re.sub(r"[\s_.,-]+", "", name).casefold()


def _text(data: bytes) -> str:
    if len(data) > MAX_CHARACTERS:
        raise _unreadable(msg("it is far too large"))
    codec = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(codec)
    except UnicodeDecodeError:
        # Older instruments' programs write one byte a letter; what matters is ASCII in all of them.
        text = data.decode("latin-1")
    if "\0" in text:
        raise _unreadable(msg("it is not text"))
    return re.sub(r"\r\n?", "\n", text)


def _cgats(text: str) -> tuple[list[str], list[list[str]]]:
    tokens, quoted = [], []
    for match in _TOKEN.finditer(text):
        if match[2] is None:
            tokens.append(match[3] if match[1] is None else match[1].replace('""', '"'))
            quoted.append(match[1] is not None)
    places: dict[str, int] = {}
    for place, (token, is_text) in enumerate(zip(tokens, quoted, strict=True)):
        # Only the first table counts: files of several have others after it, of other things.
        if not is_text and token.upper() in ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA"):
            places.setdefault(token.upper(), place)
    try:
        begin_format, end_format = places["BEGIN_DATA_FORMAT"], places["END_DATA_FORMAT"]
        begin, end = places["BEGIN_DATA"], places["END_DATA"]
    except KeyError as missing:
        raise _unreadable(msg("it has no {args}", args=missing.args[0])) from None
    if not begin_format < end_format < begin < end:
        raise _unreadable(msg("its parts are not in their order"))
    stated = tokens[:begin_format] + tokens[end_format:begin]
    for word, value in pairwise(stated):
        if word.upper() in _STATING:
            _refuse_other_light(value)
    fields, cells = tokens[begin_format + 1 : end_format], tokens[begin + 1 : end]
    if not fields or len(cells) % len(fields):
        raise _unreadable(
            msg("its {cells} values do not fill lines of {fields} fields", cells=len(cells), fields=len(fields))
        )
    return fields, [cells[place : place + len(fields)] for place in range(0, len(cells), len(fields))]


def _refuse_other_light(stated: str) -> None:
    if _OTHER_LIGHT.search(stated) or _OTHER_OBSERVER.search(stated):
        raise _unreadable(
            msg("its values are for another light or observer ({stated})", stated=stated[:60]),
            msg("Export them for D50 and the 2° observer."),
        )


def _table(text: str) -> tuple[list[str], list[list[str]]]:
    lines = [line for line in text.split("\n") if line.strip() and not line.lstrip().startswith("#")]
    between = max(";\t,", key="".join(lines[:1]).count)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=between, skipinitialspace=True))
    except csv.Error as error:
        raise _unreadable(str(error)) from error
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    if not rows:
        raise _unreadable(msg("it is empty"))
    if between != ",":
        rows = [rows[0], *([re.sub(r"^(-?\d+),(\d+)$", r"\1.\2", cell.strip()) for cell in row] for row in rows[1:])]
    for row in rows:
        if len(row) != len(rows[0]):
            raise _unreadable(msg("a line has {row} cells and the head line {rows}", row=len(row), rows=len(rows[0])))
    return rows[0], rows[1:]


def _columns(head: Sequence[str], choices: Sequence[tuple[str, str, str]]) -> list[int]:
    return next(([head.index(name) for name in names] for names in choices if set(names) <= set(head)), [])


def _measured(
    row: Sequence[str], head: Sequence[str], ids: Sequence[int], lab: list[int], xyz: list[int], stdev: list[int]
) -> Measured:
    names = tuple(row[place] for place in ids if row[place].strip())
    values = np.array([_number(row, head, place) for place in lab or xyz])
    if not lab:
        values = lab_from_xyz(values / 100.0)
    first, second, third = (float(value) for value in values)
    if not (0 <= first <= 105 and max(abs(second), abs(third)) <= 150):
        raise _unreadable(msg("no surface can have the colour of {names}", names=join(", ", names)[:40] or "a patch"))
    sd: Lab | None = None
    if lab and stdev:
        sd_l, sd_a, sd_b = (abs(_number(row, head, place)) for place in stdev)
        sd = (sd_l, sd_a, sd_b)
    return Measured(names, (first, second, third), sd)


def _number(row: Sequence[str], head: Sequence[str], place: int) -> float:
    try:
        number = float(row[place])
    except ValueError:
        number = float("nan")
    if not abs(number) < 1e6:
        raise _unreadable(
            msg("{cell} in the column {column} is not a number", cell=f"{row[place][:40]!r}", column=head[place])
        )
    return number


def _unreadable(fault: str, do: str = "Correct the file, or choose another.") -> ValuesUnreadable:
    return ValuesUnreadable(msg("The file of values cannot be used: {fault}.", fault=fault), do)
