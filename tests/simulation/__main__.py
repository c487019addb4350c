"""Play runs and report: ``python -m simulation --runs 1000``, or one: ``--seed 17``."""

import argparse
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from simulation.one import Outcome, play_seed, shrunk
from simulation.plan import Kind, plan

CHUNK = 10
ENOUGH = 1000
"""In so many runs every fault takes hold, or something is wrong with the simulation."""
MOST_TOLD = 3


def main() -> int:
    """Play, and return 1 if any run broke a promise."""
    parser = argparse.ArgumentParser(prog="simulation", description=__doc__)
    parser.add_argument("--runs", type=int, default=1000, help="how many, each of its own seed")
    parser.add_argument("--first", type=int, default=0, help="the first one's seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes, each with a thread")
    parser.add_argument("--minutes", type=float, help="begin no more after so long")
    parser.add_argument("--seed", type=int, help="play this one, and tell its story")
    asked = parser.parse_args()
    with _memory_disk() as folder:
        if asked.seed is not None:
            return _tell(asked.seed, folder)
        return _many(range(asked.first, asked.first + asked.runs), asked, folder)


@contextmanager
def _memory_disk() -> Iterator[Path]:
    """Give a folder, in memory where there is such a place: what a disk loses is played."""
    memory = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def _tell(seed: int, folder: Path) -> int:
    outcome = play_seed(seed, folder)
    print("\n".join(outcome.history))
    _print_failure(outcome, folder)
    return bool(outcome.broken)


def _print_failure(outcome: Outcome, folder: Path) -> None:
    if not outcome.broken:
        print(f"seed {outcome.seed}: every promise was kept")
        return
    print(f"\nseed {outcome.seed} broke promises:")
    print("\n".join(f"  - {what}" for what in outcome.broken))
    kept = shrunk(plan(outcome.seed), folder)
    print(f"It takes {len(kept.faults)} of its {len(plan(outcome.seed).faults)} faults:")
    print("\n".join(f"  - {fault}" for fault in kept.faults))
    print(f"Again: python -m simulation --seed {outcome.seed}")


def _chunk(seeds: range, folder: Path) -> list[Outcome]:
    return [play_seed(seed, folder, story=False) for seed in seeds]


class Tally:
    """Adds up what came of the runs."""

    def __init__(self) -> None:
        self.done = 0
        self.planned: Counter[Kind] = Counter()
        self.touched: Counter[Kind] = Counter()
        self.runs_touched: Counter[Kind] = Counter()
        self.sums: Counter[str] = Counter()
        self.failed: list[Outcome] = []

    def add(self, outcome: Outcome) -> None:
        """Take a run in; a failed one is told of at once."""
        self.done += 1
        self.planned.update(outcome.injected)
        self.touched.update(outcome.touched)
        self.runs_touched.update(set(outcome.touched))
        self.sums.update(outcome.sums)
        if outcome.broken:
            self.failed.append(outcome)
            print(f"\nseed {outcome.seed}: {outcome.broken[0]}", flush=True)

    def show(self, took_s: float) -> None:
        """Print all of it."""
        rate = self.done / took_s
        print(f"\n{self.done} runs in {took_s:.0f} s, {rate:.1f} a second")
        for what, count in sorted(self.sums.items()):
            print(f"  {what:36} {count:12,}")
        print(f"\n  {'fault':28} {'planned':>9} {'took hold':>10} {'in runs':>9}")
        for kind in Kind:
            counts = self.planned[kind], self.touched[kind], self.runs_touched[kind]
            print(f"  {kind:28} {counts[0]:9,} {counts[1]:10,} {counts[2]:9,}")
        print(f"  {'all':28} {self.planned.total():9,} {self.touched.total():10,}")


def _many(seeds: range, asked: argparse.Namespace, folder: Path) -> int:
    begun_s = time.monotonic()
    tally = Tally()
    chunks = [seeds[n : n + CHUNK] for n in range(0, len(seeds), CHUNK)]
    with ProcessPoolExecutor(asked.jobs) as pool:
        for outcomes in pool.map(_chunk, chunks, [folder] * len(chunks)):
            for outcome in outcomes:
                tally.add(outcome)
            took_s = time.monotonic() - begun_s
            end = "\r" if sys.stdout.isatty() else "\n"
            if end == "\r" or tally.done % (10 * CHUNK) == 0:
                said = f"{tally.done} runs, {tally.done / took_s:.1f}/s, {len(tally.failed)} failed"
                print(said, end=end, flush=True)
            if asked.minutes is not None and took_s > 60 * asked.minutes:
                pool.shutdown(wait=False, cancel_futures=True)
                break
    tally.show(time.monotonic() - begun_s)
    never = [kind for kind in Kind if not tally.touched[kind]] if tally.done >= ENOUGH else []
    if never:
        print(f"These faults never took hold: {', '.join(never)}")
    for outcome in tally.failed[:MOST_TOLD]:
        _print_failure(outcome, folder)
    print(f"\n{len(tally.failed)} of {tally.done} runs broke a promise")
    return bool(tally.failed or never)


if __name__ == "__main__":
    sys.exit(main())
