"""Simulated cold: a thermal plant, scenarios with their ground truth, and a player.

>>> from rimewatch_sim import load_scenario, simulate
>>> simulate(load_scenario("quiet-night")).lines()[0].topic is not None
True
"""

from rimewatch_sim.labels import labels_of
from rimewatch_sim.library import load_scenario, names
from rimewatch_sim.player import Played, Player, Progress
from rimewatch_sim.publisher import MqttPublisher, PublishError
from rimewatch_sim.scenario import Scenario, ScenarioError, parse_scenario
from rimewatch_sim.simulation import Simulation, simulate, trace_lines, write_trace
from rimewatch_sim.trace import TraceError, TraceLine, read_lines, write_lines

__all__ = [
    "MqttPublisher",
    "Played",
    "Player",
    "Progress",
    "PublishError",
    "Scenario",
    "ScenarioError",
    "Simulation",
    "TraceError",
    "TraceLine",
    "labels_of",
    "load_scenario",
    "names",
    "parse_scenario",
    "read_lines",
    "simulate",
    "trace_lines",
    "write_lines",
    "write_trace",
]
