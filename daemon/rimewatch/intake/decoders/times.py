"""Times inside payloads: ISO 8601, epoch seconds, epoch milliseconds.

A time without a zone names no instant: a wall clock behind a payload may be on local
time, on UTC, or an hour off for half the year. It is *not* taken as UTC, unless the
probe's configuration names the zone of its clock. The reading then gets the time of its
arrival, and the receiver counts it as time uncertain.
A date alone is likewise no instant. Never reads a clock.
"""

import re
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.instants import iso_ms
from rimewatch.vocabulary import MS_PER_S

EPOCH_S_FROM: Final = 1e8
"""Smallest number taken as epoch seconds (1973-03-03). Below it: an uptime, a counter, a date."""
EPOCH_MS_FROM: Final = 1e11
"""From here on a number is epoch milliseconds (again 1973-03-03); as seconds it is year 5138."""
EPOCH_MS_TO: Final = 1e14
"""From here on it is neither (milliseconds: year 5138); microseconds are not read."""

_DIGITS: Final = re.compile(r"\d{9,15}(?:\.\d{1,9})?", re.ASCII)


def instant_ms(value: object, zone: ZoneInfo | None = None) -> int | None:
    """Return the instant a payload's time names, in milliseconds UTC, or None.

    Numbers (and texts of digits) from 1e8 up to 1e11 are epoch seconds, from 1e11 up
    to 1e14 epoch milliseconds: both ranges run from 1973 to 5138 and do not meet.
    Texts are ISO 8601 with a zone (``Z`` or an offset). Everything else is None.

    >>> instant_ms("2026-03-02T02:00:00-06:00") == instant_ms(1772438400)
    True
    >>> instant_ms("2026-03-02T08:00:00") is None
    True
    """
    if isinstance(value, str):
        if _DIGITS.fullmatch(value):
            return _epoch_ms(float(value))
        return iso_ms(value, zone)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _epoch_ms(value)
    return None


def _epoch_ms(number: float) -> int | None:
    if EPOCH_S_FROM <= number < EPOCH_MS_FROM:
        return round(number * MS_PER_S)
    if EPOCH_MS_FROM <= number < EPOCH_MS_TO:
        return round(number)
    return None
