"""FDA Food Code 2022, 3-501.14: 57 to 21 °C in 2 h, to 5 °C in 6 h in all; or 4 h."""

from dataclasses import replace

import pytest

from rimewatch.rules import cooling
from rimewatch.rules.cooling import Cooling, CoolingState
from rimewatch.vocabulary import MS_PER_H, CoolingFood

MINUTE = 60_000


def batch(
    points: list[tuple[float, float]],
    at_h: float,
    food: CoolingFood = CoolingFood.COOKED,
    *,
    gap_h: float = 24.0,
) -> Cooling:
    """A batch by points in hours and °C, straight between them."""
    return cooling.judge(
        food,
        0,
        [round(h * MS_PER_H) for h, _ in points],
        [c for _, c in points],
        round(at_h * MS_PER_H),
        max_gap_ms=gap_h * MS_PER_H,
    )


def test_batch_in_time_is_complete() -> None:
    """57 °C at the start, 21 at exactly two hours, 5 at exactly six."""
    found = batch([(0, 57), (2, 21), (6, 5), (7, 3)], 7)

    assert found.state is CoolingState.COMPLETE
    assert found.over
    assert [stage.reached_ms for stage in found.stages] == [2 * MS_PER_H, 6 * MS_PER_H]


@pytest.mark.parametrize(
    ("points", "at_h"),
    [
        ([(0, 57), (2, 21.1), (6, 4)], 6),
        ([(0, 57), (2, 21), (6.01, 5)], 7),
        ([(0, 57), (1, 40)], 2.01),
    ],
)
def test_batch_that_misses_a_stage_has_failed(
    points: list[tuple[float, float]], at_h: float
) -> None:
    """Also where the last temperature is reached in its time."""
    assert batch(points, at_h).state is CoolingState.FAILED


def test_times_count_from_the_moment_the_food_passes_57_degrees() -> None:
    """Hotter food has the time it takes to get there on top."""
    found = batch([(0, 77), (1, 57), (2.9, 22)], 2.9)

    assert found.started_ms == MS_PER_H
    assert found.stages[0].deadline_ms == 3 * MS_PER_H
    assert found.state is CoolingState.RUNNING


def test_probe_put_into_hot_food_is_not_taken_for_cold_food() -> None:
    """It shows the case's 2 °C at first; the curve counts from its peak."""
    found = batch([(0, 2), (0.05, 30), (0.2, 56), (1, 40)], 1)

    assert found.state is CoolingState.RUNNING
    assert found.stages[-1].reached_ms is None
    assert found.started_ms == 0


def test_food_from_room_temperature_has_four_hours() -> None:
    """3-501.14(B)."""
    assert batch([(0, 20), (4, 5)], 5, CoolingFood.AMBIENT).state is CoolingState.COMPLETE
    assert batch([(0, 20), (4, 5.1)], 4.1, CoolingFood.AMBIENT).state is CoolingState.FAILED


def test_temperature_passed_in_a_gap_counts_from_its_end() -> None:
    """Nobody saw it."""
    found = batch([(0, 57), (1.9, 30), (2.5, 10)], 3, gap_h=0.5)

    assert found.stages[0].reached_ms == round(2.5 * MS_PER_H)
    assert found.state is CoolingState.FAILED


def test_batch_without_a_reading_fails_when_its_time_is_over() -> None:
    """Missing data is never cold."""
    assert batch([], 1).state is CoolingState.RUNNING
    assert batch([], 2.1).state is CoolingState.FAILED


def test_slow_batch_is_seen_coming_and_a_fast_one_is_not() -> None:
    """Towards air of 2 °C: 21 °C in 2 h needs half of the way in 73 min (Newton's law)."""
    slow = batch([(0, 57), (1, 45)], 1)
    fast = batch([(0, 57), (1, 33)], 1)
    young = batch([(0, 57), (0.4, 57)], 0.4)

    assert cooling.will_be_late(slow, 2.0)
    assert not cooling.will_be_late(fast, 2.0)
    assert not cooling.will_be_late(young, 2.0)
    assert cooling.will_be_late(fast, 22.0), "air warmer than the line never gets it there"


def test_food_first_read_late_counts_from_its_first_reading() -> None:
    """What it was before nobody knows, and a warmer reading later is no beginning."""
    found = batch([(1, 30), (1.5, 50)], 2)

    assert found.started_c == 30.0
    assert found.last_c == 50.0


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(batch([], 1), id="no reading"),
        pytest.param(batch([(0, 77), (1, 60)], 1), id="still hotter than where its times begin"),
        pytest.param(batch([(0, 57), (2, 21), (6, 5)], 6), id="over"),
    ],
)
def test_nothing_is_foretold_of_a_batch_that_is_not_under_way(found: Cooling) -> None:
    """Neither before its times count nor when all are kept."""
    assert not cooling.will_be_late(found, 2.0)


def test_food_that_does_not_cool_will_be_late_and_food_as_cold_as_its_air_is_not() -> None:
    """Newton's law says nothing of either: the first never comes, the second is there."""
    assert cooling.will_be_late(batch([(0, 57), (1, 57)], 1), 2.0)
    assert not cooling.will_be_late(batch([(0, 57), (2, 21), (3, 4.9)], 3), 4.9)
    cold = batch([(0, 57), (2, 21), (3, 5.5)], 3)
    assert not cooling.will_be_late(replace(cold, last_c=4.0), 4.5)


@pytest.mark.parametrize(("reaches_h", "late"), [(1.98, False), (2.02, True)])
@pytest.mark.parametrize("seen_h", [0.6, 1.0, 1.9])
@pytest.mark.parametrize("started_h", [0.0, 0.5])
def test_batch_is_foretold_by_when_it_would_reach_the_line(
    reaches_h: float, seen_h: float, started_h: float, *, late: bool
) -> None:
    """Newton's law in closed form: 57 to 21 °C in air of 2 °C, wherever it is asked."""
    then_c = 2.0 + 55.0 * (19.0 / 55.0) ** (seen_h / reaches_h)
    before = [(0.0, 77.0)] if started_h else []
    points = [*before, (started_h, 57.0), (started_h + seen_h, then_c)]

    assert cooling.will_be_late(batch(points, started_h + seen_h), 2.0) is late
