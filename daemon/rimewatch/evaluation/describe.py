"""Fills a condition with the facts of the moment, for the message that tells of it. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, Protocol

from rimewatch.alarms.consequence import furthest_line_c
from rimewatch.evaluation.channels import hold_watch, stale_ms
from rimewatch.evaluation.evidence import evidence_for
from rimewatch.evaluation.power import lost_with
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.rules import cause
from rimewatch.rules.condition import LOTS_NAMED, Condition
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import (
    MS_PER_H,
    MS_PER_MINUTE,
    MS_PER_S,
    Cause,
    LotId,
    Measures,
    ProbeId,
    Rule,
    Standing,
    UnitId,
)

TREND_OVER_MS: Final = 15 * MS_PER_MINUTE
"""The trend in a message is that of the last quarter of an hour."""

TREND_OVER_AT_LEAST_MS: Final = 10 * MS_PER_MINUTE
"""No trend is told from less. What is read to 0.1 °C then makes no more than 0.6 °C an hour of its
rounding (0.1 °C in 10 min), and what a door lets in within a minute or two is not told as an
hour's. Our choice."""

WATCHED_RULES: Final = frozenset({Rule.HOLDING, Rule.FREEZER, Rule.OPERATING_LIMIT})
"""Rules whose excursions a channel watches under their own names."""
LIMIT_RULES: Final = WATCHED_RULES | {Rule.HOLD_AT_RISK}


class KnowsLots(Protocol):
    """Knows where lots stand."""

    now_ms: int

    def lots_in(self, unit: UnitId) -> tuple[LotId, ...]:
        """Return the lots that stand in a unit now."""
        ...

    def kilograms_of(self, lots: Sequence[LotId]) -> float | None:
        """Return what some lots weigh, as far as it was entered."""
        ...

    def standings_of(self, lots: Sequence[LotId]) -> tuple[tuple[LotId, Standing], ...]:
        """Return what may be said of some lots now."""
        ...


def described(
    condition: Condition,
    shop: Shop,
    store: ReadingStore,
    tracks: Mapping[ProbeId, Track],
    lots: KnowsLots,
) -> tuple[Condition, float | None]:
    """Return a condition with fish and air temperature, trend, peak, cause and lots at stake.

    The second value is the time above the limit so far, in seconds, where there is a limit.
    """
    unit_id = condition.key.unit
    stand = condition.lots or (() if unit_id is None else lots.lots_in(unit_id))
    condition = replace(
        condition, lots=stand, standings=lots.standings_of(stand[:LOTS_NAMED]) if stand else ()
    )
    if unit_id is None:
        return condition, None
    governing = [track for track in tracks.values() if track.unit.id == unit_id]
    known = [track for track in governing if track.state.last_ms is not None]
    if not known:
        return condition, None
    warmest = max(known, key=lambda track: track.state.governing_c)
    fish_c = warmest.state.governing_c
    described_so = replace(
        condition,
        fish_c=fish_c,
        fish_ms=_silent_since_ms(warmest, lots.now_ms),
        air_c=_air_c(shop, store, unit_id, lots.now_ms),
        limit_c=_limit_c(shop.unit[unit_id], condition),
        rate_c_per_h=_rate_c_per_h(store, warmest),
        kilograms=lots.kilograms_of(stand),
    )
    if condition.used_share is not None:
        return described_so, None
    if condition.key.rule is Rule.PROJECTION:
        foretold = _foretold(condition)
        known_ms = max(track.state.last_ms or 0 for track in known)
        verdict = cause.explain(evidence_for(shop, store, unit_id, foretold, known_ms))
        known_why = verdict.cause is not Cause.UNKNOWN
        return replace(
            described_so,
            cause=verdict.cause,
            explanation=verdict.explanation if known_why else "",
            rate_c_per_h=condition.rate_c_per_h,
        ), None
    if condition.key.rule not in LIMIT_RULES:
        return described_so, None
    spell = _spell(warmest, condition)
    known_ms = max(track.state.last_ms or 0 for track in known)
    others = lost_with(shop, store, unit_id, spell, known_ms)
    verdict = cause.explain(evidence_for(shop, store, unit_id, spell, known_ms, others))
    facts = replace(
        described_so,
        peak_c=spell.peak_c,
        cause=verdict.cause,
        explanation=verdict.explanation,
        passed_c=furthest_line_c(shop.unit[unit_id].kind, shop.unit[unit_id].limit_c, spell.peak_c)
        if condition.severity
        else None,
    )
    return facts, spell.above_ms / MS_PER_S


def _silent_since_ms(track: Track, now_ms: int) -> int | None:
    """Return a channel's last reading, where that is longer ago than its stale time."""
    last_ms = track.state.last_ms
    return None if last_ms is None or now_ms - last_ms <= stale_ms(track.probe) else last_ms


def _limit_c(unit: Unit, condition: Condition) -> float | None:
    """Return the line a message names. Silence has one only where fish was warm before it."""
    if condition.limit_c is not None or condition.key.rule is Rule.STALE:
        return condition.limit_c
    return unit.limit_c


def _spell(track: Track, condition: Condition) -> Spell:
    """Return the excursion a condition speaks of: the open one, or the last that ended."""
    rule = condition.key.rule
    name = rule.value
    if rule is Rule.HOLD_AT_RISK:  # its line is the option's, colder than the freezer's own
        assert condition.limit_c is not None, "a hold at risk names the line it was lost at"
        name = hold_watch(condition.limit_c)
    spell = track.open_spell(name)
    if spell is not None:
        return spell
    for ended in reversed(track.ended):
        if ended.watch == name:
            return ended
    return Spell(
        watch=name,
        start_ms=float(condition.since_ms),
        end_ms=None,
        gap_ms=0.0,
        peak_c=track.state.governing_c,
        sustained_ms=None,
    )


def _foretold(condition: Condition) -> Spell:
    """Return the rise of a projection as if it were an excursion: it may become one."""
    return Spell(
        watch=condition.key.rule.value,
        start_ms=float(condition.since_ms),
        end_ms=None,
        gap_ms=0.0,
        peak_c=0.0,
        sustained_ms=None,
    )


def _air_c(shop: Shop, store: ReadingStore, unit: UnitId, now_ms: int) -> float | None:
    for probe in shop.probes_of(unit, Measures.AIR):
        last = store.last_before(probe.id, now_ms + 1)
        if last is not None:
            return last[1]
    return None


def _rate_c_per_h(store: ReadingStore, track: Track) -> float | None:
    last_ms = track.state.last_ms
    if last_ms is None:
        return None
    span = store.span(track.probe.id, last_ms - TREND_OVER_MS, last_ms)
    if len(span) < 3:
        return None
    elapsed_ms = int(span.times_ms[-1] - span.times_ms[0])
    if elapsed_ms < TREND_OVER_AT_LEAST_MS:
        return None
    return float(span.values[-1] - span.values[0]) / elapsed_ms * MS_PER_H
