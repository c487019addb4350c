"""Power losses: found as readings come, and found again from the readings alone.

Pure: readings from the store, settings from the shop.
"""

from dataclasses import replace
from typing import Final

from rimewatch.evaluation.learned_air import LearnedAir
from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_air import AirWatch, air_probe, warming_of
from rimewatch.rules import power_loss
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.rules.power_loss import Outage
from rimewatch.rules.usual import Departure
from rimewatch.rules.watch import Spell
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, Cause, Rule, UnitId

POWER_LOSS: Final = AlarmKey(unit=None, rule=Rule.POWER_LOSS)

SILENCED: Final = (
    Rule.HOLDING,
    Rule.FREEZER,
    Rule.OPERATING_LIMIT,
    Rule.HOLD_AT_RISK,
    Rule.PROJECTION,
)
"""What the loss of power says already of each unit without it."""

RECOVERY_S: Final = 3600.0
"""How long units may take to be cold again after power is back, before what is still so is
raised (common practice, no source)."""

ABOUT_TO_BE_RAISED_MS: Final = 3 * MS_PER_MINUTE
"""Where a unit's own alarm is about to be raised, units need to have been out only so long."""

LOOKED_AT_AFTER_MS: Final = 75 * MS_PER_MINUTE


def power_condition(
    watch: AirWatch,
    standing: Condition | None,
    at_ms: int,
    *,
    out_for_ms: int | None = None,
    back_ms: int | None = None,
) -> Condition | None:
    """Return the power loss that is so at an instant, if one is.

    Args:
        watch: The units' air.
        standing: The one that was so before.
        at_ms: The instant.
        out_for_ms: How long units must have been out; None: as the rule has it.
        back_ms: When power was last found to be back; None: it was not lost. A rise from before
            that came no higher since tells of no further loss: a unit that is not coming back
            speaks for itself.
    """
    if standing is None:
        warming = [
            one
            for one in watch.warming(at_ms)
            if back_ms is None
            or max(one.departure.rising_since_ms, one.departure.peak_ms) > back_ms
        ]
        if len(warming) < power_loss.FEWEST_UNITS:
            return None
        measured = watch.count_measured(at_ms)
        if out_for_ms is not None:
            found = power_loss.find(warming, measured, at_ms, out_for_ms=out_for_ms)
        else:
            found = power_loss.find(warming, measured, at_ms)
            if found and not power_loss.may_tell(found, warming, measured, at_ms):
                return None
        return None if found is None else _condition(found)
    outage = Outage(since_ms=standing.since_ms, units=standing.units)
    known = [unit for unit in outage.units if watch.measured(unit, at_ms)]
    # That a new probe's air is in no way unusual says nothing, as long as there is another's.
    heard = [unit for unit in known if watch.has_band(unit)] or known
    if heard and power_loss.is_back(
        replace(outage, units=tuple(heard)), [watch.departure(unit) for unit in heard]
    ):
        return None
    more = [
        one.unit for one in watch.warming(at_ms, but=outage.units) if power_loss.joins(outage, one)
    ]
    return replace(standing, units=watch.in_order((*standing.units, *more))) if more else standing


def _condition(outage: Outage) -> Condition:
    return Condition(
        key=POWER_LOSS,
        since_ms=outage.since_ms,
        units=outage.units,
        cause=Cause.POWER_LOSS,
        explanation=f"{len(outage.units)} units began to warm at the same moment.",
    )


def lost_with(
    shop: Shop,
    store: ReadingStore,
    unit: UnitId,
    spell: Spell,
    known_ms: int,
    air: LearnedAir | None = None,
) -> tuple[str, ...]:
    """Return the names of the units that lost power with a unit whose excursion this is.

    Found from the readings alone, as they were when the unit's own air was at its
    warmest: before power returned.

    Args:
        shop: The shop.
        store: Its readings.
        unit: The unit.
        spell: Its excursion.
        known_ms: Nothing later than this is looked at.
        air: What was learned of the units' air already, where several excursions of one
            store are looked at; it changes nothing but the time it takes.
    """
    air = LearnedAir(shop, store) if air is None else air
    about_ms = round(spell.start_ms)
    until_ms = known_ms if spell.end_ms is None else min(known_ms, round(spell.end_ms))
    own = _departure_behind(air.departures(unit, about_ms, until_ms), spell)
    if own is None:
        return ()
    at_ms = min(own.peak_ms, own.left_ms + LOOKED_AT_AFTER_MS)
    warming = []
    measured = 0
    for other in shop.units:
        probe = air_probe(shop, other.id)
        last = None if probe is None else store.last_before(probe.id, at_ms + 1)
        if last is None or at_ms - last[0] > MS_PER_H / 2:
            continue
        measured += 1
        departures = air.departures(other.id, about_ms, at_ms)
        # One that has ended by then is over: the other unit is cold again.
        if departures and departures[-1].last_c > departures[-1].top_c:
            warming.append(warming_of(shop, store, other.id, departures[-1], at_ms))
    outage = power_loss.find(warming, measured, at_ms, out_for_ms=ABOUT_TO_BE_RAISED_MS)
    if outage is None:
        return ()
    joined = {one.unit for one in warming if power_loss.joins(outage, one)}
    if unit not in outage.units and unit not in joined:
        return ()
    return tuple(shop.unit[other].name for other in outage.units if other != unit)


def _departure_behind(departures: list[Departure], spell: Spell) -> Departure | None:
    """Return the time out of its band that led to an excursion: under way at its start."""
    before = [one for one in departures if one.left_ms <= spell.start_ms + power_loss.TOGETHER_MS]
    if not before:
        return None
    last = before[-1]
    # Fish goes on warming for a while behind air that is cold again.
    return last if last.last_ms >= spell.start_ms - LOOKED_AT_AFTER_MS else None
