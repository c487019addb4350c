"""A lot's way through the units, place by place: what it felt there, and for how long. Pure."""

from collections.abc import Iterator
from dataclasses import replace

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.governing import (
    governing_peak_c,
    governing_readings,
    unit_ice_days,
)
from rimewatch.evaluation.lot_book import ASSUMED_AT_RECEIPT_C, LotEntries
from rimewatch.evaluation.over_time import stretches
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.hold import Placement
from rimewatch.lots.record import Place
from rimewatch.science import spoilage
from rimewatch.science.statistics import Statistics, statistics
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S


def path_of(shop: Shop, store: ReadingStore, lot: LotEntries, to_ms: int) -> tuple[Place, ...]:
    """Return where a lot has been since its receipt, in order.

    Where a unit has several governing probes the warmest counts, and time is unmonitored
    where any of them was silent.
    """
    if lot.received is None:
        from_ms = lot.placements[0].from_ms if lot.placements else float(to_ms)
    else:
        from_ms = float(lot.received.at_ms)
    end_ms = float(to_ms if lot.withdrawn is None else min(to_ms, lot.withdrawn.at_ms))
    places = [p for p in lot.placements_from(from_ms) if p.from_ms < end_ms]
    found: list[Place] = []
    first_ms = places[0].from_ms if places else end_ms
    if lot.received is not None and first_ms > from_ms:
        found.append(_before_any_unit(lot.received.celsius, from_ms, first_ms, is_last=not places))
    found.extend(part for place in places for part in _parts(shop, store, place, end_ms))
    if lot.withdrawn is not None and found:
        found[-1] = replace(found[-1], lasts=False)
    return tuple(found)


def _before_any_unit(
    celsius: float | None, from_ms: float, to_ms: float, *, is_last: bool
) -> Place:
    at_c = ASSUMED_AT_RECEIPT_C if celsius is None else celsius
    return Place(
        unit=None,
        from_ms=from_ms,
        to_ms=to_ms,
        lasts=is_last,
        min_c=None,
        max_c=None,
        mean_c=None,
        limit_c=None,
        above_limit_s=0.0,
        unmonitored_s=(to_ms - from_ms) / MS_PER_S,
        ice_days=spoilage.root_rate(at_c) * (to_ms - from_ms) / MS_PER_DAY,
    )


def _parts(shop: Shop, store: ReadingStore, placement: Placement, end_ms: float) -> Iterator[Place]:
    """Yield a stay in a unit, cut where what is measured there was changed."""
    to_ms = end_ms if placement.to_ms is None else min(placement.to_ms, end_ms)
    over_time = stretches(shop, store, placement.unit, placement.from_ms, to_ms)
    for then in over_time:
        is_last = then is over_time[-1]
        part = replace(
            placement,
            from_ms=then.from_ms,
            to_ms=placement.to_ms if is_last else then.to_ms,
        )
        yield _place(then.shop, then.store, part, end_ms)


def _place(shop: Shop, store: ReadingStore, place: Placement, end_ms: float) -> Place:
    to_ms = end_ms if place.to_ms is None else min(place.to_ms, end_ms)
    unit = shop.unit.get(place.unit)
    figures = [] if unit is None else _figures(shop, store, place, to_ms, unit.limit_c)
    seen = [item for item in figures if item.max_c is not None and item.min_c is not None]
    return Place(
        unit=place.unit,
        from_ms=place.from_ms,
        to_ms=to_ms,
        lasts=place.to_ms is None,
        min_c=min((item.min_c for item in seen if item.min_c is not None), default=None),
        max_c=_peak_c(shop, store, place, to_ms) if seen else None,
        mean_c=figures[0].mean_c if figures else None,
        limit_c=None if unit is None else unit.limit_c,
        above_limit_s=max((item.above_limit_s for item in figures), default=0.0),
        unmonitored_s=max(
            (item.missing_s for item in figures), default=(to_ms - place.from_ms) / MS_PER_S
        ),
        ice_days=unit_ice_days(shop, store, place.unit, place.from_ms, to_ms),
    )


def _peak_c(shop: Shop, store: ReadingStore, place: Placement, to_ms: float) -> float | None:
    peaks = [
        peak_c
        for probe in shop.governing_probes(place.unit)
        if (peak_c := governing_peak_c(shop, store, probe, place.from_ms, to_ms)) is not None
    ]
    return max(peaks, default=None)


def _figures(
    shop: Shop, store: ReadingStore, place: Placement, to_ms: float, limit_c: float
) -> list[Statistics]:
    found: list[Statistics] = []
    for probe in shop.governing_probes(place.unit):
        span = governing_readings(shop, store, probe, place.from_ms, to_ms)
        found.append(
            statistics(
                span.times_ms,
                span.values,
                stale_ms=stale_ms(probe),
                from_ms=place.from_ms,
                to_ms=to_ms,
                limit_c=limit_c,
            )
        )
    return found
