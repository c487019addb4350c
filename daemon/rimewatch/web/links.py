"""Signed links: whoever holds one may acknowledge one alarm, for some hours, and nothing else.

A link holds its own claim (which alarm, sent to whom, until when) and a code over it that
only this service's key can make. Nobody signs in: at three in the morning the message
itself is what proves that it reached the right phone. Pure: no I/O, no clock.

References:
    [1] RFC 2104, HMAC: Keyed-Hashing for Message Authentication; section 5 on truncation:
        not less than half of the hash, and not less than 80 bits.
    [2] RFC 4648, section 5: base64 with the URL and filename safe alphabet.
"""

import hashlib
import hmac
import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rimewatch.vocabulary import MS_PER_H, MS_PER_S, ContactId

KEY_BYTES: Final = 32
"""As long as the hash, by [1], section 3."""

VALID_MS: Final = 24 * MS_PER_H
"""How long a link serves (our choice): longer than any night, shorter than a phone is lost."""

_PURPOSE: Final = b"rimewatch acknowledge 1\n"
"""Part of what is signed, so that a code made for something else never fits here."""

_CODE_BYTES: Final = 16
"""128 bits: half of SHA-256, the least that [1] allows. Keeps the link short for a text message."""

_LONGEST_TOKEN: Final = 1000


class Fault(StrEnum):
    """Why a link does not serve."""

    FORGED = "forged"
    """Not made with this key, or changed on its way."""
    EXPIRED = "expired"


class LinkError(ValueError):
    """A link does not serve; :attr:`fault` says why."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(f"the link is {fault.value}")
        self.fault = fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What a link stands for."""

    alarm_id: str
    contact: ContactId
    """To whom it was sent: it goes on the record as who acknowledged."""
    expires_ms: int
    """Whole seconds: the rest is cut off."""


def token_of(key: bytes, claim: Claim) -> str:
    """Return the part of a link that holds a claim and its code.

    Raises:
        ValueError: If the key is too short to protect anything.
    """
    said = json.dumps(
        [claim.alarm_id, claim.contact, claim.expires_ms // MS_PER_S],
        ensure_ascii=False,
        separators=(",", ":"),
    ).encode()
    return f"{_text(said)}.{_text(_code(key, said))}"


def claim_of(key: bytes, token: str, now_ms: int) -> Claim:
    """Return what a link claims, if this key made it and its time is not over.

    Raises:
        LinkError: If it does not serve. Of a forged one nothing is looked at but its code.
        ValueError: If the key is too short to protect anything.
    """
    said_text, _, code_text = token.partition(".")
    try:
        if len(token) > _LONGEST_TOKEN:
            raise LinkError(Fault.FORGED)
        said, code = _bytes(said_text), _bytes(code_text)
    except ValueError:
        raise LinkError(Fault.FORGED) from None
    # One text for one claim: base64 has spare bits that could be changed unseen.
    if not hmac.compare_digest(code, _code(key, said)) or token != f"{_text(said)}.{_text(code)}":
        raise LinkError(Fault.FORGED)
    alarm_id, contact, expires_s = json.loads(said)
    claim = Claim(alarm_id=alarm_id, contact=contact, expires_ms=expires_s * MS_PER_S)
    if now_ms >= claim.expires_ms:
        raise LinkError(Fault.EXPIRED)
    return claim


def _code(key: bytes, said: bytes) -> bytes:
    if len(key) < KEY_BYTES:
        raise ValueError(f"the key has {len(key)} bytes; expected at least {KEY_BYTES}")
    return hmac.new(key, _PURPOSE + said, hashlib.sha256).digest()[:_CODE_BYTES]


def _text(raw: bytes) -> str:
    return urlsafe_b64encode(raw).rstrip(b"=").decode("ascii")


def _bytes(text: str) -> bytes:
    return urlsafe_b64decode(text.encode("ascii") + b"=" * (-len(text) % 4))
