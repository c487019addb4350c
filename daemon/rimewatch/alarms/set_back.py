"""What the engine's timers become when a clock that was ahead is put right.

A machine may start with a clock that is hours ahead, and learn better from the network. What
was timed by the wrong clock would then wait until the right one has come that far: an
escalation for hours, a shelf for a night. So nothing waits longer than if its wait began
anew; where that is not known, the time is taken back by as much as the clock, since an alarm
that sounds early is the lesser evil. What was raised keeps the time under which it was put
down. Pure.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from rimewatch.alarms.alarm import Alarm, AlarmState, Repeat
from rimewatch.alarms.timetable import Step

Key = TypeVar("Key")


def set_back(state: AlarmState, steps: tuple[Step, ...], now_ms: int, by_ms: int) -> AlarmState:
    """Return the state as it goes on after the clock was set back.

    Args:
        state: The state.
        steps: The escalation.
        now_ms: What the clock shows now.
        by_ms: By how much it was set back.
    """

    def earlier(due_ms: int) -> int:
        return due_ms if due_ms <= now_ms else max(now_ms, due_ms - by_ms)

    def all_earlier(dues: Mapping[Key, int]) -> dict[Key, int]:
        return {key: earlier(due_ms) for key, due_ms in dues.items()}

    def repeat(one: Repeat) -> Repeat:
        every_ms = steps[one.step].repeat_ms if one.step < len(steps) else None
        if every_ms is None:
            return one
        return replace(one, due_ms=min(one.due_ms, now_ms + every_ms))

    def alarm(one: Alarm) -> Alarm:
        return replace(
            one,
            opened_ms=min(one.opened_ms, now_ms),
            reopens_ms=None if one.reopens_ms is None else earlier(one.reopens_ms),
            lapses_ms=None if one.lapses_ms is None else earlier(one.lapses_ms),
            repeats=tuple(map(repeat, one.repeats)),
        )

    return replace(
        state,
        alarms={key: alarm(one) for key, one in state.alarms.items()},
        shelves=all_earlier(state.shelves),
        lifting=all_earlier(state.lifting),
    )
