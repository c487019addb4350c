"""What a unit that has fallen silent was last seen to be: warm, or on its way there. Pure.

Silence is no news of how cold it is. Where the fish was last seen above its limit, or rising
to it, nobody can wait for the morning to learn how it went on.
"""

from typing import Final

import numpy as np

from rimewatch.evaluation.channels import limit_rule, stages_for
from rimewatch.evaluation.governing import governing_readings, seat_of, span_with_warm_up
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.rules.stages import fold
from rimewatch.rules.watch import ChannelState
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, MS_PER_S, Measures

EXTENDED_FROM_MS: Final = 30 * MS_PER_MINUTE
"""So much of what was last seen is extended as a straight line (the contract's 30 min),"""
EXTENDED_MS: Final = 2 * MS_PER_H
"""for so long (the contract's 2 h)."""
LOOKED_BACK_MS: Final = MS_PER_H
"""So much of the air is looked at, beside the on-delay: what was warm before was told then."""

WARM_BESIDE: Final = "its air is still read, and is too warm for the fish: go and look now"


def is_above(track: Track) -> bool:
    """Whether the fish behind a probe was last seen above its limit."""
    if track.open_spell(limit_rule(track.unit).value) is not None:
        return True
    return track.state.last_ms is not None and track.state.governing_c > track.unit.limit_c


def is_rising(shop: Shop, store: ReadingStore, track: Track) -> bool:
    """Whether what was last seen of the fish behind a probe, extended, reaches its limit."""
    last_ms = track.state.last_ms
    if last_ms is None:
        return False
    from_ms = last_ms - EXTENDED_FROM_MS
    if store.last_before(track.probe.id, last_ms) is None:
        return False
    seen = governing_readings(shop, store, track.probe, from_ms, last_ms)
    within = (seen.times_ms >= from_ms) & (seen.times_ms <= last_ms)
    times_h = (seen.times_ms[within] - last_ms) / MS_PER_H
    if len(times_h) < 2:
        return False
    felt_c = seen.values[within]
    off_h = times_h - times_h.mean()
    rate_c_per_h = float(np.dot(off_h, felt_c) / np.dot(off_h, off_h))
    ahead_c = rate_c_per_h * EXTENDED_MS / MS_PER_H
    return rate_c_per_h > 0.0 and float(felt_c[-1]) + ahead_c >= track.unit.limit_c


def is_warm_beside(shop: Shop, store: ReadingStore, track: Track, now_ms: int) -> bool:
    """Whether a unit's air, seen through its lag, shows warmth since a product probe is silent.

    The air stands in for the fish, as where there is no product probe: it must have been
    above the limit for the on-delay.
    """
    if track.probe.measures is not Measures.PRODUCT:
        return False
    unit, last_ms = track.unit, track.state.last_ms
    looked_ms = now_ms - round(unit.on_delay_s * MS_PER_S) - LOOKED_BACK_MS
    from_ms = looked_ms if last_ms is None else max(last_ms, looked_ms)
    for air in shop.probes_of(unit.id, Measures.AIR):
        stages = stages_for(seat_of(shop, air))
        span = span_with_warm_up(store, seat_of(shop, air), stages, from_ms, now_ms)
        if not len(span):
            continue
        state, ended = fold(stages, ChannelState(), span.times_ms, span.values)
        found = (*ended, *(spell for spell in state.open if spell is not None))
        if any(
            spell.watch == limit_rule(unit).value
            and spell.sustained_ms is not None
            and (spell.end_ms is None or spell.end_ms > from_ms)
            for spell in found
        ):
            return True
    return False
