"""The five refrigerated units keep their heat, and come to what closed forms say.

References:
    [1] Incropera, F. P. & DeWitt, D. P., Fundamentals of Heat and Mass Transfer, section 5.1: a
        lumped capacity follows its surroundings exponentially; from memory.
    [2] FAO Fisheries Technical Paper 340 (1994), ch. 19, table 31: heat in fish through freezing,
        as ``rimewatch_sim.fish`` has it.
"""

from collections.abc import Callable
from math import exp, inf

import pytest

from rimewatch_sim import fish
from rimewatch_sim.plants.bodies import (
    Body,
    Case,
    Drive,
    Freezer,
    IceBed,
    LayeredCase,
    Sizes,
    WalkIn,
)
from rimewatch_sim.plants.draw import LIMIT_OF, MOST_ORDINARY_C, draw_shop
from rimewatch_sim.plants.running import DAY_S, STEP_S, Trouble, run
from rimewatch_sim.plants.sensing import config_of, courses, said

TIGHT = Sizes(leak_s=inf, fish_s=3600.0, fish_share=1.5, power=0.01)
"""A unit into which nothing leaks."""
NOTHING = Drive()


def held(body: Body, seconds: int, drive: Drive = NOTHING) -> None:
    """Let a body be for some time."""
    for _ in range(0, seconds, STEP_S):
        body.step(drive, STEP_S)


def heat_of_case(case: Case) -> float:
    """Return the heat in a case, in K of its air's capacity."""
    return case.air_c + case.sizes.fish_share * case.fish_c


def heat_of_layers(case: LayeredCase) -> float:
    """Return the same of one with two layers of one capacity each."""
    return case.upper_c + case.lower_c + case.sizes.fish_share * case.fish_c


def heat_of_walk_in(room: WalkIn) -> float:
    """Return the same of a walk-in with its walls and its coil."""
    of = room.sizes
    return (
        room.air_c
        + of.fish_share * room.fish_c
        + of.wall_share * room.wall_c
        + of.coil_share * room.coil_c
    )


def heat_of_freezer(freezer: Freezer) -> float:
    """Return the same of a freezer, its fish by the table [2]: a third outside, the rest within."""
    of, per_k = freezer.sizes, fish.CAPACITIES_J_PER_KG_K[fish.band_of(-18.0)]
    outside, inside = (fish.heat_j_per_kg(c) for c in (freezer.fish_c, freezer.core_c))
    in_fish = (outside / 3.0 + inside * 2.0 / 3.0) / per_k
    return freezer.air_c + of.coil_share * freezer.coil_c + of.fish_share * in_fish


def warm_case() -> Case:
    """Return a case whose air is warmer than its fish."""
    case = Case(TIGHT, 0.0)
    case.air_c = 12.0
    return case


def warm_layers() -> LayeredCase:
    """Return the same with two layers."""
    case = LayeredCase(TIGHT, 0.0, probe_high=True)
    case.upper_c = 12.0
    return case


def warm_walk_in() -> WalkIn:
    """Return a walk-in whose air is warmer than its fish, walls and coil."""
    room = WalkIn(TIGHT, 0.0)
    room.air_c = 12.0
    return room


def thawing_freezer() -> Freezer:
    """Return a freezer whose coil holds heat enough to thaw some of its fish."""
    freezer = Freezer(Sizes(leak_s=inf, fish_s=3600.0, fish_share=1.0, power=0.01), -6.0)
    freezer.coil_c = 300.0
    return freezer


@pytest.mark.parametrize(
    ("make", "heat"),
    [
        pytest.param(warm_case, heat_of_case, id="case"),
        pytest.param(warm_layers, heat_of_layers, id="layered case"),
        pytest.param(warm_walk_in, heat_of_walk_in, id="walk-in"),
        pytest.param(thawing_freezer, heat_of_freezer, id="freezer, through its latent heat"),
    ],
)
def test_a_unit_into_which_nothing_leaks_keeps_its_heat(
    make: Callable[[], Body], heat: Callable[[Body], float]
) -> None:
    """What one body loses another gains, to rounding, for twelve hours."""
    body = make()
    before = heat(body)
    held(body, 12 * 3600)

    assert heat(body) == pytest.approx(before, abs=1e-6)


