"""Growth: the same work once, ten times and a hundred times, and the exponent of time over work.

How latency, memory and processor time grow with readings or probes stands with those
(``latency``, ``footprint``). An exponent of 1 is a cost that stays the same for each reading; above
it, the shop that grows pays more for each. Where a thing should not depend on the amount at all,
it is 0.
"""

import tempfile
import time
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import intake
import page
import year_journal
from fold import curve, settings_of_a_case
from harness import ROUNDS, Row, Timed, exponent, take_turns

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal import Journal, JournalReader
from rimewatch.rules.channel import fold
from rimewatch.rules.watch import ChannelState
from rimewatch.service.writer import Writer

SCALES = (1, 10, 100)
BATCH = 500
START_MS = 1_772_438_400_000
"""2026-03-02T08:00:00Z."""


def grow(name: str, work: Mapping[int, Callable[[], float | Timed]], rounds: int) -> Row:
    """Return the time at each scale, and the exponent as a note."""
    turns = take_turns({f"× {scale}": one for scale, one in work.items()}, rounds)
    row = Row(f"Growth of {name}", "ms", less_is_better=True)
    for label, done in turns.items():
        row.put_median(label, [1000.0 * one.seconds for one in done])
    row.exponent = exponent(dict(zip(work, row.figures.values(), strict=True)))
    row.note = f"exponent {row.exponent:.2f}"
    return row


def folding(readings: int) -> Callable[[], float]:
    """Return the fold of so many readings."""
    settings = settings_of_a_case()
    times, celsius = curve(readings)

    def work() -> float:
        fold(settings, ChannelState(), times, celsius)
        return readings

    return work


def arrivals(readings: int, probes: int) -> list[Arrived]:
    """Return what some probes send every 10 s, from after one morning to before the next."""
    return [
        Arrived(
            topic=f"shop/u{number % probes}/air",
            payload=b'{"t": %.2f, "bat": 91}' % (2.0 + 0.01 * (number * 7919 % 97)),
            arrived_ms=START_MS + number // probes * 10_000 + number % probes,
            retained=False,
            mid=1,
            qos=1,
            generation=1,
        )
        for number in range(readings)
    ]


def writing(folder: Path, readings: int, probes: int) -> Callable[[], Timed]:
    """Return the writer's work on so many arrivals of so many probes, each batch on the disk."""
    shop = load_shop(intake.shop_text(1883, probes))
    arrived = arrivals(readings, probes)

    def work() -> Timed:
        clock = SteppedClock(START_MS)
        with Journal.open(folder / f"{time.monotonic_ns()}.db") as journal:
            writer = Writer(shop, journal, clock)
            began = time.perf_counter()
            for start in range(0, readings, BATCH):
                batch = arrived[start : start + BATCH]
                clock.move_to(batch[-1].arrived_ms)
                writer.take(batch)
            return Timed(readings, time.perf_counter() - began)

    return work


def reading_back(year: year_journal.Year) -> Callable[[], float]:
    """Return reading all of one probe."""

    def work() -> float:
        with JournalReader.open(year.path) as reader:
            return float(len(reader.span(year_journal.probe_id(0))))

    return work


def opening(year: year_journal.Year) -> Callable[[], float]:
    """Return opening the journal as the service does at its start, soundness looked over."""

    def work() -> float:
        with Journal.open(year.path):
            return 1.0

    return work


def draining(folder: Path, messages: int) -> Callable[[], Timed]:
    """Return draining a persistent session with so many queued, the whole pipeline."""

    def work() -> Timed:
        broker = intake.Broker(folder, inflight=20)
        try:
            client_id = f"growth-{time.monotonic_ns()}"
            intake.sessions(broker.port, [client_id])
            intake.publish(broker.port, intake.payloads(messages))
            return intake.ours(broker.port, client_id, messages, folder)
        finally:
            broker.stop()

    return work


def pages(folder: Path, rounds: int, unit: int) -> list[Row]:
    """Return how the first page grows with units, and a case's longest curve with days."""
    days = {scale: max(page.UNPACKED_DAYS + 1, scale * unit // 250) for scale in SCALES}
    with ExitStack() as stack:
        streets = {
            scale: stack.enter_context(
                page.visited(folder / f"units-{scale}", page.Scale(days[1], scale / 10))
            )
            for scale in SCALES
        }
        times = {
            scale: stack.enter_context(
                page.visited(folder / f"days-{scale}", page.Scale(days[scale], 0.1))
            )
            for scale in SCALES
        }
        first, curve_of_all = "/", "/unit/display-case-1?span=all"
        for visitor in (*streets.values(), *times.values()):  # the first visit loads what it needs
            for path in (first, curve_of_all):
                visitor.get(path)
        return [
            grow(
                "the first page from 5 units",
                {scale: partial(street.get, first) for scale, street in streets.items()},
                rounds,
            ),
            grow(
                f"a case's whole curve from {days[1]} days",
                {scale: partial(one.get, curve_of_all) for scale, one in times.items()},
                rounds,
            ),
        ]


def run(rounds: int = ROUNDS, unit: int = 1000) -> list[Row]:
    """Return a row for each kind of work.

    Args:
        rounds: At least 5 to publish.
        unit: Readings at the scale of 1.
    """
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        folder = Path(name)
        days = {scale: max(1, scale * unit // 250) for scale in SCALES}
        years = {
            scale: year_journal.make(folder / f"year-{scale}.db", 10, days[scale])
            for scale in SCALES
        }
        return [
            grow(
                f"the fold from {5 * unit:,} readings",
                {scale: folding(scale * 5 * unit) for scale in SCALES},
                rounds,
            ),
            grow(
                f"the writer from {unit:,} readings of 50 probes",
                {scale: writing(folder, scale * unit, 50) for scale in SCALES},
                rounds,
            ),
            grow(
                f"the writer on {10 * unit:,} readings from 5 probes",
                {scale: writing(folder, 10 * unit, scale * 5) for scale in SCALES},
                rounds,
            ),
            grow(
                f"intake from {unit:,} messages queued",
                {scale: draining(folder, scale * unit) for scale in SCALES},
                rounds,
            ),
            grow(
                f"reading a probe from {days[1]} days",
                {scale: reading_back(years[scale]) for scale in SCALES},
                rounds,
            ),
            grow(
                f"opening a journal from 10 probes' {days[1]} days",
                {scale: opening(years[scale]) for scale in SCALES},
                rounds,
            ),
            *pages(folder, rounds, unit),
        ]
