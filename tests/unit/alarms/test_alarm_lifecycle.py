"""The life cycle against the published state diagram, cell by cell.

Source: IEC 62682 / ANSI/ISA-18.2, state diagram of the alarm's life (A normal,
B unacknowledged, C acknowledged, D returned to normal unacknowledged, G shelved,
H suppressed by design, I out of service). A to D as published; the cells of G, H and I,
and "D acknowledged is A", from memory.
"""

import pytest
from transitions import Machine

from rimewatch.alarms.lifecycle import (
    ENTERING,
    LEAVING,
    SILENT,
    TRANSITIONS,
    Event,
    State,
    next_state,
)

LETTERS = {
    "A": State.NORMAL,
    "B": State.UNACKNOWLEDGED,
    "C": State.ACKNOWLEDGED,
    "D": State.RETURNED_UNACKNOWLEDGED,
    "G": State.SHELVED,
    "H": State.SUPPRESSED,
    "I": State.OUT_OF_SERVICE,
}

# Down: what happens. Across: from A, B, C, D, G, H, I.
EXPECTED = {
    Event.OCCURRED: "B B C B G H I",
    Event.ACKNOWLEDGED: "A C C A G H I",
    Event.RETURNED: "A D A D A A A",
    Event.REOPENED: "A B B D G H I",
    Event.SHELVED: "G G G G G H I",
    Event.UNSHELVED: "A B C D A H I",
    Event.SUPPRESSED: "H H H H H H I",
    Event.UNSUPPRESSED: "A B C D G A I",
    Event.TAKEN_OUT_OF_SERVICE: "I I I I I I I",
    Event.PUT_IN_SERVICE: "A B C D G H A",
}

CELLS = [
    pytest.param(LETTERS[start], event, LETTERS[end], id=f"{start}-{event}-{end}")
    for event, row in EXPECTED.items()
    for start, end in zip(LETTERS, row.split(), strict=True)
]


@pytest.mark.parametrize(("start", "event", "end"), CELLS)
def test_lifecycle_event_in_state_leads_where_the_standard_says(
    start: State, event: Event, end: State
) -> None:
    """Each of the 70 cells is as the published diagram has it."""
    assert TRANSITIONS[start, event] is end


def test_lifecycle_table_is_total() -> None:
    """No pair of state and event is left without an answer."""
    assert len(CELLS) == 70
    assert set(TRANSITIONS) == {(state, event) for state in State for event in Event}


def test_lifecycle_equals_a_general_state_machine() -> None:
    """The diagram drawn with arrows, in a general library's machine, gives the same table."""
    by_itself = ["A", "B", "C", "D"]
    arrows = [
        (Event.OCCURRED, ["A", "D"], "B"),
        (Event.ACKNOWLEDGED, "B", "C"),
        (Event.ACKNOWLEDGED, "D", "A"),
        (Event.RETURNED, "B", "D"),
        (Event.RETURNED, ["C", "G", "H", "I"], "A"),
        (Event.REOPENED, "C", "B"),
        (Event.SHELVED, by_itself, "G"),
        (Event.UNSHELVED, "G", "A"),
        (Event.SUPPRESSED, [*by_itself, "G"], "H"),
        (Event.UNSUPPRESSED, "H", "A"),
        (Event.TAKEN_OUT_OF_SERVICE, [*by_itself, "G", "H"], "I"),
        (Event.PUT_IN_SERVICE, "I", "A"),
    ]
    machine = Machine(
        states=list(LETTERS),
        initial="A",
        auto_transitions=False,
        ignore_invalid_triggers=True,
        transitions=[
            {"trigger": f"when_{event.name}", "source": source, "dest": dest}
            for event, source, dest in arrows
        ],
    )

    reached = {}
    for letter, state in LETTERS.items():
        for event in Event:
            machine.set_state(letter)
            machine.trigger(f"when_{event.name}")
            reached[state, event] = LETTERS[machine.state]

    assert reached == dict(TRANSITIONS)


def test_lifecycle_ordinary_night_goes_through_its_four_states() -> None:
    """Too warm, seen, cold again; and the same with nobody looking until the morning."""
    seen = next_state(State.NORMAL, Event.OCCURRED, Event.ACKNOWLEDGED, Event.RETURNED)
    unseen = next_state(State.NORMAL, Event.OCCURRED, Event.RETURNED)

    assert seen is State.NORMAL
    assert unseen is State.RETURNED_UNACKNOWLEDGED
    assert next_state(unseen, Event.ACKNOWLEDGED) is State.NORMAL


@pytest.mark.parametrize("silence", sorted(SILENT))
def test_lifecycle_silence_can_be_entered_and_left(silence: State) -> None:
    """From normal into each silence, and out of it to normal."""
    assert next_state(State.NORMAL, ENTERING[silence]) is silence
    assert next_state(silence, LEAVING[silence]) is State.NORMAL
