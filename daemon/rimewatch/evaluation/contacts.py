"""Times at which a contact (door, water) was open or wet. Pure."""

from rimewatch.evaluation.store import ReadingStore
from rimewatch.shop import Shop
from rimewatch.vocabulary import Measures, ProbeId, UnitId

OpenTime = tuple[float, float]


def open_times(store: ReadingStore, probe: ProbeId, from_ms: int, to_ms: int) -> list[OpenTime]:
    """Return when a contact was open (1) within a period, cut to it.

    A contact keeps its last state until it says otherwise, so what it said before the
    period counts at its start.
    """
    found: list[OpenTime] = []
    before = store.last_before(probe, from_ms)
    open_since = float(from_ms) if before is not None and before[1] >= 0.5 else None
    span = store.span(probe, from_ms, to_ms)
    for at_ms, value in zip(span.times_ms.tolist(), span.values.tolist(), strict=True):
        if value >= 0.5 and open_since is None:
            open_since = float(at_ms)
        elif value < 0.5 and open_since is not None:
            found.append((open_since, float(at_ms)))
            open_since = None
    if open_since is not None and open_since < to_ms:
        found.append((open_since, float(to_ms)))
    return found


def door_times(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: int, to_ms: int
) -> list[OpenTime]:
    """Return when any of a unit's door contacts was open, in order."""
    doors = shop.probes_of(unit, Measures.DOOR)
    return sorted(span for door in doors for span in open_times(store, door.id, from_ms, to_ms))
