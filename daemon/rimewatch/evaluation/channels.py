"""A unit's governing probes as channels: which levels each is watched against.

Pure: settings come from the shop, readings from the store.
"""

from dataclasses import dataclass
from math import inf
from typing import Final

from rimewatch.evaluation.store import ReadingStore, Span
from rimewatch.lots.hold import COLD_20_C, COLD_35_C, NOTHING_PROVEN, Break, ColdRecord
from rimewatch.rules import channel
from rimewatch.rules.stages import Stage, fold, shortest_stale_ms
from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
)
from rimewatch.shop import Probe, Seat, Shop, Unit
from rimewatch.vocabulary import Measures, ProbeId, Rule

HOLD_LEVELS_C: Final = (COLD_20_C, COLD_35_C)

FOLD_BATCH: Final = 65_536
"""Readings folded at once from the store: bounds memory, and far above what costs time."""


def limit_rule(unit: Unit) -> Rule:
    """Return the rule that a unit's critical limit belongs to."""
    return Rule.FREEZER if unit.kind.is_freezer else Rule.HOLDING


def hold_watch(level_c: float) -> str:
    """Return the name of the watch on a freezing option's temperature.

    >>> hold_watch(-20.0)
    'hold:-20'
    """
    return f"hold:{level_c:g}"


def settings_for(unit: Unit, probe: Probe) -> ChannelSettings:
    """Return how a governing probe is folded.

    Air is seen through the unit's lag; a product probe is the fish itself. The lines of
    the freezing options are drawn lower by the probe's uncertainty (a guard band,
    JCGM 106:2012, 8.3): a hold is credited only where reading + uncertainty is at or
    below the option's temperature.
    """
    delay_ms = unit.on_delay_s * 1000.0
    limits = [(limit_rule(unit), unit.limit_c)]
    if unit.operating_limit_c is not None:
        limits.append((Rule.OPERATING_LIMIT, unit.operating_limit_c))
    watches = [
        Watch(
            name=rule.value,
            kind=WatchKind.EXCURSION,
            open_above_c=limit_c,
            close_below_c=round(limit_c - unit.deadband_c, 9),
            on_delay_ms=delay_ms,
        )
        for rule, limit_c in limits
    ]
    for level_c in HOLD_LEVELS_C:
        guarded_c = round(level_c - probe.uncertainty_c, 9)
        watches.append(
            Watch(
                name=hold_watch(level_c),
                kind=WatchKind.HOLD,
                open_above_c=guarded_c,
                close_below_c=guarded_c,
            )
        )
    return ChannelSettings(
        lag_s=unit.lag_s if probe.measures is Measures.AIR else 0.0,
        stale_ms=stale_ms(probe),
        watches=tuple(watches),
    )


def stale_ms(probe: Probe) -> float:
    """Return the silence after which a probe's time is missing; infinite where it never is."""
    return float("inf") if probe.stale_s is None else probe.stale_s * 1000.0


def stages_for(seat: Seat) -> tuple[Stage, ...]:
    """Return how a governing probe is folded from when on."""
    found: list[Stage] = []
    for held in seat.stages:
        settings = settings_for(held.unit, held.probe)
        if not found:
            found.append(Stage(seat.from_ms, settings))
        elif found[-1].settings != settings:
            found.append(Stage(held.from_ms, settings))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelHistory:
    """What the fold over a channel's readings up to some instant found."""

    seat: Seat
    stages: tuple[Stage, ...]
    first_ms: int | None
    state: ChannelState
    ended: tuple[Spell, ...]

    @property
    def probe(self) -> Probe:
        """The probe, as it was last."""
        return self.seat.probe

    @property
    def unit(self) -> Unit:
        """The unit it speaks for, as it was last."""
        return self.seat.unit

    def spells(self, watch: str) -> list[Spell]:
        """Return the spells of one watch in order, the one still open last."""
        found = [spell for spell in self.ended if spell.watch == watch]
        found.extend(spell for spell in channel.finish(self.state) if spell.watch == watch)
        return found

    def cold(self, level_c: float, to_ms: int) -> ColdRecord:
        """Return the channel's cold record at a freezing option's temperature.

        Before the first reading nothing is proven, and neither is anything after the
        last one; silence up to ``to_ms`` that is longer than the stale time is a break.
        """
        if self.first_ms is None or self.state.last_ms is None:
            return NOTHING_PROVEN
        breaks = [gap(float("-inf"), float(self.first_ms)), *self.breaks(level_c)]
        last_ms = self.state.last_ms
        lasts = breaks[-1].end_ms is None
        if not lasts and to_ms - last_ms > self.stale_ms(to_ms):
            breaks.append(gap(float(last_ms), None))
        return ColdRecord(breaks=tuple(breaks), known_until_ms=float(last_ms))

    def stale_ms(self, to_ms: float) -> float:
        """Return the silence since its last reading that is a gap by an instant."""
        last_ms = self.seat.from_ms if self.state.last_ms is None else self.state.last_ms
        return shortest_stale_ms(self.stages, last_ms, min(to_ms, self.seat.to_ms))

    def breaks(self, level_c: float) -> list[Break]:
        """Return the times in which its readings do not show the cold, in order."""
        return [
            Break(
                start_ms=spell.start_ms,
                end_ms=spell.end_ms,
                peak_c=spell.peak_c,
                reason=spell.reason,
                seen_warm=bool(spell.above) or spell.above_since_ms is not None,
                was_silent=spell.gap_ms > 0.0,
            )
            for spell in self.spells(hold_watch(level_c))
        ]


def gap(start_ms: float, end_ms: float | None) -> Break:
    """Return a time in which nobody was looking."""
    return Break(start_ms=start_ms, end_ms=end_ms, peak_c=None, reason=BreakReason.GAP)


def seat_span(
    store: ReadingStore, seat: Seat, from_ms: int | None = None, to_ms: int | None = None
) -> Span:
    """Return the readings that a probe gave in its seat."""
    if seat.from_ms > -inf:
        from_ms = int(seat.from_ms) if from_ms is None else max(from_ms, int(seat.from_ms))
    if seat.to_ms < inf:
        to_ms = int(seat.to_ms) - 1 if to_ms is None else min(to_ms, int(seat.to_ms) - 1)
    return store.span(seat.probe.id, from_ms, to_ms)


def histories_of_shop(shop: Shop, store: ReadingStore, to_ms: int) -> dict[ProbeId, ChannelHistory]:
    """Fold all channels up to an instant: those of now, and those that are over."""
    return {seat.key: seat_history(seat, store, to_ms) for seat in shop.seats}


def history_of(shop: Shop, probe: Probe, store: ReadingStore, to_ms: int) -> ChannelHistory:
    """Fold a probe's readings where it is now, up to an instant."""
    seat = next(seat for seat in shop.seats if seat.key == probe.id)
    return seat_history(seat, store, to_ms)


def seat_history(seat: Seat, store: ReadingStore, to_ms: int) -> ChannelHistory:
    """Fold all readings of a governing probe in its seat up to an instant."""
    stages = stages_for(seat)
    span = seat_span(store, seat, None, to_ms)
    state, ended = ChannelState(), list[Spell]()
    for start in range(0, len(span), FOLD_BATCH):
        state, found = fold(
            stages,
            state,
            span.times_ms[start : start + FOLD_BATCH],
            span.values[start : start + FOLD_BATCH],
        )
        ended.extend(found)
    return ChannelHistory(
        seat=seat,
        stages=stages,
        first_ms=int(span.times_ms[0]) if len(span) else None,
        state=state,
        ended=tuple(ended),
    )
