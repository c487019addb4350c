"""The simulator's manual against the simulator."""

import re
from pathlib import Path
from typing import get_args

import pytest

from rimewatch_sim import cli, parse_scenario, simulate
from rimewatch_sim.events import AnyEvent
from rimewatch_sim.models import Strict

MANUAL = (Path(__file__).parents[3] / "simulators" / "README.md").read_text(encoding="utf-8")

EVENTS: list[type[Strict]] = list(get_args(get_args(AnyEvent)[0]))


@pytest.mark.parametrize("event", EVENTS, ids=lambda event: event.__name__)
def test_manual_names_each_event_with_all_its_keys(event: type[Strict]) -> None:
    """Who writes a scenario finds every event and every key in the table."""
    names = get_args(event.model_fields["do"].annotation)
    keys = {key for key in event.model_fields if key not in ("at", "do")}
    row = next(line for line in MANUAL.splitlines() if line.startswith(f"| `{names[0]}`"))
    written = row.split("|")

    assert set(re.findall(r"`([^`]+)`", written[1])) == set(names)
    assert set(re.findall(r"`([^`]+)`", written[3])) == keys


def test_manual_shows_every_command() -> None:
    """Each command stands in the manual's first lines."""
    assert set(re.findall(r"^rimewatch-sim (\w+)", MANUAL, re.MULTILINE)) == set(cli.cli.commands)


def test_scenario_in_the_manual_can_be_run() -> None:
    """What is shown can be copied."""
    shown = MANUAL.split("```toml\n")[1].split("```")[0]
    simulation = simulate(parse_scenario(shown, source="README.md"))

    assert any(line.entry for line in simulation.lines())
