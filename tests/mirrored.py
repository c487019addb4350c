"""A journal with readings and a mirror that follows it, for the tests of the mirror."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np

from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.journal.journal import Journal
from rimewatch.mirror.mirror import BookSource, Mirror
from rimewatch.mirror.pace import Pace
from rimewatch.mirror.state import MIRROR_STATE, MirrorState, from_text, to_text
from rimewatch.readings import Reading
from rimewatch.shop import Shop
from rimewatch.vocabulary import ProbeId

START_MS = 1_772_496_000_000  # 2026-03-03T00:00:00Z
EVERY_MS = 10_000
QUICK = Pace(follow_s=0.02, first_wait_s=0.02, longest_wait_s=0.1)
PATIENCE_S = 90.0

TEXT = """
[shop]
name = "Saltmarsh Row, Fish = cold"
timezone = "America/Chicago"
[mirror]
url = "{url}"
org = "saltmarsh-row"
bucket = "rimewatch"
token = "env:MIRROR_TOKEN"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
"""
TOKEN = "t0ken-of-a-test"


def mirrored_shop(url: str, probes: int = 2) -> Shop:
    """Return a shop whose journal is mirrored to an address: air probes, and a door."""
    kinds = [(f"air-{n}", "air") for n in range(probes)] + [("door", "door")]
    tables = [
        f'[[probe]]\nid = "{name}"\nunit = "case-1"\nmeasures = "{measures}"\n'
        f'topic = "shop/{name}"\nformat = "number"\n'
        for name, measures in kinds
    ]
    return load_shop(TEXT.format(url=url) + "\n".join(tables), {"MIRROR_TOKEN": TOKEN})


def a_reading(probe: str, n: int, value: float | None = None) -> Reading:
    """Return a probe's n-th reading; its value wanders by thousandths."""
    at_ms = START_MS + n * EVERY_MS + n % 7
    wander = round(-21.0 + ((n * 7919 + len(probe)) % 30_011) / 1000.0, 3)
    taken = wander if value is None else value
    return Reading(
        probe=ProbeId(probe), observed_ms=at_ms, arrived_ms=at_ms + 40, raw=taken, value=taken
    )


def fill(journal: Journal, shop: Shop, first: int, after: int, batch: int = 2000) -> None:
    """Add the readings number ``first`` up to before ``after`` of each air probe, the last late."""
    probes = [probe.id for probe in shop.probes if probe.measures.is_temperature]
    for start in range(first, after, batch):
        end = min(start + batch, after)
        with journal.batch():
            journal.add_readings([a_reading(p, n) for n in range(start, end) for p in probes])


class Following:
    """A mirror in its thread, and the writer's part: keep what has come of it."""

    def __init__(self, mirror: Mirror, journal: Journal) -> None:
        self.mirror = mirror
        self.journal = journal
        self.state = from_text(journal.load_state(MIRROR_STATE))

    def look(self) -> MirrorState:
        """Keep the mirror's state in the journal, as the service does."""
        news = self.mirror.take_state()
        if news is not None:
            self.state = news
            self.journal.save_state(MIRROR_STATE, to_text(news))
        return self.state

    def wait_for(self, condition: Callable[[MirrorState], bool], what: str) -> MirrorState:
        """Wait until the state is so; fail after a while."""
        end_s = time.monotonic() + PATIENCE_S
        pause = threading.Event()
        while not condition(self.look()):
            assert time.monotonic() < end_s, f"{what}; it is {self.state}"
            pause.wait(0.01)
        return self.state

    def wait_until_even(self) -> MirrorState:
        """Wait until nothing is left to send."""
        return self.wait_for(
            lambda state: self.journal.changed_hours_behind(state.cursor) == 0 and not state.error,
            "the mirror did not catch up",
        )


@contextmanager
def following(
    shop: Shop, journal: Journal, *, pace: Pace = QUICK, books: BookSource | None = None
) -> Iterator[Following]:
    """Run a mirror while the block lasts."""
    mirror = Mirror(shop, journal.path, SystemClock(), books=books, pace=pace)
    mirror.start()
    follower = Following(mirror, journal)
    try:
        yield follower
    finally:
        assert mirror.stop(PATIENCE_S), "the mirror's thread did not end"
        follower.look()


def new_journal(folder: Path) -> Journal:
    """Return an empty journal, open for writing."""
    return Journal.open(folder / "rimewatch.db")


def held(journal: Journal, probe: str) -> list[tuple[int, int]]:
    """Return times and values in thousandths, as the journal holds them."""
    span = journal.span(ProbeId(probe))
    millis = np.rint(span.values * 1000).astype(int)
    return list(zip(span.times_ms.tolist(), millis.tolist(), strict=True))


def elsewhere(shop: Shop, url: str) -> Shop:
    """Return the shop, mirrored to another address."""
    assert shop.mirror is not None
    return replace(shop, mirror=replace(shop.mirror, url=url))
