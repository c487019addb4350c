"""A lot judged: what it needs, its hold, its freshness, from entries and readings. Pure."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from rimewatch.evaluation.channels import ChannelHistory, settings_for
from rimewatch.evaluation.lot_book import LotEntries, ice_days
from rimewatch.evaluation.solidity import cold_through_after, solid_after
from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.lots.hold import NOTHING_PROVEN, ColdRecord, Hold, evaluate_hold, merge_records
from rimewatch.lots.needs import Need, needs_of
from rimewatch.rules import channel
from rimewatch.rules.watch import ChannelSettings
from rimewatch.science import spoilage
from rimewatch.science.statistics import cut_to_period
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId, ProbeId, UnitId

Histories = Mapping[ProbeId, ChannelHistory]

WARM_UP_LAGS: Final = 20.0
"""After so many time constants a lag has forgotten where it began (exp(−20) = 2e-9)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotStory:
    """A lot as the record shows it."""

    entries: LotEntries
    need: Need | None
    """None: nobody has entered its receipt."""
    hold: Hold | None
    """None: freezing was never started."""
    ice_days: float

    @property
    def lot(self) -> LotId:
        """The lot's id."""
        return self.entries.lot

    @property
    def state(self) -> str:
        """``received``, ``freezing``, ``complete`` or ``withdrawn``."""
        if self.entries.withdrawn is not None:
            return "withdrawn"
        if self.hold is None:
            return "received"
        return "freezing" if self.hold.completed_ms is None else "complete"

    @property
    def raw_ready(self) -> bool:
        """Whether proof that it may be served raw, as far as parasites go, is complete.

        Nothing is taken for granted: a lot nobody described, or one whose exemption
        rests on a statement that nobody has recorded, is not.
        """
        if self.need is None or self.entries.received is None or self.state == "withdrawn":
            return False
        if not self.entries.received.serve_raw or self.need.statement_missing:
            return False
        return not self.need.needs_destruction or self.state == "complete"


def cold_of_unit(
    shop: Shop, histories: Histories, unit: UnitId, level_c: float, to_ms: int
) -> ColdRecord:
    """Return what all governing probes of a unit agree on; nothing without a probe."""
    records = [
        histories[probe.id].cold(level_c, to_ms)
        for probe in shop.governing_probes(unit)
        if probe.id in histories
    ]
    return merge_records(records) if records else NOTHING_PROVEN


def tell(
    shop: Shop, store: ReadingStore, histories: Histories, lot: LotEntries, to_ms: int
) -> LotStory:
    """Judge one lot from its entries and the readings up to an instant."""
    return LotStory(
        entries=lot,
        need=None if lot.received is None else needs_of(lot.received),
        hold=hold_of(shop, histories, store, lot, to_ms),
        ice_days=ice_days(
            lot,
            to_ms,
            lambda unit, from_ms, end_ms: unit_ice_days(shop, store, unit, from_ms, end_ms),
            spoilage.root_rate,
        ),
    )


def hold_of(
    shop: Shop, histories: Histories, store: ReadingStore, lot: LotEntries, to_ms: int
) -> Hold | None:
    """Return how far a lot's freezing hold has come; None if freezing was never started."""
    if lot.freezing is None:
        return None
    return evaluate_hold(
        lot.freezing.option,
        lot.placements_from(lot.freezing.at_ms),
        lambda unit, level_c: cold_of_unit(shop, histories, unit, level_c, to_ms),
        solid_after(shop, store, lot),
        cold_through_after(shop, store, lot),
    )


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


def unit_ice_days(
    shop: Shop, store: ReadingStore, unit: UnitId, from_ms: float, to_ms: float
) -> float:
    """Return the ice-days of a unit's governing temperature within a period.

    Gaps add nothing: what was not measured is listed as unmonitored, not guessed.
    """
    probes = shop.governing_probes(unit)
    if not probes:
        return 0.0
    probe = probes[0]
    settings = settings_for(shop.unit[unit], probe)
    span = _span_with_warm_up(store, probe.id, settings, from_ms, to_ms)
    curve = channel.governing_curve(settings, span.times_ms.tolist(), span.values.tolist())
    times, values = cut_to_period(
        span.times_ms,
        np.array(curve, dtype=np.float64),
        stale_ms=settings.stale_ms,
        from_ms=from_ms,
        to_ms=to_ms,
    )
    return spoilage.ice_days(times, values, max_gap_ms=round(settings.stale_ms))
