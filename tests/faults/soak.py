"""Lets the service live long, and looks whether it grows, slows down or loses anything.

    python tests/faults/soak.py --days 30          a month at speed, 200 probes
    python tests/faults/soak.py --minutes 10       a real load through a real broker
    python tests/faults/soak.py --minutes 60 --pace 24       a day of it within an hour

The month goes through the real writer, journal, evaluator and housekeeping on a played clock.
The real load is 200 probes that publish every 10 s, to the service as a process of its own.
At each day's end, or each half minute, it notes memory, threads, open files and how long a batch or
a reading takes. Once it has warmed up, the slope of each by Theil and Sen, over the rest of the
run, must stay within a bound. Linux only: it looks into /proc.

References:
    [1] Sen, P. K. (1968). Estimates of the regression coefficient based on Kendall's tau.
        J. Am. Stat. Assoc. 63(324), 1379-1389. Calculated by ``scipy.stats.theilslopes``.
"""

import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).parents[1]))

import click
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from scipy.stats import theilslopes

from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Arrived
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.charts import Charts
from rimewatch.service.housekeeping import Housekeeping
from rimewatch.service.writer import Writer
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_MINUTE, MS_PER_S
from service_process import ServiceProcess, until

START_MS: Final = 1_772_409_600_000
"""2026-03-02T00:00:00Z."""
MINUTES_A_BATCH: Final = 10
WARM_UP: Final = 1 / 3
"""Of the samples, the first that are not looked at: caches fill, the library of pictures loads."""
MOST_GROWTH: Final = {"memory": 0.10, "threads": 0.0, "open files": 0.0, "latency": 0.5}
"""Most that each may grow between the warm-up's end and the run's, as a part of its median."""
LOAD_EVERY_S: Final = 10.0
SAMPLE_EVERY_S: Final = 30.0

SHOP: Final = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:{phone}/"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""
UNIT: Final = """
[[unit]]
id = "case-{n}"
name = "Case {n}"
kind = "display-case"
"""
PROBE: Final = """
[[probe]]
id = "air-{n}"
unit = "case-{unit}"
measures = "air"
topic = "soak/{n}"
format = "json"
fields = {{ value = "t", time = "ts" }}
every_s = {every_s:g}
"""


@dataclass(frozen=True, slots=True)
class Sample:
    """How a process is at one moment."""

    memory_mb: float
    threads: int
    files: int
    latency_ms: float
    """Of a batch's median, or of one reading from the probe to the disk."""
    worst_ms: float


