"""The ground truth, and that each shipped scenario tells the story it promises."""

import json
from typing import Any

import pytest

from rimewatch_sim import labels_of, load_scenario, simulate
from rimewatch_sim.labels import excursions
from rimewatch_sim.random_weeks import random_week
from rimewatch_sim.schedule import Interval
from rimewatch_sim.sensing import lagged
from rimewatch_sim.timeline import parse_utc_ms


def truth_of(name: str) -> dict[str, Any]:
    return labels_of(simulate(load_scenario(name)))


def fish_excursions(truth: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    return {
        unit: labels["fish_excursions"]
        for unit, labels in truth["units"].items()
        if labels["fish_excursions"]
    }


def test_excursion_of_a_triangle_has_interpolated_crossings() -> None:
    """Up through the limit at 1.5 steps, down at 4.5, peak at 3."""
    found = excursions([3.0, 4.5, 5.5, 7.0, 6.0, 4.0], limit_c=5.0, start_ms=0, step_ms=10_000)

    assert [(one.from_ms, one.to_ms, one.peak_c) for one in found] == [(15_000, 45_000, 7.0)]


def test_excursion_open_at_both_ends_has_no_invented_crossing() -> None:
    """Warm from the first to the last: it began no later than the start and has no end."""
    found = excursions([6.0, 7.0], limit_c=5.0, start_ms=1000, step_ms=10_000)

    assert [(one.from_ms, one.to_ms, one.ended_by) for one in found] == [(1000, None, "end")]


def test_fish_at_the_limit_is_not_above_it() -> None:
    """Five degrees is allowed; more is not."""
    assert excursions([5.0, 5.0, 5.0], limit_c=5.0, start_ms=0, step_ms=1000) == []


def test_excursion_ends_when_the_fish_is_taken_out() -> None:
    """An empty case may be as warm as it likes."""
    found = excursions(
        [4.0, 6.0, 6.0, 6.0],
        limit_c=5.0,
        start_ms=0,
        step_ms=1000,
        gone=[Interval(1800, 9000)],
    )

    assert [(one.to_ms, one.ended_by) for one in found] == [(1800, "unloaded")]


def test_demo_night_has_one_true_breach_and_it_is_the_side_cases() -> None:
    """The compressor fails at 02:40; the fish crosses 5 °C well after, until it is moved."""
    truth = truth_of("night-at-saltmarsh-row")
    found = fish_excursions(truth)
    assert list(found) == ["case-2"]
    (breach,) = found["case-2"]

    assert breach["cause"] == "cooling-failure"
    assert breach["ended_by"] == "unloaded"
    assert "2026-03-03T09:40:00Z" < breach["from"] < "2026-03-03T10:44:00Z"  # 03:40 to 04:44
    assert breach["to"] == "2026-03-03T10:58:00Z"
    assert breach["peak_c"] > 5.5
    assert truth["story_from"] == "2026-03-03T02:00:00Z"
    assert truth["to"] == "2026-03-03T13:15:00Z"


def test_demo_acknowledgement_comes_after_the_alarm_can_have_come() -> None:
    """Nobody acknowledges what has not been raised: 15 minutes above the limit come first."""
    scenario = load_scenario("night-at-saltmarsh-row")
    breach = truth_of("night-at-saltmarsh-row")["units"]["case-2"]["fish_excursions"][0]
    acknowledged = next(
        entry for entry in scenario.entry if entry.do == "acknowledge" and entry.rule == "holding"
    )

    assert scenario.at_ms(acknowledged.at) > parse_utc_ms(breach["from"]) + 900_000


def test_demo_defrosts_warm_the_air_and_not_the_fish() -> None:
    """Air goes above the limit at each defrost: an alarm on it would cry wolf."""
    truth = truth_of("night-at-saltmarsh-row")
    defrosts = [event for event in truth["events"] if event["do"] == "defrost"]

    for unit in ("case-1", "walk-in"):
        labels = truth["units"][unit]
        assert labels["air_max_c"] > 5.0
        assert labels["fish_max_c"] < 3.0
        assert sum(event["unit"] == unit for event in defrosts) >= 2


@pytest.mark.parametrize("name", ["quiet-night", "night-at-saltmarsh-row", "defrost-only"])
@pytest.mark.parametrize("unit", ["case-1", "walk-in"])
def test_defrosts_seen_through_a_lag_of_twenty_minutes_stay_below_the_limit(
    name: str, unit: str
) -> None:
    """Who watches the air through the configured lag has no reason for an alarm."""
    history = simulate(load_scenario(name)).histories[unit]

    assert max(lagged(history.air_c, step_s=10.0, lag_s=1200.0)) < 4.5


def test_demo_hold_in_the_ultra_low_freezer_can_complete_in_the_night() -> None:
    """Fifteen hours at −35 °C from after lunch end about three in the morning."""
    simulation = simulate(load_scenario("night-at-saltmarsh-row"))
    scenario = simulation.scenario
    began = next(entry for entry in scenario.entry if getattr(entry, "option", "") == "35C-15h")
    completes_ms = scenario.at_ms(began.at) + 15 * 3_600_000

    assert scenario.story_ms < completes_ms < scenario.end_ms
    assert max(simulation.histories["ulf-1"].fish_c) < -60.0
    assert max(simulation.histories["ulf-1"].loads[0].celsius) < -35.0


@pytest.mark.parametrize("name", ["quiet-night", "defrost-only", "dead-probe", "busy-saturday"])
def test_scenario_without_danger_has_no_true_breach(name: str) -> None:
    """Every alarm about fish in these would be false."""
    truth = truth_of(name)

    assert fish_excursions(truth) == {}
    assert max(labels["air_max_c"] for labels in truth["units"].values()) > 5.0


def test_power_loss_breaches_several_units_for_one_cause() -> None:
    """Both cases get too warm; the walk-in's mass and the freezers hold."""
    found = fish_excursions(truth_of("power-loss"))

    assert set(found) == {"case-1", "case-2"}
    assert {one["cause"] for unit in found.values() for one in unit} == {"power-loss"}


def test_compressor_failure_breaches_until_the_fish_is_discarded() -> None:
    """Nobody came: hours above the limit."""
    found = fish_excursions(truth_of("compressor-failure"))

    assert set(found) == {"case-1"}
    assert found["case-1"][0]["above_s"] > 3 * 3600
    assert found["case-1"][0]["ended_by"] == "unloaded"


def test_freezing_week_breaks_the_first_hold_and_lets_both_complete() -> None:
    """The lid costs the first lot its count; seven days later both can be complete."""
    simulation = simulate(load_scenario("freezing-week"))
    scenario = simulation.scenario
    air = excursions(
        simulation.histories["freezer-1"].air_c,
        limit_c=-20.0,
        start_ms=scenario.start_ms,
        step_ms=10_000,
    )

    assert len(air) == 1
    assert air[0].to_ms is not None
    entered = [
        scenario.at_ms(entry.at)
        for entry in scenario.entry
        if getattr(entry, "option", "") == "20C-168h"
    ]
    week_ms = 168 * 3_600_000
    assert entered[0] < air[0].from_ms < air[0].to_ms < entered[1]
    assert air[0].to_ms + week_ms < scenario.end_ms
    assert entered[1] + week_ms < scenario.end_ms
    lots = {lot["lot"]: lot for lot in labels_of(simulation)["lots"]}
    assert lots["L-0321"]["at_lines"]["-20.0"] is not None
    assert lots["L-0321"]["at_lines"]["-35.0"] is None


def test_truth_is_a_value_for_json() -> None:
    """It can be written, and says how many payloads are bad."""
    truth = truth_of("dead-probe")

    assert json.loads(json.dumps(truth, allow_nan=False)) == truth
    assert truth["bad_payloads"] == {"-127": 90, "85": 1, "999": 4, "NaN": 3}


def test_week_of_chance_is_the_same_for_a_seed_and_differs_between_seeds() -> None:
    """Weeks can be named by their seeds."""
    assert random_week(7) == random_week(7)
    assert random_week(7).event != random_week(8).event


def test_weeks_of_chance_hold_every_kind_of_trouble() -> None:
    """A few dozen weeks are enough to meet them all; each is a sound scenario."""
    met = {event.do for seed in range(60) for event in random_week(seed).event}

    assert met >= {
        "compressor-failure",
        "refrigerant-decline",
        "evaporator-icing",
        "power-loss",
        "drop-out",
        "stuck",
        "fault",
        "garbage",
        "duplicates",
        "clock-offset",
        "door-open",
        "door-traffic",
        "load",
    }
