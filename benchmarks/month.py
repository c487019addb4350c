"""A month at speed: all a small shop's readings of a month through the real writer, in minutes.

On a played clock, in a process of its own: mornings, housekeeping, an excursion a day and a
probe that falls silent each week included. Says how much memory the process had at each day's
end, and by how much that grows when the first ten days are over.
"""

import json
import statistics
import subprocess
import sys
import tempfile
from itertools import combinations
from pathlib import Path

from harness import Row

from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal import Journal
from rimewatch.service.charts import Charts
from rimewatch.service.housekeeping import Housekeeping
from rimewatch.service.writer import Writer
from rimewatch.vocabulary import MS_PER_DAY

START_MS = 1_772_409_600_000
"""2026-03-02T00:00:00Z."""
PROBES = 5
MINUTES_A_BATCH = 10
WARM_UP_DAYS = 10

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:1883"
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:1/"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""


def shop_text(probes: int) -> str:
    """Return the configuration."""
    return SHOP + "".join(
        f'[[unit]]\nid = "case-{n}"\nname = "Case {n}"\nkind = "display-case"\n'
        f'[[probe]]\nid = "air-{n}"\nunit = "case-{n}"\nmeasures = "air"\n'
        f'topic = "shop/{n}"\nformat = "number"\n'
        for n in range(probes)
    )


def value_c(probe: int, minute: int) -> float | None:
    """Return a case's air; None: the probe is silent."""
    day, of_day = divmod(minute, 1440)
    if day % 7 == probe and 600 <= of_day < 700:
        return None
    warm = 9.0 if day % 5 == probe and 300 <= of_day < 420 else 0.0
    return round(1.5 + warm + 0.01 * (minute * 7919 % 97), 2)


def resident_mb() -> float:
    """Return this process's resident memory."""
    text = Path("/proc/self/status").read_text(encoding="ascii")
    fields = dict(line.split(":", 1) for line in text.splitlines())
    return int(fields["VmRSS"].split()[0]) / 1024


def live(folder: Path, days: int, probes: int) -> list[float]:
    """Return the resident memory at each day's end."""
    clock = SteppedClock(START_MS)
    shop = load_shop(shop_text(probes))
    found, sent = [], 0
    with Journal.open(folder / "rimewatch.db") as journal:
        charts = Charts(folder / "charts")
        writer = Writer(shop, journal, clock, charts)
        housekeeping = Housekeeping(journal, lambda: shop, charts)
        for start in range(0, days * 1440, MINUTES_A_BATCH):
            batch = [
                Arrived(
                    topic=f"shop/{probe}",
                    payload=str(value).encode(),
                    arrived_ms=START_MS + minute * 60_000 + probe,
                    retained=False,
                    mid=1,
                    qos=1,
                    generation=1,
                )
                for minute in range(start, start + MINUTES_A_BATCH)
                for probe in range(probes)
                if (value := value_c(probe, minute)) is not None
            ]
            clock.move_to(START_MS + (start + MINUTES_A_BATCH) * 60_000)
            writer.take(batch)
            sent += len(batch)
            for row in writer.due_messages():
                journal.outbox_sent(row.id, clock.now_ms())
            housekeeping.look(clock.now_ms())
            if (start + MINUTES_A_BATCH) % 1440 == 0:
                found.append(resident_mb())
        charts.stop(grace_s=60.0)
        writer.take(())  # the mornings whose charts were being drawn
        readings = sum(len(journal.span(probe.id)) for probe in shop.probes)
        assert readings == sent, f"{readings} of {sent} readings were kept"
        mornings = len(journal.summary_dates())
        assert mornings >= days - 1, f"only {mornings} mornings"
        alarms = journal.alarms_between(START_MS, START_MS + days * MS_PER_DAY)
        assert len(alarms) >= days // 2, f"only {len(alarms)} alarms"
    return found


def slope(values: list[float]) -> float:
    """Return the median of the slopes between all pairs, a step; one leap does not move it."""
    if len(values) < 2:
        return 0.0
    pairs = combinations(enumerate(values), 2)
    return statistics.median((later - earlier) / (b - a) for (a, earlier), (b, later) in pairs)


def row_of(found: list[float], readings: int) -> Row:
    """Return memory by days, and its growth after the first ten."""
    days = len(found)
    after = min(WARM_UP_DAYS, days // 2)
    row = Row(
        f"Memory over {days} days of {readings:,} readings",
        "MB",
        note=f"growth after day {after}: {30 * slope(found[after:]):+.2f} MB a month",
        less_is_better=True,
    )
    row.put_median(f"days {after + 1} to {days}", found[after:])
    for day in sorted({1, max(1, after), days}):
        row.put_median(f"at the end of day {day}", [found[day - 1]])
    return row


def run(days: int = 30, probes: int = PROBES) -> list[Row]:
    """Return what :func:`live` found in a process of its own."""
    done = subprocess.run(
        [sys.executable, __file__, str(days), str(probes)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return [row_of(json.loads(done.stdout), days * 1440 * probes)]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as place:
        print(json.dumps(live(Path(place), int(sys.argv[1]), int(sys.argv[2]))))
