"""A shop whose settings changed: which held when, and a time cut where they did. Pure.

Every conclusion uses the settings of its own instant. Channels are folded over seats
(``Shop.seats``); what is worked out for a unit over some time is worked out stretch by stretch,
each under what held then (:func:`stretches`).
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from typing import Final

import numpy as np

from rimewatch.entries import CorrectPlace
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.shop import Earlier, Shop
from rimewatch.vocabulary import Measures, ProbeId, UnitId

_NO_READING: Final = Span(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64))


CONCLUDE: Final = ("timezone", "units", "probes", "code", "species", "night", "priorities")
"""The parts of a shop that what is said of fish, and of its units' past, rests on."""


def followed_by(before: Shop, after: Shop, at_ms: int) -> Shop:
    """Return a shop as it is from an instant on, that knows what held until then.

    Args:
        before: The shop so far, with what held before it.
        after: The settings from then on.
        at_ms: The instant.
    """
    while before.earlier and at_ms <= before.earlier[-1].until_ms:
        # A clock was set back: what was changed by its later time held for no time.
        before = replace(before.earlier[-1].shop, earlier=before.earlier[:-1])
    if are_alike(before, after):
        return replace(after, earlier=before.earlier)
    so_far = Earlier(until_ms=at_ms, shop=replace(before, earlier=()))
    return replace(after, earlier=(*before.earlier, so_far))


def are_alike(before: Shop, after: Shop) -> bool:
    """Whether what is said of fish rests on the same settings."""
    return all(getattr(before, name) == getattr(after, name) for name in CONCLUDE)


def placed_anew(shop: Shop, correction: CorrectPlace) -> Shop:
    """Return a shop whose probe stood in another unit for some time than its settings had it in.

    Args:
        shop: The shop, with what held before.
        correction: Which probe, where, from when to when. Of now it says nothing.
    """
    from_ms, to_ms = float(correction.from_ms), float(correction.to_ms)
    found: list[tuple[float, Shop]] = []
    for begins_ms, ends_ms, then in shop.held:
        bare = replace(then, earlier=())
        inside = [cut for cut in (from_ms, to_ms) if begins_ms < cut < ends_ms]
        for first_ms, last_ms in pairwise([begins_ms, *inside, ends_ms]):
            is_meant = first_ms >= from_ms and last_ms <= to_ms
            found.append((last_ms, _moved(bare, correction) if is_meant else bare))
    *earlier, (_, now) = found
    return replace(
        now,
        earlier=tuple(Earlier(until_ms=round(until_ms), shop=then) for until_ms, then in earlier),
    )


def _moved(shop: Shop, correction: CorrectPlace) -> Shop:
    if correction.unit not in shop.unit:
        return shop
    return replace(
        shop,
        probes=tuple(
            replace(probe, unit=correction.unit) if probe.id == correction.probe else probe
            for probe in shop.probes
        ),
    )


def shop_at(shop: Shop, at_ms: float) -> Shop:
    """Return the settings of an instant, with what held before them."""
    return next(then for from_ms, to_ms, then in shop.held if from_ms <= at_ms < to_ms)


def stands_since_ms(shop: Shop, probe: ProbeId) -> float:
    """Return since when a probe stands in the unit where it is now; −∞: it always did."""
    return _stay(shop, probe, shop.probe[probe].unit, inf)[0]


def there_from_ms(shop: Shop, probe: ProbeId, from_ms: int) -> int:
    """Return from when on, at an instant or later, a probe told of where it is now."""
    return round(max(from_ms, stands_since_ms(shop, probe))) if shop.earlier else from_ms


