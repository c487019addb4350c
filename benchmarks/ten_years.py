"""The tenth year: what a person waits for when 20,000 lots and ten years of readings are kept.

    python benchmarks/ten_years.py [--quick] [--folder DIR]

Writes the years by the shortest way, packed days at once, unless the folder has them; six lots a
day are received, most of them frozen, thawed and gone after some days. Then asks, each in a process
of its own: the list of lots, one lot's record, a record of a week, and the start of the service
until its first batch is on the disk, after an hour away and after 35 days.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from harness import Row
from page import START_MS, Scale, write

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.entries import (
    AnyEntry,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
    WithdrawLot,
)
from rimewatch.evaluation import track_codec
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.journal import Journal, JournalReader
from rimewatch.journal.checkpoints import EVALUATOR_STATE
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import (
    MS_PER_DAY,
    MS_PER_H,
    MS_PER_MINUTE,
    LotId,
    Option,
    Origin,
    UnitId,
)

LOTS_A_DAY = 6
STAYS_DAYS = 9
SPECIES = "sockeye salmon"
AWAY_DAYS = 35


@dataclass(frozen=True, slots=True)
class Years:
    """How much is kept."""

    days: int = 3650
    share: float = 1.0

    @property
    def scale(self) -> Scale:
        """The same for the readings."""
        return Scale(days=self.days, share=self.share)

    def folder(self) -> Path:
        """Return where the years are kept between runs."""
        return Path(tempfile.gettempdir(), f"rimewatch-years-{self.days}-{self.share:g}")


FULL = Years()
QUICK = Years(days=400, share=0.05)


def lot_entries(days: int) -> Iterator[AnyEntry]:
    """Yield what was entered of six lots a day, in the order of its time within a lot."""
    freezer, case = UnitId("ultra-low-freezer-1"), UnitId("display-case-1")
    for day in range(days - 1):
        for n in range(LOTS_A_DAY):
            lot = LotId(f"L{day:04d}-{n}")
            at_ms = START_MS + day * MS_PER_DAY + (14 + n) * MS_PER_H // 2
            yield ReceiveLot(
                at_ms=at_ms,
                lot=lot,
                species=SPECIES,
                origin=Origin.WILD,
                serve_raw=True,
                celsius=1.0,
                kilograms=4.0,
            )
            yield StartFreezing(
                at_ms=at_ms + MS_PER_H, lot=lot, unit=freezer, option=Option.F35C_15H
            )
            if day + STAYS_DAYS >= days - 1:
                continue
            thawed_ms = at_ms + (STAYS_DAYS - 3) * MS_PER_DAY
            yield StartThawing(at_ms=thawed_ms, lot=lot, unit=case)
            yield MoveLot(at_ms=thawed_ms + MS_PER_DAY, lot=lot, unit=case)
            yield WithdrawLot(at_ms=thawed_ms + 2 * MS_PER_DAY, lot=lot, reason="sold")


def make(years: Years, folder: Path) -> None:
    """Write the years, unless they are there, with seals as a service would have left them."""
    if (folder / "done").exists():
        return
    write(folder, years.scale)
    shop = load_shop((folder / "shop.toml").read_text(encoding="utf-8"))
    with Journal.open(folder / "rimewatch.db", check=False) as journal:
        with journal.batch():
            last = 0
            for entry in sorted(lot_entries(years.days), key=lambda entry: entry.at_ms):
                last = journal.add_entry(entry, "cli")
            memory = json.loads(journal.load_state(EVALUATOR_STATE) or "{}")
            journal.save_state(EVALUATOR_STATE, json.dumps({**memory, "entry_number": last}))
        earlier_ms = years.scale.now_ms - 20 * MS_PER_H
        evaluator = Evaluator(shop, journal, earlier_ms)
        with journal.batch():
            for probe, track in evaluator.tracks.items():
                track.load(earlier_ms)
                assert track.state.last_ms is not None, "every probe has years"
                text = track_codec.to_text(track)
                journal.save_checkpoint(f"track:{probe}", track.state.last_ms, text)
        while journal.seal_days(shop.timezone, years.scale.now_ms, 100):
            pass
    (folder / "done").touch()


def asked(years: Years, folder: Path, rounds: int) -> list[Row]:
    """Return rows: what a person waits for, and what a start takes, in seconds."""
    make(years, folder)
    waits = Row(f"{years.days} days, {LOTS_A_DAY} lots a day: waited for", "s", less_is_better=True)
    for name, words in {
        "list of lots": ("lot", "list"),
        "freezing plan": ("lot", "plan"),
        "one lot's record": ("lot", "record", f"L{years.days - 5:04d}-0"),
        "units": ("unit", "list"),
    }.items():
        waits.put_median(name, [_seconds(folder, words) for _ in range(rounds)])
    starts = Row("start until the first batch is on the disk", "s", less_is_better=True)
    for name, days in {"after a minute away": 0, f"after {AWAY_DAYS} days": AWAY_DAYS}.items():
        starts.put_median(name, [_start_s(years, folder, days) for _ in range(rounds)])
    return [waits, starts]


def _seconds(folder: Path, words: tuple[str, ...]) -> float:
    files = ["--config", folder / "shop.toml", "--journal", folder / "rimewatch.db"]
    begun_s = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "rimewatch", *words, *map(str, files)],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return time.perf_counter() - begun_s


def _start_s(years: Years, folder: Path, days: int) -> float:
    """Return how long a start takes, of a copy: it writes."""
    shop = load_shop((folder / "shop.toml").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as copies:
        copy = Path(copies) / "rimewatch.db"
        with JournalReader.open(folder / "rimewatch.db") as reader:
            reader.backup(copy)
        clock = SteppedClock(years.scale.now_ms + days * MS_PER_DAY + MS_PER_MINUTE)
        begun_s = time.perf_counter()
        with Journal.open(copy) as journal:
            Writer(shop, journal, clock).take(())
            return time.perf_counter() - begun_s


def run(rounds: int = 3, years: Years = QUICK, folder: Path | None = None) -> list[Row]:
    """Return the rows: of 400 days, or of as many years as are asked for."""
    return asked(years, folder or years.folder(), rounds)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="400 days of a few units")
    parser.add_argument("--days", type=int, default=3650)
    parser.add_argument("--share", type=float, default=1.0, help="of the 50 units")
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    years = QUICK if given.quick else Years(days=given.days, share=given.share)
    for row in run(3, years, given.folder):
        print(row.name)
        for name, seconds in row.figures.items():
            print(f"  {name:<28} {seconds:8.2f} s")


if __name__ == "__main__":
    main()
