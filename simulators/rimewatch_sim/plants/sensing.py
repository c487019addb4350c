"""What a drawn shop's probes say of it, and the configuration its owner would type.

Pure, given the seed: no I/O, no clock.

References:
    [1] Gilbert, E. N. (1960), as in ``draw``.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Final

from rimewatch_sim.chance import stream
from rimewatch_sim.plants.draw import ProbePlan, ShopPlan, UnitPlan
from rimewatch_sim.plants.running import STEP_S, Course, run


@dataclass(frozen=True, slots=True)
class Said:
    """One message of a probe."""

    at_s: int
    probe: str
    celsius: float


def unit_id(number: int) -> str:
    """Return the name of a shop's unit in its configuration."""
    return f"unit-{number}"


def courses(shop: ShopPlan) -> list[Course]:
    """Return the truth of each unit."""
    return [run(unit.life(False), shop.days * 86_400) for unit in shop.units]  # noqa: FBT003


def said(shop: ShopPlan, truth: list[Course]) -> list[Said]:
    """Return what all probes said, in order of time."""
    found: list[Said] = []
    for number, (unit, course) in enumerate(zip(shop.units, truth, strict=True)):
        for probe in unit.probes:
            chance = stream(shop.seed, f"plants/probe/{number}/{probe.measures}")
            name = f"{unit_id(number)}-{probe.measures}"
            found.extend(Said(at_s, name, c) for at_s, c in _heard(shop, probe, course, chance))
    return sorted(found, key=lambda one: (one.at_s, one.probe))


def _heard(
    shop: ShopPlan, probe: ProbePlan, course: Course, chance: Random
) -> Iterator[tuple[int, float]]:
    values = course.fish_c if probe.measures == "product" else course.air_c
    keep, seen_c = math.exp(-STEP_S / probe.lag_s), values[0]
    next_s = float(chance.randrange(probe.every_s))
    burst_s = chance.expovariate(1.0 / probe.burst_every_s)
    burst_ends_s = burst_s + chance.expovariate(1.0 / probe.burst_s)
    for place, value in enumerate(values):
        at_s = place * STEP_S
        seen_c = value + (seen_c - value) * keep
        if at_s < next_s:
            continue
        next_s += probe.every_s
        if at_s >= burst_ends_s:
            burst_s = at_s + chance.expovariate(1.0 / probe.burst_every_s)
            burst_ends_s = burst_s + chance.expovariate(1.0 / probe.burst_s)
        noise_c = chance.gauss(0.0, probe.noise_c)
        lost = chance.random() < probe.lost or at_s >= burst_s
        dark = shop.hub_dies and any(start <= at_s < end for start, end in shop.outages)
        if not lost and not dark:
            celsius = seen_c + probe.offset_c + noise_c
            yield at_s, round(round(celsius / probe.step_c) * probe.step_c, 3)


_SHOP: Final = """[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9000/"]
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""


def config_of(shop: ShopPlan, *, kinds_only: bool = False) -> str:
    """Return the configuration that the shop's owner would type: no defrost is in it.

    Args:
        shop: The shop.
        kinds_only: Leave even the lag out.
    """
    units = enumerate(shop.units)
    return "\n".join(
        [_SHOP, *(_unit_table(unit_id(n), u, kinds_only=kinds_only) for n, u in units)]
    )


def _unit_table(name: str, unit: UnitPlan, *, kinds_only: bool) -> str:
    lag = "" if kinds_only or unit.lag_is == "default" else f"lag_s = {unit.typed_lag_s:.0f}\n"
    table = f'[[unit]]\nid = "{name}"\nname = "{name}"\nkind = "{unit.kind}"\n{lag}'
    for probe in unit.probes:
        table += (
            f'[[probe]]\nid = "{name}-{probe.measures}"\nunit = "{name}"\n'
            f'measures = "{probe.measures}"\ntopic = "shop/{name}/{probe.measures}"\n'
            f'format = "number"\nscale = "C"\nevery_s = {probe.every_s}\n'
        )
    return table
