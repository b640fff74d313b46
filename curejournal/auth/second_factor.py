"""A second factor: codes from an authenticator app (RFC 6238), and codes on paper for when the phone is lost."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import struct
from dataclasses import dataclass, field
from urllib.parse import quote

STEP_S, DIGITS = 30, 6
"""A code's time, and its length: the values that every authenticator app takes (RFC 6238, 5.2; RFC 4226, 5.3)."""
DRIFT = 1
"""Steps that a phone's clock may be off, before or after: as many as RFC 6238, 5.2, recommends at most."""
_SECRET_BYTES = 20  # RFC 4226, 4, R6: 160 bits are recommended
RECOVERY_CODES = 10
"""Codes on paper, each used once. Ours."""
_RECOVERY_BYTES = 15  # 120 bits: above the 112 from which a plain hash is enough (OWASP ASVS 4.0, 2.6.2)


@dataclass(frozen=True)
class SecondFactor:
    """What proves a person beside the passphrase.

    Parameters
    ----------
    secret : str
        What the person's authenticator app holds too, in base 32.
    recovery : tuple of str
        SHA-256 of each recovery code.
    """

    secret: str = field(repr=False)
    recovery: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class Spent:
    """What a person has used: the time step of the latest code, and the hashes of recovery codes."""

    step: int = -1
    recovery: tuple[str, ...] = ()


def new_secret() -> str:
    """Make a secret, in base 32."""
    return base64.b32encode(secrets.token_bytes(_SECRET_BYTES)).decode()


def new_recovery_codes() -> tuple[str, ...]:
    """Make codes to be written down."""
    made = (base64.b32encode(secrets.token_bytes(_RECOVERY_BYTES)).decode().lower() for _ in range(RECOVERY_CODES))
    return tuple("-".join(code[start : start + 4] for start in range(0, len(code), 4)) for code in made)


def recovery_hash(code: str) -> str:
    """The hash under which a recovery code is kept, however it is spelt."""
    return hashlib.sha256("".join(sign for sign in code.upper() if sign.isalnum()).encode()).hexdigest()


def code_at(secret: str, step: int) -> str:
    """The code of a time step (RFC 4226, 5.3, with HMAC-SHA-1; RFC 6238, 4.2)."""
    digest = hmac.digest(base64.b32decode(secret), struct.pack(">Q", step), "sha1")
    start = digest[-1] & 15
    number = int.from_bytes(digest[start : start + 4], "big") & 0x7FFF_FFFF
    return f"{number % 10**DIGITS:0{DIGITS}d}"


def fits_now(secret: str, code: str, now: float) -> bool:
    """Whether a phone that was just given a secret shows this code, at a time in seconds since 1970."""
    step, typed = int(now // STEP_S), "".join(code.split())
    codes = (code_at(secret, one) for one in range(step - DRIFT, step + DRIFT + 1))
    return typed.isascii() and any(hmac.compare_digest(one, typed) for one in codes)


def uri(secret: str, name: str) -> str:
    """What the QR code says to an authenticator app (Key URI Format [from memory])."""
    label = f"{quote('Cure journal')}:{quote(name, safe='')}"
    return f"otpauth://totp/{label}?secret={secret}&issuer={quote('Cure journal')}"


def spend(factor: SecondFactor, code: str, now: float, spent: Spent) -> Spent | None:
    """Use a code; what is spent then, or None if it is not right, or was used before.

    Parameters
    ----------
    factor : SecondFactor
        The person's.
    code : str
        As typed: of the app, or one of those on paper.
    now : float
        Seconds since 1970.
    spent : Spent
        What was used so far.
    """
    typed = "".join(code.split())
    if len(typed) == DIGITS and typed.isascii() and typed.isdigit():
        step = int(now // STEP_S)
        # A code that was seen on its way is of no use: neither it nor an earlier one counts again.
        for one in range(max(step - DRIFT, spent.step + 1, 0), step + DRIFT + 1):
            if hmac.compare_digest(code_at(factor.secret, one), typed):
                return Spent(one, spent.recovery)
        return None
    hashed = recovery_hash(code)
    if hashed in factor.recovery and hashed not in spent.recovery:
        return Spent(spent.step, (*spent.recovery, hashed))
    return None
