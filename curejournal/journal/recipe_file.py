"""A recipe as JSON or as a table for spreadsheets, and back.

JSON: an object with `format`, `oils`, `alkalis`, `liquids`, `additives`, `embeds`, `batter` and `acids`, whose rows
have the fields of `soap.recipe`, and with `scale_g` and `name`. CSV: one row for each material, `what` being oil,
alkali, liquid, additive, embed or acid, one, batter, for each portion whose batter was weighed, and one, recipe,
with the recipe's name and, as its grams, the step of the scale; an empty cell is that field's usual value. A
spreadsheet's semicolons and decimal commas are understood.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import MISSING, asdict, fields
from typing import Any

from curejournal.base.bounds import RECIPE_BYTES, RECIPE_ROWS
from curejournal.base.messages import msg
from curejournal.journal.errors import DataRefused
from curejournal.journal.spreadsheet import escaped, unescaped
from curejournal.soap.recipe import Acid, Additive, Alkali, Batter, Embed, Liquid, Oil, Recipe

FORMAT = msg("curejournal recipe 1")
PARTS: dict[str, tuple[str, type[Any]]] = {
    "oil": ("oils", Oil),
    "alkali": ("alkalis", Alkali),
    "liquid": ("liquids", Liquid),
    "additive": ("additives", Additive),
    "embed": ("embeds", Embed),
    "batter": ("batter", Batter),
    "acid": ("acids", Acid),
}
"""What a row of the table is: the recipe's field and the type of its rows."""
NAMES = {
    "oil": "key",
    "alkali": "kind",
    "liquid": "name",
    "additive": "name",
    "embed": "batch",
    "batter": "portion",
    "acid": "key",
}
"""Which field of each is its name: the column `name` in the table."""
COLUMNS = (
    "what",
    "name",
    *dict.fromkeys(
        field.name for what, (_, kind) in PARTS.items() for field in fields(kind) if field.name != NAMES[what]
    ),
)


WHOLE = "recipe"
"""The row of the table that is about the recipe itself."""


def recipe_json(recipe: Recipe) -> str:
    """A recipe as JSON text."""
    return json.dumps({"format": FORMAT, **asdict(recipe)}, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def recipe_csv(recipe: Recipe) -> str:
    """A recipe as a table (RFC 4180); no cell of it is run by a spreadsheet."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    whole = {"what": WHOLE, "name": recipe.name, "grams": recipe.scale_g}
    writer.writerow([_cell(whole.get(column)) for column in COLUMNS])
    for what, (part, _) in PARTS.items():
        for row in getattr(recipe, part):
            cells = {**asdict(row), "what": what, "name": getattr(row, NAMES[what])}
            writer.writerow([_cell(cells.get(column)) for column in COLUMNS])
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return escaped(value) if isinstance(value, str) else json.dumps(value)


def fields_from_json(text: str) -> dict[str, Any]:
    """The fields of a recipe from its JSON text, not looked at yet.

    Raises
    ------
    DataRefused
    """
    refuse_large(text)
    try:
        plain = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise _refused(msg("it is not JSON ({fault})", fault=fault)) from fault
    if not isinstance(plain, dict) or plain.pop("format", FORMAT) != FORMAT:
        raise _refused(msg("it is not of the format “{format}”", format=FORMAT))
    for part, rows in plain.items():
        if isinstance(rows, list) and len(rows) > RECIPE_ROWS:
            raise _refused(
                msg(
                    "{part} has {rows} rows; the most is {recipe_rows}",
                    part=part,
                    rows=len(rows),
                    recipe_rows=RECIPE_ROWS,
                )
            )
    return plain


def refuse_large(text: str) -> None:
    """Refuse a recipe's text beyond `base.bounds`.

    Raises
    ------
    DataRefused
    """
    if len(text) > RECIPE_BYTES:
        raise _refused(
            msg("it has {text} characters; the most is {recipe_bytes}", text=len(text), recipe_bytes=RECIPE_BYTES)
        )


def fields_from_csv(text: str) -> dict[str, Any]:
    """The fields of a recipe from its table, not looked at yet.

    Raises
    ------
    DataRefused
    """
    refuse_large(text)
    head = text.lstrip("\ufeff").split("\n", 1)[0]
    semicolons = head.count(";") > head.count(",")
    reader = csv.DictReader(io.StringIO(text.lstrip("\ufeff"), newline=""), delimiter=";" if semicolons else ",")
    if not reader.fieldnames or not {"what", "name", "grams"} <= set(reader.fieldnames):
        raise _refused(msg("its first line has to name the columns what, name and grams"))
    if odd := [name for name in reader.fieldnames if name and name not in COLUMNS]:
        raise _refused(
            msg("no recipe has the column “{odd}”; it may have {columns}", odd=odd[0][:40], columns=", ".join(COLUMNS))
        )
    recipe: dict[str, Any] = {part: [] for part, _ in PARTS.values()}
    try:
        for row in reader:
            if any(row.values()):
                if str(row.get("what") or "").strip().lower() == WHOLE:
                    recipe |= _about(row, semicolons, reader.line_num)
                    continue
                part, fields_of_row = _row(row, semicolons, reader.line_num)
                recipe[part].append(fields_of_row)
                if len(recipe[part]) > RECIPE_ROWS:
                    raise _refused(msg("{part} has more than {recipe_rows} rows", part=part, recipe_rows=RECIPE_ROWS))
    except csv.Error as fault:
        raise _refused(msg("line {line_num}: {fault}", line_num=reader.line_num, fault=fault)) from fault
    return recipe


def _about(row: Mapping[str, Any], semicolons: bool, line: int) -> dict[str, Any]:
    name, step = (str(row.get(column) or "").strip() for column in ("name", "grams"))
    about: dict[str, Any] = {"name": unescaped(name)}
    return about | ({"scale_g": _number(step, semicolons, line)} if step else {})


def _row(row: Mapping[str, Any], semicolons: bool, line: int) -> tuple[str, dict[str, Any]]:
    what = str(row.get("what") or "").strip().lower()
    if what not in PARTS or None in row:
        raise _refused(
            msg(
                "line {line}: “{what}” is none of {parts}, or the line has too many cells",
                line=line,
                what=what,
                parts=", ".join(PARTS),
            )
        )
    part, kind = PARTS[what]
    made: dict[str, Any] = {}
    for field in fields(kind):
        cell = str(row.get("name" if field.name == NAMES[what] else field.name) or "").strip()
        if cell:
            made[field.name] = _value(str(field.type), cell, semicolons, line)
        elif field.default is MISSING:
            raise _refused(msg("line {line}: {name} is empty", line=line, name=field.name))
    return part, made


def _value(kind: str, cell: str, semicolons: bool, line: int) -> Any:
    if "float" in kind:
        return _number(cell, semicolons, line)
    if "int" in kind:
        return int(_number(cell, semicolons, line))
    # A spreadsheet writes TRUE.
    return cell.lower() if kind == "bool" else unescaped(cell)


def _number(cell: str, semicolons: bool, line: int) -> float:
    try:
        return float(cell.replace(",", ".") if semicolons else cell)
    except ValueError:
        raise _refused(msg("line {line}: “{cell}” is not a number", line=line, cell=cell[:40])) from None


def _refused(why: str) -> DataRefused:
    return DataRefused(msg("This recipe cannot be read: {why}.", why=why), msg("Correct it and try again."))
