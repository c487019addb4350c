"""What the alarm engine asks for: messages to send, alarms to record, lines to log.

Plain values; the shell carries them out, in one transaction with what caused them.
"""

from dataclasses import dataclass

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import Event
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import About, ContactId, Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class Send:
    """A message to one contact."""

    at_ms: int
    contact: ContactId
    key: AlarmKey
    about: About
    alarm_id: str
    priority: Priority
    night: bool
    """Whether it sounds in the night."""
    condition: Condition
    """The facts when it fell due."""
    raised_ms: int
    """When the alarm was raised."""
    above_s: float | None = None
    """For ``returned``: how long it was beyond its limit, where somebody looked."""
    round: int
    """How often the alarm had been opened again."""
    step: int | None
    """The escalation step; None for ``returned``."""
    nth: int
    """0 for the step itself, 1, 2, … for its repetitions; for ``returned`` the alarm's
    chatter count."""
    caught_up: bool = False
    """Whether it goes to somebody who came to be on call, or got a new address, after its step."""

    @property
    def token(self) -> str:
        """A name that no other message has: sending the same token twice is a mistake."""
        step = "returned" if self.step is None else self.step
        since = f"/{self.at_ms}" if self.caught_up else ""
        return f"{self.alarm_id}/{self.round}/{step}/{self.nth}/{self.contact}{since}"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChanged:
    """An alarm is now so; the record keeps the latest under its id."""

    at_ms: int
    alarm: Alarm
    event: Event | None
    """What happened to it. None: no step of its life, only its particulars (told, woke,
    priority, units)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """Something an operator did to alarms, in words: shelving must be listed and logged."""

    at_ms: int
    key: AlarmKey | None
    text: str


Effect = Send | AlarmChanged | Logged
"""Anything the engine asks for."""