@dataclass(frozen=True, slots=True)
class SeatedStore:
    """Readings as far as their probes stood in one unit; implements ``ReadingStore``.

    A probe that was moved told of another place before.
    """

    store: ReadingStore
    bounds: dict[ProbeId, tuple[float, float]]
    """From when to when each probe's readings are of this unit; none of others."""

    def span(self, probe: ProbeId, from_ms: int | None = None, to_ms: int | None = None) -> Span:
        """Return a probe's readings of that unit; see ``ReadingStore``."""
        first, after = self.bounds.get(probe, (inf, -inf))
        if first >= after:
            return _NO_READING
        if first > -inf:
            from_ms = int(first) if from_ms is None else max(from_ms, int(first))
        if after < inf:
            to_ms = int(after) - 1 if to_ms is None else min(to_ms, int(after) - 1)
        if from_ms is not None and to_ms is not None and from_ms > to_ms:
            return _NO_READING
        return self.store.span(probe, from_ms, to_ms)

    def last_before(self, probe: ProbeId, before_ms: int) -> tuple[int, float] | None:
        """Return a probe's last reading of that unit with ``time < before_ms``, if any."""
        first, after = self.bounds.get(probe, (inf, -inf))
        found = self.store.last_before(
            probe, int(min(before_ms, after)) if after < inf else before_ms
        )
        return None if found is None or found[0] < first else found


@dataclass(frozen=True, slots=True)
class Period:
    """A time over which a unit's settings and probes stayed the same."""

    shop: Shop
    """As it was then."""
    store: ReadingStore
    """The readings that are of this unit."""
    from_ms: float
    to_ms: float


def period_at(shop: Shop, store: ReadingStore, unit: UnitId, at_ms: float) -> Period:
    """Return what held of a unit at an instant, and its readings; without its beginning and end."""
    if not shop.earlier:
        return Period(shop, store, -inf, inf)
    begins_ms, ends_ms, then = next(one for one in shop.held if one[0] <= at_ms < one[1])
    return Period(then, _seated(shop, store, then, unit, begins_ms), begins_ms, ends_ms)


def ever_has(
    shop: Shop, unit: UnitId, measures: Measures, from_ms: float, to_ms: float | None
) -> bool:
    """Whether a unit had a probe of a kind at some time between two instants; None: until now."""
    until_ms = inf if to_ms is None else to_ms
    return any(
        then.probes_of(unit, measures)
        for begins_ms, ends_ms, then in shop.held
        if begins_ms <= until_ms and ends_ms > from_ms
    )


def stretches(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: float, to_ms: float
) -> list[Period]:
    """Return a time cut where what concerns a unit was changed, in order.

    One whole stretch where nothing was, which is nearly always.
    """
    if not shop.earlier:
        return [Period(shop, store, from_ms, to_ms)]
    found: list[Period] = []
    for begins_ms, ends_ms, then in shop.held:
        first_ms, last_ms = max(begins_ms, from_ms), min(ends_ms, to_ms)
        if first_ms > to_ms or last_ms < from_ms or (first_ms >= last_ms and from_ms < to_ms):
            continue
        if found and _alike(found[-1].shop, then, unit):
            first_ms = found.pop().from_ms
        found.append(Period(then, _seated(shop, store, then, unit, begins_ms), first_ms, last_ms))
    return found


def _alike(before: Shop, after: Shop, unit: UnitId) -> bool:
    """Whether what is said of a unit's fish rests on the same settings."""
    return before.unit.get(unit) == after.unit.get(unit) and before.probes_of_unit(
        unit
    ) == after.probes_of_unit(unit)


def _seated(
    whole: Shop, store: ReadingStore, then: Shop, unit: UnitId, at_ms: float
) -> ReadingStore:
    bounds = {probe.id: _stay(whole, probe.id, unit, at_ms) for probe in then.probes_of_unit(unit)}
    if all(stay == (-inf, inf) for stay in bounds.values()):
        return store
    return SeatedStore(store, bounds)


def _stay(shop: Shop, probe: ProbeId, unit: UnitId, at_ms: float) -> tuple[float, float]:
    """Return from when to when a probe stood in a unit, around an instant at which it did."""
    first_ms, last_ms = inf, -inf
    for begins_ms, ends_ms, then in shop.held:
        found = then.probe.get(probe)
        if found is not None and found.unit == unit:
            first_ms = min(first_ms, begins_ms)
            last_ms = ends_ms
        elif begins_ms > at_ms:
            break
        else:
            first_ms, last_ms = inf, -inf
    return first_ms, last_ms
