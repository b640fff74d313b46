"""Text from outside: which characters are let in, and how those that are not are shown."""

from __future__ import annotations

import re
import unicodedata

# Control characters (Unicode general category Cc), lone surrogates (Cs), separators of lines and paragraphs (Zl, Zp),
# and what turns the direction of the text after it (UAX 9): a name with one reads as another name. Line ends and tabs
# are text.
_UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_PICTURES = 0x2400


def unfit_in(text: str) -> str:
    """The first character of a text that cannot be seen or turns the text around; empty if there is none."""
    found = _UNFIT.search(text)
    return found[0] if found else ""


def visible(text: str) -> str:
    """A text whose unfit characters are shown, so that a terminal or page does not act on them.

    Control characters become their pictures (U+2400 and following), others their number: ‹U+202E›.
    """
    return _UNFIT.sub(_shown, text)


def escaped(text: str) -> str:
    """JSON text whose unfit characters are escapes: it reads back the same."""
    return _UNFIT.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def without_unfit(text: str) -> str:
    """A text with the sign for what cannot be shown, U+FFFD, in place of unfit characters, line ends and tabs."""
    return re.sub("[\t\r\n]", "\ufffd", _UNFIT.sub("\ufffd", text))


def composed(text: str) -> str:
    """A text in composed form (Unicode NFC), without spaces at its ends."""
    return unicodedata.normalize("NFC", text).strip()


def _shown(found: re.Match[str]) -> str:
    number = ord(found[0])
    if number < 0x20:
        return chr(_PICTURES + number)
    return "\u2421" if number == 0x7F else f"‹U+{number:04X}›"
