"""How soon the pages answer, and how large they are: 50 units with a year of readings.

    python benchmarks/page.py [--rounds 15] [--folder DIR]

Writes the year by the shortest way, packed days at once, unless the folder has one (a minute;
by default in the system's temporary folder, where the next run finds it). Then serves it over
HTTP from this process, and asks for the first page and for a case's and a freezer's page over
each length of time. A time is that to the first byte of the answer.
"""

import argparse
import http.client
import json
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from harness import ROUNDS, Row, Timed, take_turns

from page_visitor import pages_of, publish
from rimewatch.alarms import codec
from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal import Journal
from rimewatch.journal.blocks import pack_integers
from rimewatch.journal.checkpoints import ALARM_STATE, EVALUATOR_STATE
from rimewatch.journal.connection import connect_writer
from rimewatch.journal.day_rollup import roll_up
from rimewatch.journal.rollups import keep_packed
from rimewatch.readings import Reading
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, Measures, ProbeId
from rimewatch.web.course import SPANS
from rimewatch.web.people import Role
from rimewatch.web.server import PageServer

START_MS = 1_735_689_600_000
"""2025-01-01T00:00:00Z."""
PER_DAY = 1440
UNPACKED_DAYS = 2

KINDS = (
    (20, "display-case", 1.0, ("air", "product", "door")),
    (15, "walk-in", 1.5, ("air", "door")),
    (10, "freezer", -22.0, ("air",)),
    (5, "ultra-low-freezer", -66.0, ("air",)),
)


@dataclass(frozen=True, slots=True)
class Scale:
    """How much is kept."""

    days: int = 366
    share: float = 1.0
    """Of the 50 units; of each kind at least one is there."""

    @property
    def now_ms(self) -> int:
        """When the pages are looked at: late on the last day."""
        return START_MS + self.days * MS_PER_DAY - 5 * MS_PER_H

    def folder(self) -> Path:
        """Return where the year is kept between runs."""
        return Path(tempfile.gettempdir(), f"rimewatch-page-{self.days}-{self.share:g}")


def shop_text(scale: Scale) -> str:
    """Return the configuration."""
    text = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    text += '[broker]\nurl = "mqtt://127.0.0.1:1883"\n'
    for count, kind, _, probes in KINDS:
        for n in range(1, max(1, round(scale.share * count)) + 1):
            unit = f"{kind}-{n}"
            text += f'[[unit]]\nid = "{unit}"\nname = "{unit}"\nkind = "{kind}"\n'
            text += 'defrost = ["02:00/30m", "14:00/30m"]\n'
            for measures in probes:
                text += f'[[probe]]\nid = "{unit}-{measures}"\nunit = "{unit}"\n'
                text += f'measures = "{measures}"\ntopic = "{unit}/{measures}"\n'
    return text


def temperatures(level: float, number: int, days: int, *, swings: bool) -> np.ndarray:
    """Return a year of thousandths: swings, defrosts, doors, now and then half a warm hour."""
    random = np.random.default_rng(number)
    minutes = np.arange(days * PER_DAY)
    found = level + random.normal(0.0, 0.05, len(minutes))
    if swings:
        found += 0.8 * np.sin(2 * np.pi * (minutes + 5 * number) / 21)
        found += np.where((minutes + 97 * number) % 720 < 25, 2.5, 0.0)
    for day in range(0, days, 9):
        at = day * PER_DAY + int(random.integers(300, 1300))
        found[at : at + 40] += 6.0
    return np.rint(found * 100).astype(np.int64) * 10


