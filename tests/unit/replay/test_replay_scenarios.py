"""Simulated nights, replayed: who was woken, and for what, against what truly happened."""

import io
import itertools
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from rimewatch.config import load_shop
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY
from rimewatch_sim.labels import labels_of
from rimewatch_sim.library import load_scenario
from rimewatch_sim.simulation import Simulation, simulate
from rimewatch_sim.trace import write_lines

EXAMPLE = Path(__file__).parents[3] / "config" / "saltmarsh-row.toml"


@cache
def night(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a scenario's ledger and its ground truth."""
    simulation = simulate(load_scenario(name))
    return ledger_document(replay(shop_of_it(), trace_of(simulation)).ledger), labels_of(simulation)


def trace_of(simulation: Simulation) -> Iterator[TraceMessage | TraceEntry]:
    text = io.StringIO()
    write_lines(simulation.lines(), text)
    return read_trace(io.BytesIO(text.getvalue().encode()))


def shop_of_it() -> Shop:
    return load_shop(EXAMPLE.read_text(encoding="utf-8"))


def alarms_of(ledger: dict[str, Any], rule: str) -> list[dict[str, Any]]:
    """Return a ledger's alarms of a rule."""
    return [alarm for alarm in ledger["alarms"] if alarm["rule"] == rule]


def test_power_loss_wakes_somebody_once_and_names_its_units() -> None:
    """Five units warm, and one alarm tells of them, before any fish is too warm."""
    ledger, truth = night("power-loss")
    (alarm,) = ledger["alarms"]

    assert alarm["rule"] == "power-loss"
    assert alarm["unit"] is None
    assert alarm["units"] == ["case-1", "case-2", "walk-in", "freezer-1", "ulf-1"]
    assert alarm["woke"]
    assert alarm["returned"] is not None
    first_warm = min(
        excursion["from"]
        for unit in truth["units"].values()
        for excursion in unit["fish_excursions"]
    )
    assert alarm["raised"] < first_warm


def test_power_loss_is_the_cause_of_every_excursion_and_all_count_as_alarmed() -> None:
    """The record says why, from the readings alone."""
    ledger, _ = night("power-loss")
    excursions = [e for unit in ledger["units"].values() for e in unit["excursions"]]

    assert len(excursions) >= 4
    assert {e["cause"] for e in excursions} == {"power-loss"}
    assert all(e["alarmed"] for e in excursions)


def test_failing_case_is_foretold_before_its_fish_is_too_warm() -> None:
    """The projection comes an hour before the truth; the limit's own alarm still comes."""
    ledger, truth = night("compressor-failure")
    (foretold,) = alarms_of(ledger, "projection")
    (holding,) = alarms_of(ledger, "holding")
    (warm,) = truth["units"]["case-1"]["fish_excursions"]
    ahead = datetime.fromisoformat(warm["from"]) - datetime.fromisoformat(foretold["raised"])

    assert ahead.total_seconds() > 1800
    assert foretold["priority"] == "high", "a lot lies in the case"
    assert foretold["raised"] < holding["raised"]
    told = [m for m in ledger["messages"] if m["rule"] == "projection"]
    assert all(m["at"] <= holding["raised"] for m in told if m["about"] == "repeat")


def test_lid_left_open_is_foretold_before_the_holds_are_lost() -> None:
    """Most of an hour before the first night's hold breaks, and by one alarm in three days."""
    lines = trace_of(simulate(load_scenario("freezing-week")))
    first = next(lines)
    days = itertools.takewhile(lambda line: line.at_ms < first.at_ms + 3 * MS_PER_DAY, lines)
    ledger = ledger_document(replay(shop_of_it(), itertools.chain([first], days)).ledger)
    (foretold,) = alarms_of(ledger, "projection")
    (lost,) = alarms_of(ledger, "hold-at-risk")
    ahead = datetime.fromisoformat(lost["raised"]) - datetime.fromisoformat(foretold["raised"])

    assert (foretold["unit"], foretold["priority"]) == ("freezer-1", "high")
    assert ahead.total_seconds() > 1800


@pytest.mark.parametrize("name", ["quiet-night", "defrost-only"])
def test_night_of_defrosts_raises_nothing(name: str) -> None:
    """An alarm that cries wolf at every defrost is switched off."""
    ledger, _ = night(name)

    assert [a for a in ledger["alarms"] if a["priority"] != "low"] == []


def test_busy_day_of_doors_foretells_nothing() -> None:
    """A door never raises a projection, nor a loss of power."""
    ledger, _ = night("busy-saturday")

    assert not alarms_of(ledger, "projection")
    assert not alarms_of(ledger, "power-loss")


def test_dead_probes_are_told_apart_and_a_slow_clock_makes_no_flood() -> None:
    """Silent, stuck, sending nonsense: each has its alarm, and none has a hundred."""
    ledger, _ = night("dead-probe")
    by_rule = {
        rule: {a["unit"] for a in alarms_of(ledger, rule)}
        for rule in ("stale", "stuck", "implausible")
    }

    assert by_rule["stuck"] == {"case-2"}
    assert by_rule["implausible"] == {"freezer-1"}
    assert "case-1" in by_rule["stale"]
    assert len(alarms_of(ledger, "stale")) <= 8
    assert not [a for a in ledger["alarms"] if a["woke"]]
