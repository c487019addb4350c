"""A reading store in memory, for a replay that needs no disk."""

from array import array
from bisect import bisect_left, bisect_right
from typing import Final

import numpy as np

from rimewatch.evaluation.store import Span
from rimewatch.readings import Reading
from rimewatch.vocabulary import ProbeId

_NO_TIMES: Final = array("q")
_NO_VALUES: Final = array("d")


class MemoryStore:
    """Keeps readings sorted by their own time; implements ``ReadingStore``.

    In arrays, 16 bytes a reading: a shop's two years fit into a small machine.
    """

    def __init__(self) -> None:
        self._times: dict[ProbeId, array[int]] = {}
        self._values: dict[ProbeId, array[float]] = {}

    def add(self, reading: Reading) -> bool:
        """Keep a reading; return whether it added or changed anything.

        Of two readings of one probe at one time the larger value stands.
        """
        times = self._times.get(reading.probe)
        if times is None:
            times = self._times[reading.probe] = array("q")
            self._values[reading.probe] = array("d")
        values = self._values[reading.probe]
        at = reading.observed_ms
        if not times or at > times[-1]:
            times.append(at)
            values.append(reading.value)
            return True
        position = bisect_left(times, at)
        if times[position] != at:
            times.insert(position, at)
            values.insert(position, reading.value)
            return True
        if reading.value > values[position]:
            values[position] = reading.value
            return True
        return False

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return the readings with ``from_ms <= time <= to_ms``; None leaves that side open."""
        times = self._times.get(probe, _NO_TIMES)
        first = 0 if from_ms is None else bisect_left(times, from_ms)
        last = len(times) if to_ms is None else bisect_right(times, to_ms)
        return Span(
            np.array(times[first:last], dtype=np.int64),
            np.array(self._values.get(probe, _NO_VALUES)[first:last], dtype=np.float64),
        )

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        """Return time and value of the last reading with ``time < before_ms``, if any."""
        times = self._times.get(probe, _NO_TIMES)
        position = bisect_left(times, before_ms)
        if position == 0:
            return None
        return times[position - 1], self._values[probe][position - 1]
