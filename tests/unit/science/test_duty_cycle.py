"""A compressor's work is told from its air alone; the simulated plant knows the truth."""

from array import array
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from rimewatch.science.duty_cycle import DutyCycle, duty_cycle
from rimewatch_sim.library import load_scenario
from rimewatch_sim.plant import Inputs, Plant, run
from rimewatch_sim.sensing import lagged

STEP_S = 10
DAY_STEPS = 86_400 // STEP_S
UNITS = {unit.id: unit.plant.spec() for unit in load_scenario("night-at-saltmarsh-row").unit}

Air = tuple[NDArray[np.int64], NDArray[np.float64]]


@cache
def a_day(unit: str, cooling_64ths: int, doors: tuple[int, ...] = ()) -> tuple[Air, float, float]:
    """Return a unit's day: readings each minute, the true share cooling, true cycles an hour.

    Args:
        unit: The unit of the demo's shop.
        cooling_64ths: What is left of its cooling.
        doors: Hours of the day at which its door stands open for five minutes.
    """
    warm_up = DAY_STEPS // 4
    steps = warm_up + DAY_STEPS
    door = bytearray(steps)
    for hour in doors:
        first = warm_up + hour * 3600 // STEP_S
        door[first : first + 300 // STEP_S] = bytes([1]) * (300 // STEP_S)
    inputs = Inputs(
        step_s=float(STEP_S),
        ambient_c=array("d", [22.0]) * steps,
        door=door,
        defrost=bytearray(steps),
        power_off=bytearray(steps),
        capacity=array("i", [cooling_64ths]) * steps,
    )
    history = run(Plant(UNITS[unit], step_s=float(STEP_S)), inputs)
    running = np.frombuffer(bytes(history.running), dtype=np.uint8)[warm_up:steps]
    starts = int((np.diff(running.astype(np.int8)) == 1).sum())
    seen = np.array(lagged(history.air_c, step_s=float(STEP_S), lag_s=60.0))[warm_up:steps:6]
    noise = np.random.default_rng(cooling_64ths).normal(0.0, 0.05, len(seen))
    times_ms = np.arange(len(seen), dtype=np.int64) * 60_000
    return (times_ms, np.round(seen + noise, 2)), float(running.mean()), starts / 24.0


def told(air: Air, disturbed: tuple[tuple[float, float], ...] = ()) -> DutyCycle | None:
    """Return what the air says."""
    return duty_cycle(*air, stale_ms=180_000.0, disturbed=disturbed)


@pytest.mark.parametrize("unit", sorted(UNITS))
@pytest.mark.parametrize("cooling_64ths", [64, 52, 44, 36])
def test_cycles_are_counted_as_they_were(unit: str, cooling_64ths: int) -> None:
    """The number of starts an hour is the truth to a twentieth, for every unit."""
    air, _, cycles_an_hour = a_day(unit, cooling_64ths)
    found = told(air)

    assert found is not None
    assert found.cycles_an_hour == pytest.approx(cycles_an_hour, rel=0.05, abs=0.05)


@pytest.mark.parametrize("unit", sorted(UNITS))
def test_the_share_rises_with_the_truth_and_is_never_far_from_it(unit: str) -> None:
    """A compressor that tires runs longer: told each time, though by less than it is."""
    shares = []
    for cooling_64ths in (64, 52, 44, 36):
        air, true_share, _ = a_day(unit, cooling_64ths)
        found = told(air)
        assert found is not None
        allowed = 0.07 if true_share >= 0.4 else 0.15
        assert found.cooling_share == pytest.approx(true_share, abs=allowed)
        shares.append(found.cooling_share)

    assert shares == sorted(shares)
    assert shares[-1] > 1.1 * shares[0]


def test_a_door_is_left_out_where_it_is_known_and_where_it_is_not() -> None:
    """Customers are no work of the compressor's own: the share is that of the undisturbed hours."""
    doors = (8, 10, 12, 14, 16, 18)
    quiet, _, _ = a_day("case-1", 64)
    busy, _, _ = a_day("case-1", 64, doors)
    known = tuple((hour * 3_600_000.0, hour * 3_600_000.0 + 25 * 60_000.0) for hour in doors)
    undisturbed, named, unnamed = told(quiet), told(busy, known), told(busy)

    assert undisturbed is not None
    assert named is not None
    assert unnamed is not None
    assert named.cooling_share == pytest.approx(undisturbed.cooling_share, abs=0.03)
    assert unnamed.cooling_share == pytest.approx(undisturbed.cooling_share, abs=0.05)
    assert named.counted_h < unnamed.counted_h < 24.0


def test_no_cycle_is_counted_through_a_gap() -> None:
    """What was not measured is not guessed; what was is told all the same."""
    (times_ms, air_c), _, cycles_an_hour = a_day("walk-in", 64)
    kept = (times_ms < 6 * 3_600_000) | (times_ms > 14 * 3_600_000)
    found = told((times_ms[kept], air_c[kept]))

    assert found is not None
    assert found.counted_h < 16.0
    assert found.cycles_an_hour == pytest.approx(cycles_an_hour, rel=0.05)


def test_air_that_does_not_swing_is_told_of_nothing() -> None:
    """Mere noise, a slow drift, or a compressor that never rests: no share, and never 100 %."""
    times_ms = np.arange(1440, dtype=np.int64) * 60_000
    noise = np.random.default_rng(4).normal(0.0, 0.1, 1440)
    never_rests, _, _ = a_day("case-1", 20)

    assert told((times_ms, noise)) is None
    assert told((times_ms, np.linspace(2.0, 9.0, 1440))) is None
    assert told((times_ms, np.full(1440, 2.0))) is None
    assert told((times_ms[:40], noise[:40])) is None
    assert told(never_rests) is None


def test_readings_too_far_apart_for_a_cycle_are_told_of_nothing() -> None:
    """Ten-minute cycles under a reading each five minutes would be counted wrong."""
    (times_ms, air_c), _, _ = a_day("case-1", 64)

    assert duty_cycle(times_ms[::5], air_c[::5], stale_ms=900_000.0) is None


def test_air_of_which_no_two_readings_belong_together_is_told_of_nothing() -> None:
    """Each is stale when the next comes; or all of the day was disturbed."""
    (times_ms, air_c), _, _ = a_day("walk-in", 64)

    assert duty_cycle(times_ms[::5], air_c[::5], stale_ms=180_000.0) is None
    assert told((times_ms, air_c), ((0.0, 90_000_000.0),)) is None


def test_cycle_whose_end_fell_into_a_gap_is_not_counted() -> None:
    """Each time it was rising again when the readings ended; where it turned nobody saw."""
    piece_c = [*np.arange(0.0, 4.5, 0.5), *np.arange(3.5, -0.5, -0.5), *np.arange(0.5, 3.5, 0.5)]
    times_ms = np.concatenate([n * 3_600_000 + 30_000 * np.arange(len(piece_c)) for n in range(30)])

    assert told((times_ms.astype(np.int64), np.tile(piece_c, 30))) is None