def door(number: int, days: int) -> tuple[np.ndarray, np.ndarray]:
    """Return a year of a contact that tells each change, and its state each hour."""
    random = np.random.default_rng(1000 + number)
    opened = np.sort(random.choice(days * PER_DAY // 4, 30 * days, replace=False)) * 4 * 60_000
    closed = opened + random.integers(20, 180, len(opened)) * 1000
    hourly = np.arange(days * 24) * MS_PER_H + 7
    times = np.concatenate((opened, closed, hourly))
    order = np.argsort(times, kind="stable")
    place = np.searchsorted(opened, times[order], side="right") - 1
    is_open = (place >= 0) & (times[order] < closed[np.maximum(place, 0)])
    return START_MS + times[order], is_open.astype(np.int64) * 1000


def write_packed(
    connection: sqlite3.Connection,
    number: int,
    day: int,
    packed: tuple[bytes, bytes, bytes],
    times: np.ndarray,
    millis: np.ndarray,
) -> None:
    """Write a day as packing leaves it, its roll-up with it."""
    first_ms, last_ms = int(times[0]), int(times[-1])
    connection.execute(
        "INSERT INTO reading_block"
        " (probe_no, day, first_ms, last_ms, readings, times, millis, lags, raws)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, x'')",
        (number, day, first_ms, last_ms, len(times), *packed),
    )
    keep_packed(connection, number, day, roll_up(times, millis))


def write(folder: Path, scale: Scale) -> None:
    """Write the shop and its journal."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(shop_text(scale), encoding="utf-8")
    shop = load_shop(shop_text(scale))
    levels = {kind: level for _, kind, level, _ in KINDS}
    draft = folder / "draft.db"
    draft.unlink(missing_ok=True)
    with Journal.open(draft) as journal:
        every = np.arange(scale.days * PER_DAY, dtype=np.int64) * 60_000 + START_MS
        for number, probe in enumerate(shop.probes, start=1):
            level = levels[shop.unit[probe.unit].kind.value]
            if probe.measures is Measures.DOOR:
                times, millis = door(number, scale.days)
            else:
                times = every
                swings = probe.measures is Measures.AIR
                millis = temperatures(level, number, scale.days, swings=swings)
            write_probe(draft, number, probe.id, scale, times, millis)
        lags = [
            (probe.id, folding.lag_s, folding.stale_ms)
            for unit in shop.units
            for probe in shop.governing_probes(unit.id)
            if (folding := settings_for(unit, probe)).lag_s
        ]
        while journal.roll_up(lags, 366):
            pass
        keep_memory(shop, journal, scale.now_ms)
    draft.rename(folder / "rimewatch.db")


def write_probe(
    path: Path, number: int, probe: ProbeId, scale: Scale, times: np.ndarray, millis: np.ndarray
) -> None:
    """Write a probe's year: all but the last days packed."""
    days = times // MS_PER_DAY
    packed_until = (START_MS // MS_PER_DAY) + scale.days - UNPACKED_DAYS
    with closing(connect_writer(path)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO probe (no, id) VALUES (?, ?)", (number, probe))
        for day in range(START_MS // MS_PER_DAY, packed_until):
            first, after = np.searchsorted(days, [day, day + 1])
            part = slice(int(first), int(after))
            blobs = (
                pack_integers(times[part]),
                pack_integers(millis[part]),
                pack_integers(np.full(after - first, 40, dtype=np.int64)),
            )
            write_packed(connection, number, day, blobs, times[part], millis[part])
        connection.execute("COMMIT")
    seen = int(np.searchsorted(times, scale.now_ms))
    rest = slice(int(np.searchsorted(days, packed_until)), seen)
    with Journal.open(path, check=False) as journal:
        journal.add_readings(
            [
                Reading(
                    probe=probe, observed_ms=at, arrived_ms=at + 40, raw=m / 1000, value=m / 1000
                )
                for at, m in zip(times[rest].tolist(), millis[rest].tolist(), strict=True)
            ]
        )


def keep_memory(shop: Shop, journal: Journal, now_ms: int) -> None:
    """Leave what a service that ran all year would go on from."""
    evaluator = Evaluator(shop, journal, now_ms)
    for probe, track in evaluator.tracks.items():
        track.load()
        assert track.state.last_ms is not None, "every probe has a year"
        journal.save_checkpoint(f"track:{probe}", track.state.last_ms, track_codec.to_text(track))
    journal.save_state(ALARM_STATE, codec.to_json(evaluator.alarms))
    known = {"watching_since_ms": START_MS, "seen_until_ms": now_ms, "entry_number": 0}
    journal.save_state(EVALUATOR_STATE, json.dumps({**known, "batteries": {}}))


class Visitor:
    """Somebody signed in, whose browser keeps its connection."""

    def __init__(self, port: int, cookie: str) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port)
        self._headers = {"Cookie": cookie}
        self.sizes: dict[str, int] = {}

    def leave(self) -> None:
        """End the connection."""
        self._connection.close()

    def get(self, path: str) -> Timed:
        """Ask for a page; return the time to the first byte of the answer."""
        begun_s = time.perf_counter()
        self._connection.request("GET", path, headers=self._headers)
        answer = self._connection.getresponse()
        waited_s = time.perf_counter() - begun_s
        body = answer.read()
        assert answer.status == 200, f"{path}: {answer.status}"
        self.sizes[path] = len(body)
        return Timed(1.0, waited_s)


def run(rounds: int = ROUNDS, scale: Scale | None = None, folder: Path | None = None) -> list[Row]:
    """Return a row: how long each page is waited for, to the first byte of its answer."""
    scale = scale or Scale()
    row, sizes = measure(rounds, folder or scale.folder(), scale)
    row.note = ", ".join(f"{name} {size / 1000:.1f} kB" for name, size in sizes.items())
    return [row]


@contextmanager
def visited(folder: Path, scale: Scale) -> Iterator[Visitor]:
    """Serve the pages of a shop and its journal, and let somebody visit them."""
    if not (folder / "rimewatch.db").exists():
        write(folder, scale)
    shop = load_shop((folder / "shop.toml").read_text(encoding="utf-8"))
    pages = pages_of(shop, folder / "rimewatch.db", SteppedClock(scale.now_ms))
    with Journal.open(folder / "rimewatch.db", check=False) as journal:
        publish(pages, shop, journal)
        client = pages.signed_in(Role.LOOK, name=f"Bench {time.time_ns()}")
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        server = PageServer(pages.app, "127.0.0.1", 0)
        server.start()
        visitor = Visitor(server.port, cookie)
        try:
            yield visitor
        finally:
            visitor.leave()
            server.stop()


def measure(rounds: int, folder: Path, scale: Scale) -> tuple[Row, dict[str, int]]:
    """Return the row, and the bytes of each page."""
    asked = {"first page": "/"}
    for unit in ("display-case-1", "freezer-1"):
        asked |= {
            f"{unit}, {word}": f"/unit/{unit}?span={name}" for name, (word, _) in SPANS.items()
        }
    with visited(folder, scale) as visitor:
        for path in asked.values():
            visitor.get(path)
        units = len(load_shop(shop_text(scale)).units)
        row = Row(f"pages of {units} units, {scale.days} days kept", "ms", less_is_better=True)
        turns = take_turns(
            {name: partial(visitor.get, path) for name, path in asked.items()}, rounds
        )
    for name, done in turns.items():
        row.put_median(name, [1000.0 * one.seconds for one in done])
    return row, {name: visitor.sizes[path] for name, path in asked.items()}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--folder", type=Path, default=Scale().folder())
    given = parser.parse_args()
    row, sizes = measure(given.rounds, given.folder, Scale())
    print("page                              to the first byte      size")
    for name, waited_ms in row.figures.items():
        spread, size = row.spread[name], sizes[name] / 1000
        print(f"{name:<34} {waited_ms:7.1f} ms ±{spread:3.0%} {size:9.1f} kB")


if __name__ == "__main__":
    main()
