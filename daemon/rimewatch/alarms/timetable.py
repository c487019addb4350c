"""When the alarm engine has something to do next, and what.

Everything that falls due is put into one order: by time, then by kind, then by key and
step. That order is total, so that many small advances do exactly what a big one does.
At one instant what was silent comes back before steps and repeats.

Pure: it looks, and changes nothing.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import State
from rimewatch.rules.condition import AlarmKey
from rimewatch.shop import EscalationStep
from rimewatch.vocabulary import MS_PER_S, About, ContactId

LEAST_REPEAT_S: Final = 1.0
"""Repeating faster than this would only ever be a slip of the pen."""


class Kind(IntEnum):
    """What falls due, in the order in which it is done at one instant."""

    LIFT = 0
    """A cause that has returned stops suppressing."""
    SHELF_END = 1
    REOPEN = 2
    """The time somebody promised to be back by, or for which an acknowledgement holds."""
    STEP = 3
    REPEAT = 4


@dataclass(frozen=True, slots=True)
class Due:
    """Something to be done at an instant."""

    at_ms: int
    kind: Kind
    key: AlarmKey
    step: int = 0

    @property
    def order(self) -> tuple[int, int, str, str, int]:
        """Its place in the one order of all things due."""
        return (self.at_ms, self.kind, *key_order(self.key), self.step)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """An escalation step as the engine runs it."""

    after_ms: int
    contacts: tuple[ContactId, ...]
    """Each once."""
    repeat_ms: int | None
    about: About
    """``raised`` for what comes first, ``escalated`` for what comes later."""


def key_order(key: AlarmKey) -> tuple[str, str]:
    """Return what alarm keys are sorted by: those of no one unit first."""
    return (key.unit or "", key.rule)


def milliseconds(seconds: float) -> int:
    """Return a duration in whole milliseconds."""
    return round(seconds * MS_PER_S)


def steps_of(escalation: tuple[EscalationStep, ...]) -> tuple[Step, ...]:
    """Return a shop's escalation, earliest step first.

    Raises:
        ValueError: If a step lies before the raising, or repeats faster than once a second.
    """
    ordered = sorted(escalation, key=lambda step: step.after_s)
    for step in ordered:
        if not step.after_s >= 0:
            raise ValueError(f"escalation.after_s is {step.after_s!r}; expected 0 or more seconds")
        if step.repeat_s is not None and not step.repeat_s >= LEAST_REPEAT_S:
            raise ValueError(
                f"escalation.repeat_s is {step.repeat_s!r}; expected at least "
                f"{LEAST_REPEAT_S} s, or none to send the step's message once"
            )
    return tuple(
        Step(
            after_ms=milliseconds(step.after_s),
            contacts=tuple(dict.fromkeys(step.contacts)),
            repeat_ms=None if step.repeat_s is None else milliseconds(step.repeat_s),
            about=About.RAISED if step.after_s == ordered[0].after_s else About.ESCALATED,
        )
        for step in ordered
    )


def dues_of(alarm: Alarm, steps: tuple[Step, ...]) -> Iterator[Due]:
    """Yield what one alarm has due: its next step, its repeats, its opening again.

    Steps that a changed configuration no longer has are passed over.
    """
    if alarm.state is State.ACKNOWLEDGED:
        ends_ms = alarm.lapses_ms if alarm.reopens_ms is None else alarm.reopens_ms
        if ends_ms is not None:
            yield Due(ends_ms, Kind.REOPEN, alarm.key)
    if not alarm.sounding:
        return
    if alarm.steps_done < len(steps):
        due_ms = alarm.opened_ms + steps[alarm.steps_done].after_ms
        yield Due(due_ms, Kind.STEP, alarm.key, alarm.steps_done)
    for repeat in alarm.repeats:
        if repeat.step < len(steps) and steps[repeat.step].repeat_ms is not None:
            yield Due(repeat.due_ms, Kind.REPEAT, alarm.key, repeat.step)


def earliest(
    steps: tuple[Step, ...],
    *,
    alarms: Mapping[AlarmKey, Alarm],
    shelves: Mapping[AlarmKey, int],
    lifting: Mapping[AlarmKey, int],
) -> Due | None:
    """Return the first thing due; None: nothing will happen by itself."""

    def everything() -> Iterator[Due]:
        for key, at_ms in lifting.items():
            yield Due(at_ms, Kind.LIFT, key)
        for key, at_ms in shelves.items():
            yield Due(at_ms, Kind.SHELF_END, key)
        for alarm in alarms.values():
            yield from dues_of(alarm, steps)

    return min(everything(), key=lambda due: due.order, default=None)
