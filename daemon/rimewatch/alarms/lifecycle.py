"""The life cycle of an alarm: one table, every state against every event.

The seven states and the steps between them are those of IEC 62682 and ISA-18.2 (state
diagram of the alarm's life; A normal, B unacknowledged, C acknowledged, D returned to
normal unacknowledged, G shelved, H suppressed by design, I out of service). The two
latched states (E, F) are left out: nothing here latches. Names and the steps
A-B-C-D are as published; the cells of G, H and I are from memory.

Where the standard leaves a cell open, the choice is said beside it:

* Of several reasons to be silent the strongest is shown: out of service before
  suppressed by design before shelved.
* Leaving silence goes to normal. Whoever drives the table asks next whether another
  reason still holds, and then whether the condition is still there (``OCCURRED``);
  so an alarm that is still active becomes unacknowledged once more.
* An alarm that returns while silent is over: nobody is asked to acknowledge it. The
  shelf itself outlives it and meets the next one.

Pure: a table and a look-up. It knows no time and sends nothing.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


class Event(StrEnum):
    """What can happen to an alarm."""

    OCCURRED = "occurred"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    REOPENED = "reopened"
    """It got worse, or the time somebody promised to be back by has passed."""
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "unsuppressed"
    TAKEN_OUT_OF_SERVICE = "taken-out-of-service"
    PUT_IN_SERVICE = "put-in-service"


SILENT: Final = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})
"""States in which an alarm announces nothing."""

ENTERING: Final[Mapping[State, Event]] = MappingProxyType(
    {
        State.OUT_OF_SERVICE: Event.TAKEN_OUT_OF_SERVICE,
        State.SUPPRESSED: Event.SUPPRESSED,
        State.SHELVED: Event.SHELVED,
    }
)
"""The event that leads into each silent state, strongest first."""

LEAVING: Final[Mapping[State, Event]] = MappingProxyType(
    {
        State.OUT_OF_SERVICE: Event.PUT_IN_SERVICE,
        State.SUPPRESSED: Event.UNSUPPRESSED,
        State.SHELVED: Event.UNSHELVED,
    }
)
"""The event that leads out of each silent state, to normal."""


_EVENTS: Final = tuple(Event)
_A: Final = State.NORMAL
_B: Final = State.UNACKNOWLEDGED
_C: Final = State.ACKNOWLEDGED
_D: Final = State.RETURNED_UNACKNOWLEDGED
_G: Final = State.SHELVED
_H: Final = State.SUPPRESSED
_I: Final = State.OUT_OF_SERVICE

# One row a state. The columns are the events in the order of Event: a condition occurs, is
# acknowledged, returns, opens again; then entering and leaving each of the three silences.
_ROWS: Final[Mapping[State, tuple[State, ...]]] = {
    _A: (_B, _A, _A, _A, _G, _A, _H, _A, _I, _A),
    _B: (_B, _C, _D, _B, _G, _B, _H, _B, _I, _B),
    _C: (_C, _C, _A, _B, _G, _C, _H, _C, _I, _C),
    _D: (_B, _A, _D, _D, _G, _D, _H, _D, _I, _D),
    _G: (_G, _G, _A, _G, _G, _A, _H, _G, _I, _G),
    _H: (_H, _H, _A, _H, _H, _H, _H, _A, _I, _H),
    _I: (_I, _I, _A, _I, _I, _I, _I, _I, _I, _A),
}

TRANSITIONS: Final[Mapping[tuple[State, Event], State]] = MappingProxyType(
    {
        (state, event): target
        for state, row in _ROWS.items()
        for event, target in zip(_EVENTS, row, strict=True)
    }
)
"""Where each event leads from each state. Total: no pair is missing."""


def next_state(state: State, *events: Event) -> State:
    """Return the state after some events, in order.

    >>> next_state(State.NORMAL, Event.OCCURRED, Event.ACKNOWLEDGED).value
    'acknowledged'
    """
    for event in events:
        state = TRANSITIONS[state, event]
    return state
