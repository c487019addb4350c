"""Any order, any repetition, any batching, packed at any time: the same readings."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from conflicts_kept import conflict_counts
from rimewatch.journal import Journal, JournalReader
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
PROBES = (ProbeId("case-1-air"), ProbeId("case-1-door"))
DAYS = 4

readings = st.builds(
    lambda probe, day, offset_ms, milli, lag_ms, digits: Reading(
        probe=probe,
        observed_ms=START_MS + day * MS_PER_DAY + offset_ms,
        arrived_ms=START_MS + day * MS_PER_DAY + offset_ms + lag_ms,
        raw=milli / 1000 + digits,
        value=milli / 1000,
    ),
    st.sampled_from(PROBES),
    st.integers(min_value=0, max_value=DAYS - 1),
    # Few times, so that they meet; both edges of the day among them.
    st.sampled_from([0, 1, 60_000, 120_000, MS_PER_DAY - 1]),
    st.integers(min_value=-5, max_value=5),
    st.sampled_from([-300_000, 0, 250, 30 * MS_PER_DAY]),
    st.sampled_from([0.0, 1.0, 0.12345678901]),
)


@dataclass(frozen=True)
class Add:
    """A batch arrives."""

    batch: tuple[Reading, ...]


@dataclass(frozen=True)
class Undone:
    """A batch arrives and its commit fails."""

    batch: tuple[Reading, ...]


@dataclass(frozen=True)
class Compact:
    """The days before one are packed, some of them."""

    day: int
    blocks: int


@dataclass(frozen=True)
class Reopen:
    """The service is started again."""


Step = Add | Undone | Compact | Reopen

batches = st.lists(readings, max_size=8).map(tuple)
steps: st.SearchStrategy[list[Step]] = st.lists(
    st.one_of(
        st.builds(Add, batches),
        st.builds(Add, batches),
        st.builds(Undone, batches),
        st.builds(Compact, st.integers(0, DAYS), st.integers(1, 3)),
        st.just(Reopen()),
    ),
    max_size=12,
)


class FailOnPurposeError(Exception):
    """What makes a batch fail."""


def expected_spans(batches_added: list[tuple[Reading, ...]]) -> dict[ProbeId, dict[int, float]]:
    """Return what must be read back, by the simplest means: the largest value a time."""
    spans: dict[ProbeId, dict[int, float]] = {probe: {} for probe in PROBES}
    for batch in batches_added:
        for reading in batch:
            times = spans[reading.probe]
            times[reading.observed_ms] = max(
                reading.value, times.get(reading.observed_ms, reading.value)
            )
    return spans


def conflicting(batches_added: list[tuple[Reading, ...]]) -> dict[ProbeId, int]:
    """Return how many times of each probe came with differing values."""
    seen: dict[tuple[ProbeId, int], set[float]] = {}
    for batch in batches_added:
        for reading in batch:
            seen.setdefault((reading.probe, reading.observed_ms), set()).add(reading.value)
    counts = {p: sum(1 for (q, _), v in seen.items() if p == q and len(v) > 1) for p in PROBES}
    return {probe: count for probe, count in counts.items() if count}


def undo(journal: Journal, batch: tuple[Reading, ...]) -> None:
    """Add a batch and let it fail before its commit."""

    def add_and_fail() -> None:
        with journal.batch():
            journal.add_readings(batch)
            raise FailOnPurposeError

    with pytest.raises(FailOnPurposeError):
        add_and_fail()


def check_added(
    journal: Journal, batch: tuple[Reading, ...], known: dict[ProbeId, dict[int, float]]
) -> None:
    """Add a batch and check what is said of each of its readings."""
    said = journal.add_readings(batch)
    for reading, new in zip(batch, said, strict=True):
        standing = known[reading.probe].get(reading.observed_ms)
        assert new == (standing is None or reading.value > standing)
        if new:
            known[reading.probe][reading.observed_ms] = reading.value


LATE = Reading(probe=PROBES[0], observed_ms=START_MS, arrived_ms=START_MS, raw=1.0, value=0.001)
WARMER = Reading(probe=PROBES[0], observed_ms=START_MS, arrived_ms=START_MS, raw=1.0, value=0.002)


NEIGHBOUR = Reading(
    probe=PROBES[0], observed_ms=START_MS + 1, arrived_ms=START_MS, raw=1.0, value=0.001
)


@settings(max_examples=150, deadline=None)
@given(steps)
@example([Add((LATE,)), Compact(DAYS, 3), Add((WARMER,)), Add((LATE, WARMER)), Compact(DAYS, 3)])
@example([Add((WARMER,)), Compact(DAYS, 3), Add((LATE,)), Reopen(), Add((LATE, WARMER))])
@example([Add((NEIGHBOUR,)), Compact(DAYS, 3), Add((LATE,)), Compact(DAYS, 3), Add((LATE,))])
def test_readings_read_back_do_not_depend_on_how_they_came(plan: list[Step]) -> None:
    """Arrival order, duplicates, failed batches, restarts and packing leave no trace."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "journal.db")
        added: list[tuple[Reading, ...]] = []
        known: dict[ProbeId, dict[int, float]] = {probe: {} for probe in PROBES}
        journal = Journal.open(path, check=False)
        for step in plan:
            match step:
                case Add(batch):
                    check_added(journal, batch, known)
                    added.append(batch)
                case Undone(batch):
                    undo(journal, batch)
                case Compact(day, blocks):
                    journal.compact(START_MS + day * MS_PER_DAY, blocks)
                case Reopen():
                    journal.close()
                    journal = Journal.open(path, check=False)

        with JournalReader.open(path) as reader:
            assert_as_expected(journal, added)
            assert_as_expected(reader, added)
        journal.close()


def assert_as_expected(store: Journal | JournalReader, added: list[tuple[Reading, ...]]) -> None:
    """Compare every answer about readings with the simple model."""
    for probe, times in expected_spans(added).items():
        ordered = sorted(times.items())
        span = store.span(probe)
        assert list(zip(span.times_ms.tolist(), span.values.tolist(), strict=True)) == ordered
        full = store.full_span(probe)
        assert np.array_equal(full.times_ms, span.times_ms)
        assert np.array_equal(full.values, span.values)
        columns = (full.times_ms.tolist(), full.raws.tolist(), full.arrived_ms.tolist())
        sent = {(r.observed_ms, r.raw, r.arrived_ms) for b in added for r in b if r.probe == probe}
        assert set(zip(*columns, strict=True)) <= sent
        for before_ms in (START_MS, START_MS + 1, START_MS + 2 * MS_PER_DAY, START_MS * 2):
            earlier = [pair for pair in ordered if pair[0] < before_ms]
            assert store.last_before(probe, before_ms) == (earlier[-1] if earlier else None)
    assert conflict_counts(store.path) == conflicting(added)
