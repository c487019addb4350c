"""Runs contenders in turn, several rounds, and compares their medians.

A machine's speed drifts, so only ratios within one run mean anything: every round runs
each contender once, in a rotated order.
"""

import gc
import json
import math
import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

ROUNDS = 5
"""At least so many make a figure that is published."""


@dataclass(frozen=True, slots=True)
class Timed:
    """Work done, and the seconds that count."""

    work: float
    seconds: float


@dataclass(slots=True)
class Row:
    """One comparison: what was measured, in which unit, and each contender's figure."""

    name: str
    unit: str
    figures: dict[str, float] = field(default_factory=dict)
    """The first contender is the measure of the others."""
    spread: dict[str, float] = field(default_factory=dict)
    """Interquartile range of the rounds over their median."""
    note: str = ""
    less_is_better: bool = False
    exponent: float | None = None
    """Of the figure over work, where contenders are the same work at several scales."""

    def put(self, contender: str, figure: float, rounds: Sequence[float]) -> None:
        """Add a contender's figure, and the rounds that tell how steady it was."""
        self.figures[contender] = figure
        middle = statistics.median(rounds)
        if len(rounds) < 2 or not middle:
            self.spread[contender] = 0.0
            return
        low, _, high = statistics.quantiles(rounds, n=4, method="inclusive")
        self.spread[contender] = (high - low) / abs(middle)

    def put_median(self, contender: str, rounds: Sequence[float]) -> None:
        """Add a contender by the median of its rounds."""
        self.put(contender, statistics.median(rounds), rounds)

    def times_better(self, contender: str) -> float:
        """Return how many times better the first contender is than another; below 1: worse."""
        first, other = next(iter(self.figures.values())), self.figures[contender]
        over, under = (other, first) if self.less_is_better else (first, other)
        return over / under if under else math.inf


def take_turns(
    contenders: Mapping[str, Callable[[], float | Timed]],
    rounds: int,
    before_round: Callable[[], None] | None = None,
) -> dict[str, list[Timed]]:
    """Return what each contender did in each round.

    Args:
        contenders: Each runs once a round and returns the work it did, with the seconds that
            count if these are not all that it took.
        rounds: How many.
        before_round: Makes ready what a round needs; its time does not count.
    """
    found: dict[str, list[Timed]] = {key: [] for key in contenders}
    order = list(contenders)
    for turn in range(rounds):
        if before_round is not None:
            before_round()
        start = turn % len(order)
        for key in order[start:] + order[:start]:
            gc.collect()
            began = time.perf_counter()
            done = contenders[key]()
            elapsed = time.perf_counter() - began
            found[key].append(done if isinstance(done, Timed) else Timed(done, elapsed))
    return found


def compare(
    name: str,
    unit: str,
    contenders: Mapping[str, Callable[[], float | Timed]],
    *,
    rounds: int = ROUNDS,
    note: str = "",
    before_round: Callable[[], None] | None = None,
) -> Row:
    """Return each contender's median rate, work a second; see :func:`take_turns`."""
    row = Row(name, unit, note=note)
    for key, done in take_turns(contenders, rounds, before_round).items():
        row.put_median(key, [one.work / one.seconds for one in done])
    return row


def compare_ms(
    name: str,
    contenders: Mapping[str, Callable[[], object]],
    *,
    rounds: int = ROUNDS,
    note: str = "",
) -> Row:
    """Return each contender's median time in milliseconds, for what people wait for."""
    row = Row(name, "ms", note=note, less_is_better=True)

    def once(work: Callable[[], object]) -> Callable[[], float]:
        def run() -> float:
            work()
            return 1.0

        return run

    turns = take_turns({key: once(work) for key, work in contenders.items()}, rounds)
    for key, done in turns.items():
        row.put_median(key, [1000.0 * one.seconds for one in done])
    return row


def exponent(scales: Mapping[int, float]) -> float:
    """Return the slope of log figure over log work, by least squares."""
    x = [math.log(scale) for scale in scales]
    y = [math.log(figure) for figure in scales.values()]
    return statistics.linear_regression(x, y).slope


def show(rows: Sequence[Row]) -> str:
    """Return the rows as a table for people."""
    lines: list[str] = []
    for row in rows:
        lines.append(f"{row.name} ({row.unit})" + (f" – {row.note}" if row.note else ""))
        for number, (key, figure) in enumerate(row.figures.items()):
            digits = 1 if abs(figure) >= 100 else 3
            ratio = f"   first/this better × {row.times_better(key):8.2f}" if number else ""
            lines.append(f"    {key:<44} {figure:>14,.{digits}f}   ±{row.spread[key]:4.0%}{ratio}")
    return "\n".join(lines)


def write_json(rows: Sequence[Row], path: Path) -> None:
    """Write the rows for a machine."""
    path.parent.mkdir(parents=True, exist_ok=True)
    plain = [
        {
            "name": row.name,
            "unit": row.unit,
            "less_is_better": row.less_is_better,
            "exponent": row.exponent,
            "figures": row.figures,
            "spread": row.spread,
            "note": row.note,
        }
        for row in rows
    ]
    path.write_text(json.dumps(plain, indent=2) + "\n", encoding="utf-8")
