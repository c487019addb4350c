"""Times at which a door stood open, from what its contact said."""

from collections.abc import Sequence

from handmade import probe, shop, unit
from rimewatch.evaluation.contacts import door_times, open_times
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.readings import Reading
from rimewatch.vocabulary import ProbeId, UnitId

DOOR, BACK = ProbeId("door"), ProbeId("back")


def told(points: Sequence[tuple[int, float]], name: ProbeId = DOOR) -> MemoryStore:
    """Return a store with what a contact said."""
    return tell(MemoryStore(), points, name)


def tell(store: MemoryStore, points: Sequence[tuple[int, float]], name: ProbeId) -> MemoryStore:
    """Add what a contact said."""
    for at_ms, value in points:
        store.add(Reading(probe=name, observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value))
    return store


def test_openings_run_from_open_to_shut() -> None:
    """Repeating itself makes no further opening."""
    store = told([(10, 1.0), (20, 1.0), (30, 0.0), (40, 0.0), (50, 1.0), (60, 0.0)])

    assert open_times(store, DOOR, 0, 100) == [(10.0, 30.0), (50.0, 60.0)]


def test_opening_from_before_the_period_counts_from_its_start() -> None:
    """A contact keeps its last state until it says otherwise."""
    assert open_times(told([(10, 1.0), (60, 0.0)]), DOOR, 30, 100) == [(30.0, 60.0)]


def test_opening_that_lasts_runs_to_the_end_of_the_period() -> None:
    """It is open still."""
    assert open_times(told([(10, 1.0)]), DOOR, 0, 100) == [(10.0, 100.0)]
    assert open_times(told([(10, 1.0)]), DOOR, 40, 100) == [(40.0, 100.0)]


def test_opening_at_the_very_end_has_no_length() -> None:
    """Nothing of it lies in the period."""
    assert open_times(told([(100, 1.0)]), DOOR, 0, 100) == []


def test_what_is_said_after_the_period_does_not_matter() -> None:
    """Shut at 200, but the period ends at 100."""
    assert open_times(told([(10, 1.0), (200, 0.0)]), DOOR, 0, 100) == [(10.0, 100.0)]


def test_contact_that_never_spoke_is_taken_for_shut() -> None:
    """Nothing is claimed of it."""
    assert open_times(MemoryStore(), DOOR, 0, 100) == []


def test_doors_of_a_unit_are_listed_together_in_order() -> None:
    """Front and back door."""
    two = shop(unit(), probe("back", measures="door"), probe("door", measures="door"))
    store = told([(10, 1.0), (30, 0.0), (70, 1.0), (80, 0.0)])
    tell(store, [(20, 1.0), (40, 0.0)], BACK)

    assert door_times(two, store, UnitId("case-1"), 0, 100) == [
        (10.0, 30.0),
        (20.0, 40.0),
        (70.0, 80.0),
    ]
