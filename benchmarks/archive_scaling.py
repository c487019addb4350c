"""How a replay of many shops scales with worker processes.

    python benchmarks/archive_scaling.py [--shops 4] [--days 4] [--probes 4]

Makes an archive of invented shops (a reading a minute and probe), replays it in this process
and on clusters of one and two workers, and checks that all ledgers are the same bytes. Says
what a reading costs, in time and in the archive. Touches only this machine.
"""

import argparse
import math
import resource
import sys
import tempfile
import time
from pathlib import Path

from distributed import Client, LocalCluster

from rimewatch.archive.export import export
from rimewatch.archive.replaying import replay_here, replay_on
from rimewatch.journal.journal import Journal
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, ProbeId

START_MS = 1_772_496_000_000


def configuration(probes: int) -> str:
    """Return a shop with a case for each probe."""
    head = '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    return head + "".join(
        f'[[unit]]\nid = "case-{n}"\nname = "Case {n}"\nkind = "display-case"\n'
        f'[[probe]]\nid = "air-{n}"\nunit = "case-{n}"\nmeasures = "air"\ntopic = "{n}"\n'
        'format = "number"\n'
        for n in range(probes)
    )


def keep(path: Path, shop: int, probes: int, days: int) -> Journal:
    """Make a shop's journal: a daily wave, a little noise, a warm hour in each third shop."""
    journal = Journal.open(path)
    for day in range(days):
        with journal.batch():
            for probe in range(probes):
                journal.add_readings(
                    [
                        Reading(
                            probe=ProbeId(f"air-{probe}"),
                            observed_ms=(at := START_MS + day * MS_PER_DAY + minute * 60_000),
                            arrived_ms=at + 40 + probe,
                            raw=(value := _value_c(shop, probe, minute)),
                            value=value,
                        )
                        for minute in range(1440)
                    ]
                )
    while journal.compact(START_MS + days * MS_PER_DAY, 64) == 64:
        pass
    return journal


def _value_c(shop: int, probe: int, minute: int) -> float:
    wave = 2.0 + 0.8 * math.sin(minute / 229) + (minute * 7919 + probe) % 31 / 100
    warm = 6.0 if shop % 3 == 0 and probe == 0 and 700 <= minute < 800 else 0.0
    return round(wave + warm, 2)


def main() -> int:
    """Measure; return 0 if every way gives the same ledgers."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, value in (("shops", 4), ("days", 4), ("probes", 4)):
        parser.add_argument(f"--{name}", type=int, default=value)
    asked = parser.parse_args()
    text = configuration(asked.probes)
    shops = [(f"shop-{n}", text) for n in range(asked.shops)]
    readings = octets = 0
    with tempfile.TemporaryDirectory() as name:
        archive = Path(name) / "archive"
        for number, (shop, _) in enumerate(shops):
            path = Path(name) / f"{shop}.db"
            with keep(path, number, asked.probes, asked.days) as journal:
                done = export(journal, archive, shop)
            readings += done.readings
            octets += done.octets
        print(f"{readings:,} readings, {octets / readings:.2f} bytes each in the archive")
        begun = time.perf_counter()
        alone = dict(replay_here(archive, shops))
        alone_s = time.perf_counter() - begun
        print(f"in this process: {alone_s:.1f} s, {readings / alone_s:,.0f} readings a second")
        same = True
        for workers in (1, 2):
            with (
                LocalCluster(  # type: ignore[no-untyped-call]
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address="127.0.0.1:0",
                ) as cluster,
                Client(cluster) as client,  # type: ignore[no-untyped-call]
            ):
                dict(replay_on(client, archive, shops[:1]))  # what each process imports once
                begun = time.perf_counter()
                ledgers = dict(replay_on(client, archive, shops))
                took_s = time.perf_counter() - begun
            same = same and ledgers == alone
            print(
                f"{workers} worker(s): {took_s:.1f} s, {readings / took_s:,.0f} readings a second, "
                f"{'same' if ledgers == alone else 'DIFFERENT'} ledgers"
            )
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"peak memory of this process: {peak_mb:.0f} MB")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
