"""The words of the trade for what programs call by a name of theirs. Pure."""

from typing import Final

from rimewatch.alarms.lifecycle import State
from rimewatch.vocabulary import Kind

STATES: Final = {
    State.NORMAL: "normal",
    State.UNACKNOWLEDGED: "not acknowledged yet",
    State.ACKNOWLEDGED: "acknowledged",
    State.RETURNED_UNACKNOWLEDGED: "returned to normal, not acknowledged yet",
    State.SHELVED: "shelved",
    State.SUPPRESSED: "suppressed by design: another alarm tells of its cause",
    State.OUT_OF_SERVICE: "out of service",
}
"""Where an alarm stands, in the words of IEC 62682."""
KINDS: Final = {
    Kind.DISPLAY_CASE: "display case",
    Kind.WALK_IN: "walk-in cooler",
    Kind.FREEZER: "freezer",
    Kind.ULTRA_LOW_FREEZER: "ultra-low freezer",
}
"""What a unit is."""
