"""Runs contenders in turn, several rounds, and compares their medians.

A machine's speed drifts, so only ratios within one run mean anything: every round runs
each contender once, in a rotated order.
"""

import gc
import json
import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

ROUNDS = 5


@dataclass(frozen=True, slots=True)
class Timed:
    """Work done, and the seconds that count."""

    work: float
    seconds: float


@dataclass(slots=True)
class Row:
    """One comparison: what was measured, in which unit, and each contender's medians."""

    name: str
    unit: str
    rates: dict[str, float] = field(default_factory=dict)
    spread: dict[str, float] = field(default_factory=dict)
    """Interquartile range over the median."""
    note: str = ""


def compare(
    name: str,
    unit: str,
    contenders: Mapping[str, Callable[[], float | Timed]],
    *,
    rounds: int = ROUNDS,
    note: str = "",
) -> Row:
    """Return each contender's median rate, work a second.

    Args:
        name: What is measured.
        unit: Of the rate, such as "messages/s".
        contenders: Each runs once and returns the work it did.
        rounds: At least 5 for a figure that is published.
        note: What bounds it, or what to know.
    """
    rates: dict[str, list[float]] = {key: [] for key in contenders}
    order = list(contenders)
    for turn in range(rounds):
        for key in order[turn % len(order) :] + order[: turn % len(order)]:
            gc.collect()
            began = time.perf_counter()
            done = contenders[key]()
            elapsed = time.perf_counter() - began
            if isinstance(done, Timed):
                rates[key].append(done.work / done.seconds)
            else:
                rates[key].append(done / elapsed)
    row = Row(name, unit, note=note)
    for key, values in rates.items():
        middle = statistics.median(values)
        row.rates[key] = middle
        low, _, high = statistics.quantiles(values, n=4)
        row.spread[key] = (high - low) / middle if middle else 0.0
    return row


def show(rows: list[Row]) -> str:
    """Return the rows as a table for people; the first contender is the measure."""
    lines: list[str] = []
    for row in rows:
        lines.append(f"{row.name} ({row.unit})" + (f" – {row.note}" if row.note else ""))
        first = next(iter(row.rates.values()))
        for key, rate in row.rates.items():
            ratio = first / rate if rate else float("inf")
            lines.append(
                f"    {key:<44} {rate:>14,.1f}   ±{row.spread[key]:4.0%}   ours/this {ratio:6.2f}"
            )
    return "\n".join(lines)


def write_json(rows: list[Row], path: Path) -> None:
    """Write the rows for a machine."""
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = [
        {
            "name": row.name,
            "unit": row.unit,
            "rates": row.rates,
            "spread": row.spread,
            "note": row.note,
        }
        for row in rows
    ]
    path.write_text(json.dumps(plain, indent=2) + "\n", encoding="utf-8")
