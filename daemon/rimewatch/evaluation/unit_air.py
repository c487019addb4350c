"""The air of every unit against its usual band, as readings come and as they lie in the store.

Pure: readings from the store, settings from the shop.
"""

from collections.abc import Collection
from dataclasses import replace
from math import inf
from typing import Final

from rimewatch.evaluation.channels import stale_ms
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.learned import HABITS_FROM_MS, sampled
from rimewatch.evaluation.over_time import there_from_ms
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules import habits, own_doing, power_loss, usual
from rimewatch.rules.habits import Defrosts, HabitState, RiseSeen
from rimewatch.rules.power_loss import Warming
from rimewatch.rules.usual import Departure, UsualState
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import (
    MS_PER_H,
    MS_PER_MINUTE,
    MS_PER_S,
    Measures,
    ProbeId,
    UnitId,
)

LEARNED_FROM_MS: Final = 10 * MS_PER_H
"""A band is learned from three hours, and may be kept for six while the air is out."""
COOLS_FOR_MS: Final = 60 * MS_PER_MINUTE
"""After a defrost the fish is given so long to be cold again (common practice, no source)."""


def air_probe(shop: Shop, unit: UnitId) -> Probe | None:
    """Return the probe that tells of a unit's air: its first air probe, else its product's."""
    probes = shop.probes_of(unit, Measures.AIR) or shop.probes_of(unit, Measures.PRODUCT)
    return probes[0] if probes else None


