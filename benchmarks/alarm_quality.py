"""Alarm quality: random weeks with known truth, replayed; what was missed, who woke for nothing.

Judged against the fish's true temperature, which no probe sees. The weeks are made to hold
every kind of trouble and are no statistic of real shops: figures compare versions and settings
with each other. A week takes ten to twenty seconds.
"""

import argparse
import io
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from rimewatch.config import load_shop
from rimewatch.intake.trace import read_trace
from rimewatch.replay import replay
from rimewatch.shop import Shop
from rimewatch_sim.labels import labels_of
from rimewatch_sim.random_weeks import random_weeks
from rimewatch_sim.simulation import Simulation, simulate
from rimewatch_sim.trace import write_lines

EXAMPLE = Path(__file__).parents[1] / "config" / "saltmarsh-row.toml"
MONTH_H = 30.0 * 24.0
WORTH_S = 900.0
"""A true excursion shorter than this is no breach here: the example's on-delay."""
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
    unheard: int = 0
    """Of the missed, those for which an alarm said that the probe was not to be relied on."""
    wake_ups: int = 0
    false_wake_ups: dict[str, int] = field(default_factory=dict)
    """By rule: nothing true was going on for which somebody had to get up."""
    lead_s: list[float] = field(default_factory=list)
    """From the first alarm to the fish's crossing; below 0: the alarm came after it."""

    @property
    def false_a_unit_month(self) -> float:
        """False wake-ups in thirty days of one unit."""
        return sum(self.false_wake_ups.values()) / self.unit_h * MONTH_H if self.unit_h else 0.0


def ms(text: str) -> int:
    """Return an ISO 8601 instant in milliseconds since the epoch."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def judge_week(shop: Shop, simulation: Simulation, rows: dict[str, Row]) -> None:
    """Replay one week and add to the rows what it came to."""
    text = io.StringIO()
    write_lines(simulation.lines(), text)
    trace = read_trace(io.BytesIO(text.getvalue().encode()))
    ledger = replay(shop, trace, summaries=False).ledger
    truth = labels_of(simulation)
    hours = (simulation.scenario.end_ms - simulation.scenario.story_ms) / 3_600_000
    for unit, facts in truth["units"].items():
        row = rows.setdefault(unit, Row(unit))
        row.unit_h += hours
        alarms = [one for one in ledger["alarms"] if unit in (one["unit"], *one.get("units", ()))]
        _breaches(row, simulation, facts, alarms)
        _wake_ups(row, facts, alarms, simulation)


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
        row.unheard += any(one["rule"] in ("stale", "stuck", "implausible") for one in about)
        row.missed.append(
            f"week {simulation.seed}, {breach['from']}, {breach['above_s'] / 60:.0f} min, "
            f"peak {breach['peak_c']:.1f} °C over {facts['limit_c']:.0f} °C, {breach['cause']}"
        )


def _wake_ups(
    row: Row, facts: dict[str, Any], alarms: list[dict[str, Any]], simulation: Simulation
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
        if not warm and not _happened(simulation, row.name, raised_ms):
            row.false_wake_ups[alarm["rule"]] = row.false_wake_ups.get(alarm["rule"], 0) + 1


REAL = {"compressor-failure", "refrigerant-decline", "evaporator-icing", "power-loss", "drop-out"}
"""What somebody has to get up for, even if the fish is saved in time. A probe that is silent is
one: nobody knows how warm the fish is. Not: doors left open, defrosts, deliveries, values that
stick, clocks, fault codes."""


def _happened(simulation: Simulation, unit: str, at_ms: int) -> bool:
    for event in labels_of_events(simulation):
        if event["do"] not in REAL or not _concerns(event, unit):
            continue
        until_ms = simulation.scenario.end_ms if event["to"] is None else ms(event["to"])
        if ms(event["from"]) <= at_ms <= until_ms + AFTER_MS:
            return True
    return False


_EVENTS: dict[int, list[dict[str, Any]]] = {}


def labels_of_events(simulation: Simulation) -> list[dict[str, Any]]:
    """Return what was planned for a week; kept, for it is asked for often."""
    if simulation.seed not in _EVENTS:
        _EVENTS.clear()
        _EVENTS[simulation.seed] = labels_of(simulation)["events"]
    return _EVENTS[simulation.seed]


def _concerns(event: dict[str, Any], unit: str) -> bool:
    if event["do"] == "power-loss":
        return not event.get("units") or unit in event["units"]
    return event.get("unit") == unit or str(event.get("probe", "")).startswith(f"{unit}-")


def run(weeks: int = 40, seed: int = 1, *, within_s: float = float("inf")) -> tuple[int, list[Row]]:
    """Return how many weeks were judged, and a row for each unit and one for all.

    Args:
        weeks: At most so many.
        seed: Of the first week.
        within_s: Begin no further week after so many seconds.
    """
    shop = load_shop(EXAMPLE.read_text(encoding="utf-8"), sends=False)
    rows: dict[str, Row] = {}
    began = time.perf_counter()
    done = 0
    for scenario in random_weeks(seed, weeks):
        if time.perf_counter() - began > within_s:
            break
        judge_week(shop, simulate(scenario), rows)
        done += 1
    return done, [*rows.values(), total(list(rows.values()))]


def total(rows: list[Row]) -> Row:
    """Return all units together."""
    whole = Row("all")
    for row in rows:
        whole.unit_h += row.unit_h
        whole.breaches += row.breaches
        whole.missed += [f"{row.name}: {one}" for one in row.missed]
        whole.unheard += row.unheard
        whole.wake_ups += row.wake_ups
        whole.lead_s += row.lead_s
        for rule, count in row.false_wake_ups.items():
            whole.false_wake_ups[rule] = whole.false_wake_ups.get(rule, 0) + count
    return whole


def show(rows: list[Row]) -> str:
    """Return the rows as a table for people."""
    return "\n".join(_lines(rows))


def _lines(rows: list[Row]) -> Iterator[str]:
    yield (
        f"{'unit':<12}{'unit-months':>12}{'breaches':>10}{'missed':>8}{'(probe told)':>14}"
        f"{'wake-ups':>10}{'false/unit-month':>18}{'told before':>13}{'median lead':>13}"
    )
    for row in rows:
        before = sum(lead > 0 for lead in row.lead_s)
        lead = f"{statistics.median(row.lead_s) / 60:.0f} min" if row.lead_s else "–"
        yield (
            f"{row.name:<12}{row.unit_h / MONTH_H:>12.2f}{row.breaches:>10}{len(row.missed):>8}"
            f"{row.unheard:>14}{row.wake_ups:>10}{row.false_a_unit_month:>18.2f}"
            f"{f'{before}/{len(row.lead_s)}':>13}{lead:>13}"
        )
    whole = rows[-1]
    by_rule = ", ".join(f"{rule} {count}" for rule, count in sorted(whole.false_wake_ups.items()))
    yield f"False wake-ups by rule: {by_rule or 'none'}"
    yield from (f"Missed: {one}" for one in whole.missed)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--within-s", type=float, default=float("inf"))
    given = parser.parse_args()
    count, found = run(given.weeks, given.seed, within_s=given.within_s)
    print(f"{count} random weeks from seed {given.seed}")
    print(show(found))
