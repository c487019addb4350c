"""Draws a shop of a seed: which plants it has, how large, how they defrost, what befalls them.

Everything is drawn wide and apart from everything else. Ranges are our choice; what was taken
from somewhere says so. Pure, given the seed.

References:
    [1] Gilbert, E. N. (1960). Capacity of a burst-noise channel. Bell System Technical Journal
        39, 1253-1265: losses that come in bursts.
    [2] ASHRAE Handbook, Refrigeration (2018), ch. 15: display cases are defrosted by off-cycle,
        electric or hot gas, one to several times a day; chapter from memory, numbers not taken.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random
from typing import Final

from rimewatch_sim.chance import stream
from rimewatch_sim.plants.bodies import Body, Case, Freezer, IceBed, LayeredCase, Sizes, WalkIn
from rimewatch_sim.plants.running import (
    DAY_S,
    Defrosting,
    Failure,
    Life,
    Melting,
    Trouble,
    run,
)

DAYS: Final = 7
UNITS: Final = 3

CASES: Final = ("case", "ice bed", "layered case")
PLANTS: Final = (*CASES, "walk-in", "freezer")
KIND_OF: Final = {
    "case": "display-case",
    "ice bed": "display-case",
    "layered case": "display-case",
    "walk-in": "walk-in",
    "freezer": "freezer",
}
LIMIT_OF: Final = {"display-case": 5.0, "walk-in": 5.0, "freezer": -18.0}
PROBES: Final = ("air", "glycol", "product", "air and product")
MOST_ORDINARY_C: Final = 0.7
"""A shop sets its thermostat so that on ordinary days the fish stays this far below its limit."""
MEND_AFTER_H: Final = (6.0, 20.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbePlan:
    """One probe."""

    measures: str
    """As the shop would type it: ``air`` or ``product``."""
    every_s: int
    step_c: float
    noise_c: float
    lag_s: float
    """Of the sensor, or of the bottle of glycol it stands in."""
    offset_c: float
    """Badly placed, or warmed by its own current."""
    lost: float
    """Chance that a message is lost in a good stretch."""
    burst_every_s: float
    burst_s: float
    """How often the radio fails altogether, and for how long [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlan:
    """One unit of a shop."""

    plant: str
    probe_kind: str
    sizes: Sizes
    true_lag_s: float
    typed_lag_s: float
    """What the shop typed into its configuration."""
    lag_is: str
    """``guessed``, ``default`` or ``true``."""
    probes: tuple[ProbePlan, ...]
    life: Callable[[bool], Life]
    """A life from its beginning; True: nobody mends what breaks."""
    failures: tuple[Failure, ...]

    @property
    def kind(self) -> str:
        """The unit's kind in the configuration."""
        return KIND_OF[self.plant]

    @property
    def limit_c(self) -> float:
        """Its critical limit, °C."""
        return LIMIT_OF[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopPlan:
    """A shop of a seed."""

    seed: int
    days: int
    units: tuple[UnitPlan, ...]
    outages: tuple[tuple[float, float], ...]
    hub_dies: bool
    """Without power the hub says nothing, and what was measured is lost."""
    has_lots: bool
    """The shop enters its lots: fish is known to be at stake."""


def draw_shop(seed: int, *, days: int = DAYS, lag: str | None = None) -> ShopPlan:
    """Return the shop of a seed, the same for ever.

    Args:
        seed: Even ones for working on the rules, odd ones for publishing.
        days: How long it is followed.
        lag: ``guessed``, ``default`` or ``true``; None: drawn, and guessed in most.
    """
    chance = stream(seed, "plants/shop")
    outages: tuple[tuple[float, float], ...] = ()
    if chance.random() < 0.15:
        from_s = chance.uniform(1.0, days - 0.6) * DAY_S
        outages = ((from_s, from_s + _log(chance, 1200.0, 8.0 * 3600.0)),)
    room_c, hub_dies, has_lots = (
        chance.uniform(15.0, 29.0), chance.random() < 0.5, chance.random() < 0.6
    )  # fmt: skip
    units = tuple(
        _unit(stream(seed, f"plants/unit/{n}"), room_c, days, outages, lag) for n in range(UNITS)
    )
    return ShopPlan(
        seed=seed, days=days, units=units, outages=outages, hub_dies=hub_dies, has_lots=has_lots
    )


def _log(chance: Random, low: float, high: float) -> float:
    return math.exp(chance.uniform(math.log(low), math.log(high)))


def _unit(
    chance: Random,
    room_c: float,
    days: int,
    outages: tuple[tuple[float, float], ...],
    lag: str | None,
) -> UnitPlan:
    plant = chance.choice(PLANTS)
    frozen = plant == "freezer"
    fish_s = _log(chance, 3600.0, 4.0 * 3600.0) if frozen else _log(chance, 1200.0, 6000.0)
    leak_s = (
        _log(chance, 3.0, 9.0) if plant in ("freezer", "walk-in") else _log(chance, 0.9, 3.0)
    ) * 3600.0
    length_s = _log(chance, 15.0, 40.0) * 60.0
    defrosting = _defrosting(chance, plant, length_s)
    coil_share = chance.uniform(0.15, 0.4)
    heater = coil_share * (40.0 if frozen else 22.0) / (0.45 * length_s)
    if defrosting.ends_at_c is not None:
        frost_a_h = heater * 0.35 * length_s / (defrosting.every_s / 3600.0)
        defrosting = replace(defrosting, frost_a_h=frost_a_h, length_s=1.4 * length_s)
    duty = chance.uniform(0.3, 0.7)
    set_c = chance.uniform(-25.0, -20.5) if frozen else chance.uniform(-0.5, 2.0)
    sizes = Sizes(
        leak_s=leak_s,
        fish_s=fish_s,
        fish_share=_log(chance, 0.4, 4.0),
        power=(room_c - set_c) / leak_s / duty,
        wall_s=_log(chance, 1800.0, 3.0 * 3600.0),
        wall_share=chance.uniform(0.5, 3.0),
        coil_s=chance.uniform(120.0, 240.0) if plant == "layered case" else chance.uniform(60, 150),
        coil_share=coil_share,
        heater=heater if plant in ("freezer", "walk-in") else (room_c - set_c) / leak_s * 0.7,
    )
    probe_high = chance.random() < 0.6
    failures = _failures(chance, plant, days)
    doors = _doors(chance, plant, days)
    loads = tuple(
        (day * DAY_S + chance.uniform(6.0, 11.0) * 3600.0,
         chance.uniform(-16.0, -5.0) if frozen else chance.uniform(4.0, 10.0),
         chance.uniform(0.1, 0.8))
        for day in range(days) if chance.random() < 0.5
    )  # fmt: skip
    base = Life(
        body=_body(plant, sizes, set_c, probe_high=probe_high),
        set_c=set_c,
        band_c=chance.uniform(0.8, 3.5),
        modulated=chance.random() < 0.25,
        ambient_c=room_c,
        ambient_swing_c=chance.uniform(0.3, 3.0),
        ambient_drift_c=chance.uniform(-2.0, 4.0),
        defrosting=defrosting,
        doors=doors,
        door_leak=_log(chance, 3.0, 10.0),
        curtain=(chance.uniform(18.0, 21.0), chance.uniform(6.0, 9.0), chance.uniform(0.4, 0.9))
        if plant in CASES
        else (24.0, 0.0, 1.0),
        loads=loads,
        failures=failures,
        outages=outages,
    )
    lower_c, stronger = _fitted(base, plant, probe_high=probe_high)
    sizes = replace(sizes, power=stronger * sizes.power)

    def life(unmended: bool = False) -> Life:  # noqa: FBT001, FBT002 - a life has one question
        ends = tuple(replace(one, to_s=math.inf) for one in failures) if unmended else failures
        start_c = set_c - lower_c
        return replace(
            base,
            body=_body(plant, sizes, start_c, probe_high=probe_high),
            set_c=start_c,
            failures=ends,
        )

    probe_kind = chance.choice(PROBES)
    lag_is = lag or chance.choices(("guessed", "default", "true"), (0.6, 0.25, 0.15))[0]
    # On ice the fish follows the air with less than half the way, and faster: its own lag alone.
    true_lag_s = fish_s / 2.2 if plant == "ice bed" else fish_s
    typed_lag_s = {"guessed": 0.6 * true_lag_s, "default": 1200.0, "true": true_lag_s}[lag_is]
    return UnitPlan(
        plant=plant,
        probe_kind=probe_kind,
        sizes=sizes,
        true_lag_s=true_lag_s,
        typed_lag_s=round(typed_lag_s),
        lag_is=lag_is,
        probes=tuple(_probe(chance, kind) for kind in probe_kind.split(" and ")),
        life=life,
        failures=failures,
    )


def _fitted(base: Life, plant: str, *, probe_high: bool) -> tuple[float, float]:
    """Return how much lower the set point, and how many times stronger the compressor, must be.

    For ordinary days to be safe: a shop whose fish is too warm every day has that mended first.
    """
    lower_c, stronger = 0.0, 1.0
    for _ in range(4):
        sizes = replace(base.body.sizes, power=stronger * base.body.sizes.power)
        set_c = base.set_c - lower_c
        body = _body(plant, sizes, set_c, probe_high=probe_high)
        tried = run(replace(base, body=body, set_c=set_c, failures=(), outages=()), 2.0 * DAY_S)
        over_c = max(tried.fish_c) - (LIMIT_OF[KIND_OF[plant]] - MOST_ORDINARY_C)
        if over_c <= 0.0:
            break
        lower_c, stronger = lower_c + min(over_c, 1.5) + 0.2, 1.3 * stronger
    return lower_c, stronger


def _body(plant: str, sizes: Sizes, start_c: float, *, probe_high: bool) -> Body:
    match plant:
        case "case":
            return Case(sizes, start_c)
        case "ice bed":
            return IceBed(sizes, start_c)
        case "layered case":
            return LayeredCase(sizes, start_c, probe_high=probe_high)
        case "walk-in":
            return WalkIn(sizes, start_c)
        case _:
            return Freezer(sizes, start_c)


def _defrosting(chance: Random, plant: str, length_s: float) -> Defrosting:
    if plant == "freezer":
        how = chance.choice((Melting.ELECTRIC, Melting.HOT_GAS))
    elif plant == "walk-in":
        how = chance.choice(tuple(Melting))
    else:
        how = chance.choice((Melting.OFF_CYCLE, Melting.OFF_CYCLE, Melting.ELECTRIC))
    by_run = chance.random() < 0.25
    every_h = chance.choice((4.0, 6.0, 8.0, 12.0, 24.0))
    coil_ends = plant in ("freezer", "walk-in") and how is not Melting.OFF_CYCLE
    return Defrosting(
        how=how,
        first_s=chance.uniform(0.5, every_h) * 3600.0,
        every_s=every_h * 3600.0 * (chance.uniform(0.4, 0.6) if by_run else 1.0),
        by_run=by_run,
        length_s=length_s,
        ends_at_c=chance.uniform(7.0, 13.0) if coil_ends else None,
        frost_a_h=0.1,
        drip_s=chance.uniform(0.0, 300.0),
        fan_waits=coil_ends,
    )


def _doors(chance: Random, plant: str, days: int) -> tuple[tuple[float, float], ...]:
    a_day = chance.uniform(5.0, 40.0) if plant != "freezer" else chance.uniform(2.0, 15.0)
    doors: list[tuple[float, float]] = []
    for day in range(days):
        for _ in range(round(a_day)):
            from_s = day * DAY_S + chance.uniform(7.0, 19.5) * 3600.0
            long = chance.random() < 0.04
            lasts_s = chance.uniform(300.0, 900.0) if long else _log(chance, 5.0, 90.0)
            doors.append((from_s, from_s + lasts_s))
    return tuple(sorted(doors))


def _failures(chance: Random, plant: str, days: int) -> tuple[Failure, ...]:
    if chance.random() > 0.4:
        return ()
    what = chance.choice(
        [one for one in Trouble if one is not Trouble.HEATER or plant == "freezer"]
    )
    from_s = chance.uniform(0.3, days - 1.0) * DAY_S
    pace_s, more_h = 0.0, chance.uniform(*MEND_AFTER_H)
    if what in (Trouble.LEAK, Trouble.ICING):
        pace_s = _log(chance, 4.0 * 3600.0, 30.0 * 3600.0)
        more_h += 1.5 * pace_s / 3600.0
    return (Failure(what=what, from_s=from_s, to_s=from_s + 3600.0 * more_h, pace_s=pace_s),)


def _probe(chance: Random, kind: str) -> ProbePlan:
    lag_s = {
        "air": chance.uniform(15.0, 150.0),
        "glycol": chance.uniform(300.0, 900.0),
        "product": chance.uniform(30.0, 120.0),
    }[kind]
    offset_c = chance.gauss(0.0, 0.15) + (chance.uniform(0.05, 0.3) if chance.random() < 0.2 else 0)
    return ProbePlan(
        measures="product" if kind == "product" else "air",
        every_s=chance.choice((10, 15, 30, 60, 60, 120, 300, 300, 600, 900)),
        step_c=chance.choice((0.06, 0.1, 0.25, 0.5)),
        noise_c=_log(chance, 0.01, 0.12),
        lag_s=lag_s,
        offset_c=offset_c,
        lost=chance.choice((0.0, 0.0, 0.01, 0.05)),
        burst_every_s=_log(chance, 6.0, 72.0) * 3600.0,
        burst_s=_log(chance, 2.0, 40.0) * 60.0,
    )
