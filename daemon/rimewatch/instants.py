"""Instants: milliseconds since the epoch inside, ISO 8601 at the edges. Pure.

References:
    [1] RFC 3339, Date and Time on the Internet: Timestamps, section 5.6.
    [2] PEP 495: a wall clock's hour that occurs twice, or not at all.
"""

from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)


def iso(at_ms: float, *, always_ms: bool = False) -> str:
    """Return an instant as [1] writes it, in UTC.

    Args:
        at_ms: Milliseconds since the epoch; parts of one are rounded.
        always_ms: Whether milliseconds are told where there are none, too.

    >>> iso(1_772_438_400_000), iso(1_772_438_400_250.4), iso(0, always_ms=True)
    ('2026-03-02T08:00:00Z', '2026-03-02T08:00:00.250Z', '1970-01-01T00:00:00.000Z')
    """
    whole = whole_ms(at_ms)
    has_ms = always_ms or whole % 1000
    return (EPOCH + whole * _MS).isoformat(timespec="milliseconds" if has_ms else "seconds")[
        : -len("+00:00")
    ] + "Z"


def iso_or_none(at_ms: float | None, *, always_ms: bool = False) -> str | None:
    """Return :func:`iso` of an instant where there is one."""
    return None if at_ms is None else iso(at_ms, always_ms=always_ms)


def iso_ms(text: str, zone: tzinfo | None = None, *, by_hand: bool = False) -> int | None:
    """Return an instant written in ISO 8601, milliseconds since the epoch; None: it is none.

    Args:
        text: The text.
        zone: Where its wall clock stands if it names no zone; None: such a text is no instant.
        by_hand: Whether a person wrote it. Then a bare date is its midnight, and a time inside the
            hour that a clock change skips or repeats is taken: skipped, as long after the change
            as it says; repeated, the first of the two [2]. From a device both are no instant.

    >>> iso_ms("2026-03-02T02:00:00-06:00") == iso_ms("2026-03-02T08:00:00Z")
    True
    >>> iso_ms("2026-03-02T08:00:00"), iso_ms("yesterday")
    (None, None)
    """
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is None:
            if zone is None or (not by_hand and len(text) <= len("2026-07-01")):
                return None
            at = at.replace(tzinfo=zone)
            if not by_hand and at.utcoffset() != at.replace(fold=1).utcoffset():
                return None
        return (at - EPOCH) // _MS
    except (ValueError, OverflowError):
        return None


def whole_ms(at_ms: float) -> int:
    """Return an instant as it is kept, to the millisecond.

    >>> whole_ms(1_772_438_400_250.4)
    1772438400250
    """
    return round(at_ms)


def whole_ms_or_none(at_ms: float | None) -> int | None:
    """Return :func:`whole_ms` of an instant where there is one."""
    return None if at_ms is None else whole_ms(at_ms)