def test_air_and_fish_come_together_as_two_lumped_capacities_do() -> None:
    """Their difference falls with e^(-(1 + share)·t/τ) [1]."""
    case = warm_case()
    for hours in (0.25, 0.5, 1.0):
        case = warm_case()
        held(case, round(hours * 3600))
        rate = (1.0 + TIGHT.fish_share) / TIGHT.fish_s
        assert case.air_c - case.fish_c == pytest.approx(
            12.0 * exp(-rate * hours * 3600.0), rel=0.02
        )


def test_what_a_compressor_takes_is_its_power() -> None:
    """An hour of full work takes so many kelvins of the air's capacity out of the unit."""
    case = warm_case()
    before = heat_of_case(case)
    held(case, 3600, Drive(cooling=1.0))

    assert before - heat_of_case(case) == pytest.approx(TIGHT.power * 3600.0)


def test_fish_that_thaws_stays_near_its_freezing_point_while_it_takes_its_latent_heat() -> None:
    """In air of 20 °C, held there: most of the heat to 0 °C goes in above −5 °C [2]."""
    freezer = Freezer(Sizes(leak_s=inf, fish_s=3600.0, fish_share=1.0, power=0.01), -18.0)
    plateau_s = warming_s = 0
    while freezer.core_c < -0.5:
        freezer.air_c = 20.0
        freezer.step(NOTHING, STEP_S)
        warming_s += STEP_S
        plateau_s += STEP_S * (freezer.core_c > -5.0)
    latent = fish.heat_j_per_kg(-0.5) - fish.heat_j_per_kg(-5.0)
    whole = fish.heat_j_per_kg(-0.5) - fish.heat_j_per_kg(-18.0)

    assert latent / whole > 0.6
    assert plateau_s / warming_s > 0.6


def test_fish_on_ice_settles_between_its_air_and_the_ice() -> None:
    """In the ratio of the conductances, 1 to 1.2, while there is ice; at the air's without."""
    bed = IceBed(TIGHT, 4.0)
    for _ in range(0, 6 * 3600, STEP_S):
        bed.air_c = 4.4
        bed.step(NOTHING, STEP_S)
    assert bed.fish_c == pytest.approx(4.4 / 2.2, abs=0.02)
    bed.ice = 0.0
    for _ in range(0, 10 * 3600, STEP_S):
        bed.air_c = 4.4
        bed.step(NOTHING, STEP_S)
    assert bed.fish_c == pytest.approx(4.4, abs=0.02)


def test_shops_of_a_seed_are_the_same_and_of_others_are_not() -> None:
    """Given the seed there is no chance."""
    assert config_of(draw_shop(6)) == config_of(draw_shop(6))
    assert config_of(draw_shop(6)) != config_of(draw_shop(8))
    plan = draw_shop(6, days=1)
    assert said(plan, courses(plan)) == said(plan, courses(plan))


@pytest.mark.parametrize("seed", [2, 6, 8])
def test_ordinary_days_are_safe(seed: int) -> None:
    """Without a failure the fish stays below its limit by what a shop would set."""
    for unit in draw_shop(seed).units:
        life = unit.life(False)
        if not unit.failures and not life.outages:
            assert max(run(life, 2 * DAY_S).fish_c) <= LIMIT_OF[unit.kind] - MOST_ORDINARY_C + 0.5


def test_a_compressor_that_stops_warms_the_fish_past_its_limit() -> None:
    """Within a day, where nobody mends it and no power cut came before."""
    plans = [plan for seed in range(0, 60, 2) if not (plan := draw_shop(seed)).outages]
    failed = [
        (unit, one)
        for plan in plans
        for unit in plan.units
        for one in unit.failures
        if one.what is Trouble.COMPRESSOR
    ]
    assert failed
    unit, failure = failed[0]
    course = run(unit.life(True), failure.from_s + DAY_S)
    assert max(course.fish_c[: round(failure.from_s) // STEP_S]) < unit.limit_c
    assert course.fish_c[-1] > unit.limit_c
