"""What may stand as a name, a card, a setting or a time in a journal."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

from curejournal.base.bounds import NAME_CHARACTERS
from curejournal.base.messages import msg
from curejournal.base.strings import composed, unfit_in, without_unfit
from curejournal.journal.errors import EntryRefused
from curejournal.journal.record_json import refuse_beyond


def plain_text(text: str, what: str, longest: int) -> str:
    """A name in any script, in composed form (Unicode NFC) and without spaces at its ends.

    Parameters
    ----------
    text : str
        As typed.
    what : str
        What it names, for the error.
    longest : int
        The most characters it may have.

    Raises
    ------
    EntryRefused
        If it is empty, too long, or has control characters.
    """
    plain = composed(text)
    if not plain:
        raise EntryRefused(msg("The {what} is empty.", what=what), msg("Give a {what}.", what=what))
    if len(plain) > longest:
        raise EntryRefused(
            msg(
                "The {what} has {plain} characters; the most is {longest}.",
                what=what,
                plain=len(plain),
                longest=longest,
            ),
            msg("Shorten it."),
        )
    if without_unfit(plain) != plain:
        raise EntryRefused(
            msg("The {what} has characters that cannot be seen or that turn the text around.", what=what),
            msg("Type it again by hand."),
        )
    return plain


def card_columns(name: str, copy_id: str, toml: str) -> dict[str, str]:
    """The columns of a card that may be kept.

    Raises
    ------
    EntryRefused
    """
    if unfit_in(toml):
        raise EntryRefused(msg("The definition of the card is not text."))
    known = plain_text(copy_id, msg("id of the card"), 80) if copy_id else ""
    return {"name": plain_text(name, msg("name of the card"), 80), "copy_id": known, "toml": toml}


def contact_columns(name: str, details: str) -> dict[str, str]:
    """The words of a contact that may be kept.

    Raises
    ------
    EntryRefused
    """
    return {"name": plain_text(name, "name", NAME_CHARACTERS), "details": free_text(details, "details", 2000)}


def free_text(text: str, what: str, longest: int) -> str:
    """Text of any number of lines, in composed form; it may be empty.

    Raises
    ------
    EntryRefused
        If it is too long, or has control characters other than tabs and line ends.
    """
    plain = "\n".join(" ".join(line.split("\t")).rstrip() for line in composed(text).splitlines())
    if unfit_in(plain):
        raise EntryRefused(
            msg("The {what} have characters that cannot be seen.", what=what), msg("Type them again by hand.")
        )
    if len(plain) > longest:
        raise EntryRefused(
            msg(
                "The {what} have {plain} characters; the most is {longest}.",
                what=what,
                plain=len(plain),
                longest=longest,
            ),
            msg("Shorten them."),
        )
    return plain


def setting_columns(name: str, value: Any) -> dict[str, str]:
    """The columns of a setting that may be kept.

    Raises
    ------
    EntryRefused
        If JSON cannot hold the value, or it is beyond `base.bounds`.
    """
    name = plain_text(name, msg("name of the setting"), 80)
    refuse_beyond(msg("setting"), value, name)
    try:
        return {"name": name, "value": json.dumps(value, allow_nan=False, sort_keys=True)}
    except (TypeError, ValueError) as error:
        raise EntryRefused(msg("The setting {name} cannot be kept: {error}.", name=name, error=error)) from error


def file_name(original: str) -> str:
    """The last part of a file's name as it came, what cannot be shown replaced, at most 200 characters."""
    last = PureWindowsPath(PurePosixPath(original).name).name
    return without_unfit(last)[-200:]


def instant(at: datetime) -> tuple[datetime, int]:
    """A time as UTC and its offset in minutes.

    Raises
    ------
    EntryRefused
        If the time has no offset, or lies outside the calendar in UTC.
    """
    offset = at.utcoffset()
    if offset is None:
        raise EntryRefused(
            msg("A time came without its offset from UTC."), msg("Give the time zone in which it was taken.")
        )
    try:
        return at.astimezone(UTC), round(offset / timedelta(minutes=1))
    except OverflowError:
        raise EntryRefused(msg("A time lies outside the calendar."), msg("Check the date.")) from None


def local(at_utc: datetime, offset_minutes: int) -> datetime:
    """The instant with the offset in which it was entered."""
    return at_utc.astimezone(timezone(timedelta(minutes=offset_minutes)))
