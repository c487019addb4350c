"""A shop's morning: how long the writer's longest turn is while the summary is made.

Its charts drawn beside the writer, and within its batch as they once were, in turn on copies of
one journal. From the batch that the morning falls into until the summary is kept, the writer takes
one reading after the other, twenty a second; the slowest turn counts, since an alarm may be in it.

    python benchmarks/morning.py
"""

import argparse
import shutil
import tempfile
import threading
import time
from functools import partial
from pathlib import Path

from harness import ROUNDS, Row, Timed, show, take_turns
from month import shop_text, value_c

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal import Journal
from rimewatch.service.charts import Charts
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop

MORNING_MS = 1_772_454_600_000
"""2026-03-02T12:30:00Z, 06:30 in Chicago."""
NIGHT_MIN = 690
BATCH_MIN = 115
UNITS = (50, 100)
EVERY_S = 0.05
LONGEST_S = 120.0


def arrived(unit: int, minute: int) -> Arrived:
    """Return a unit's reading, so many minutes after the night began."""
    at_ms = MORNING_MS + (minute - NIGHT_MIN) * 60_000
    return Arrived(
        topic=f"shop/{unit}",
        payload=str(value_c(unit, 0)).encode(),
        arrived_ms=at_ms,
        retained=False,
        mid=1,
        qos=1,
        generation=1,
    )


class Night:
    """A night's journal up to a minute before its morning, and what its morning takes."""

    def __init__(self, folder: Path, units: int) -> None:
        self._folder = folder
        self._units = units
        self._shop: Shop = load_shop(shop_text(units))
        self._path = folder / "night.db"
        clock = SteppedClock(MORNING_MS - NIGHT_MIN * 60_000)
        with Journal.open(self._path) as journal:
            writer = Writer(self._shop, journal, clock)
            for first in range(0, NIGHT_MIN, BATCH_MIN):
                minutes = range(first, first + BATCH_MIN)
                batch = [arrived(n, minute) for minute in minutes for n in range(units)]
                clock.move_to(batch[-1].arrived_ms)
                writer.take(batch)

    def over(self, *, apart: bool) -> Timed:
        """Return the longest turn from the morning until its summary is kept."""
        copy = self._folder / "morning.db"
        shutil.copy(self._path, copy)
        clock, pause = SteppedClock(MORNING_MS - 1), threading.Event()
        charts = Charts(self._folder / "charts")
        charts.warm_up(self._shop)
        took_s: list[float] = []
        with Journal.open(copy) as journal:
            writer = Writer(self._shop, journal, clock, charts if apart else None)
            clock.move_to(MORNING_MS + 1)  # what is due at an instant is done after it
            end_s = time.monotonic() + LONGEST_S
            while journal.latest_summary() is None:
                assert time.monotonic() < end_s, "the morning has no summary"
                item = arrived(len(took_s) % self._units, NIGHT_MIN)
                began_s = time.perf_counter()
                writer.take([item])
                took_s.append(time.perf_counter() - began_s)
                pause.wait(EVERY_S)
        charts.stop(grace_s=LONGEST_S)
        return Timed(1.0, max(took_s))


def run(rounds: int = ROUNDS, units: tuple[int, ...] = UNITS) -> list[Row]:
    """Return the longest turn of each way, for shops of several sizes."""
    rows = []
    for count in units:
        with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
            night = Night(Path(name), count)
            turns = take_turns(
                {
                    "charts drawn beside the writer": partial(night.over, apart=True),
                    "charts drawn within its batch": partial(night.over, apart=False),
                },
                rounds,
            )
        row = Row(f"Longest turn over a morning, {count} units", "ms", less_is_better=True)
        for label, done in turns.items():
            row.put_median(label, [1000.0 * one.seconds for one in done])
        rows.append(row)
    return rows


def main() -> None:
    """Run it as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    parser.add_argument("--units", type=int, nargs="+", default=list(UNITS))
    chosen = parser.parse_args()
    print(show(run(chosen.rounds, tuple(chosen.units))))


if __name__ == "__main__":
    main()
