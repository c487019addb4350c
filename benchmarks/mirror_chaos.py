"""The mirror's backlog at full speed, and a database that is stopped at random.

    python benchmarks/mirror_chaos.py [--readings 200000]

Needs Debian's victoria-metrics. Says how fast a backlog goes through, what the writer's
batches take meanwhile, and whether both sides are equal after random stops. Takes about a
minute; ends by itself, and touches only this machine.
"""

import argparse
import random
import statistics
import sys
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from mirrored import (
    EVERY_MS,
    QUICK,
    START_MS,
    Following,
    a_reading,
    fill,
    following,
    mirrored_shop,
    new_journal,
)
from rimewatch.journal.journal import Journal
from rimewatch.mirror.comparing import compare
from rimewatch.mirror.other_side import other_side
from rimewatch.mirror.pace import Pace
from rimewatch.shop import Shop
from victoria import Victoria

BATCHES = 200


def batches_ms(journal: Journal, first: int, look: Following | None) -> list[float]:
    """Return what 200 synced batches of 50 readings take, a breath apart, in milliseconds."""
    taken: list[float] = []
    breath = threading.Event()
    for n in range(BATCHES):
        begun = time.perf_counter()
        with journal.batch():
            journal.add_readings([a_reading(f"other-{p}", first + n) for p in range(50)])
        taken.append((time.perf_counter() - begun) * 1000)
        if look is not None:
            look.look()
        breath.wait(0.005)
    return taken


def told(name: str, taken: list[float]) -> None:
    """Print a median and the slowest of hundred."""
    ordered = sorted(taken)
    print(
        f"{name}: median {statistics.median(taken):.1f} ms, "
        f"99 % within {ordered[len(ordered) * 99 // 100]:.1f} ms, slowest {ordered[-1]:.1f} ms"
    )


def equal(shop: Shop, journal: Journal, each: int) -> bool:
    """Return whether both sides hold the same, to the millisecond and thousandth."""
    assert shop.mirror is not None
    end_ms = START_MS + (each + 1) * EVERY_MS
    compared = list(compare(shop, journal, other_side(shop.mirror), START_MS, end_ms))
    print({one.probe: (one.here.count, one.there.count, one.equal) for one in compared})
    return all(one.equal for one in compared)


def backlog(victoria: Victoria, journal: Journal, each: int) -> None:
    """Time a backlog on its way, and the writer's batches beside it."""
    shop = mirrored_shop(victoria.url)
    told("writer's batches without a mirror", batches_ms(journal, 0, None))
    begun = time.perf_counter()
    with following(shop, journal, pace=Pace()) as mirror:
        during = batches_ms(journal, 10_000, mirror)
        mirror.wait_until_even()
    took_s = time.perf_counter() - begun
    told("writer's batches beside the backlog", during)
    print(f"{2 * each:,} readings in {took_s:.1f} s: {2 * each / took_s:,.0f} a second")


def chaos(victoria: Victoria, journal: Journal, first: int, each: int) -> None:
    """Stop and start the database at random while readings are added."""
    chance = random.Random(20260303)
    ended = threading.Event()
    stops = 0

    def trouble() -> None:
        nonlocal stops
        while not ended.wait(chance.uniform(0.2, 1.5)):
            victoria.stop()
            stops += 1
            ended.wait(chance.uniform(0.0, 1.0))
            victoria.start()

    shop = mirrored_shop(victoria.url)
    thread = threading.Thread(target=trouble)
    thread.start()
    with following(shop, journal, pace=replace(QUICK, batch=2000)) as mirror:
        for start in range(first, first + each, 1000):
            fill(journal, shop, start, min(start + 1000, first + each))
            mirror.look()
        ended.wait(5)
        ended.set()
        thread.join()
        mirror.wait_until_even()
    print(f"the database was stopped {stops} times")


def main() -> int:
    """Run both; return 0 if both sides are equal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=200_000)
    each = parser.parse_args().readings // 2
    with tempfile.TemporaryDirectory() as name:
        victoria = Victoria(Path(name) / "victoria")
        victoria.start()
        try:
            with new_journal(Path(name)) as journal:
                shop = mirrored_shop(victoria.url)
                fill(journal, shop, 0, each)
                backlog(victoria, journal, each)
                chaos(victoria, journal, each, each)
                victoria.show_everything()
                return 0 if equal(shop, journal, 2 * each) else 1
        finally:
            victoria.stop()


if __name__ == "__main__":
    sys.exit(main())
