"""The look at the journal's file: what it costs, and what whoever writes meanwhile notices of it.

Twenty batches a second of fifty readings are committed, as a thousand probes would send them,
and one of a probe's packed days is read back each time; in turn with nobody looking, and with one
look after the other, quick ones or in full.

    python benchmarks/file_look.py
"""

import argparse
import random
import resource
import statistics
import tempfile
import threading
import time
from pathlib import Path

import year_journal
from harness import ROUNDS, Row, Timed, show, take_turns

from rimewatch.clock import SystemClock
from rimewatch.journal import Journal, JournalReader
from rimewatch.readings import Reading
from rimewatch.service.file_look import FileLook
from rimewatch.vocabulary import MS_PER_DAY

BATCHES_A_SECOND = 20
BATCH = 50
WINDOW_S = 20.0


class Writing:
    """A journal that is written to at an even pace, and how long each batch took."""

    def __init__(self, year: year_journal.Year) -> None:
        self._year = year
        self._at_ms = year_journal.START_MS + year.days * MS_PER_DAY
        self._dice = random.Random(1)
        self.looks_s: dict[bool, list[float]] = {False: [], True: []}
        """How long looks took from begin to end, and below their processor time; if in full."""
        self.looks_cpu_s: dict[bool, list[float]] = {False: [], True: []}

    def for_s(self, window_s: float, *, in_full: bool | None = None) -> Timed:
        """Write for a while; return the batches' longest hundredth, in seconds.

        Args:
            window_s: How long; a look that is under way then is waited for.
            in_full: Of which kind looks are made meanwhile; None: nobody looks.
        """
        pause, took_s = threading.Event(), []
        look = FileLook(self._year.path, SystemClock())
        began_s, before = time.monotonic(), _children_s()
        if in_full is not None:
            look.begin(in_full=in_full)
        with (
            Journal.open(self._year.path, check=False) as journal,
            JournalReader.open(self._year.path) as reader,
        ):
            start_s = time.monotonic()
            while (now_s := time.monotonic()) - start_s < window_s:
                if in_full is not None and self._ended(look, in_full, began_s, before):
                    began_s, before = time.monotonic(), _children_s()
                    look.begin(in_full=in_full)
                self._batch(journal, reader)
                took_s.append(time.monotonic() - now_s)
                pause.wait(max(0.0, 1 / BATCHES_A_SECOND - took_s[-1]))
        while in_full is not None and not self._ended(look, in_full, began_s, before):
            pause.wait(0.02)  # the last one, whole
        return Timed(1.0, statistics.quantiles(took_s, n=100)[-1])

    def _ended(self, look: FileLook, in_full: bool, began_s: float, before_s: float) -> bool:  # noqa: FBT001
        found = look.take()
        if found is None:
            return False
        assert found.is_sound, found
        self.looks_s[in_full].append(time.monotonic() - began_s)
        self.looks_cpu_s[in_full].append(_children_s() - before_s)
        return True

    def _batch(self, journal: Journal, reader: JournalReader) -> None:
        probes = [year_journal.probe_id(n % self._year.probes) for n in range(BATCH)]
        self._at_ms += 1000
        with journal.batch():
            journal.add_readings(
                [
                    Reading(probe, self._at_ms + number, self._at_ms, 2.0, 2.0)
                    for number, probe in enumerate(probes)
                ]
            )
        day = year_journal.START_MS + self._dice.randrange(self._year.days) * MS_PER_DAY
        reader.span(self._dice.choice(probes), day, day + MS_PER_DAY)


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(year: year_journal.Year, rounds: int = ROUNDS, window_s: float = WINDOW_S) -> list[Row]:
    """Return what a look costs, and the slowest hundredth of batches with looks and without."""
    with Journal.open(year.path, check=False) as journal:
        while journal.seal_days("UTC", year_journal.START_MS + (year.days + 2) * MS_PER_DAY, 50):
            pass
        journal.checkpoint_wal()
    writing = Writing(year)
    turns = take_turns(
        {
            "nobody looks": lambda: writing.for_s(window_s),
            "one quick look after the other": lambda: writing.for_s(window_s, in_full=False),
            "one look in full after the other": lambda: writing.for_s(window_s, in_full=True),
        },
        rounds,
    )
    batches = Row(
        "A batch of 50 readings on the disk, and a packed day read: slowest hundredth", "ms",
        note=f"{BATCHES_A_SECOND} a second, journal of {year.count:,} readings",
        less_is_better=True,
    )  # fmt: skip
    for label, done in turns.items():
        batches.put_median(label, [1000.0 * one.seconds for one in done])
    rows = [batches]
    for in_full, name in ((False, "One quick look at the file"), (True, "One look in full")):
        cost = Row(f"{name}, as it lies on the disk", "s", less_is_better=True)
        cost.put_median("processor time", writing.looks_cpu_s[in_full])
        cost.put_median("from begin to end", writing.looks_s[in_full])
        size, count = year.path.stat().st_size / 1e6, len(writing.looks_s[in_full])
        cost.note = f"{size:.0f} MB, {count} looks"
        rows.append(cost)
    return rows


def main() -> None:
    """Run it as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    parser.add_argument("--window-s", type=float, default=WINDOW_S)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        year = year_journal.make(Path(name) / "year.db", 50, 365)
        print(show(run(year, chosen.rounds, chosen.window_s)))


if __name__ == "__main__":
    main()
