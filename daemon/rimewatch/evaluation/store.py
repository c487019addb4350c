"""Where the evaluator finds readings again: the journal, or memory in a replay."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rimewatch.vocabulary import ProbeId


@dataclass(frozen=True, slots=True)
class Span:
    """A probe's accepted readings over some time: strictly increasing times, one value each."""

    times_ms: NDArray[np.int64]  # (n_readings,)
    values: NDArray[np.float64]  # (n_readings,)

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.times_ms)


class ReadingStore(Protocol):
    """Gives back what was accepted, in order of the readings' own time."""

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return the readings with ``from_ms <= time <= to_ms``; None leaves that side open.

        Where two readings of one probe bear the same time, the larger value stands
        (the warmer, the open, the wet): doubt counts against the fish, and the
        result does not depend on the order of arrival.
        """
        ...

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        """Return time and value of the last reading with ``time < before_ms``, if any."""
        ...