class AirWatch:
    """Follows each unit's air; a late reading is left to those who look into the store."""

    def __init__(self, shop: Shop, store: ReadingStore) -> None:
        self._shop = shop
        self._store = store
        self._probes = {
            unit.id: probe for unit in shop.units if (probe := air_probe(shop, unit.id)) is not None
        }
        self._unit_of = {probe.id: unit for unit, probe in self._probes.items()}
        self._states: dict[UnitId, UsualState] = dict.fromkeys(self._probes, UsualState())
        self._last_ms: dict[UnitId, int] = {}
        self._lowest_c: dict[UnitId, float] = {}
        self.known_out: Collection[UnitId] = ()
        """Units whose trouble somebody knows: their air finds no other band meanwhile."""
        self._habits: dict[UnitId, HabitState] = dict.fromkeys(self._probes, HabitState())
        self._ways: dict[UnitId, tuple[Defrosts, ...]] = dict.fromkeys(self._probes, ())
        """How each unit's air rises and comes back, by its habits."""
        self._over: dict[UnitId, tuple[RiseSeen, bool]] = {}
        """The last rise that ended, and whether a defrost explained it to its end."""

    def take(self, probe: ProbeId, at_ms: int, value: float) -> None:
        """Take a reading, if it is one of a unit's air and comes in order."""
        unit = self._unit_of.get(probe)
        if unit is None or at_ms <= self._last_ms.get(unit, -1):
            return
        self._last_ms[unit] = at_ms
        adopts = unit not in self.known_out
        if not adopts and not self.has_band(unit):
            return  # a new probe in a unit whose trouble is known learns nothing usual of it
        self._states[unit] = usual.step(self._states[unit], at_ms, value, adopts=adopts)
        self._note_lowest(unit, self._states[unit], value)
        before = self._habits[unit]
        after = habits.step(before, at_ms, value)
        if after is not before:
            self._habits[unit] = after
            if after.over is not before.over:
                self._end(unit, before, after)

    def _end(self, unit: UnitId, before: HabitState, after: HabitState) -> None:
        """Note a rise that has ended: whether a defrost explained it, and what it adds to them."""
        rise = before.out
        if rise is not None and after.over is not None:
            came_back = usual.further(rise, after.over.back_ms, rise.top_c)
            self._over[unit] = after.over, self._explained(unit, came_back, after.over.back_ms)
        if after.rises is not before.rises:
            self._ways[unit] = habits.ways_of(after, fewest=1)

    def _note_lowest(self, unit: UnitId, state: UsualState, value: float) -> None:
        if state.out is None:
            self._lowest_c.pop(unit, None)
        elif state.out.peak_ms == state.out.last_ms:
            self._lowest_c[unit] = value
        else:
            self._lowest_c[unit] = min(value, self._lowest_c.get(unit, value))

    def load(self, to_ms: int, known_since_ms: int | None = None) -> None:
        """Learn from what the store holds, after a restart.

        Args:
            to_ms: What is later is not looked at.
            known_since_ms: Since when the trouble of ``known_out`` is known.
        """
        for unit, probe in self._probes.items():
            held_ms = known_since_ms if unit in self.known_out else None
            learned_ms = to_ms if held_ms is None else min(to_ms, held_ms)
            from_ms = there_from_ms(self._shop, probe.id, learned_ms - LEARNED_FROM_MS)
            span = self._store.span(probe.id, from_ms, to_ms)
            if len(span):
                state = UsualState()
                for at_ms, value in zip(span.times_ms.tolist(), span.values.tolist(), strict=True):
                    adopts = held_ms is None or at_ms < held_ms
                    state = usual.step(state, at_ms, value, adopts=adopts)
                    self._note_lowest(unit, state, value)
                self._states[unit] = state
                self._last_ms[unit] = int(span.times_ms[-1])
            self._load_habits(unit, probe, to_ms)

    def _load_habits(self, unit: UnitId, probe: Probe, to_ms: int) -> None:
        from_ms = there_from_ms(self._shop, probe.id, to_ms - HABITS_FROM_MS)
        span = self._store.span(probe.id, from_ms, to_ms)
        if not len(span):
            return
        span = sampled(span, habits.SAMPLE_MS)
        state = HabitState()
        for at_ms, value in zip(span.times_ms.tolist(), span.values.tolist(), strict=True):
            before, state = state, habits.step(state, at_ms, value)
            if state.over is not before.over:
                self._end(unit, before, state)
        self._habits[unit] = state

    def departure(self, unit: UnitId) -> Departure | None:
        """Return how a unit's air left its band, if it is out."""
        state = self._states.get(unit)
        return None if state is None else state.out

    def has_band(self, unit: UnitId) -> bool:
        """Whether a unit's usual air is known: else that it is not out of it says nothing."""
        state = self._states.get(unit)
        return state is not None and state.top_c < inf

    def is_coming_back(self, unit: UnitId, at_ms: int, back_ms: int) -> bool:
        """Whether a unit is on its way back once power is; one that is silent is not known to be.

        Args:
            unit: The unit.
            at_ms: The present instant.
            back_ms: When power was found to be back.
        """
        probe = self._probes.get(unit)
        if probe is None or not self.measured(unit, at_ms):
            return at_ms - back_ms < power_loss.TURNS_WITHIN_MS
        departure = self.departure(unit)
        lowest_c = self._lowest_c.get(unit, inf if departure is None else departure.last_c)
        every_ms = MS_PER_S * (probe.every_s or 0.0)
        return power_loss.is_coming_back(departure, lowest_c, at_ms, back_ms, every_ms)

    def defrosts(self, unit: UnitId) -> Defrosts | None:
        """Return what a unit's defrosts are like, as far as its readings have shown."""
        return next((way for way in self._ways.get(unit, ()) if way.told), None)

    def warming_of(self, unit: UnitId, departure: Departure, at_ms: int) -> Warming:
        """Return a unit that is out of its band, with what its own doings and habits explain."""
        warming = warming_of(self._shop, self._store, unit, departure, at_ms)
        rise = self._habits[unit].out or departure
        if warming.explained or not self._goes_alike(unit, rise, at_ms, fewest=1):
            return warming
        return replace(warming, explained=True)

    def in_window(self, unit: UnitId, since_ms: float, at_ms: int) -> bool:
        """Whether a scheduled defrost explains that a unit's fish is warm since an instant."""
        windows = scheduled(self._shop.unit[unit], self._shop.timezone, round(since_ms), at_ms)
        return own_doing.in_window(since_ms, at_ms, windows)

    def in_defrost(self, unit: UnitId, since_ms: float, at_ms: int) -> bool:
        """Whether a defrost, scheduled or by habit, explains that a unit's fish is warm.

        While its air rises and falls as in its defrosts, and then while the fish may still be
        warm of it. Of a unit whose air is silent nothing is explained.

        Args:
            unit: The unit.
            since_ms: Since when its fish is warm.
            at_ms: The instant.
        """
        if unit not in self._probes or not self.measured(unit, at_ms):
            return False
        if self.in_window(unit, since_ms, at_ms):
            return True
        departure = self._habits[unit].out or self.departure(unit)
        if departure is not None:
            return self._explained(unit, departure, at_ms)
        rise, explained = self._over.get(unit, (None, False))
        return (
            rise is not None
            and explained
            and since_ms >= rise.left_ms - own_doing.NEAR_MS
            and at_ms - rise.back_ms <= COOLS_FOR_MS
        )

    def _explained(self, unit: UnitId, departure: Departure, at_ms: int) -> bool:
        windows = scheduled(
            self._shop.unit[unit], self._shop.timezone, departure.from_ms - MS_PER_H, at_ms
        )
        return own_doing.defrosting(departure, at_ms, windows) or self._goes_alike(
            unit, departure, at_ms
        )

    def _goes_alike(
        self, unit: UnitId, departure: Departure, at_ms: int, *, fewest: int = habits.FEWEST
    ) -> bool:
        every_ms = (self._probes[unit].every_s or 0.0) * MS_PER_S
        return any(
            habits.goes_alike(way, departure, at_ms, every_ms=every_ms)
            for way in self._ways[unit]
            if len(way.starts_ms) >= fewest
        )

    def measured(self, unit: UnitId, at_ms: int) -> bool:
        """Whether a unit's air is known at an instant: its probe is not silent."""
        last_ms = self._last_ms.get(unit)
        return last_ms is not None and at_ms - last_ms <= stale_ms(self._probes[unit])

    def count_measured(self, at_ms: int) -> int:
        """Return how many units' air is known at an instant."""
        return sum(self.measured(unit, at_ms) for unit in self._probes)

    def in_order(self, units: Collection[UnitId]) -> tuple[UnitId, ...]:
        """Return units in the order of the configuration."""
        return tuple(unit for unit in self._probes if unit in units)

    def warming(self, at_ms: int, but: Collection[UnitId] = ()) -> list[Warming]:
        """Return the units that are measured and out of their bands, but for some."""
        return [
            self.warming_of(unit, departure, at_ms)
            for unit in self._probes
            if unit not in but
            and (departure := self.departure(unit)) is not None
            and self.measured(unit, at_ms)
        ]


