"""What a broker session hands over: messages that arrived, and what befell the session.

Pure values; also what a test or a replay may hand over in a broker's place.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class Arrived(NamedTuple):
    """A message as it came from the broker, not yet acknowledged.

    ``mid`` means something in its own connection only, hence ``generation``: the
    broker counts from 1 again after a reconnect.
    """

    topic: str
    payload: bytes
    arrived_ms: int
    retained: bool
    mid: int
    qos: int
    generation: int


class Happening(StrEnum):
    """What can befall a session."""

    CONNECTED = "connected"
    DISCONNECTED = "disconnected"
    SESSION_LOST = "session-lost"
    """The broker no longer knew our session: what was sent meanwhile is gone."""
    REFUSED = "refused"
    """The broker answered and would not have us: a wrong password, for one."""
    UNREACHABLE = "unreachable"
    """No answer from the broker, or no agreement on TLS."""
    OLDER_PROTOCOL = "older-protocol"
    """The broker does not speak MQTT 5; 3.1.1 is tried."""
    SUBSCRIPTION_REFUSED = "subscription-refused"
    PUBLISH_REFUSED = "publish-refused"
    FAULT = "fault"
    """An error of our own or of the client library; the connection is made anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionEvent:
    """Something that befell a session."""

    what: Happening
    at_ms: int
    text: str
    """One sentence for people, with the cure where there is one."""
    since_ms: int | None = None
    """For CONNECTED and SESSION_LOST after a break: when the broker was last heard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionHealth:
    """How a session is doing. Judge by ``silent_s``: a connection may be dead and not know."""

    connected: bool
    listening: bool
    """Connected, and the broker has confirmed our subscriptions."""
    silent_s: float
    """Seconds since the broker was last heard, or since the start."""
    waiting: int
    """Messages and events not yet drained."""
    is_full: bool
    """Whether so much waits that no more is read; the rest stays with the broker."""
    protocol: str
    problem: str
    """The last trouble in one sentence; empty while connected."""
    taken_over: int = 0
    """How often within the last day another client took our session over."""


Item = Arrived | SessionEvent
