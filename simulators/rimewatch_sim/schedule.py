"""From a scenario's timeline to what each unit and each probe goes through.

Pure, given the seed: no clock, no I/O. Instants are UTC milliseconds.
"""

import math
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from rimewatch_sim import events
from rimewatch_sim.chance import stream
from rimewatch_sim.plant import CAPACITY_STEPS, Inputs, Loading
from rimewatch_sim.scenario import ProbeModel, Scenario, UnitModel
from rimewatch_sim.timeline import MS_PER_S, duration_s, time_of_day, to_ms

_DAY_S = 86_400
_WARMEST_HOUR = 15.0
"""Local hour at which the shop's air is warmest (plausible, no source)."""


@dataclass(frozen=True, slots=True, order=True)
class Interval:
    """From one instant up to, not including, another."""

    from_ms: int
    to_ms: int

    def holds(self, at_ms: int) -> bool:
        """Return whether an instant lies inside."""
        return self.from_ms <= at_ms < self.to_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingChange:
    """A loss of cooling: to ``left`` of it, reached ``over_s`` after its beginning."""

    during: Interval
    left: float
    over_s: float

    def factor(self, at_ms: int) -> float:
        """Return the part of the cooling left at an instant."""
        if not self.during.holds(at_ms):
            return 1.0
        elapsed_s = (at_ms - self.during.from_ms) / MS_PER_S
        done = 1.0 if self.over_s == 0 else min(1.0, elapsed_s / self.over_s)
        return 1.0 - (1.0 - self.left) * done


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlan:
    """What a unit goes through."""

    doors: tuple[Interval, ...]
    """Merged and in order."""
    defrosts: tuple[Interval, ...]
    power_losses: tuple[Interval, ...]
    cooling: tuple[CoolingChange, ...]
    loads: tuple[tuple[int, Loading], ...]
    unloads: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """A probe says nothing; what it kept comes afterwards if ``backlog``."""

    during: Interval
    backlog: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbePlan:
    """What a probe goes through."""

    silences: tuple[Silence, ...] = ()
    stuck: tuple[Interval, ...] = ()
    faults: tuple[tuple[int, int, str], ...] = ()
    """Instant, number of readings, code."""
    duplicates: tuple[Interval, ...] = ()
    batteries: tuple[tuple[int, float, float], ...] = ()
    """Instant, percent then, percent lost a day from then on; in order."""
    clocks: tuple[tuple[Interval, int], ...] = ()
    """When its clock is off, and by how many seconds."""


def merge(intervals: Iterable[Interval]) -> tuple[Interval, ...]:
    """Return intervals in order, overlapping and touching ones made one."""
    merged: list[Interval] = []
    for one in sorted(intervals):
        if merged and one.from_ms <= merged[-1].to_ms:
            merged[-1] = Interval(merged[-1].from_ms, max(merged[-1].to_ms, one.to_ms))
        else:
            merged.append(one)
    return tuple(merged)


def _during(scenario: Scenario, at: str, lasts: str | None) -> Interval:
    from_ms = scenario.at_ms(at)
    if lasts is None:
        return Interval(from_ms, scenario.end_ms)
    return Interval(from_ms, min(from_ms + duration_s(lasts) * MS_PER_S, scenario.end_ms))


def plan_unit(scenario: Scenario, unit: UnitModel, *, seed: int) -> UnitPlan:
    """Return what a unit goes through in a scenario."""
    own = [event for event in scenario.event if getattr(event, "unit", None) == unit.id]
    doors = [
        _during(scenario, event.at, event.lasts)
        for event in own
        if isinstance(event, events.DoorOpen)
    ]
    for event in own:
        if isinstance(event, events.DoorTraffic):
            doors.extend(_traffic(scenario, event, seed=seed))
    extra = [
        _during(scenario, event.at, event.lasts)
        for event in own
        if isinstance(event, events.Defrost)
    ]
    power = [
        _during(scenario, event.at, event.lasts)
        for event in scenario.event
        if isinstance(event, events.PowerLoss) and (not event.units or unit.id in event.units)
    ]
    return UnitPlan(
        doors=merge(doors),
        defrosts=merge([*_daily_defrosts(scenario, unit), *extra]),
        power_losses=merge(power),
        cooling=tuple(
            CoolingChange(
                during=_during(scenario, event.at, event.lasts),
                left=event.left,
                over_s=duration_s(event.over) if event.over else 0.0,
            )
            for event in own
            if isinstance(event, events.CoolingLoss)
        ),
        loads=tuple(
            (
                scenario.at_ms(event.at),
                Loading(lot=event.lot, kilograms=event.kilograms, celsius=event.celsius),
            )
            for event in own
            if isinstance(event, events.Load)
        ),
        unloads=tuple(
            (scenario.at_ms(event.at), event.part_left)
            for event in own
            if isinstance(event, events.Unload)
        ),
    )


