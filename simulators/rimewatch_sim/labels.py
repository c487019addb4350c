"""The ground truth of a simulation: what truly happened to the fish, and why.

Made to measure a judge of the trace against: breaches it missed, alarms nobody needed.
Pure: no I/O, no clock.

True temperatures are those of the fish itself, which no probe sees. Between steps the
temperature is taken as a straight line. An excursion here begins and ends at the limit:
there is no deadband in the truth.
"""

from array import array
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from rimewatch_sim import events
from rimewatch_sim.scenario import UnitModel
from rimewatch_sim.schedule import Interval
from rimewatch_sim.simulation import Simulation
from rimewatch_sim.timeline import MS_PER_S, duration_s, utc_text

_AFTERMATH_MS: Final = 3_600_000
"""A cause counts for an hour after its end: fish lags behind."""

_OPTION_LINES_C: Final = (-20.0, -35.0)
"""Freezer temperatures of parasite destruction. Food Code 2022, 3-402.11(A)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """An unbroken time above a limit. ``to_ms`` None: it lasted to the end."""

    from_ms: int
    to_ms: int | None
    peak_c: float
    ended_by: str
    """``cooled``, ``unloaded`` or ``end``."""


def excursions(
    celsius: Sequence[float],
    *,
    limit_c: float,
    start_ms: int,
    step_ms: int,
    gone: Sequence[Interval] = (),
) -> list[Excursion]:
    """Return the times above a limit, crossings interpolated.

    Args:
        celsius: One value each step.
        limit_c: At the limit is not above it.
        start_ms: Instant of the first value.
        step_ms: Length of a step.
        gone: When there was no fish to be warm.
    """
    found: list[Excursion] = []
    opened_ms: int | None = None
    peak_c = limit_c
    before = limit_c
    for n, now in enumerate(celsius):
        at_ms = start_ms + n * step_ms
        absent = next((one for one in gone if one.holds(at_ms)), None)
        if opened_ms is None:
            if absent is None and now > limit_c:
                crossed = n > 0 and before <= limit_c
                part = (limit_c - before) / (now - before) if crossed else 1.0
                opened_ms = at_ms - step_ms + round(part * step_ms) if crossed else at_ms
                peak_c = now
        elif absent is not None or now <= limit_c:
            part = (before - limit_c) / (before - now) if absent is None else 0.0
            to_ms = at_ms - step_ms + round(part * step_ms) if absent is None else absent.from_ms
            how = "cooled" if absent is None else "unloaded"
            found.append(Excursion(from_ms=opened_ms, to_ms=to_ms, peak_c=peak_c, ended_by=how))
            opened_ms = None
        else:
            peak_c = max(peak_c, now)
        before = now
    if opened_ms is not None:
        found.append(Excursion(from_ms=opened_ms, to_ms=None, peak_c=peak_c, ended_by="end"))
    return found


def labels_of(simulation: Simulation) -> dict[str, Any]:
    """Return the ground truth as a value for JSON.

    Keys: ``scenario``, ``seed``, ``from``, ``story_from``, ``to``, ``units`` (each with
    its true extremes and excursions), ``lots`` (each warm load and when it was cold),
    ``events`` and ``bad_payloads`` (as planned: one planned for a silence is never sent).
    """
    scenario = simulation.scenario
    return {
        "scenario": scenario.name,
        "seed": simulation.seed,
        "timezone": scenario.timezone,
        "from": utc_text(scenario.start_ms),
        "story_from": utc_text(scenario.story_ms),
        "to": utc_text(scenario.end_ms),
        "units": {unit.id: _unit(simulation, unit) for unit in scenario.unit},
        "lots": [lot for unit in scenario.unit for lot in _lots(simulation, unit)],
        "events": _events(simulation),
        "bad_payloads": _bad_payloads(simulation),
    }


def _unit(simulation: Simulation, unit: UnitModel) -> dict[str, Any]:
    scenario = simulation.scenario
    history = simulation.histories[unit.id]
    start_ms, step_ms = scenario.start_ms, scenario.step_s * MS_PER_S
    gone = _fishless(simulation, unit)
    fish = excursions(
        history.fish_c,
        limit_c=unit.limit_c,
        start_ms=start_ms,
        step_ms=step_ms,
        gone=gone,
    )
    present = [
        celsius
        for n, celsius in enumerate(history.fish_c)
        if not any(one.holds(start_ms + n * step_ms) for one in gone)
    ]
    air = excursions(history.air_c, limit_c=unit.limit_c, start_ms=start_ms, step_ms=step_ms)
    return {
        "limit_c": unit.limit_c,
        "fish_min_c": round(min(present), 3),
        "fish_max_c": round(max(present), 3),
        "air_max_c": round(max(history.air_c), 3),
        "fish_excursions": [_excursion(simulation, unit, one) for one in fish],
        "air_excursions": [_excursion(simulation, unit, one) for one in air],
    }


def _excursion(simulation: Simulation, unit: UnitModel, one: Excursion) -> dict[str, Any]:
    until_ms = simulation.scenario.end_ms if one.to_ms is None else one.to_ms
    return {
        "from": utc_text(one.from_ms),
        "to": None if one.to_ms is None else utc_text(one.to_ms),
        "above_s": (until_ms - one.from_ms) / MS_PER_S,
        "peak_c": round(one.peak_c, 3),
        "ended_by": one.ended_by,
        "cause": cause_at(simulation, unit.id, one.from_ms),
    }


def cause_at(simulation: Simulation, unit_id: str, at_ms: int) -> str:
    """Return what made a unit warm at an instant, the weightiest of what was going on."""
    plan = simulation.plans[unit_id]
    candidates = (
        ("power-loss", plan.power_losses),
        ("cooling-failure", tuple(change.during for change in plan.cooling)),
        ("door", plan.doors),
        ("defrost", plan.defrosts),
        ("loading", tuple(Interval(load_ms, load_ms + 1) for load_ms, _ in plan.loads)),
    )
    for cause, intervals in candidates:
        if any(one.from_ms <= at_ms < one.to_ms + _AFTERMATH_MS for one in intervals):
            return cause
    return "unknown"


def _fishless(simulation: Simulation, unit: UnitModel) -> list[Interval]:
    """Return when all fish was out: from an unloading to the next loading."""
    plan = simulation.plans[unit.id]
    gone = []
    for from_ms, part_left in plan.unloads:
        if part_left > 0.0:
            continue
        back_ms = [load_ms for load_ms, _ in plan.loads if load_ms >= from_ms]
        gone.append(Interval(from_ms, min(back_ms, default=simulation.scenario.end_ms + 1)))
    return gone


def _lots(simulation: Simulation, unit: UnitModel) -> list[dict[str, Any]]:
    scenario = simulation.scenario
    step_ms = scenario.step_s * MS_PER_S
    found = []
    for load in simulation.histories[unit.id].loads:
        # the state after the step of loading is the first of the load's own
        first_ms = scenario.start_ms + (load.first_step + 1) * step_ms

        def reached(
            limit_c: float, celsius: "array[float]" = load.celsius, first: int = first_ms
        ) -> str | None:
            number = next((n for n, value in enumerate(celsius) if value <= limit_c), None)
            return None if number is None else utc_text(first + number * step_ms)

        lot: dict[str, Any] = {
            "lot": load.loading.lot,
            "unit": unit.id,
            "in": utc_text(first_ms - step_ms),
            "celsius": load.loading.celsius,
            "kilograms": load.loading.kilograms,
            "at_limit": reached(unit.limit_c),
        }
        if unit.limit_c < 0.0:
            lot["at_lines"] = {str(line): reached(line) for line in _OPTION_LINES_C}
        found.append(lot)
    return found


def _events(simulation: Simulation) -> list[dict[str, Any]]:
    scenario = simulation.scenario
    found: list[tuple[int, dict[str, Any]]] = []
    for event in scenario.event:
        at_ms = scenario.at_ms(event.at)
        lasts = getattr(event, "lasts", None)
        to_ms = None if lasts is None else at_ms + duration_s(lasts) * MS_PER_S
        fields = event.model_dump(exclude={"at", "lasts", "over"}, exclude_defaults=True)
        found.append((at_ms, _happening(at_ms, to_ms, fields)))
    for unit_id, plan in simulation.plans.items():
        for one in plan.defrosts:
            fields = {"do": "defrost", "unit": unit_id}
            found.append((one.from_ms, _happening(one.from_ms, one.to_ms, fields)))
        for one in plan.doors:
            fields = {"do": "door", "unit": unit_id}
            found.append((one.from_ms, _happening(one.from_ms, one.to_ms, fields)))
    found.sort(key=lambda pair: pair[0])
    return [event for _, event in found]


def _happening(from_ms: int, to_ms: int | None, fields: dict[str, Any]) -> dict[str, Any]:
    to = None if to_ms is None else utc_text(to_ms)
    return {"from": utc_text(from_ms), "to": to, **fields, "do": fields["do"]}


def _bad_payloads(simulation: Simulation) -> dict[str, int]:
    counted: Counter[str] = Counter()
    for event in simulation.scenario.event:
        if isinstance(event, events.Garbage):
            counted["garbage"] += 1
        elif isinstance(event, events.Fault):
            counted[event.code] += event.count
    return dict(sorted(counted.items()))
