"""Alarm quality: random weeks with known truth, replayed; what was missed, who woke for nothing.

Judged against the fish's true temperature, which no probe sees. The weeks are made to hold
every kind of trouble and are no statistic of real shops: figures compare versions and settings
with each other. A week takes some ten seconds of one core.

A projection tells what comes if nothing changes. Where a door that stood open brought it about,
the week is run again with nobody shutting that door: if the fish then passes its limit within
a day, the wake-up counts as averted. It stays among the false ones all the same.

References:
    [1] Garwood, F. (1936). Fiducial limits for the Poisson distribution. Biometrika 28,
        437-442: the exact interval of a rate, by quantiles of chi-squared.
"""

import argparse
import statistics
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from scipy.stats import chi2

from rimewatch.config import load_shop
from rimewatch.intake.trace import TraceMessage
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop
from rimewatch.vocabulary import UnitId
from rimewatch_sim.events import DoorOpen
from rimewatch_sim.labels import labels_of
from rimewatch_sim.random_weeks import random_week
from rimewatch_sim.simulation import Simulation, simulate
from rimewatch_sim.timeline import duration_s

EXAMPLE = Path(__file__).parents[1] / "config" / "saltmarsh-row.toml"
MONTH_H = 30.0 * 24.0
WORTH_S = 900.0
"""A true excursion shorter than this is no breach here: the example's usual on-delay."""
AFTER_MS = 2 * 3_600_000
BEFORE_MS = 6 * 3_600_000
"""An alarm is early for a crossing within this time after it."""

FISH_RULES = ("holding", "freezer", "operating-limit", "projection", "power-loss", "hold-at-risk")
"""Alarms that speak of the cold; others tell of doors and probes."""


@dataclass(slots=True)
class Row:
    """What some weeks came to for one unit, or for all."""

    name: str
    unit_h: float = 0.0
    breaches: int = 0
    missed: list[str] = field(default_factory=list)
    """Breaches of which no alarm of the cold spoke: week, start, length, peak, cause."""
    brief: list[str] = field(default_factory=list)
    """Of those, the ones shorter than the unit's own on-delay: not alarmed, as configured."""
    unheard: int = 0
    """Of the missed, those for which an alarm said that the probe was not to be relied on."""
    wake_ups: int = 0
    false_wake_ups: list[tuple[str, str]] = field(default_factory=list)
    """Rule, and week and instant: nothing true was going on for which somebody had to get up."""
    averted: int = 0
    """Of the false ones, those that would have come true had nobody shut a door."""
    lead_s: list[float] = field(default_factory=list)
    """From the first alarm to the fish's crossing; below 0: the alarm came after it."""

    @property
    def false_a_unit_month(self) -> float:
        """False wake-ups in thirty days of one unit."""
        return len(self.false_wake_ups) / self.unit_h * MONTH_H if self.unit_h else 0.0

    def add(self, other: "Row") -> None:
        """Take in what another row of the same kind came to."""
        self.unit_h += other.unit_h
        self.breaches += other.breaches
        self.missed += other.missed
        self.brief += other.brief
        self.unheard += other.unheard
        self.wake_ups += other.wake_ups
        self.false_wake_ups += other.false_wake_ups
        self.averted += other.averted
        self.lead_s += other.lead_s