def shop_text(probes: int, every_s: float, *, port: int = 1883, phone: int = 1) -> str:
    """Return a configuration: two probes a case."""
    units = "".join(UNIT.format(n=n) for n in range(-(-probes // 2)))
    listed = "".join(PROBE.format(n=n, unit=n // 2, every_s=every_s) for n in range(probes))
    return SHOP.format(port=port, phone=phone) + units + listed


def sample(process: int | str, latencies_s: Sequence[float]) -> Sample:
    """Look at a process by its number, or ``self``."""
    place = Path(f"/proc/{process}")
    fields = dict(line.split(":", 1) for line in (place / "status").read_text().splitlines())
    return Sample(
        memory_mb=int(fields["VmRSS"].split()[0]) / 1024,
        threads=int(fields["Threads"]),
        files=len(list((place / "fd").iterdir())),
        latency_ms=1e3 * statistics.median(latencies_s),
        worst_ms=1e3 * max(latencies_s),
    )


def value_c(probe: int, minute: int) -> float | None:
    """Return a case's air: an excursion a day somewhere, and one probe silent; None: it is."""
    day, of_day = divmod(minute, 1440)
    if day * 7 % 200 == probe and 600 <= of_day < 700:
        return None
    warm = 9.0 if day * 11 % 200 == probe and 300 <= of_day < 420 else 0.0
    return round(1.5 + warm + 0.01 * (minute * 7919 % 97), 2)


def batch_of(start: int, probes: int, every_min: int) -> list[Arrived]:
    """Return what arrives in some minutes."""
    return [
        Arrived(f"soak/{probe}", f'{{"t": {value}, "ts": {at_ms}}}'.encode(), at_ms, False, 1, 1, 1)
        for minute in range(start, start + MINUTES_A_BATCH, every_min)
        for probe in range(probes)
        if (value := value_c(probe, minute)) is not None
        for at_ms in [START_MS + minute * MS_PER_MINUTE + probe]
    ]


def live_a_month(folder: Path, days: int, probes: int, every_min: int) -> list[Sample]:
    """Return how this process was at each day's end."""
    clock = SteppedClock(START_MS)
    shop = load_shop(shop_text(probes, 60.0 * every_min))
    found: list[Sample] = []
    took_s: list[float] = []
    sent = 0
    with Journal.open(folder / "rimewatch.db") as journal:
        charts = Charts(folder / "charts")
        writer = Writer(shop, journal, clock, charts)
        housekeeping = Housekeeping(journal, lambda: shop, charts)
        for start in range(0, days * 1440, MINUTES_A_BATCH):
            batch = batch_of(start, probes, every_min)
            clock.move_to(START_MS + (start + MINUTES_A_BATCH) * MS_PER_MINUTE)
            began_s = time.perf_counter()
            writer.take(batch)
            took_s.append(time.perf_counter() - began_s)
            sent += len(batch)
            for row in writer.due_messages():
                journal.outbox_sent(row.id, clock.now_ms())
            housekeeping.look(clock.now_ms())
            if (start + MINUTES_A_BATCH) % 1440 == 0:
                found.append(sample("self", took_s))
                took_s.clear()
                click.echo(f"day {len(found)}: {found[-1]}")
        charts.stop(grace_s=60.0)
        writer.take(())  # the mornings whose charts were being drawn
        check_the_month(journal, shop, days, sent)
    return found


def check_the_month(journal: Journal, shop: Shop, days: int, sent: int) -> None:
    """See that it was a month's work, and that nothing of it is missing."""
    readings = sum(len(journal.span(probe.id)) for probe in shop.probes)
    assert readings == sent, f"{readings} of {sent} readings were kept"
    mornings = len(journal.summary_dates())
    assert mornings >= days - 1, f"only {mornings} mornings"
    alarms = len(journal.alarms_between(START_MS, START_MS + days * MS_PER_DAY))
    assert alarms >= days, f"only {alarms} alarms"
    findings = journal.verify()
    assert findings == [], findings
    click.echo(f"{readings:,} readings, {mornings} mornings, {alarms} alarms; the journal is sound")


def bear_a_load(folder: Path, minutes: float, probes: int, pace: float) -> list[Sample]:
    """Return how the service's process was, each half minute of a real load.

    Args:
        folder: Where journal and broker live.
        minutes: How long it is borne.
        probes: How many publish.
        pace: How many times as often as each 10 s.
    """
    every_s = LOAD_EVERY_S / pace
    broker, phone = Mosquitto(folder / "broker"), Receiver()
    broker.start()
    config = folder / "shop.toml"
    text = shop_text(probes, every_s, port=broker.port, phone=phone.port)
    config.write_text(text, encoding="utf-8")
    client = Client(CallbackAPIVersion.VERSION2)
    found: list[Sample] = []
    latencies_s: list[float] = []
    try:
        with ServiceProcess(config, folder / "rimewatch.db") as service:
            service.wait_for("Listening")
            client.connect("127.0.0.1", broker.port)
            client.loop_start()
            began_s = time.monotonic()
            published = 0
            pause = threading.Event()
            while (now_s := time.monotonic() - began_s) < 60.0 * minutes:
                pause.wait(published * every_s / probes - now_s)
                at_ms = SystemClock().now_ms()
                value = value_c(published % probes, at_ms // MS_PER_MINUTE)
                payload = f'{{"t": {value or 1.5}, "ts": {at_ms}}}'
                client.publish(f"soak/{published % probes}", payload, qos=1)
                published += 1
                if published % probes == 0:
                    latencies_s.append(seconds_to_the_disk(service, probes - 1, at_ms))
                    if now_s >= SAMPLE_EVERY_S * (len(found) + 1):
                        found.append(sample(service.pid, latencies_s))
                        latencies_s.clear()
                        click.echo(f"{now_s:.0f} s: {found[-1]}")
            kept = until(lambda: all_kept(service, published), f"all {published} readings")
            assert service.stop() == 0, service.said
            assert "Traceback" not in service.said, service.said
            findings = service.look(lambda journal: journal.verify())
            assert findings == [], findings
            click.echo(f"{published:,} readings, none missing: {kept}; the journal is sound")
    finally:
        client.loop_stop()
        broker.stop()
        phone.close()
    return found


def seconds_to_the_disk(service: ServiceProcess, probe: int, at_ms: int) -> float:
    """Wait until a probe's reading is on the disk; return how long ago it was taken."""

    def last_ms(journal: JournalReader) -> int:
        last = journal.last_before(f"air-{probe}", at_ms + 1)  # type: ignore[arg-type]
        return -1 if last is None else last[0]

    until(lambda: service.look(last_ms) == at_ms, "a reading on the disk")
    return (SystemClock().now_ms() - at_ms) / MS_PER_S


def all_kept(service: ServiceProcess, published: int) -> bool:
    """Whether so many readings are on the disk."""

    def count(journal: JournalReader) -> int:
        return sum(len(journal.span(probe)) for probe in journal.known_probes())

    return service.look(count) == published


def judge(found: list[Sample]) -> list[str]:
    """Print how each figure went, and return what grew beyond its bound."""
    rest = found[int(len(found) * WARM_UP) :]
    figures = {
        "memory": ([one.memory_mb for one in rest], "MB"),
        "threads": ([one.threads for one in rest], ""),
        "open files": ([one.files for one in rest], ""),
        "latency": ([one.latency_ms for one in rest], "ms"),
    }
    grown: list[str] = []
    for name, (values, unit) in figures.items():
        slope = float(theilslopes(values).slope)
        median = statistics.median(values)
        growth = slope * (len(values) - 1)
        allowed = MOST_GROWTH[name] * median
        click.echo(
            f"{name}: first {values[0]:.1f}, median {median:.1f}, last {values[-1]:.1f} {unit}; "
            f"slope {slope:+.4f} {unit} a sample, {growth:+.2f} over {len(values)} samples "
            f"(at most {allowed:+.2f})"
        )
        if growth > allowed:
            grown.append(name)
    click.echo(f"longest: {max(one.worst_ms for one in rest):.0f} ms")
    return grown


@click.command()
@click.option("--days", default=0, help="Simulated days through the writer.")
@click.option("--every-min", default=2, help="Minutes between a probe's readings in those days.")
@click.option("--minutes", default=0.0, help="Minutes of a real load through mosquitto.")
@click.option("--pace", default=1.0, help="Of that load, times a reading each 10 s.")
@click.option("--probes", default=200, help="How many probes.")
def main(days: int, every_min: int, minutes: float, pace: float, probes: int) -> None:
    """Let it live, and exit with 1 if anything grew."""
    grown: list[str] = []
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="rimewatch-soak-") as place:
        if days:
            grown += judge(live_a_month(Path(place), days, probes, every_min))
    with tempfile.TemporaryDirectory(prefix="rimewatch-soak-") as place:
        if minutes:
            grown += judge(bear_a_load(Path(place), minutes, probes, pace))
    click.echo(f"took {time.monotonic() - began_s:.0f} s")
    if grown:
        click.echo(f"grew: {', '.join(grown)}")
        sys.exit(1)


if __name__ == "__main__":
    main()
