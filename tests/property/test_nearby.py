"""Readings held for a look back are those of the store behind, however they are asked for."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.nearby import STRETCH_MS, Nearby
from rimewatch.evaluation.store import Span
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_767_225_600_000
PROBES = (ProbeId("air"), ProbeId("product"))
DAYS = 3 * STRETCH_MS // MS_PER_DAY

instants = st.integers(START_MS - 3 * MS_PER_DAY, START_MS + (DAYS + 3) * MS_PER_DAY)


class Counting(MemoryStore):
    """Counts how often readings are taken out of it."""

    taken = 0

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return what is asked for, and count it."""
        self.taken += 1
        return super().span(probe, from_ms, to_ms)


def a_store() -> Counting:
    """Return two probes' readings, a few hours apart, with days without any."""
    random = np.random.default_rng(41)
    store = Counting()
    for probe in PROBES:
        hours = np.cumsum(random.integers(1, 9, 120))
        for hour in hours.tolist():
            if hour // 24 % 11 == 5:
                continue
            at_ms = START_MS + int(hour) * 3_600_000
            value = round(float(random.normal(2.0, 3.0)), 2)
            store.add(
                Reading(probe=probe, observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value)
            )
    return store


STORE = a_store()


@given(
    asked=st.lists(st.tuples(st.sampled_from(PROBES), instants, instants), max_size=12),
    most=st.sampled_from([1, 40, 10_000]),
)
@settings(max_examples=60, deadline=None)
def test_spans_and_last_readings_are_those_of_the_store(
    asked: list[tuple[ProbeId, int, int]], most: int
) -> None:
    """Over the edges of stretches, before the first reading, with much held or hardly any."""
    nearby = Nearby(STORE, most)

    for probe, one_ms, other_ms in asked:
        from_ms, to_ms = sorted((one_ms, other_ms))
        expected, found = STORE.span(probe, from_ms, to_ms), nearby.span(probe, from_ms, to_ms)
        assert found.times_ms.tolist() == expected.times_ms.tolist()
        assert found.values.tolist() == expected.values.tolist()
        assert nearby.last_before(probe, one_ms) == STORE.last_before(probe, one_ms)


def test_an_hour_asked_for_twice_is_taken_from_the_store_once() -> None:
    """That is what it is for."""
    store = a_store()
    nearby = Nearby(store)

    for hour in range(40):
        nearby.span(PROBES[0], START_MS + hour * 3_600_000, START_MS + (hour + 1) * 3_600_000)

    assert store.taken == 1


def test_what_it_may_hold_bounds_what_it_holds() -> None:
    """A shop with many probes does not fill the memory of a small computer."""
    store = a_store()
    nearby = Nearby(store, 1)

    for _ in range(2):
        for stretch in range(3):
            at_ms = (START_MS // STRETCH_MS + stretch) * STRETCH_MS
            nearby.span(PROBES[0], at_ms, at_ms + 1)

    assert store.taken == 6, "nothing was still held the second time"
