"""Take every secret of an address out of what a service's failure says.

Tokens sit in paths, queries, user names and passwords, and libraries put whole
addresses into their messages. A failure's text is kept in the journal and shown on the
status page, so it must be fit for everybody's eyes. Pure: no I/O, no logging.
"""

import base64
import re
from collections.abc import Iterable
from typing import Final
from urllib.parse import quote, unquote, unquote_plus

HIDDEN: Final = "…"
SHORTEST_SECRET: Final = 3
"""Parts of an address shorter than this are no secrets; hiding them would eat every word."""
LONGEST_TEXT: Final = 160
"""Characters kept of what one service says (our choice)."""

_SEPARATORS: Final = re.compile(r"[/:@?&=;#,+\s|]+")
_ADDRESS: Final = re.compile(r"\S*://\S*")
_QUERY: Final = re.compile(r"\?\S+=\S*")
_LONG_TOKEN: Final = re.compile(r"[A-Za-z0-9_+/=~.%-]{20,}")
_E_MAIL: Final = re.compile(r"\S+@\S+")


def secrets_of(addresses: Iterable[str]) -> tuple[str, ...]:
    """Return everything in addresses that must not be shown, the longest first.

    That is each part after the scheme: host, port, user, password, path, query; as
    written, unquoted, quoted, and as the basic authentication of RFC 7617.
    """
    found: set[str] = set()
    for address in addresses:
        _, separator, rest = address.strip().partition("://")
        rest = rest if separator else address.strip()
        parts = {rest, *_SEPARATORS.split(rest)}
        login, at, _ = rest.partition("@")
        if at:
            plain = unquote(login)
            parts |= {login, plain, *plain.split(":", 1)}
            parts.add(base64.b64encode(plain.encode()).decode())
        for part in parts:
            found |= {part, unquote(part), unquote_plus(part), quote(part, safe="")}
            found |= set(_SEPARATORS.split(unquote(part)))
    return tuple(
        sorted((part for part in found if len(part) >= SHORTEST_SECRET), key=len, reverse=True)
    )


def redacted(text: str, secrets: Iterable[str]) -> str:
    """Return a text without secrets, addresses, e-mail addresses and long tokens, on one line.

    Args:
        text: What a service or a library said.
        secrets: From ``secrets_of``, the longest first.

    >>> redacted("no route to https://a.example/T0K3N", ())
    'no route to …'
    """
    for secret in secrets:
        # At the edges of words only where the secret is short and looks like one: a topic named
        # "err" should not eat "error".
        pattern = re.escape(secret)
        if len(secret) < 6 and secret.isalnum():
            pattern = rf"(?<![A-Za-z0-9]){pattern}(?![A-Za-z0-9])"
        text = re.sub(pattern, HIDDEN, text, flags=re.IGNORECASE)
    for pattern_of_any in (_ADDRESS, _QUERY, _E_MAIL, _LONG_TOKEN):
        text = pattern_of_any.sub(HIDDEN, text)
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + HIDDEN
