"""The form in which a day of a probe is rolled up: its hours, silences and changes. Pure.

Some hundred bytes a day: fixed records, their byte planes apart, compressed under a checksum
(zlib, RFC 1950). A year is read in a few milliseconds. What they say is exact:

- each hour that has a reading: lowest and highest, how many, the first and the last;
- the silences inside its hours (those between hours follow from first and last) that are
  longer than a bound of the day's own, which is kept with them: whoever asks for shorter
  ones must look at the readings. The bound is twice the usual interval, or higher where
  silences are many, so that they stay few;
- of a contact's day, which holds nothing but 0 and 1, the readings at which it changed.
"""

import zlib
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.hourly import hour_starts
from rimewatch.journal.blocks import BlockDamagedError, inflated
from rimewatch.journal.readings import MILLI
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

MOST_SILENCES: Final = 32
"""Kept for a day (our choice): of more, only the longest matter from afar."""

LARGEST_DAY_BYTES: Final = 1 << 24
"""A contact that changes four million times a day stays below it (our choice)."""

HOUR: Final = np.dtype(
    [
        ("hour", "u1"),  # of the UTC day
        ("lowest", "<i4"),  # thousandths
        ("highest", "<i4"),
        ("readings", "<u4"),
        ("first", "<u4"),  # ms from the hour's beginning
        ("last", "<u4"),
    ]
)
SILENCE: Final = np.dtype([("start", "<u4"), ("end", "<u4")])  # ms from the day's beginning
CHANGE: Final = np.dtype("<u4")  # ms from the day's beginning, doubled, and 1 where it is 1
GOVERNING: Final = np.dtype([("hour", "u1"), ("lowest", "<f8"), ("highest", "<f8")])

Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class DayRollup:
    """A day as it is kept."""

    hours: bytes
    silent_over_ms: int
    silences: bytes
    changes: bytes | None
    """None: no contact's day."""


def roll_up(times_ms: Integers, millis: Integers) -> DayRollup:
    """Roll up the readings of one UTC day.

    Args:
        times_ms: At least one, strictly increasing, all of one day. # (n,)
        millis: Values in thousandths. # (n,)
    """
    hours = times_ms // MS_PER_H
    starts = hour_starts(hours)
    ends = np.append(starts[1:], len(times_ms))
    found = np.empty(len(starts), dtype=HOUR)
    found["hour"] = hours[starts] % 24
    found["lowest"] = np.minimum.reduceat(millis, starts)
    found["highest"] = np.maximum.reduceat(millis, starts)
    found["readings"] = ends - starts
    found["first"] = times_ms[starts] % MS_PER_H
    found["last"] = times_ms[ends - 1] % MS_PER_H
    over_ms, silences = _silences(times_ms, hours)
    return DayRollup(squeezed(found), over_ms, silences, _changes(times_ms, millis))


def squeezed(records: NDArray[Any]) -> bytes:
    """Return records in few bytes."""
    planes = np.frombuffer(records.tobytes(), dtype=np.uint8).reshape(-1, records.itemsize).T
    return zlib.compress(planes.tobytes())


def opened(packed: bytes, dtype: np.dtype[Any]) -> NDArray[Any]:
    """Return the records that :func:`squeezed` packed.

    Raises:
        BlockDamagedError: If the bytes are anything else.
    """
    try:
        octets = np.frombuffer(inflated(packed, LARGEST_DAY_BYTES), dtype=np.uint8)
        return np.frombuffer(octets.reshape(dtype.itemsize, -1).T.tobytes(), dtype=dtype)
    except ValueError as error:  # a damaged block is one
        raise BlockDamagedError(f"a day's roll-up cannot be opened: {error}") from error


def _silences(times_ms: Integers, hours: Integers) -> tuple[int, bytes]:
    inside = np.flatnonzero(np.diff(hours) == 0)
    lengths = times_ms[inside + 1] - times_ms[inside]
    if not len(lengths):
        return 0, b""
    over_ms = 2 * int(np.partition(lengths, len(lengths) // 2)[len(lengths) // 2])
    if len(lengths) > MOST_SILENCES:
        nth = len(lengths) - 1 - MOST_SILENCES
        over_ms = max(over_ms, int(np.partition(lengths, nth)[nth]))
    kept = inside[lengths > over_ms]
    found = np.empty(len(kept), dtype=SILENCE)
    found["start"] = times_ms[kept] % MS_PER_DAY
    found["end"] = times_ms[kept + 1] % MS_PER_DAY
    return over_ms, found.tobytes()


def _changes(times_ms: Integers, millis: Integers) -> bytes | None:
    is_one = millis == round(MILLI)
    if not bool((is_one | (millis == 0)).all()):
        return None
    changed = np.flatnonzero(np.diff(millis, prepend=-1))
    found = 2 * (times_ms[changed] % MS_PER_DAY) + is_one[changed]
    return squeezed(found.astype(CHANGE))