def poisson_interval(count: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of the mean of a count [1].

    Handbook value: none seen, at most 3.69 in 95 of 100.

    >>> [round(end, 2) for end in poisson_interval(0)]
    [0.0, 3.69]
    """
    tail = (1.0 - confidence) / 2.0
    low = chi2.ppf(tail, 2 * count) / 2.0 if count else 0.0
    return float(low), float(chi2.ppf(1.0 - tail, 2 * count + 2) / 2.0)


def ms(text: str) -> int:
    """Return an ISO 8601 instant in milliseconds since the epoch."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@cache
def example_shop() -> Shop:
    """Return the shop of the example configuration."""
    return load_shop(EXAMPLE.read_text(encoding="utf-8"), sends=False)


def judge_week(seed: int) -> dict[str, Row]:
    """Replay one week and return for each unit what it came to."""
    simulation = simulate(random_week(seed))
    trace = [  # a random week has no entries
        TraceMessage(line.at_ms, line.topic, line.payload)
        for line in simulation.lines()
        if line.topic is not None
    ]
    ledger = ledger_document(replay(example_shop(), trace, summaries=False).ledger)
    truth = labels_of(simulation)
    hours = (simulation.scenario.end_ms - simulation.scenario.story_ms) / 3_600_000
    rows: dict[str, Row] = {}
    for unit, facts in truth["units"].items():
        row = rows[unit] = Row(unit, unit_h=hours)
        alarms = [one for one in ledger["alarms"] if unit in (one["unit"], *one.get("units", ()))]
        _breaches(row, simulation, facts, alarms)
        _wake_ups(row, facts, alarms, simulation, truth["events"])
    return rows


def _breaches(
    row: Row, simulation: Simulation, facts: dict[str, Any], alarms: list[dict[str, Any]]
) -> None:
    for breach in facts["fish_excursions"]:
        if breach["above_s"] < WORTH_S:
            continue
        row.breaches += 1
        start_ms = ms(breach["from"])
        end_ms = simulation.scenario.end_ms if breach["to"] is None else ms(breach["to"])
        about = [
            one
            for one in alarms
            if ms(one["raised"]) <= end_ms
            and (one["returned"] is None or ms(one["returned"]) >= start_ms)
        ]
        told = [ms(one["raised"]) for one in about if one["rule"] in FISH_RULES]
        if told:
            row.lead_s.append((start_ms - min(told)) / 1000.0)
            continue
        what = (
            f"week {simulation.seed}, {breach['from']}, {breach['above_s'] / 60:.0f} min, "
            f"peak {breach['peak_c']:.1f} °C over {facts['limit_c']:.0f} °C, {breach['cause']}"
        )
        if breach["above_s"] < example_shop().unit[UnitId(row.name)].on_delay_s:
            row.brief.append(what)
            continue
        row.unheard += any(one["rule"] in ("stale", "stuck", "implausible") for one in about)
        row.missed.append(what)


def _wake_ups(
    row: Row,
    facts: dict[str, Any],
    alarms: list[dict[str, Any]],
    simulation: Simulation,
    happenings: list[dict[str, Any]],
) -> None:
    """Count who was woken, and of these who was woken though nothing was true of it."""
    spells = [
        (ms(one["from"]), simulation.scenario.end_ms if one["to"] is None else ms(one["to"]))
        for one in facts["fish_excursions"]
    ]
    for alarm in alarms:
        if not alarm["woke"]:
            continue
        row.wake_ups += 1
        raised_ms = ms(alarm["raised"])
        warm = any(start - BEFORE_MS <= raised_ms <= end + AFTER_MS for start, end in spells)
        if not warm and not _happened(simulation, happenings, row.name, raised_ms):
            comes_true = _comes_true(simulation, row.name, raised_ms)
            row.averted += comes_true
            said = " (averted)" if comes_true else ""
            row.false_wake_ups.append(
                (alarm["rule"], f"week {simulation.seed}, {alarm['raised']}{said}")
            )


REAL = {"compressor-failure", "refrigerant-decline", "evaporator-icing", "power-loss", "drop-out"}
"""What somebody has to get up for, even if the fish is saved in time. A probe that is silent is
one: nobody knows how warm the fish is. Not: doors left open, defrosts, deliveries, values that
stick, clocks, fault codes."""


def _happened(
    simulation: Simulation, happenings: list[dict[str, Any]], unit: str, at_ms: int
) -> bool:
    for event in happenings:
        if event["do"] not in REAL or not _concerns(event, unit):
            continue
        until_ms = simulation.scenario.end_ms if event["to"] is None else ms(event["to"])
        if ms(event["from"]) <= at_ms <= until_ms + AFTER_MS:
            return True
    return False


def _comes_true(simulation: Simulation, unit: str, at_ms: int) -> bool:
    """Whether the fish passes its limit within a day if a door that is open is never shut."""
    scenario = simulation.scenario
    open_now = [
        event
        for event in scenario.event
        if isinstance(event, DoorOpen)
        and event.unit == unit
        and scenario.at_ms(event.at) <= at_ms
        and at_ms <= scenario.at_ms(event.at) + duration_s(event.lasts) * 1000
    ]
    if not open_now:
        return False
    events = [
        event.model_copy(update={"lasts": "24h"}) if event in open_now else event
        for event in scenario.event
    ]
    left_open = simulate(scenario.model_copy(update={"event": events}))
    spells = labels_of(left_open)["units"][unit]["fish_excursions"]
    return any(at_ms <= ms(one["from"]) <= at_ms + 86_400_000 for one in spells)


def _concerns(event: dict[str, Any], unit: str) -> bool:
    if event["do"] == "power-loss":
        return not event.get("units") or unit in event["units"]
    return event.get("unit") == unit or str(event.get("probe", "")).startswith(f"{unit}-")


def run(weeks: Sequence[int], processes: int = 1) -> list[Row]:
    """Return a row for each unit and one for all.

    Args:
        weeks: Seeds of the weeks to judge.
        processes: How many of them at once.
    """
    rows: dict[str, Row] = {}
    with ProcessPoolExecutor(processes) as pool:
        for week in pool.map(judge_week, weeks):
            for unit, row in week.items():
                rows.setdefault(unit, Row(unit)).add(row)
    return [*rows.values(), total(list(rows.values()))]


def total(rows: list[Row]) -> Row:
    """Return all units together."""
    whole = Row("all")
    for row in rows:
        whole.add(row)
    return whole


def show(rows: list[Row]) -> str:
    """Return the rows as a table for people."""
    return "\n".join(_lines(rows))


def _lines(rows: list[Row]) -> Iterator[str]:
    yield (
        f"{'unit':<12}{'unit-months':>12}{'breaches':>10}{'missed':>8}{'too brief':>11}"
        f"{'(probe told)':>14}"
        f"{'wake-ups':>10}{'false':>7}{'averted':>9}{'a unit-month':>14}{'95 %':>12}"
        f"{'told before':>13}{'lead p10':>10}{'p50':>6}{'p90 min':>9}"
    )
    for row in rows:
        before = sum(lead > 0 for lead in row.lead_s)
        months = row.unit_h / MONTH_H
        low, high = (end / months for end in poisson_interval(len(row.false_wake_ups)))
        lead = [f"{lead_s / 60:.0f}" for lead_s in _tenths(row.lead_s)] or ["–"] * 9
        yield (
            f"{row.name:<12}{months:>12.2f}{row.breaches:>10}{len(row.missed):>8}{len(row.brief):>11}"
            f"{row.unheard:>14}{row.wake_ups:>10}{len(row.false_wake_ups):>7}{row.averted:>9}"
            f"{row.false_a_unit_month:>14.3f}{f'{low:.2f}–{high:.2f}':>12}"
            f"{f'{before}/{len(row.lead_s)}':>13}{lead[0]:>10}{lead[4]:>6}{lead[8]:>9}"
        )
    for row in rows[:-1]:
        yield from (f"False: {row.name}: {rule}, {when}" for rule, when in row.false_wake_ups)
    yield from (f"Too brief: {row.name}: {one}" for row in rows[:-1] for one in row.brief)
    yield from (f"Missed: {row.name}: {one}" for row in rows[:-1] for one in row.missed)


def _tenths(values: list[float]) -> list[float]:
    return statistics.quantiles(values, n=10) if len(values) > 1 else values * 9


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1, help="of the first week")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    began = time.perf_counter()
    found = run(range(given.seed, given.seed + given.weeks), given.processes)
    took_s = time.perf_counter() - began
    print(f"{given.weeks} random weeks from seed {given.seed}, {took_s:.0f} s")
    print(show(found))
