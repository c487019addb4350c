"""A unit's governing temperature over a period, as its fish felt it. Pure."""

import math

import numpy as np
from numpy.typing import NDArray

from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.rules import channel
from rimewatch.rules.watch import ChannelSettings
from rimewatch.science import spoilage
from rimewatch.science.statistics import cut_to_period
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import ProbeId, UnitId

WARM_UP_LAGS = 20.0
"""After so many time constants a lag has forgotten where it began (exp(−20) = 2e-9)."""


def governing_readings(
    shop: Shop, store: ReadingStore, probe: Probe, from_ms: float, to_ms: float
) -> Span:
    """Return a governing probe's readings as the fish felt them: air through its lag.

    A stale time on either side of the period is there as well, so that the stretches at
    its edges are known.
    """
    settings = settings_for(shop.unit[probe.unit], probe)
    span = _span_with_warm_up(store, probe.id, settings, from_ms, to_ms)
    curve = channel.governing_curve(settings, span.times_ms, span.values)
    stale_ms = round(settings.stale_ms)
    near = (span.times_ms >= from_ms - stale_ms) & (span.times_ms <= to_ms + stale_ms)
    return Span(span.times_ms[near], curve[near])


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


def unit_ice_days(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: float, to_ms: float
) -> float:
    """Return the ice-days of a unit's governing temperature within a period.

    Gaps add nothing: what was not measured is listed as unmonitored, not guessed.
    """
    probes = shop.governing_probes(unit)
    if not probes:
        return 0.0
    times, values = governing_within(shop, store, probes[0], from_ms, to_ms)
    settings = settings_for(shop.unit[unit], probes[0])
    return spoilage.ice_days(times, values, max_gap_ms=round(settings.stale_ms))


def _span_with_warm_up(
    store: ReadingStore, probe: ProbeId, settings: ChannelSettings, from_ms: float, to_ms: float
) -> Span:
    """Return a period's readings, and those before it from which its lag must be run up.

    Only monitored time lets a lag forget: over a gap the fish stays as warm as it was.
    """
    warm_up_ms = WARM_UP_LAGS * settings.lag_s * 1000.0
    # A stale time more on either side, so that the stretches at the edges are known.
    stale_ms = round(settings.stale_ms)
    back_ms = math.ceil(warm_up_ms) + stale_ms
    while True:
        first_ms = math.floor(from_ms) - back_ms
        span = store.span(probe, first_ms, math.ceil(to_ms) + stale_ms)
        lengths_ms = np.diff(span.times_ms[span.times_ms <= from_ms])
        run_up_ms = float(lengths_ms[lengths_ms <= settings.stale_ms].sum())
        # The reading nearest to the period may lie up to a stale time before it.
        enough = run_up_ms + stale_ms >= warm_up_ms
        if enough or store.last_before(probe, first_ms) is None:
            return span
        back_ms *= 2
