"""An alarm, and everything the engine must remember between two events.

Plain values that survive a JSON round trip (``codec``). Times are integer milliseconds
UTC. Pure: nothing here decides anything.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimewatch.alarms.lifecycle import SILENT, State
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import ContactId, Priority, UnitId


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """The next repetition of an escalation step that has fired."""

    step: int
    """Index of the step, earliest first."""
    nth: int
    """Which repetition it will be, from 1. Those the night swallows are counted too."""
    due_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """One occurrence of an alarm, from its raising until it is over."""

    id: str
    """Deterministic: unit, rule and instant of raising. The same input gives the same id."""
    key: AlarmKey
    units: tuple[UnitId, ...]
    """Every unit concerned."""
    priority: Priority
    """Rises with the consequence, never falls while the alarm lasts."""
    state: State
    since_ms: int
    """Event time at which the condition began."""
    raised_ms: int
    opened_ms: int
    """When its escalation last started: at raising, or when it was opened again."""
    condition: Condition
    """The latest facts."""
    acknowledged_ms: int | None = None
    """None: not acknowledged since it was last opened."""
    acknowledged_by: str = ""
    first_acknowledged_ms: int | None = None
    """The first time that anybody did; stays when the alarm is opened again."""
    returned_ms: int | None = None
    reopens_ms: int | None = None
    """When it opens again because somebody promised to be back by then. None: no promise."""
    lapses_ms: int | None = None
    """When an acknowledgement without a promise ends by itself. None: it does not."""
    severity: int = 0
    """The highest severity seen."""
    round: int = 0
    """How often it was opened again."""
    steps_done: int = 0
    """Escalation steps whose time has come in this round, sounded or not."""
    repeats: tuple[Repeat, ...] = ()
    heard: bool = False
    """Whether anybody was sent a message of this round."""
    told: bool = False
    """Whether anybody was sent a message that it was raised."""
    owes: tuple[ContactId, ...] = ()
    """Whose last word on this alarm was that it is active, in the order they were told."""
    reached: tuple[ContactId, ...] = ()
    """Whose step or repeat has come since it was raised, whether or not it sounded."""
    woke: bool = False
    """Whether a message of it sounded in the night."""
    repeats_sent: int = 0
    """Repetitions that were sent, over all steps; one a step and time, however many contacts."""
    chatter: int = 0
    """How often it came back within the chatter window and was joined to this occurrence."""

    @property
    def answered_ms(self) -> int | None:
        """When it was first acknowledged; None: it never was.

        Opened again, it waits for somebody once more; that it was seen before stays true.
        """
        return self.first_acknowledged_ms or self.acknowledged_ms

    @property
    def active(self) -> bool:
        """Whether its condition is still there."""
        return self.returned_ms is None

    @property
    def sounding(self) -> bool:
        """Whether steps and repeats are running: active, seen by nobody, not silenced."""
        return self.state is State.UNACKNOWLEDGED

    @property
    def silent(self) -> bool:
        """Whether it is shelved, suppressed by design or out of service."""
        return self.state in SILENT


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmState:
    """What the engine knows. Frozen; every call of the engine gives a new one."""

    alarms: Mapping[AlarmKey, Alarm] = field(default_factory=dict)
    """Alarms that are active, or returned and still to be acknowledged."""
    closed: Mapping[AlarmKey, Alarm] = field(default_factory=dict)
    """The last alarm of each key that is over: what a chattering one is joined to."""
    conditions: Mapping[AlarmKey, Condition] = field(default_factory=dict)
    """Every condition that is so now, whether an alarm may be made of it or not."""
    shelves: Mapping[AlarmKey, int] = field(default_factory=dict)
    """What is shelved, and until when."""
    out_of_service: frozenset[UnitId] = frozenset()
    suppressed: Mapping[AlarmKey, frozenset[AlarmKey]] = field(default_factory=dict)
    """What is suppressed by design, and by which causes."""
    lifting: Mapping[AlarmKey, int] = field(default_factory=dict)
    """Causes that have returned, and when they stop suppressing."""
