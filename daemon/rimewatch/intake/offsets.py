"""Which offset holds for a reading: the configuration's, or that of a later check.

An ice-point check may set a new offset. It holds for readings taken from then on, never
for earlier ones: what stood on the record yesterday stands there today. (Earlier readings
keep what the probe sent as well, so that anybody can compute them anew.)

Pure: no clock, no I/O.
"""

from bisect import bisect_right
from collections.abc import Iterable

from rimewatch.entries import AnyEntry, CalibrationCheck
from rimewatch.vocabulary import ProbeId


class Offsets:
    """The offsets of one probe over time.

    Args:
        offset_c: What the configuration says, °C; holds until the first check that sets one.
    """

    __slots__ = ("_from_ms", "_offsets_c")

    def __init__(self, offset_c: float) -> None:
        self._from_ms: list[int] = []
        self._offsets_c = [offset_c]

    def add(self, from_ms: int, offset_c: float) -> None:
        """Set the offset of readings taken at an instant or later."""
        place = bisect_right(self._from_ms, from_ms)
        self._from_ms.insert(place, from_ms)
        self._offsets_c.insert(place + 1, offset_c)

    def at(self, observed_ms: int) -> float:
        """Return the offset of a reading, °C.

        >>> offsets = Offsets(0.1)
        >>> offsets.add(1000, -0.4)
        >>> offsets.at(999), offsets.at(1000)
        (0.1, -0.4)
        """
        if not self._from_ms:
            return self._offsets_c[0]
        return self._offsets_c[bisect_right(self._from_ms, observed_ms)]


def checks_of(entries: Iterable[AnyEntry], probe: ProbeId) -> list[CalibrationCheck]:
    """Return a probe's checks, in the order they were entered."""
    return [e for e in entries if isinstance(e, CalibrationCheck) and e.probe == probe]
