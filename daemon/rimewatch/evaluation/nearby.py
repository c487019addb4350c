"""Readings asked for again and again, around one instant after the other, read once. Pure.

Whoever looks back at hundreds of excursions asks for the same hours of every probe many
times: stretches of some days are taken from the store behind and put together as they are
asked for. What it answers is what the store answers. It does not see what came into the store
after a stretch was taken: good for one look back, as a record is.
"""

from collections import OrderedDict
from typing import Final

import numpy as np

from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

STRETCH_MS: Final = 8 * MS_PER_DAY
"""Stretches lie on a grid of this length."""

MOST_READINGS: Final = 6_000_000
"""So many are held, those last asked for: under 100 MB, and a year of eleven probes."""


class Nearby:
    """A store that remembers the stretches last asked for.

    Args:
        store: The store behind it.
        most_readings: How many readings it may hold.
    """

    def __init__(self, store: ReadingStore, most_readings: int = MOST_READINGS) -> None:
        self._store = store
        self._most = most_readings
        self._held: OrderedDict[tuple[ProbeId, int], Span] = OrderedDict()
        self._readings = 0

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return a probe's readings; see :class:`rimewatch.evaluation.store.ReadingStore`."""
        if from_ms is None or to_ms is None:
            return self._store.span(probe, from_ms, to_ms)
        numbers = range(from_ms // STRETCH_MS, to_ms // STRETCH_MS + 1)
        parts = [self._stretch(probe, number) for number in numbers]
        if len(parts) == 1:
            times_ms, values = parts[0].times_ms, parts[0].values
        else:
            times_ms = np.concatenate([np.empty(0, np.int64), *(part.times_ms for part in parts)])
            values = np.concatenate([np.empty(0), *(part.values for part in parts)])
        first, after = np.searchsorted(times_ms, [from_ms, to_ms + 1])
        return Span(times_ms[first:after], values[first:after])

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        """Return a probe's last reading with ``time < before_ms``, if any."""
        held = self._stretch(probe, before_ms // STRETCH_MS)
        place = int(np.searchsorted(held.times_ms, before_ms)) - 1
        if place < 0:
            return self._store.last_before(probe, before_ms)
        return int(held.times_ms[place]), float(held.values[place])

    def _stretch(self, probe: ProbeId, number: int) -> Span:
        held = self._held.get((probe, number))
        if held is not None:
            self._held.move_to_end((probe, number))
            return held
        held = self._store.span(probe, number * STRETCH_MS, (number + 1) * STRETCH_MS - 1)
        self._held[probe, number] = held
        self._readings += len(held)
        while self._readings > self._most and len(self._held) > 1:
            _, let_go = self._held.popitem(last=False)
            self._readings -= len(let_go)
        return held
