"""A configuration's tables as JSON has them, and without what is secret in them. Pure."""

import json
from collections.abc import Mapping
from datetime import date, time
from hashlib import sha256
from typing import Any, Final

from rimewatch.config.translate import SECRET_KEYS

Tables = Mapping[str, Any]
"""A configuration as its file's tables: texts, numbers, truths, lists and tables."""

REFERENCES: Final = ("env:", "file:")
"""What names a place where a secret is kept is no secret."""

HIDDEN: Final = "hidden-"
"""Stands for a secret in tables that are kept, with 16 bits that tell one from another: enough to
notice a change, and nobody guesses the secret by it."""


def canonical(tables: Tables) -> str:
    """Return tables as JSON text, one text for equal tables: keys sorted, no spaces."""
    return json.dumps(
        plain(tables), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def without_secrets(tables: Tables) -> dict[str, Any]:
    """Return tables as they may be kept and shown: a mark stands for each secret.

    >>> without_secrets({"contact": [{"urls": ["json://a:b@host/x", "env:FIRST"]}]})
    {'contact': [{'urls': ['json://hidden-4336', 'env:FIRST']}]}
    """
    return {key: _hidden(value) if key in SECRET_KEYS else _inside(value)
            for key, value in tables.items()}  # fmt: skip


def with_secrets(kept: Tables, now: Tables) -> dict[str, Any] | None:
    """Return tables that were kept with the secrets of today's put back in.

    Args:
        kept: Tables in which marks stand for secrets.
        now: The tables of now, secrets and all.

    Returns:
        None: a secret of then is another today, or gone; it has to be typed in anew.
    """
    known = {_mark(secret): secret for secret in _secrets(now)}
    found = _shown(kept, known)
    return None if any(HIDDEN in text for text in _secrets(found)) else dict(found)


def _inside(value: Any) -> Any:  # noqa: ANN401 (tables hold anything)
    if isinstance(value, Mapping):
        return without_secrets(value)
    if isinstance(value, list):
        return [_inside(item) for item in value]
    return plain(value)


def _hidden(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, list):
        return [_hidden(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _hidden(item) for key, item in value.items()}
    if not isinstance(value, str) or value.startswith(REFERENCES) or HIDDEN in value:
        return value
    return _mark(value)


def _mark(secret: str) -> str:
    scheme, found, _ = secret.partition("://")
    bits = sha256(secret.encode()).hexdigest()[:4]
    return f"{scheme}://{HIDDEN}{bits}" if found else f"{HIDDEN}{bits}"


def _secrets(value: Any, *, is_secret: bool = False) -> list[str]:  # noqa: ANN401
    if isinstance(value, Mapping):
        return [
            text
            for key, item in value.items()
            for text in _secrets(item, is_secret=is_secret or key in SECRET_KEYS)
        ]
    if isinstance(value, list):
        return [text for item in value for text in _secrets(item, is_secret=is_secret)]
    return [value] if is_secret and isinstance(value, str) else []


def _shown(value: Any, known: Mapping[str, str]) -> Any:  # noqa: ANN401
    if isinstance(value, Mapping):
        return {key: _shown(item, known) for key, item in value.items()}
    if isinstance(value, list):
        return [_shown(item, known) for item in value]
    return known.get(value, value) if isinstance(value, str) else value


def plain(value: Any) -> Any:  # noqa: ANN401
    """Return a value as JSON has it: dates and times as the file writes them in texts."""
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else value
