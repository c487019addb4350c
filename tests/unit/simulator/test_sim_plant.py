"""The plant against outside references: an ODE solver, closed forms, and the books of heat."""

import dataclasses
import math
from array import array
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rimewatch_sim.fish import CAPACITIES_J_PER_KG_K, band_of
from rimewatch_sim.plant import Inputs, Loading, Plant, PlantSpec, run

CASE = PlantSpec(
    air_j_per_k=30_000.0,
    fixtures_j_per_k=90_000.0,
    fixtures_w_per_k=30.0,
    leak_w_per_k=8.0,
    door_w_per_k=28.0,
    fish_kg=15.0,
    fish_lag_s=2400.0,
    evaporator_w_per_k=45.0,
    evaporator_c=-8.0,
    set_c=1.0,
    hysteresis_c=1.6,
    heater_w=120.0,
)


def step(plant: Plant, **changes: Any) -> None:
    """Step a plant on which nothing happens but what is named."""
    usual = {
        "ambient_c": 20.0,
        "door": False,
        "defrost": False,
        "power_off": False,
        "capacity": 64,
    }
    plant.step(**{**usual, **changes})


@pytest.mark.parametrize(
    ("changes", "stir", "door_w_per_k", "cooling_w_per_k", "heat_w"),
    [
        ({}, 1.0, 0.0, 45.0, 0.0),
        ({"capacity": 16}, 1.0, 0.0, 45.0 / 4, 0.0),
        ({"door": True}, 1.0, 28.0, 45.0, 0.0),
        ({"power_off": True}, 0.4, 0.0, 0.0, 0.0),
        ({"defrost": True}, 0.4, 0.0, 0.0, 120.0),
    ],
    ids=["cooling", "weak", "door", "no-power", "defrost"],
)
def test_unit_in_each_mode_follows_its_equations(
    changes: dict[str, Any], stir: float, door_w_per_k: float, cooling_w_per_k: float, heat_w: float
) -> None:
    """An hour of the plant is what an outside solver makes of the same equations."""
    spec = dataclasses.replace(CASE, set_c=0.2, hysteresis_c=0.1)
    plant = Plant(spec, step_s=10.0)
    plant.celsius = [9.0, 5.0, 3.0]  # warm enough that the compressor wants to run throughout
    kg_j = spec.fish_kg * CAPACITIES_J_PER_KG_K[band_of(2.0)]
    fish_w_per_k = kg_j / spec.fish_lag_s

    def rates(_t: float, state: np.ndarray) -> list[float]:
        air, fixtures, fish = state
        into_air = (
            (spec.leak_w_per_k + door_w_per_k) * (20.0 - air)
            + stir * spec.fixtures_w_per_k * (fixtures - air)
            + stir * fish_w_per_k * (fish - air)
            + cooling_w_per_k * (spec.evaporator_c - air)
            + heat_w
        )
        return [
            into_air / spec.air_j_per_k,
            stir * spec.fixtures_w_per_k * (air - fixtures) / spec.fixtures_j_per_k,
            stir * fish_w_per_k * (air - fish) / kg_j,
        ]

    steps = 30  # five minutes: the air is still above the thermostat's lower line
    solved = solve_ivp(
        rates, (0.0, steps * 10.0), [9.0, 5.0, 3.0], rtol=1e-10, atol=1e-10, method="DOP853"
    )
    for _ in range(steps):
        step(plant, **changes)

    assert plant.celsius == pytest.approx(solved.y[:, -1], abs=1e-6)


def test_freezing_lot_follows_its_enthalpy() -> None:
    """Fish frozen through the plateau is as far as an outside solver says."""
    spec = PlantSpec(
        air_j_per_k=15_000.0,
        fixtures_j_per_k=60_000.0,
        fixtures_w_per_k=14.0,
        leak_w_per_k=1.5,
        door_w_per_k=0.0,
        fish_kg=40.0,
        fish_lag_s=5400.0,
        evaporator_w_per_k=24.0,
        evaporator_c=-36.0,
        set_c=-50.0,  # never reached: the compressor runs throughout
        hysteresis_c=1.0,
        still_factor=1.0,
    )
    plant = Plant(spec, step_s=10.0, initial_c=-24.0)
    load = plant.load(Loading(lot="L", kilograms=4.0, celsius=2.0), 0)
    w_per_k_kg = CAPACITIES_J_PER_KG_K[band_of(-50.0)] / spec.fish_lag_s

    # FAO Fisheries Technical Paper 340, table 31, kcal/kg, inverted by numpy
    table_c = [-40.0, -32.0, -28.0, -20.0, -16.0, -10.0, -4.0, -2.0, -1.0, 0.0, 4.0]
    table_j = [
        4184.0 * kcal
        for kcal in (0.0, 3.60, 5.55, 10.03, 12.69, 17.73, 28.05, 42.16, 71.16, 77.16, 80.65)
    ]

    def rates(_t: float, state: np.ndarray) -> list[float]:
        air, fixtures, stock_j, load_j = state
        stock, lot = np.interp([stock_j, load_j], table_j, table_c)
        into_stock = w_per_k_kg * (air - stock)
        into_load = w_per_k_kg * (air - lot)
        into_air = (
            spec.leak_w_per_k * (20.0 - air)
            + spec.fixtures_w_per_k * (fixtures - air)
            - 40.0 * into_stock
            - 4.0 * into_load
            + spec.evaporator_w_per_k * (spec.evaporator_c - air)
        )
        return [
            into_air / spec.air_j_per_k,
            spec.fixtures_w_per_k * (air - fixtures) / spec.fixtures_j_per_k,
            into_stock,
            into_load,
        ]

    hours = 12
    begin = [-24.0, -24.0, *np.interp([-24.0, 2.0], table_c, table_j)]
    solved = solve_ivp(
        rates, (0.0, hours * 3600.0), begin, rtol=1e-8, atol=1e-8, max_step=60.0, dense_output=True
    )
    for _ in range(hours * 360):
        step(plant)

    lot_by_hour = [load.celsius[hour * 360 - 1] for hour in range(1, hours + 1)]
    expected = np.interp(
        [solved.sol(hour * 3600.0)[3] for hour in range(1, hours + 1)], table_j, table_c
    )
    assert lot_by_hour[0] < -0.5
    assert lot_by_hour[-1] < -20.0
    assert lot_by_hour == pytest.approx(expected, abs=0.02)


