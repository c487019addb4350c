"""Runs the comparisons, prints a table and writes it as JSON: ``make bench``.

Takes half an hour, of which ten minutes are ten years that are written once; ``--quick`` four
minutes (fewer rounds of less work: to see that all runs, not to publish). Only ratios
within one run mean anything: a machine's speed drifts.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import backlog
import file_look
import fold
import footprint
import growth
import intake
import journal_queries
import latency
import month
import morning
import page
import ten_years
import year_journal
import years
from harness import ROUNDS, Row, show, write_json


@dataclass(frozen=True, slots=True)
class Effort:
    """How much work each comparison does."""

    rounds: int = ROUNDS
    messages: int = 200_000
    readings: int = fold.YEAR
    probes: int = 50
    days: int = 365
    alarms: int = latency.SAMPLES
    window_s: float = footprint.WINDOW_S
    month_days: int = 30
    morning_units: tuple[int, ...] = morning.UNITS
    unit: int = 1000
    kept: ten_years.Years = ten_years.FULL


QUICK = Effort(
    rounds=2, messages=5_000, readings=50_000, probes=10, days=30, alarms=10, window_s=4.0,
    month_days=4, morning_units=(5,), unit=250, kept=ten_years.QUICK,
)  # fmt: skip

Part = Callable[[Effort], list[Row]]


def stored(effort: Effort) -> list[Row]:
    """Run what needs a year's journal on one that is made for it."""
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        began = time.perf_counter()
        year = year_journal.make(Path(name) / "year.db", effort.probes, effort.days)
        print(f"A journal of {year.count:,} readings: made in {time.perf_counter() - began:.0f} s")
        rows = years.run(year, effort.rounds)
        rows += journal_queries.run(year, effort.rounds)
        return [*rows, *file_look.run(year, effort.rounds, effort.window_s)]


PARTS: dict[str, Part] = {
    "intake": lambda effort: intake.run(effort.messages, effort.rounds),
    "backlog": lambda effort: backlog.run(effort.rounds, effort.probes),
    "latency": lambda effort: latency.run(effort.rounds, effort.alarms),
    "fold": lambda effort: fold.run(effort.rounds, effort.readings),
    "journal": stored,
    "pages": lambda effort: page.run(
        effort.rounds, page.Scale(effort.days + 1, effort.probes / 50)
    ),
    "footprint": lambda effort: footprint.run(effort.rounds, effort.window_s),
    "month": lambda effort: month.run(effort.month_days),
    "morning": lambda effort: morning.run(effort.rounds, effort.morning_units),
    "growth": lambda effort: growth.run(effort.rounds, effort.unit),
    "ten years": lambda effort: ten_years.run(effort.rounds, effort.kept),
}


def measure(names: Sequence[str], effort: Effort) -> list[Row]:
    """Run some parts in turn, each printed as soon as it is done."""
    rows: list[Row] = []
    for name in names:
        began = time.perf_counter()
        found = PARTS[name](effort)
        print(show(found))
        print(f"({name}: {time.perf_counter() - began:.0f} s)\n", flush=True)
        rows += found
    return rows


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="little work, to see that all runs")
    parser.add_argument("--rounds", type=int, help="at least 5 to publish")
    parser.add_argument("--messages", type=int, help="queued for the intake")
    parser.add_argument("--only", nargs="+", choices=list(PARTS), default=list(PARTS))
    parser.add_argument("--out", type=Path, default=Path("build/benchmarks.json"))
    given = parser.parse_args()
    effort = QUICK if given.quick else Effort()
    asked = {"rounds": given.rounds, "messages": given.messages}
    effort = replace(effort, **{key: value for key, value in asked.items() if value is not None})
    write_json(measure(given.only, effort), given.out)
    print(f"Written to {given.out}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
