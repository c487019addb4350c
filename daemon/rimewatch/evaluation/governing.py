"""A unit's governing temperature over a period, as its fish felt it. Pure."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import seat_span, settings_for, stages_for
from rimewatch.evaluation.over_time import stretches
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.rules.stages import Stage, governing_curve
from rimewatch.science import lag, spoilage
from rimewatch.science.segments import linear_segments, warmest
from rimewatch.science.statistics import cut_to_period
from rimewatch.shop import Probe, Seat, Shop
from rimewatch.vocabulary import MS_PER_S, UnitId

WARM_UP_LAGS: Final = 20.0
"""After so many time constants a lag has forgotten where it began (exp(−20) = 2e-9)."""


def seat_of(shop: Shop, probe: Probe) -> Seat:
    """Return where a probe of a shop stands as it is configured, governing or not."""
    beside = Seat.of(shop.unit[probe.unit], probe)
    return next((seat for seat in shop.seats if seat.key == probe.id), beside)


def governing_readings(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> Span:
    """Return a governing probe's readings as the fish felt them: air through its lag.

    A stale time on either side of the period is there as well, so that the stretches at
    its edges are known.
    """
    seat = seat_of(shop, probe)
    stages = stages_for(seat)
    span = span_with_warm_up(store, seat, stages, from_ms, to_ms)
    curve = governing_curve(stages, span.times_ms, span.values)
    stale_ms = round(stages[-1].settings.stale_ms)
    near = (span.times_ms >= from_ms - stale_ms) & (span.times_ms <= to_ms + stale_ms)
    return Span(span.times_ms[near], curve[near])


def warmest_readings(spans: Sequence[tuple[Span, float]]) -> Span:
    """Return the warmest of several probes' readings at each of their times.

    Only where all of them are known: where one is silent the result is too, since nobody knows
    how warm that one was. The order does not matter.

    Args:
        spans: Each probe's readings, with the longest interval, in ms, that is still taken as
            linear.
    """
    if len(spans) == 1:
        return spans[0][0]
    if not spans or any(len(span) < 2 for span, _ in spans):
        return Span(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64))
    warmest_curve = warmest(
        [
            (
                float(span.times_ms[0]) / MS_PER_S,
                linear_segments(span.times_ms, span.values, max_gap_ms=stale_ms),
            )
            for span, stale_ms in spans
        ]
    )
    first_ms = min(int(span.times_ms[0]) for span, _ in spans)
    known = ~warmest_curve.is_gap
    starts_ms = np.rint(warmest_curve.start_s[known] * MS_PER_S).astype(np.int64) + first_ms
    ends_ms = starts_ms + np.rint(warmest_curve.length_s[known] * MS_PER_S).astype(np.int64)
    values: dict[int, float] = {}
    for at_ms, celsius in (
        *zip(starts_ms.tolist(), warmest_curve.from_c[known].tolist(), strict=True),
        *zip(ends_ms.tolist(), warmest_curve.to_c[known].tolist(), strict=True),
    ):
        values[at_ms] = max(celsius, values.get(at_ms, celsius))
    times = sorted(values)
    return Span(
        np.array(times, dtype=np.int64), np.array([values[at] for at in times], dtype=np.float64)
    )


def measured_readings(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: int, to_ms: int
) -> Span:
    """Return what a unit measured: by the first of its governing probes of each time."""
    if not shop.earlier:
        probes = shop.governing_probes(unit)[:1]
        return one_behind_the_other([store.span(probe.id, from_ms, to_ms) for probe in probes])
    return one_behind_the_other(
        [
            then.store.span(probe.id, round(then.from_ms), round(then.to_ms))
            for then in stretches(shop, store, unit, from_ms, to_ms)
            for probe in then.shop.governing_probes(unit)[:1]
        ]
    )


def one_behind_the_other(spans: Sequence[Span]) -> Span:
    """Return readings of times that follow each other as of one; where both tell, the later."""
    if len(spans) == 1:
        return spans[0]
    values: dict[int, float] = {}
    for span in spans:
        values.update(zip(span.times_ms.tolist(), span.values.tolist(), strict=True))
    times = sorted(values)
    return Span(
        np.array(times, dtype=np.int64), np.array([values[at] for at in times], dtype=np.float64)
    )


def governing_within(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times (ms) and governing temperatures (°C) of a period, cut at its edges."""
    span = governing_readings(shop, store, probe, from_ms, to_ms)
    return cut_to_period(
        span.times_ms,
        span.values,
        stale_ms=settings_for(shop.unit[probe.unit], probe).stale_ms,
        from_ms=from_ms,
        to_ms=to_ms,
    )


