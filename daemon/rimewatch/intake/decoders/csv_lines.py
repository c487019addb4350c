"""Format ``csv``: lines of values without names, each found by its column (RFC 4180).

Columns stand apart by semicolons where there is one, else by tabs, else by commas (common
practice, no source); a decimal comma can stand in a line of the first two kinds alone. A line
with another number of columns than the configuration says is refused: nobody can tell which value
is which then. Several lines in one message need a time in each; a line of names before
them is passed over.
"""

import csv
from collections.abc import Sequence
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.config.columns import Column, column_in
from rimewatch.intake.decoders.documents import text_of
from rimewatch.intake.decoders.draft import (
    Decoder,
    Draft,
    TimeOrigin,
    Undecodable,
    UnusableProbe,
    shown,
)
from rimewatch.intake.decoders.times import instant_ms
from rimewatch.intake.decoders.values import battery_of, reader_of
from rimewatch.shop import Probe

MOST_LINES: Final = 2000
"""Readings in one message: a day's at one a minute, and a reserve (our choice)."""

_SEPARATORS: Final = (";", "\t", ",")


def columns_of(payload: bytes) -> list[list[str]]:
    """Return the lines of a payload, each taken apart into its columns.

    Raises:
        Undecodable: If it is no text, or holds no line of several columns.
    """
    try:
        text = text_of(payload)
    except UnicodeDecodeError:
        raise Undecodable(
            "the payload is not text; expected a line of values", whole=True
        ) from None
    lines = [line for line in text.splitlines() if line.strip()]
    separator = next((mark for mark in _SEPARATORS if any(mark in line for line in lines)), None)
    if separator is None:
        msg = f"the payload is {shown(text)}; expected values with commas or semicolons between"
        raise Undecodable(msg, whole=True)
    if len(lines) > MOST_LINES:
        raise Undecodable(f"{len(lines)} lines; expected at most {MOST_LINES}", whole=True)
    try:
        rows = list(csv.reader(lines, delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error as err:
        raise Undecodable(f"the line cannot be taken apart: {err}", whole=True) from None
    return [[cell.strip() for cell in row] for row in rows]


def is_heading(row: Sequence[str]) -> bool:
    """Return whether a line names columns: nothing in it has a digit, or is empty."""
    return all(cell and not any(sign.isdigit() for sign in cell) for cell in row)


def csv_decoder(probe: Probe) -> Decoder:
    """Return the decoder of a probe that sends lines of values.

    ``fields.value`` is needed; ``fields.time`` and ``fields.battery`` are not.

    Raises:
        UnusableProbe: If a field is missing or names no column.
    """
    if not probe.fields.get("value"):
        raise UnusableProbe(probe.id, 'fields.value is missing; expected such as "2 of 3"')
    columns = {name: _column(probe, name) for name, text in probe.fields.items() if text}
    value_at, time_at, battery_at = (columns.get(name) for name in ("value", "time", "battery"))
    assert value_at is not None, "refused above"
    zone = ZoneInfo(probe.time_zone) if probe.time_zone else None
    read = reader_of(probe)
    where = f"column {value_at.place}"

    def draft(row: Sequence[str]) -> Draft:
        if len(row) != value_at.of:
            msg = f"a line has {len(row)} columns; expected {value_at.of}: see fields"
            raise Undecodable(msg, whole=True)
        said = row[value_at.place - 1]
        measured = read(said or None, where)
        battery = None if battery_at is None else battery_of(row[battery_at.place - 1])
        if time_at is None:
            return Draft(measured.value, None, battery, TimeOrigin.ABSENT, measured.scale)
        observed_ms = instant_ms(row[time_at.place - 1], zone)
        origin = TimeOrigin.UNREADABLE if observed_ms is None else TimeOrigin.OWN
        return Draft(measured.value, observed_ms, battery, origin, measured.scale)

    def decode(payload: bytes, _arrived_ms: int) -> Sequence[Draft]:
        rows = columns_of(payload)
        if len(rows) > 1 and is_heading(rows[0]):
            rows = rows[1:]
        if len(rows) > 1 and time_at is None:
            msg = f"{len(rows)} lines; expected one, or the column of their times in fields.time"
            raise Undecodable(msg)
        return [draft(row) for row in rows]

    return decode


def _column(probe: Probe, name: str) -> Column:
    found = column_in(probe.fields[name])
    if found is None:
        msg = f'fields.{name} is "{probe.fields[name]}"; expected such as "2 of 3"'
        raise UnusableProbe(probe.id, msg)
    return found
