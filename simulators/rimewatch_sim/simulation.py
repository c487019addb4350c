"""Run a scenario: the truth in every unit, and the trace that arrives of it.

Pure, given the seed: no clock; the same scenario and seed give the same bytes.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Final

from rimewatch_sim import events
from rimewatch_sim.chance import stream
from rimewatch_sim.plant import History, Plant, run
from rimewatch_sim.scenario import Scenario, UnitModel
from rimewatch_sim.schedule import (
    ProbePlan,
    UnitPlan,
    ambient,
    inputs_of,
    plan_probe,
    plan_unit,
)
from rimewatch_sim.sensing import Message, door_messages, temperature_messages
from rimewatch_sim.trace import TraceLine, write_lines

_WARM_UP_S: Final = 6 * 3600
"""Every unit runs alone this long before the start, to be in its own rhythm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """A scenario that has been run."""

    scenario: Scenario
    seed: int
    plans: Mapping[str, UnitPlan]
    probe_plans: Mapping[str, ProbePlan]
    histories: Mapping[str, History]

    def lines(self) -> list[TraceLine]:
        """Return the trace in order of arrival; what arrives after the end is left out."""
        found = [
            TraceLine(at_ms=message.at_ms, topic=message.topic, payload=message.payload)
            for message in self._messages()
        ]
        scenario = self.scenario
        found.extend(
            TraceLine(at_ms=scenario.at_ms(entry.at), entry=entry.fields())
            for entry in scenario.entry
        )
        found.sort(key=lambda line: line.at_ms)  # stable: equal times keep their order
        return [line for line in found if line.at_ms < scenario.end_ms]

    def _messages(self) -> Iterator[Message]:
        for probe in self.scenario.probe:
            plan = self.probe_plans[probe.id]
            if probe.measures == "door":
                doors = self.plans[probe.unit].doors
                yield from door_messages(self.scenario, probe, plan, doors, seed=self.seed)
            else:
                history = self.histories[probe.unit]
                yield from temperature_messages(self.scenario, probe, plan, history, seed=self.seed)
        for event in self.scenario.event:
            if isinstance(event, events.Garbage):
                at_ms = self.scenario.at_ms(event.at)
                yield Message(at_ms=at_ms, topic=event.topic, payload=event.sent())


def simulate(scenario: Scenario, *, seed: int | None = None) -> Simulation:
    """Run a scenario.

    Args:
        scenario: What happens.
        seed: In place of the scenario's own; None: its own.
    """
    chosen = scenario.seed if seed is None else seed
    plans = {unit.id: plan_unit(scenario, unit, seed=chosen) for unit in scenario.unit}
    ambient_c = ambient(scenario)
    histories: dict[str, History] = {}
    for unit in scenario.unit:
        plant = _warmed_up(scenario, unit, ambient_c[0], seed=chosen)
        histories[unit.id] = run(plant, inputs_of(scenario, plans[unit.id], ambient_c))
    return Simulation(
        scenario=scenario,
        seed=chosen,
        plans=plans,
        probe_plans={probe.id: plan_probe(scenario, probe) for probe in scenario.probe},
        histories=histories,
    )


def _warmed_up(scenario: Scenario, unit: UnitModel, ambient_c: float, *, seed: int) -> Plant:
    plant = Plant(unit.plant.spec(), step_s=float(scenario.step_s))
    extra_s = stream(seed, f"warm-up/{unit.id}").randrange(3600)
    for _ in range((_WARM_UP_S + extra_s) // scenario.step_s):
        plant.step(ambient_c=ambient_c, door=False, defrost=False, power_off=False, capacity=64)
    return plant


def trace_lines(scenario: Scenario, *, seed: int | None = None) -> Iterator[TraceLine]:
    """Yield the trace of a scenario in order of arrival."""
    yield from simulate(scenario, seed=seed).lines()


def write_trace(scenario: Scenario, file: IO[str], *, seed: int | None = None) -> int:
    """Write the trace of a scenario to an open text file and return its number of lines."""
    return write_lines(trace_lines(scenario, seed=seed), file)
