"""A unit's chart over any period, for records: of a year as quickly as of a night.

Beyond a few days, neighbouring readings are drawn as their lowest and highest, and the fish
as the warmest it was: every peak stays on the paper, and a year takes no longer than a week.
"""

from datetime import tzinfo
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import seat_span, stale_ms
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import governing_readings, seat_of
from rimewatch.evaluation.store import ReadingStore
from rimewatch.report import chart
from rimewatch.report.curve import Curve, Span
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S

MOST_BUCKETS: Final = 900
"""One for each pixel of width, nearly: more would be drawn over one another."""

BANDS_UP_TO_MS: Final = 8 * MS_PER_DAY
"""In longer periods defrosts would cover everything."""


def period_chart_png(
    shop: Shop,
    store: ReadingStore,
    unit: Unit,
    *,
    from_ms: int,
    to_ms: int,
    zone: tzinfo,
    gaps: tuple[Span, ...],
) -> bytes | None:
    """Return a full-width chart of a unit; None where it has no readings in the period."""
    probes = shop.governing_probes(unit.id)
    if not probes:
        return None
    probe = probes[0]
    felt = governing_readings(shop, store, probe, from_ms, to_ms)
    inside = (felt.times_ms >= from_ms) & (felt.times_ms <= to_ms)
    times_ms, governing_c = felt.times_ms[inside], felt.values[inside]
    if not times_ms.size:
        return None
    measured = seat_span(store, seat_of(shop, probe), from_ms, to_ms)
    bucket_ms = max(1, (to_ms - from_ms) // MOST_BUCKETS)
    silence_ms = stale_ms(probe)
    if times_ms.size > 4 * MOST_BUCKETS:
        times_ms, measured_c, governing_c = _extremes(
            times_ms, measured.values, governing_c, from_ms, bucket_ms
        )
        silence_ms = max(silence_ms, 2.0 * bucket_ms)
    else:
        measured_c = measured.values
    short = to_ms - from_ms <= BANDS_UP_TO_MS
    defrosts = scheduled(unit, shop.timezone, from_ms, to_ms) if short else []
    return chart.unit_chart_png(
        unit,
        Curve(
            times_ms=times_ms,
            measured_c=measured_c,
            governing_c=governing_c,
            defrosts=tuple((round(start), round(end)) for start, end in defrosts),
        ),
        chart.View(from_ms=from_ms, to_ms=to_ms, zone=zone, scale=shop.display),
        gaps=tuple(gap for gap in gaps if gap[1] - gap[0] >= bucket_ms),
        break_s=None if silence_ms == float("inf") else silence_ms / MS_PER_S,
        size=chart.FULL,
    )


def _extremes(
    times_ms: NDArray[np.int64],
    measured_c: NDArray[np.float64],
    governing_c: NDArray[np.float64],
    from_ms: int,
    bucket_ms: int,
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Return two points for each bucket: the range measured in it, and the fish at its warmest."""
    buckets = (times_ms - from_ms) // bucket_ms
    starts = np.flatnonzero(np.diff(buckets, prepend=-1))
    middle = from_ms + buckets[starts] * bucket_ms
    times = np.column_stack((middle, middle + bucket_ms // 2)).ravel()
    measured = np.column_stack(
        (np.minimum.reduceat(measured_c, starts), np.maximum.reduceat(measured_c, starts))
    ).ravel()
    return times, measured, np.repeat(np.maximum.reduceat(governing_c, starts), 2)
