"""Times at which a contact (door, water) was open or wet. Pure."""

import numpy as np

from rimewatch.evaluation.store import ReadingStore
from rimewatch.shop import Shop
from rimewatch.vocabulary import Measures, ProbeId, UnitId

OpenTime = tuple[float, float]


def open_times(store: ReadingStore, probe: ProbeId, from_ms: int, to_ms: int) -> list[OpenTime]:
    """Return when a contact was open (1) within a period, cut to it.

    A contact keeps its last state until it says otherwise, so what it said before the
    period counts at its start.
    """
    before = store.last_before(probe, from_ms)
    was_open = before is not None and before[1] >= 0.5
    span = store.span(probe, from_ms, to_ms)
    turned = np.flatnonzero(np.diff(span.values >= 0.5, prepend=was_open))
    edges = span.times_ms[turned].astype(np.float64).tolist()
    if was_open:
        edges.insert(0, float(from_ms))
    if len(edges) % 2 and edges[-1] < to_ms:
        edges.append(float(to_ms))
    return list(zip(edges[::2], edges[1::2], strict=False))


def door_is_open(shop: Shop, store: ReadingStore, unit: UnitId, at_ms: int) -> bool | None:
    """Return whether any of a unit's doors was open by its last word; None: none has said."""
    doors = shop.probes_of(unit, Measures.DOOR)
    said = [store.last_before(door.id, at_ms + 1) for door in doors]
    heard = [one[1] >= 0.5 for one in said if one is not None]
    return any(heard) if heard else None


def door_times(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: int, to_ms: int
) -> list[OpenTime]:
    """Return when any of a unit's door contacts was open, in order."""
    doors = shop.probes_of(unit, Measures.DOOR)
    return sorted(span for door in doors for span in open_times(store, door.id, from_ms, to_ms))
