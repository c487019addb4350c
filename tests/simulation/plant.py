"""A shop whose fish has a true temperature: cases and a freezer, and what happens to them.

Each unit has air that follows its compressor, and fish that follows the air. Pure: what a week's
troubles make of the temperatures; what the probes send of them is :mod:`simulation.week`'s.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rimewatch.config import load_shop
from rimewatch.shop import Shop
from simulation.world import HOUR, MINUTE, S

ROOM_C: Final = 22.0
CASES: Final = ("case-1", "case-2", "case-3")
FREEZER: Final = "freezer-1"
UNITS: Final = ("case-1", "case-2", FREEZER)
"""Those that are always there; ``case-3`` comes and goes in some weeks."""
PROBES: Final = {"case-1": "one", "case-2": "two", "case-3": "three", FREEZER: "cold"}
"""Each unit's topic."""
CASE_SET_C: Final = 1.0
DEFROST_C: Final = 9.0
DOOR_C: Final = 14.0
COOLS_H: Final = 0.3
"""Time constant of the air while something drives it."""
WARMS_H: Final = {"case-1": 3.0, "case-2": 3.5, "case-3": 3.2, FREEZER: 9.0}
"""Time constants of the air without cooling."""
FISH_LAG_S: Final = 1200.0
LIMIT_C: Final = {"case-1": 5.0, "case-2": 5.0, "case-3": 5.0, FREEZER: -18.0}
FURTHER_C: Final = dict.fromkeys(CASES, (10.0, 21.1)) | {FREEZER: (-12.0, -5.0, 0.0)}
"""The further lines of fish that is too warm: at each, whoever knows is told once more."""
ON_DELAY_MS: Final = 15 * MINUTE
REPEAT_MS: Final = 15 * MINUTE

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "{zone}"
[broker]
url = "mqtt://127.0.0.1:1883"
[[contact]]
id = "{contact}"
name = "On call"
urls = ["{address}"]
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
[[escalation]]
after_s = 0
contacts = ["{contact}"]
repeat_s = 900
"""
UNIT: Final = """
[[unit]]
id = "{unit}"
name = "{name}"
kind = "{kind}"
limit_c = {limit_c}
on_delay_s = 900
lag_s = {lag_s}
[[probe]]
id = "{probe}"
unit = "{unit}"
measures = "{measures}"
topic = "{topic}"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = {every_s}
uncertainty_c = {uncertainty_c}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """How the shop is configured; a reload changes one of these."""

    zone: str
    every_s: int
    contact: str = "first"
    address: str = "json://127.0.0.1:9000/first"
    limit_c: float = 5.0
    """Of the first case."""
    uncertainty_c: float = 0.3
    """Of its probe."""
    probe: str = "one"
    """The id of its probe: another one is put in its place on the same topic."""
    name: str = "Front case"
    has_third: bool = False

    def shop(self) -> Shop:
        """Return the shop."""
        text = SHOP.format(zone=self.zone, contact=self.contact, address=self.address)
        units = [*UNITS, "case-3"] if self.has_third else UNITS
        for unit in units:
            is_first = unit == "case-1"
            text += UNIT.format(
                unit=unit,
                name=self.name if is_first else unit,
                kind="freezer" if unit == FREEZER else "display-case",
                limit_c=self.limit_c if is_first else LIMIT_C[unit],
                lag_s=FISH_LAG_S if is_first else 0,
                probe=self.probe if is_first else PROBES[unit],
                measures="air" if is_first else "product",
                topic=PROBES[unit],
                every_s=self.every_s,
                uncertainty_c=self.uncertainty_c if is_first else 0.3,
            )
        return load_shop(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Something that goes wrong for a while, or a thing of every day."""

    what: str
    """power, compressor, defrost or door; or of the probe: silence, backlog, stopped, slow,
    late, ahead or gap."""
    units: tuple[str, ...]
    from_ms: int
    to_ms: int

    def holds(self, at_ms: int) -> bool:
        """Whether it does at an instant."""
        return self.from_ms <= at_ms < self.to_ms


EVERY_DAY: Final = frozenset({"defrost", "door", "gap"})
"""What a sound shop has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A unit's true temperatures, one a step."""

    air_c: Sequence[float]
    fish_c: Sequence[float]


def course(
    unit: str,
    troubles: Sequence[Trouble],
    *,
    set_c: float,
    start_ms: int,
    steps: int,
    every_ms: int,
    chance: random.Random,
) -> Course:
    """Return what the troubles make of a unit's temperatures."""
    air_c = fish_c = set_c
    airs, fishes = [], []
    own = [trouble for trouble in troubles if unit in trouble.units]
    for step in range(steps):
        at_ms = start_ms + step * every_ms
        now = {trouble.what for trouble in own if trouble.holds(at_ms)}
        goal_c, tau_h = set_c + chance.uniform(-0.5, 0.5), COOLS_H
        if now & {"power", "compressor"}:
            goal_c, tau_h = ROOM_C, WARMS_H[unit]
        elif "defrost" in now:
            goal_c = DEFROST_C
        elif "door" in now:
            goal_c = DOOR_C
        air_c += (goal_c - air_c) * min(1.0, every_ms / HOUR / tau_h)
        fish_c += (air_c - fish_c) * min(1.0, every_ms / S / FISH_LAG_S)
        airs.append(air_c)
        fishes.append(fish_c)
    return Course(air_c=airs, fish_c=fishes)
