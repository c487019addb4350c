"""Where a unit's fish is heading, as a condition of rule ``projection``. Pure."""

from collections.abc import Sequence
from dataclasses import replace

from rimewatch.evaluation.channels import limit_rule
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.track import Track
from rimewatch.rules import projection
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.power_loss import Warming
from rimewatch.rules.projection import Outlook
from rimewatch.rules.watch import Spell
from rimewatch.shop import Unit
from rimewatch.vocabulary import LotId, Rule

S_PER_H = 3600.0


def outlook_of(store: ReadingStore, warming: Warming, track: Track) -> Outlook | None:
    """Return where the fish behind a governing probe is heading; None: nothing can be said."""
    last_ms = track.state.last_ms
    if last_ms is None:
        return None
    span = store.span(track.probe.id, warming.departure.from_ms, last_ms)
    return projection.foresee(
        span.times_ms,
        span.values,
        fish_c=track.state.governing_c,
        lag_s=track.settings.lag_s,
        limit_c=track.unit.limit_c,
    )


def projection_condition(
    unit: Unit,
    store: ReadingStore,
    warming: Warming | None,
    tracks: Sequence[Track],
    standing: Condition | None,
    lots: tuple[LotId, ...],
    at_ms: int,
) -> Condition | None:
    """Return that a unit's fish is on its way past its limit, if it is.

    Once raised it stays while the air is out and not coming back, and while the fish is
    past its limit: nobody is told then that it is no longer on its way.

    Args:
        unit: The unit.
        store: The readings.
        warming: Its air out of its band; None: it is within.
        tracks: Its governing probes, folded up to now.
        standing: The projection that was so before.
        lots: Lots that stand in it.
        at_ms: The present instant.
    """
    past = [spell for track in tracks if (spell := _past_its_limit(track)) is not None]
    if standing is not None and past:
        peak_c = max(spell.peak_c for spell in past)
        return replace(standing, time_left_s=None, lots=lots, peak_c=peak_c)
    known = [track for track in tracks if track.state.last_ms is not None]
    if warming is None or warming.departure.recovering or not known:
        return None
    warmest = max(known, key=lambda track: track.state.governing_c)
    if warmest.state.governing_c >= unit.limit_c:
        return standing  # the limit has an alarm of its own, and this one has told of it
    if standing is None and (warming.explained or not projection.may_ask(warming.departure, at_ms)):
        return None
    outlook = outlook_of(store, warming, warmest)
    if outlook is None or not _holds(outlook, warming, standing, unit.limit_c):
        return None
    return Condition(
        key=AlarmKey(unit=unit.id, rule=Rule.PROJECTION),
        since_ms=warming.departure.left_ms,
        units=(unit.id,),
        priority=outlook.priority(fish_at_stake=bool(lots)),
        limit_c=unit.limit_c,
        rate_c_per_h=_fish_rate_c_per_h(warmest, outlook),
        time_left_s=outlook.left_s,
        lots=lots,
    )


def _holds(outlook: Outlook, warming: Warming, standing: Condition | None, limit_c: float) -> bool:
    """Whether an outlook is worth an alarm, or keeps the one there is."""
    if standing is None:
        return outlook.foretold
    # Air that stands still above the limit still draws the fish after it.
    return not outlook.dismissed or warming.departure.last_c > limit_c


def _past_its_limit(track: Track) -> Spell | None:
    return track.open_spell(limit_rule(track.unit).value)


def _fish_rate_c_per_h(track: Track, outlook: Outlook) -> float:
    lag_s = track.settings.lag_s
    if lag_s == 0.0:
        return outlook.rate_c_per_h
    return (track.state.measured_c - track.state.governing_c) / lag_s * S_PER_H
