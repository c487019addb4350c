"""Whether the database holds the same readings as the journal, to the last digit.

Reads both sides and writes to neither. For each probe the readings of a period are
counted, and times and values put through one checksum. Two kinds of database can be
asked: InfluxDB 2 by a Flux query, and VictoriaMetrics by its export.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from rimewatch.journal.reader import JournalReads
from rimewatch.journal.readings import MILLI
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

CHUNK_MS: Final = 31 * MS_PER_DAY
"""How much is asked for at once: some 45,000 readings of a probe at one a minute."""

Integers = NDArray[np.int64]


class ComparisonError(Exception):
    """The other side cannot be asked; the text says why."""


class OtherSide(Protocol):
    """A database that can be asked for a probe's readings."""

    name: str
    """What it is, for people."""

    def readings(self, probe: Probe, from_ms: int, to_ms: int) -> tuple[Integers, Integers]:
        """Return times, and values in thousandths, in any order.

        Args:
            probe: The probe, as configured.
            from_ms: First instant, milliseconds since the epoch.
            to_ms: Last instant, inclusive.

        Raises:
            ComparisonError: If it does not answer, or not in its own form.
        """
        ...


@dataclass(slots=True)
class Sums:
    """Count and checksum of readings that are shown to it in order of time."""

    count: int = 0
    _digest: "hashlib.blake2b" = field(default_factory=lambda: hashlib.blake2b(digest_size=8))

    def add(self, times_ms: Integers, millis: Integers) -> None:
        """Take further readings, later than those before."""
        self.count += len(times_ms)
        both = np.stack([times_ms, millis], axis=1).astype("<i8")
        self._digest.update(both.tobytes())

    @property
    def checksum(self) -> str:
        """Eight bytes of BLAKE2b (RFC 7693) over all times and values, in hexadecimal."""
        return self._digest.hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A probe's readings on both sides."""

    probe: ProbeId
    here: Sums
    there: Sums
    repeated: int = 0
    """Rows there beyond one a reading: a database that merges nothing keeps what is sent again."""

    @property
    def equal(self) -> bool:
        """Whether both sides hold the same times and values."""
        return (self.here.count, self.here.checksum) == (self.there.count, self.there.checksum)


def compare(
    shop: Shop, journal: JournalReads, other: OtherSide, from_ms: int, to_ms: int
) -> Iterator[Compared]:
    """Compare a period probe by probe.

    Args:
        shop: The shop; probes no longer configured are not compared.
        journal: The journal.
        other: The database.
        from_ms: First instant, milliseconds since the epoch.
        to_ms: Last instant, inclusive.

    Yields:
        One result for each probe of the configuration.

    Raises:
        ComparisonError: If the database does not answer.
    """
    for probe in shop.probes:
        here, there = Sums(), Sums()
        repeated = 0
        for start_ms in range(from_ms, to_ms + 1, CHUNK_MS):
            end_ms = min(start_ms + CHUNK_MS - 1, to_ms)
            span = journal.span(probe.id, start_ms, end_ms)
            here.add(span.times_ms, np.rint(span.values * MILLI).astype(np.int64))
            times, millis = other.readings(probe, start_ms, end_ms)
            rows = np.unique(np.stack([times, millis], axis=1), axis=0)
            repeated += len(times) - len(rows)
            there.add(rows[:, 0], rows[:, 1])
        yield Compared(probe=probe.id, here=here, there=there, repeated=repeated)
