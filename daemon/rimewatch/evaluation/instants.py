"""Instants and figures as the ledger writes them. Pure."""

from datetime import UTC, datetime, timedelta
from typing import Final

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def iso(at_ms: float | None) -> str | None:
    """Return an instant in ISO 8601, UTC, to the millisecond where it has any.

    >>> iso(1_772_438_400_000), iso(1_772_438_400_250.4), iso(None)
    ('2026-03-02T08:00:00Z', '2026-03-02T08:00:00.250Z', None)
    """
    if at_ms is None:
        return None
    whole = round(at_ms)
    at = _EPOCH + timedelta(milliseconds=whole)
    return at.isoformat(timespec="milliseconds" if whole % 1000 else "seconds").replace(
        "+00:00", "Z"
    )


def figure(value: float | None, digits: int) -> float | None:
    """Return a number rounded for the ledger; never a negative zero."""
    return None if value is None else round(value, digits) + 0.0