def test_fish_after_a_step_of_the_air_follows_the_closed_form() -> None:
    """Fish behind steady air closes 63.2 % of the distance in one time constant."""
    spec = dataclasses.replace(CASE, air_j_per_k=1e12, fixtures_j_per_k=1e12, leak_w_per_k=1e-6)
    plant = Plant(spec, step_s=10.0)
    plant.celsius = [3.9, 3.9, 0.5]  # one band of the enthalpy table
    for _ in range(240):
        step(plant, ambient_c=3.9, capacity=0)

    assert plant.celsius[2] == pytest.approx(3.9 - 3.4 * math.exp(-1.0), abs=1e-6)


def test_sealed_unit_with_a_freezing_load_keeps_its_heat() -> None:
    """Nothing goes in or out: whatever freezes or thaws inside, the heat stays."""
    spec = dataclasses.replace(CASE, leak_w_per_k=1e-15, set_c=-22.0, fish_kg=30.0)
    plant = Plant(spec, step_s=10.0)
    plant.load(Loading(lot="warm", kilograms=6.0, celsius=8.0), 0)
    before_j = plant.heat_j()
    thawed_most = -90.0
    for _ in range(5000):
        step(plant, capacity=0)
        thawed_most = max(thawed_most, plant.celsius[2])

    assert thawed_most > -20.0
    assert plant.heat_j() == pytest.approx(before_j, abs=1.0)  # of some ten million joules


def test_heat_gained_over_a_day_is_what_flowed_in() -> None:
    """The books of heat balance through cycles, doors and a defrost."""
    plant = Plant(CASE, step_s=1.0)
    before_j = plant.heat_j()
    flowed_j = 0.0
    for n in range(20_000):
        door = n % 3000 < 60
        defrost = 8000 <= n < 9000
        air_c = plant.celsius[0]
        step(plant, door=door, defrost=defrost)
        mean_c = (air_c + plant.celsius[0]) / 2.0
        cooling_w = 0.0
        if plant.compressor_on and not defrost:
            cooling_w = CASE.evaporator_w_per_k * (CASE.evaporator_c - mean_c)
        leak = CASE.leak_w_per_k + (CASE.door_w_per_k if door else 0.0)
        flowed_j += leak * (20.0 - mean_c) + cooling_w + (CASE.heater_w if defrost else 0.0)

    assert plant.heat_j() - before_j == pytest.approx(flowed_j, abs=200.0)


def test_thermostat_keeps_the_air_within_its_hysteresis() -> None:
    """A healthy case swings about its set point and no further than one step past it."""
    plant = Plant(CASE, step_s=10.0)
    for _ in range(360):
        step(plant)
    seen = []
    starts = 0
    for _ in range(8640):
        was_on = plant.compressor_on
        step(plant)
        starts += plant.compressor_on and not was_on
        seen.append(plant.celsius[0])

    assert min(seen) == pytest.approx(CASE.set_c - 0.8, abs=0.25)
    assert max(seen) == pytest.approx(CASE.set_c + 0.8, abs=0.25)
    assert 24 < starts < 240


def test_unit_without_power_goes_to_the_warmth_of_the_room() -> None:
    """Left alone for days, everything inside is as warm as the room and no warmer."""
    plant = Plant(CASE, step_s=60.0)
    for _ in range(7 * 1440):
        step(plant, power_off=True)

    assert plant.celsius == pytest.approx([20.0, 20.0, 20.0], abs=1e-3)


def test_load_that_has_cooled_becomes_stock() -> None:
    """A delivery is a body of its own until it is like the rest; no kilogram is lost."""
    plant = Plant(CASE, step_s=10.0)
    plant.load(Loading(lot="D", kilograms=5.0, celsius=4.0), 0)
    assert list(plant.fish_kg) == [15.0, 5.0]
    for _ in range(4000):
        step(plant)

    assert list(plant.fish_kg) == [20.0]
    assert len(plant.celsius) == 3


def test_unloading_leaves_the_dummy_of_the_probe() -> None:
    """An emptied case still has something for its product probe to sit in."""
    plant = Plant(CASE, step_s=10.0)
    plant.load(Loading(lot="D", kilograms=5.0, celsius=4.0), 0)
    plant.unload(0.0)

    assert plant.fish_kg == (CASE.fish_kg / 20.0,)
    step(plant)


def test_smaller_steps_tell_the_same_story() -> None:
    """What the fish does hardly depends on how finely it is computed."""

    def peak_c(step_s: float) -> float:
        count = int(6 * 3600 / step_s)
        power_off = bytearray(count)
        begins, ends = int(3600 / step_s), int(2.5 * 3600 / step_s)
        power_off[begins:ends] = b"\x01" * (ends - begins)
        inputs = Inputs(
            step_s=step_s,
            ambient_c=array("d", [20.0]) * count,
            door=bytearray(count),
            defrost=bytearray(count),
            power_off=power_off,
            capacity=array("b", [64]) * count,
        )
        return max(run(Plant(CASE, step_s=step_s), inputs).fish_c)

    assert peak_c(10.0) == pytest.approx(peak_c(1.0), abs=0.15)
