"""Traces: JSON lines of what arrived and what people entered, read one line at a time.

The lines stand in order of arrival; each has ``at``, ISO 8601 with a zone. They are
given out as they stand: a line older than the one before it is not moved. Blank
lines are skipped. Any other flaw ends the reading with the line's number: a trace
with a hole in it would give a ledger with a hole in it.

Works on an open binary file, standard input included; never opens or closes one.
"""

import base64
import binascii
from collections.abc import Iterator, Mapping
from typing import BinaryIO, Final, NamedTuple

from pydantic_core import from_json

from rimewatch.entries import AnyEntry
from rimewatch.instants import iso_ms
from rimewatch.intake.entries import EntryError, parse_entry
from rimewatch.readings import Reading

MAX_LINE_BYTES: Final = 64 << 20
"""A longer line is refused before it fills the memory. A broker may pass on payloads of many
megabytes; those are quarantined one by one, and must not end the reading of a trace."""

_BOM: Final = b"\xef\xbb\xbf"


class TraceMessage(NamedTuple):
    """A message as it arrived. ``retained`` if the line says so (``"retained": true``)."""

    at_ms: int
    topic: str
    payload: bytes
    retained: bool = False


class TraceEntry(NamedTuple):
    """Something a person entered.

    ``is_kept``: it is on the books already, and is judged; the door has let it in.
    """

    at_ms: int
    entry: AnyEntry
    is_kept: bool = False


class TraceReading(NamedTuple):
    """A reading that was accepted before; archives hold these. ``at_ms``: its arrival."""

    at_ms: int
    reading: Reading


class TraceError(ValueError):
    """A line of a trace cannot be read.

    Attributes:
        line: Its number, from 1.
    """

    def __init__(self, line: int, what: str) -> None:
        super().__init__(f"line {line}: {what}")
        self.line = line


def read_trace(file: BinaryIO) -> Iterator[TraceMessage | TraceEntry]:
    """Yield what a trace holds, line by line, in its order.

    Args:
        file: A binary file or stream, open for reading.

    Raises:
        TraceError: At the first line that is no message and no entry.
    """
    number = 0
    while line := file.readline(MAX_LINE_BYTES + 1):
        number += 1
        if len(line) > MAX_LINE_BYTES:
            raise TraceError(number, f"longer than {MAX_LINE_BYTES} bytes; one message a line")
        if number == 1:
            line = line.removeprefix(_BOM)
        if line.isspace() or not line:
            continue
        yield _read(number, line)


def _read(number: int, line: bytes) -> TraceMessage | TraceEntry:
    try:
        found = from_json(line)
    except ValueError as err:
        what = f"not a whole JSON object ({err}); mend or remove the line"
        raise TraceError(number, what) from None
    if not isinstance(found, dict):
        raise TraceError(number, "not a JSON object; expected {…} with at and topic, or at and do")
    at = found.get("at")
    at_ms = iso_ms(at) if isinstance(at, str) else None
    if at_ms is None:
        said = "missing" if at is None else ascii(at)[:80]
        what = f'"at" is {said}; expected ISO 8601 with a zone, such as "2026-03-02T08:00:00Z"'
        raise TraceError(number, what)
    if "do" in found:
        if "topic" in found:
            raise TraceError(number, 'has both "topic" and "do"; a line is a message or an entry')
        try:
            return TraceEntry(at_ms, parse_entry(found, at_ms))
        except EntryError as err:
            raise TraceError(number, str(err)) from None
    topic = found.get("topic")
    if not isinstance(topic, str):
        said = "missing" if topic is None else ascii(topic)[:80]
        what = f'"topic" is {said}; expected text, or "do" for an operator\'s entry'
        raise TraceError(number, what)
    retained = found.get("retained", False)
    if not isinstance(retained, bool):
        raise TraceError(number, f'"retained" is {ascii(retained)[:80]}; expected true or false')
    payload = found.get("payload")
    if isinstance(payload, str):
        return TraceMessage(at_ms, topic, payload.encode(), retained)
    return TraceMessage(at_ms, topic, _binary(number, payload), retained)


def _binary(number: int, payload: object) -> bytes:
    if isinstance(payload, Mapping) and payload.keys() == {"base64"}:
        try:
            return base64.b64decode(payload["base64"], validate=True)
        except (TypeError, ValueError, binascii.Error):
            what = '"payload" is not valid base64; write the bytes in base64, or the text as it is'
            raise TraceError(number, what) from None
    said = "missing" if payload is None else f"a {type(payload).__name__}"
    what = f'"payload" is {said}; expected text (JSON inside quotes) or {{"base64": "…"}}'
    raise TraceError(number, what)
