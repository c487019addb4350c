"""Reading a ledger: its times, its numbers, its optional keys. Pure.

A ledger is the plain dictionary that ``ledger.json`` holds. Keys beyond the fixed ones
may be absent; a fixed key that is missing or of the wrong kind is an error here, not a
blank in a summary.
"""

import math
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final

Ledger = Mapping[str, Any]

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def time_ms(record: Ledger, key: str) -> int | None:
    """Return an instant in milliseconds UTC; None where the key is absent or null.

    Raises:
        ValueError: If it is not an ISO 8601 time with its zone.
    """
    text = record.get(key)
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        at = None
    if at is None or at.tzinfo is None:
        raise ValueError(
            f'ledger: {key} is {text!r}; expected a time such as "2026-03-02T08:00:00Z"'
        )
    return (at - _EPOCH) // timedelta(milliseconds=1)


def sure_time_ms(record: Ledger, key: str) -> int:
    """Return an instant that must be there.

    Raises:
        ValueError: If it is absent, null or no time.
    """
    at = time_ms(record, key)
    if at is None:
        raise ValueError(f"ledger: {key} is missing; expected a time")
    return at


def figure(record: Ledger, key: str) -> float | None:
    """Return a finite number; None where the key is absent or null.

    Raises:
        ValueError: If it is anything else.
    """
    value = record.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"ledger: {key} is {value!r}; expected a finite number")
    return float(value)


def sure_figure(record: Ledger, key: str) -> float:
    """Return a number that must be there.

    Raises:
        ValueError: If it is absent, null or no finite number.
    """
    value = figure(record, key)
    if value is None:
        raise ValueError(f"ledger: {key} is missing; expected a number")
    return value


def records(record: Ledger, key: str) -> Iterator[Ledger]:
    """Return the records of a list; nothing where the key is absent or null."""
    yield from record.get(key) or ()


def overlaps(start_ms: int, end_ms: int | None, from_ms: int, to_ms: int) -> bool:
    """Return whether a span that may still be open touches a window."""
    return start_ms <= to_ms and (end_ms is None or end_ms >= from_ms)
