"""What an evaluator must be told to go on where another one ended. Plain values."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from rimewatch.alarms.alarm import AlarmState
from rimewatch.entries import AnyEntry
from rimewatch.vocabulary import ContactId, ProbeId


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed:
    """What an evaluator must be told to go on where another one ended."""

    alarms: AlarmState
    entries: Sequence[AnyEntry]
    watching_since_ms: int
    """When watching first began."""
    seen_until_ms: int
    """Up to when time was followed: mornings missed since then are caught up."""
    batteries: Mapping[ProbeId, float]
    """What each probe last said of its battery."""
    new_addresses: Collection[ContactId] = ()
    """Contacts that are reached in another way than before."""
