"""A reading, and what could not become one. Pure values."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from rimewatch.vocabulary import ProbeId

PAYLOAD_START_BYTES: Final = 256
"""How much of any payload is kept in quarantine and shown (our choice)."""


class Reading(NamedTuple):
    """One value with its time, accepted.

    ``value`` is corrected and in the service's own terms: °C rounded to 0.001 for
    temperatures (so that °F and °C probes agree to the digit), percent for
    humidity, 1.0 (open, wet) or 0.0 for contacts. ``raw`` is what the probe sent.
    """

    probe: ProbeId
    observed_ms: int
    arrived_ms: int
    raw: float
    value: float
    battery: float | None = None


class Reason(StrEnum):
    """Why a message or a value was put into quarantine."""

    UNDECODABLE = "undecodable"
    NOT_FINITE = "not-finite"
    FAULT_CODE = "fault-code"
    OUT_OF_RANGE = "out-of-range"
    UNKNOWN_TOPIC = "unknown-topic"
    TOO_LARGE = "too-large"
    TIME_UNCERTAIN = "time-uncertain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quarantined:
    """A message or value that was not believed, kept for somebody to look at."""

    arrived_ms: int
    topic: str
    probe: ProbeId | None
    reason: Reason
    detail: str
    payload_start: bytes
    """The first part of the payload, at most :data:`PAYLOAD_START_BYTES`."""
    whole: bytes | None = None
    """The whole payload, where its start is not all of it or may not be; None if it is not kept,
    and for payloads shorter than the start may be."""

    @property
    def payload(self) -> bytes | None:
        """Return the whole payload; None where its start alone is known."""
        if self.whole is None and len(self.payload_start) < PAYLOAD_START_BYTES:
            return self.payload_start
        return self.whole
