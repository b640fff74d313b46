"""Use cases of passing on: recipes and whole batches, out and in."""

from __future__ import annotations

import tomllib
from datetime import datetime, tzinfo
from typing import Literal

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.records import Batch
from curejournal.journal.bundle import read_bundle, take_bundle, write_bundle
from curejournal.journal.errors import DataRefused
from curejournal.journal.recipe_file import fields_from_csv, fields_from_json, recipe_csv, recipe_json, refuse_large
from curejournal.journal.store import Journal
from curejournal.soap.recipe import Recipe
from curejournal.workflow.documents.papers import NothingChosen


def recipe_out(journal: Journal, code: str, form: Literal["json", "csv"]) -> bytes:
    """A batch's recipe for others: JSON, or a table for spreadsheets.

    Raises
    ------
    NothingChosen
        If no recipe was entered.
    """
    recipe = journal.batch(code).recipe
    if recipe is None:
        raise NothingChosen(msg("The batch {code} has no recipe.", code=code), msg("Enter one first."))
    return recipe_text(recipe, form)


def recipe_text(recipe: Recipe, form: Literal["json", "csv"]) -> bytes:
    """A recipe for others: JSON, or a table for spreadsheets."""
    # The mark tells spreadsheets that it is UTF-8.
    return recipe_json(recipe).encode() if form == "json" else recipe_csv(recipe).encode("utf-8-sig")


def recipe_in(text: str, form: Literal["json", "csv", "toml"]) -> Recipe:
    """A recipe from another's JSON or table, or from one's own recipe file.

    Raises
    ------
    DataRefused, RecipeUnreadable
    """
    if form == "toml":
        refuse_large(text)
        try:
            return workflow.recipe_from(tomllib.loads(text))
        except (ValueError, RecursionError) as fault:
            raise DataRefused(
                msg("This recipe cannot be read: {fault}.", fault=fault), msg("Correct it; the README shows one.")
            ) from fault
    return workflow.recipe_from(fields_from_json(text) if form == "json" else fields_from_csv(text))


def bundle(journal: Journal, code: str) -> bytes:
    """One batch with its history, its photos as they are and its cards, for another journal.

    Raises
    ------
    NotInJournal, JournalDamaged
    """
    return write_bundle(journal, code, workflow.SOFTWARE)


def open_bundle(journal: Journal, source: bytes, *, code: str = "", by: str, now: datetime, zone: tzinfo) -> Batch:
    """Enter another journal's batch as a new one, after all of it was verified.

    Raises
    ------
    DataRefused, NotAPicture, PictureDamaged, PictureTooLarge, CodeInUse
        Nothing is entered then.
    """
    found = read_bundle(source)
    for photo in found.data.photos:  # what is no picture stays out
        workflow.when_taken(found.photos[photo.sha256], photo.original_name, zone)
    return journal.batch(take_bundle(journal, found, code=code, by=by, now=now))