class Beside:
    """Knows, for each temperature probe, what another one in its unit last said."""

    def __init__(self, shop: Shop) -> None:
        self._values: dict[ProbeId, float] = {}
        self._neighbours: dict[ProbeId, tuple[ProbeId, ...]] = {}
        for unit in shop.units:
            probes = shop.probes_of(unit.id, Measures.AIR, Measures.PRODUCT)
            for probe in probes:
                self._neighbours[probe.id] = tuple(p.id for p in probes if p.id != probe.id)

    def take(self, probe: ProbeId, value: float) -> float | None:
        """Take a probe's reading; return its neighbour's latest, if it has one that spoke."""
        neighbours = self._neighbours.get(probe)
        if neighbours is None:
            return None
        self._values[probe] = value
        return next((self._values[n] for n in neighbours if n in self._values), None)


def warming_of(
    shop: Shop, store: ReadingStore, unit: UnitId, departure: Departure, at_ms: int
) -> Warming:
    """Return a unit that is out of its band, with what its own doings explain."""
    from_ms = departure.from_ms - own_doing.DOOR_WARMS_MS[1]
    return Warming(
        unit=unit,
        departure=departure,
        explained=own_doing.explained(
            departure,
            at_ms,
            door_times(shop, store, unit, from_ms, at_ms),
            scheduled(shop.unit[unit], shop.timezone, from_ms, at_ms),
        ),
    )
