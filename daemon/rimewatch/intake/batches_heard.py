"""A list in a message: one probe's readings in a row, or several probes side by side.

A row of readings is proposed whole, each with its own time. Where nobody can tell when which
was taken, or whose it is, no list is proposed, and what is then not read is named. Pure.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from rimewatch.intake.decoders.times import instant_ms
from rimewatch.intake.field_names import ID_NAMES, TIME_NAMES, named

_PLACE: Final = re.compile(r'"(?:\\.|[^"\\])*"|\[[0-9]+\]')
"""A key in quotes, which may hold brackets of its own, or a place in a list."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Readings of one probe that come in one message."""

    value: str
    """Path that finds all values, such as ``readings[].t``."""
    time: str
    """Path that finds as many times."""


@lru_cache(maxsize=4096)
def whole_list(path: str) -> str:
    """Return the path that finds every value of the lists in which a path finds one.

    >>> whole_list("readings[0].t"), whole_list('"a[0]".t')
    ('readings[].t', '"a[0]".t')
    """
    return _PLACE.sub(lambda found: "[]" if found[0][0] == "[" else found[0], path)


def batch_of(value: str, rows: Sequence[Mapping[str, object]]) -> Batch | None:
    """Return how all readings of a message are found; None: they are not one probe's in a row.

    Args:
        value: Path of the first value.
        rows: The plain values of each message by path, as far as they were looked at.
    """
    wanted = whole_list(value)
    lists = wanted.count("[]")
    if lists == 0:
        return None
    names = dict.fromkeys(name for row in rows for name in row)
    marks = {whole_list(name) for name in named(names, ID_NAMES) if whole_list(name) != name}
    if any(len(set(_found(row, mark))) > 1 for mark in marks for row in rows):
        return None
    for time in dict.fromkeys(whole_list(name) for name in named(names, TIME_NAMES)):
        if time.count("[]") == lists and all(_are_paired(row, wanted, time) for row in rows):
            return Batch(value=wanted, time=time)
    return None


def values_of(batch: Batch, row: Mapping[str, object]) -> list[object]:
    """Return the values that a message holds, as far as it was looked at."""
    return _found(row, batch.value)


def _found(row: Mapping[str, object], wanted: str) -> list[object]:
    return [value for name, value in row.items() if whole_list(name) == wanted]


def _are_paired(row: Mapping[str, object], value: str, time: str) -> bool:
    """Return whether each value of a message has a time of its own."""
    values = _found(row, value)
    times = [instant_ms(found) for found in _found(row, time)]
    return len(values) == len(times) == len(set(times)) and None not in times
