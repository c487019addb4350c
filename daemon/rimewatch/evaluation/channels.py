"""A unit's governing probes as channels: which levels each is watched against.

Pure: settings come from the shop, readings from the store.
"""

from dataclasses import dataclass
from typing import Final

from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.hold import COLD_20_C, COLD_35_C, NOTHING_PROVEN, Break, ColdRecord
from rimewatch.rules import channel
from rimewatch.rules.watch import (
    BreakReason,
    ChannelSettings,
    ChannelState,
    Spell,
    Watch,
    WatchKind,
)
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import Measures, Rule

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


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelHistory:
    """What the fold over a channel's readings up to some instant found."""

    probe: Probe
    settings: ChannelSettings
    first_ms: int | None
    state: ChannelState
    ended: tuple[Spell, ...]

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
        breaks = [
            Break(
                start_ms=float("-inf"),
                end_ms=float(self.first_ms),
                peak_c=None,
                reason=BreakReason.GAP,
            )
        ]
        breaks.extend(
            Break(
                start_ms=spell.start_ms,
                end_ms=spell.end_ms,
                peak_c=spell.peak_c,
                reason=spell.reason,
                seen_warm=bool(spell.above) or spell.above_since_ms is not None,
                was_silent=spell.gap_ms > 0.0,
            )
            for spell in self.spells(hold_watch(level_c))
        )
        last_ms = self.state.last_ms
        lasts = breaks[-1].end_ms is None
        if not lasts and to_ms - last_ms > self.settings.stale_ms:
            breaks.append(
                Break(
                    start_ms=float(last_ms),
                    end_ms=None,
                    peak_c=None,
                    reason=BreakReason.GAP,
                )
            )
        return ColdRecord(breaks=tuple(breaks), known_until_ms=float(last_ms))


def history_of(shop: Shop, probe: Probe, store: ReadingStore, to_ms: int) -> ChannelHistory:
    """Fold all of a governing probe's readings up to an instant."""
    settings = settings_for(shop.unit[probe.unit], probe)
    span = store.span(probe.id, None, to_ms)
    state, ended = ChannelState(), list[Spell]()
    for start in range(0, len(span), FOLD_BATCH):
        state, found = channel.fold(
            settings,
            state,
            span.times_ms[start : start + FOLD_BATCH],
            span.values[start : start + FOLD_BATCH],
        )
        ended.extend(found)
    return ChannelHistory(
        probe=probe,
        settings=settings,
        first_ms=int(span.times_ms[0]) if len(span) else None,
        state=state,
        ended=tuple(ended),
    )