def _daily_defrosts(scenario: Scenario, unit: UnitModel) -> Iterator[Interval]:
    days = range(-1, duration_s(scenario.lasts) // _DAY_S + 2)
    for text in unit.defrost:
        begins, _, length = text.partition("/")
        for day in days:
            date = scenario.start_local.date() + timedelta(days=day)
            try:
                from_ms = to_ms(datetime.combine(date, time_of_day(begins)), scenario.zone)
            except ValueError:
                continue  # clocks skip that time, and the unit's timer with them
            to = min(from_ms + duration_s(length) * MS_PER_S, scenario.end_ms)
            from_ms = max(from_ms, scenario.start_ms)
            if from_ms < to:
                yield Interval(from_ms, to)


def _traffic(scenario: Scenario, event: events.DoorTraffic, *, seed: int) -> Iterator[Interval]:
    during = _during(scenario, event.at, event.lasts)
    chance = stream(seed, f"traffic/{event.unit}/{during.from_ms}")
    at_ms = during.from_ms
    while True:
        at_ms += int(chance.expovariate(event.per_hour / 3600.0) * MS_PER_S)
        open_s = min(max(chance.expovariate(1.0 / event.open_s), 3.0), 6.0 * event.open_s)
        if at_ms + open_s * MS_PER_S >= during.to_ms:
            return
        yield Interval(at_ms, at_ms + int(open_s * MS_PER_S))
        at_ms += int(open_s * MS_PER_S)


def plan_probe(scenario: Scenario, probe: ProbeModel) -> ProbePlan:
    """Return what a probe goes through in a scenario."""
    silences = [
        Silence(during=_during(scenario, event.at, event.lasts), backlog=probe.keeps_time)
        for event in scenario.event
        if isinstance(event, events.PowerLoss) and event.network_too
    ]
    stuck: list[Interval] = []
    faults: list[tuple[int, int, str]] = []
    duplicates: list[Interval] = []
    batteries: list[tuple[int, float, float]] = []
    clocks: list[tuple[Interval, int]] = []
    if probe.battery_percent is not None:
        batteries.append((scenario.start_ms, probe.battery_percent, probe.battery_per_day))
    own = (event for event in scenario.event if getattr(event, "probe", None) == probe.id)
    for event in own:
        at_ms = scenario.at_ms(event.at)
        during = _during(scenario, event.at, getattr(event, "lasts", None))
        match event:
            case events.DropOut():
                silences.append(Silence(during=during, backlog=event.backlog))
            case events.Stuck():
                stuck.append(during)
            case events.Fault():
                faults.append((at_ms, event.count, event.code))
            case events.Duplicates():
                duplicates.append(during)
            case events.Battery():
                batteries.append((at_ms, event.percent, event.per_day))
            case events.ClockOffset():
                clocks.append((during, event.seconds))
    return ProbePlan(
        silences=tuple(silences),
        stuck=tuple(stuck),
        faults=tuple(sorted(faults)),
        duplicates=tuple(duplicates),
        batteries=tuple(sorted(batteries)),
        clocks=tuple(clocks),
    )


def step_count(scenario: Scenario) -> int:
    """Return how many steps cover the scenario."""
    return math.ceil((scenario.end_ms - scenario.start_ms) / (scenario.step_s * MS_PER_S))


def ambient(scenario: Scenario) -> "array[float]":
    """Return the air around the units, one value a step, warmest in the afternoon."""
    start = scenario.start_local
    start_h = start.hour + start.minute / 60.0 + start.second / 3600.0
    turn = 2.0 * math.pi / 24.0
    return array(
        "d",
        (
            scenario.ambient_c
            + scenario.ambient_swing_c
            * math.cos(turn * (start_h + n * scenario.step_s / 3600.0 - _WARMEST_HOUR))
            for n in range(step_count(scenario))
        ),
    )


def inputs_of(scenario: Scenario, plan: UnitPlan, ambient_c: "array[float]") -> Inputs:
    """Return a plan as the plant takes it, on the grid of its steps."""
    count = len(ambient_c)
    step_ms = scenario.step_s * MS_PER_S

    def index(at_ms: int) -> int:
        return min(max((at_ms - scenario.start_ms) // step_ms, 0), count - 1)

    def flags(intervals: Iterable[Interval]) -> bytearray:
        marked = bytearray(count)
        for one in intervals:
            first = index(one.from_ms)
            last = max(index(one.to_ms - 1), first)
            marked[first : last + 1] = b"\x01" * (last + 1 - first)
        return marked

    capacity = array("b", [CAPACITY_STEPS]) * count
    if plan.cooling:
        for n in range(count):
            at_ms = scenario.start_ms + n * step_ms
            left = math.prod(change.factor(at_ms) for change in plan.cooling)
            capacity[n] = round(left * CAPACITY_STEPS)
    loadings: dict[int, list[Loading]] = {}
    for at_ms, loading in plan.loads:
        loadings.setdefault(index(at_ms), []).append(loading)
    return Inputs(
        step_s=float(scenario.step_s),
        ambient_c=ambient_c,
        door=flags(plan.doors),
        defrost=flags(plan.defrosts),
        power_off=flags(plan.power_losses),
        capacity=capacity,
        loadings=loadings,
        unloadings={index(at_ms): part for at_ms, part in plan.unloads},
    )
