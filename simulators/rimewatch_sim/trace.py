"""Trace lines: JSON, one a line, in order of arrival; written and read."""

import base64
import binascii
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Any

from rimewatch_sim.timeline import parse_utc_ms, utc_text


class TraceError(Exception):
    """A trace cannot be used; the text says which line, why, and what was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceLine:
    """A message (``topic`` and ``payload``) or an operator's entry (``entry``)."""

    at_ms: int
    topic: str | None = None
    payload: bytes = b""
    entry: Mapping[str, Any] | None = None
    """``do`` and its fields, without the time."""

    def to_json(self) -> str:
        """Return the line, without its end."""
        fields: dict[str, Any] = {"at": utc_text(self.at_ms)}
        if self.entry is not None:
            fields.update(self.entry)
        else:
            fields["topic"] = self.topic
            fields["payload"] = _payload_json(self.payload)
        return json.dumps(fields, ensure_ascii=False)


def _payload_json(payload: bytes) -> str | dict[str, str]:
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError:
        return {"base64": base64.b64encode(payload).decode("ascii")}


def write_lines(lines: Iterable[TraceLine], file: IO[str]) -> int:
    """Write a trace to an open text file and return how many lines it has."""
    count = 0
    for line in lines:
        file.write(line.to_json())
        file.write("\n")
        count += 1
    return count


def read_lines(file: Iterable[str], *, source: str) -> Iterator[TraceLine]:
    """Yield the lines of a trace, one at a time; blank ones are passed over.

    Args:
        file: The lines.
        source: What to call the file in an error.

    Raises:
        TraceError: At the first line that is not one of a trace or goes back in time.
    """
    last_ms: int | None = None
    for number, text in enumerate(file, start=1):
        if not text.strip():
            continue
        try:
            line = _parse(text)
        except (ValueError, TypeError) as error:
            raise TraceError(f"{source}, line {number}: {error}") from None
        if last_ms is not None and line.at_ms < last_ms:
            raise TraceError(
                f"{source}, line {number}: at is {utc_text(line.at_ms)}, before the line above; "
                "a trace is in order of arrival"
            )
        last_ms = line.at_ms
        yield line


def _parse(text: str) -> TraceLine:
    try:
        fields = json.loads(text)
    except json.JSONDecodeError as error:
        raise ValueError(f"not JSON ({error.msg}); expected one object a line") from None
    if not isinstance(fields, dict):
        raise TypeError("not a JSON object")
    at = fields.pop("at", None)
    if not isinstance(at, str):
        raise TypeError('at is missing; expected a time such as "2026-03-02T08:00:00Z"')
    at_ms = parse_utc_ms(at)
    if "do" in fields:
        return TraceLine(at_ms=at_ms, entry=fields)
    topic = fields.get("topic")
    if not isinstance(topic, str) or not topic:
        raise TypeError("neither topic nor do; a line is a message or an entry")
    return TraceLine(at_ms=at_ms, topic=topic, payload=_payload_bytes(fields.get("payload")))


def _payload_bytes(payload: object) -> bytes:
    if isinstance(payload, str):
        return payload.encode("utf-8")
    if isinstance(payload, dict) and isinstance(payload.get("base64"), str):
        try:
            return base64.b64decode(payload["base64"], validate=True)
        except binascii.Error:
            raise ValueError("payload.base64 is not base64") from None
    raise TypeError('payload is neither a text nor {"base64": …}')
