"""What becomes of a message that was handed over, and how the dispatcher is doing.

Plain values; nothing in them needs to be kept from anybody's eyes.
"""

from dataclasses import dataclass

from rimewatch.vocabulary import ContactId


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long sending may take, in seconds of the machine's own time.

    Networks keep no trace time: these are real seconds even where the service runs on a
    stepped clock. Our choice: a whole chain is done within a minute.
    """

    connect_s: float = 5.0
    """Until a connection stands, each request."""
    read_s: float = 10.0
    """Between two pieces of an answer, each request."""
    channel_s: float = 20.0
    """For one channel; a service may make several requests, or trickle its answer."""
    chain_s: float = 55.0
    """For all channels of a contact together."""
    summary_channel_s: float = 60.0
    """For one channel and a summary: it is sent in pieces, with the pauses services ask for."""
    summary_chain_s: float = 120.0
    stuck_s: float = 300.0
    """After this long without an end, a channel is begun anew beside the send that hangs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """A service took the message. That is not yet a phone that rang."""

    id: int
    at_ms: int
    channel: int
    """Which of the contact's addresses took it, counted from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """No channel took the message."""

    id: int
    at_ms: int
    error: str
    """What each channel said, without secrets."""
    permanent: bool
    """Whether trying again is in vain until the configuration is changed."""


Result = Delivered | Failed


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelHealth:
    """One address of a contact."""

    scheme: str
    usable: bool
    hanging: bool
    """Whether a send has not come back although its time is up."""
    last_delivered_ms: int | None
    last_failed_ms: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactHealth:
    """One contact: its thread, its queue, its channels."""

    contact: ContactId
    alive: bool
    """Whether its thread runs."""
    waiting: int
    """Messages handed over and not yet begun."""
    last_delivered_ms: int | None
    last_failed_ms: int | None
    channels: tuple[ChannelHealth, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DispatcherHealth:
    """The whole dispatcher."""

    contacts: tuple[ContactHealth, ...]
    in_flight: int

    @property
    def alive(self) -> bool:
        """Whether every contact's thread runs."""
        return all(contact.alive for contact in self.contacts)