def governing_peak_c(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> float | None:
    """Return the warmest governing temperature of a period, also between readings; None: unseen.

    Behind a lag the fish is warmest after the air is, mostly between two readings; and at
    the edges of a period the curve is no straight line.
    """
    seat = seat_of(shop, probe)
    stages = stages_for(seat)
    settings = stages[-1].settings
    lag_s = settings.lag_s
    span = span_with_warm_up(store, seat, stages, from_ms, to_ms)
    felt = governing_curve(stages, span.times_ms, span.values).tolist()
    at_ms, air = span.times_ms.tolist(), span.values.tolist()
    seen = [y for t_ms, y in zip(at_ms, felt, strict=True) if from_ms <= t_ms <= to_ms]
    best = max(seen, default=-math.inf)
    first = max(int(np.searchsorted(span.times_ms, from_ms, side="right")) - 1, 0)
    for n in range(first, len(at_ms) - 1):
        start_ms, end_ms = at_ms[n], at_ms[n + 1]
        if start_ms >= to_ms:
            break
        y0, a, b = felt[n], air[n], air[n + 1]
        if end_ms - start_ms > settings.stale_ms or max(y0, a, b, felt[n + 1]) <= best:
            continue
        h_s = (end_ms - start_ms) / MS_PER_S
        edges_s = [
            (edge_ms - start_ms) / MS_PER_S
            for edge_ms in (max(from_ms, start_ms), min(to_ms, end_ms))
        ]
        inside = [lag.value_at(y0, a, b, h_s, lag_s, t_s) for t_s in edges_s]
        turn = lag.turning_point(y0, a, b, h_s, lag_s)
        if turn is not None and edges_s[0] <= turn[0] <= edges_s[1]:
            inside.append(turn[1])
        best = max(best, *inside)
    return None if best == -math.inf else best


def unit_ice_days(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: float, to_ms: float
) -> float:
    """Return the ice-days of a unit's governing temperature within a period.

    Of several governing probes the one that says most counts: the warmest corner. Gaps add
    nothing: what was not measured is listed as unmonitored, not guessed.
    """
    total = 0.0
    for then in stretches(shop, store, unit, from_ms, to_ms):
        found = [0.0]
        for probe in then.shop.governing_probes(unit):
            times, values = governing_within(then.shop, then.store, probe, then.from_ms, then.to_ms)
            settings = settings_for(then.shop.unit[unit], probe)
            found.append(spoilage.ice_days(times, values, max_gap_ms=round(settings.stale_ms)))
        total += max(found)
    return total


def span_with_warm_up(
    store: ReadingStore, seat: Seat, stages: Sequence[Stage], from_ms: float, to_ms: float
) -> Span:
    """Return a period's readings, and those before it from which its lag must be run up.

    Only monitored time lets a lag forget: over a gap the fish stays as warm as it was.
    """
    warm_up_ms = WARM_UP_LAGS * max(stage.settings.lag_s for stage in stages) * 1000.0
    # A stale time more on either side, so that the stretches at the edges are known.
    longest_ms = max(stage.settings.stale_ms for stage in stages)
    stale_ms = round(longest_ms)
    back_ms = math.ceil(warm_up_ms) + stale_ms
    while True:
        first_ms = math.floor(from_ms) - back_ms
        span = seat_span(store, seat, first_ms, math.ceil(to_ms) + stale_ms)
        lengths_ms = np.diff(span.times_ms[span.times_ms <= from_ms])
        run_up_ms = float(lengths_ms[lengths_ms <= longest_ms].sum())
        # The reading nearest to the period may lie up to a stale time before it.
        enough = run_up_ms + stale_ms >= warm_up_ms
        is_first = first_ms <= seat.from_ms
        if enough or is_first or store.last_before(seat.probe.id, first_ms) is None:
            return span
        back_ms *= 2
