"""Footprint: how soon the service judges its first reading, and what it takes at rest.

Memory and processor time with 50 and with 500 probes that send every 10 s, against the script a
user would write (paho, json, one INSERT and one commit a message), all at the same time on one
broker. Linux only: it looks into /proc.
"""

import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from harness import ROUNDS, Row, Timed, exponent, take_turns
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from mosquitto_broker import Mosquitto

EVERY_S = 10.0
WINDOW_S = 12.0
LIMIT_S = 120.0
LOOK_EVERY_S = 0.01

NAIVE = """
import json, sqlite3, sys
import paho.mqtt.client as mqtt
database = sqlite3.connect(sys.argv[2])
database.execute("PRAGMA journal_mode=WAL")
database.execute("PRAGMA synchronous=FULL")
database.execute("CREATE TABLE reading (topic TEXT, at REAL, celsius REAL)")
def keep(client, data, message):
    body = json.loads(message.payload)
    row = (message.topic, body["ts"], body["t"])
    database.execute("INSERT INTO reading VALUES (?, ?, ?)", row)
    database.commit()
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=sys.argv[3])
client.on_connect = lambda *_: client.subscribe(sys.argv[4], qos=1)
client.on_message = keep
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_forever()
"""


def configuration(port: int, probes: int) -> str:
    """Return a shop of cases with two probes each, and somebody who can be told."""
    head = (
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\nclient_id = "bench-{probes}"\n'
        '[[contact]]\nid = "first"\nname = "On-call phone"\nurls = ["json://127.0.0.1:1/"]\n'
        '[[escalation]]\nafter_s = 0\ncontacts = ["first"]\nrepeat_s = 900\n'
    )
    units = "".join(
        f'[[unit]]\nid = "case-{n}"\nname = "Case {n}"\nkind = "display-case"\n'
        for n in range(-(-probes // 2))
    )
    return (
        head
        + units
        + "".join(
            f'[[probe]]\nid = "p-{n}"\nunit = "case-{n // 2}"\nmeasures = "air"\n'
            f'topic = "{probes}/{n}"\nformat = "json"\nfields = {{ value = "t", time = "ts" }}\n'
            f"every_s = {EVERY_S:g}\n"
            for n in range(probes)
        )
    )


@dataclass(slots=True)
class Process:
    """Something that takes readings in, and where it keeps them."""

    process: subprocess.Popen[bytes]
    database: Path
    count: str
    """Asks its database how many readings it has."""

    def kept(self) -> int:
        """Return how many readings are on the disk."""
        if not self.database.exists():
            return 0
        try:
            with sqlite3.connect(f"file:{self.database}?mode=ro", uri=True) as database:
                return int(database.execute(self.count).fetchone()[0])
        except sqlite3.Error:
            return 0  # it is just being made

    def wait_for(self, count: int, limit_s: float = LIMIT_S) -> None:
        """Wait until so many readings are on the disk."""
        end_s = time.monotonic() + limit_s
        pause = threading.Event()
        while self.kept() < count:
            assert time.monotonic() < end_s, f"{self.kept()} of {count} readings were kept"
            assert self.process.poll() is None, "it has ended"
            pause.wait(LOOK_EVERY_S)

    def cpu_s(self) -> float:
        """Return the processor time it has taken so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def resident_mb(self) -> float:
        """Return its resident memory."""
        text = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        fields = dict(line.split(":", 1) for line in text.splitlines())
        return int(fields["VmRSS"].split()[0]) / 1024

    def end(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(60)


def service(folder: Path, port: int, probes: int) -> Process:
    """Start the service."""
    folder.mkdir()
    shop, journal = folder / "shop.toml", folder / "rimewatch.db"
    shop.write_text(configuration(port, probes), encoding="utf-8")
    command = [sys.executable, "-m", "rimewatch", "run", "--config", str(shop)]
    command += ["--journal", str(journal)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return Process(process, journal, "SELECT count(*) FROM reading")


def naive(folder: Path, port: int, probes: int) -> Process:
    """Start the script a user would write."""
    folder.mkdir()
    path = folder / "naive.db"
    command = [sys.executable, "-c", NAIVE, str(port), str(path), f"naive-{probes}", f"{probes}/+"]
    return Process(subprocess.Popen(command), path, "SELECT count(*) FROM reading")


CONTENDERS: dict[str, Callable[[Path, int, int], Process]] = {
    "rimewatch": service,
    "naive script": naive,
}


@contextmanager
def broker_and_probes() -> Iterator[tuple[Path, int, Client]]:
    """Run a broker and a client that publishes."""
    with tempfile.TemporaryDirectory(prefix="rimewatch-bench-") as name:
        broker = Mosquitto(Path(name) / "broker")
        broker.start()
        client = Client(CallbackAPIVersion.VERSION2, client_id="bench-probes")
        client.max_inflight_messages_set(2000)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        try:
            yield Path(name), broker.port, client
        finally:
            client.disconnect()
            client.loop_stop()
            broker.stop()


def send(client: Client, probes: int, number: int) -> None:
    """Publish one reading of one probe."""
    body = f'{{"t": {2.0 + number * 7 % 11 / 10:.1f}, "ts": {time.time():.3f}}}'
    client.publish(f"{probes}/{number}", body, qos=1)


def start(rounds: int = ROUNDS, probes: int = 50) -> Row:
    """Return the time from a process's start to the first reading on the disk."""
    with broker_and_probes() as (folder, port, client):

        def timed(begin: Callable[[Path, int, int], Process]) -> Callable[[], Timed]:
            def once() -> Timed:
                began = time.perf_counter()
                process = begin(folder / f"start-{time.monotonic_ns()}", port, probes)
                pause = threading.Event()
                try:
                    while not process.kept():
                        assert process.process.poll() is None, "it has ended"
                        send(client, probes, 0)
                        pause.wait(0.02)
                    return Timed(1.0, time.perf_counter() - began)
                finally:
                    process.end()

            return once

        turns = take_turns({name: timed(begin) for name, begin in CONTENDERS.items()}, rounds)
    row = Row(f"Start to the first reading on the disk, {probes} probes", "ms", less_is_better=True)
    for name, done in turns.items():
        row.put_median(name, [1000.0 * one.seconds for one in done])
    return row


def keep_sending(client: Client, sizes: Sequence[int], stop: threading.Event) -> None:
    """Publish each probe's readings every 10 s, evenly spread, the first of each at once."""
    for size in sizes:
        for number in range(size):
            send(client, size, number)
    began_s = time.monotonic()
    sent = dict.fromkeys(sizes, 0)
    while not stop.wait(0.05):
        for size in sizes:
            due = int((time.monotonic() - began_s) * size / EVERY_S)
            for number in range(sent[size], due):
                send(client, size, number % size)
            sent[size] = due


def at_rest(
    windows: int = ROUNDS, sizes: Sequence[int] = (5, 50, 500), window_s: float = WINDOW_S
) -> list[Row]:
    """Return memory, and processor time for an hour of life, each probe sending every 10 s.

    Args:
        windows: How often processor time is measured; the median counts.
        sizes: Numbers of probes; each process has its own, all run at once.
        window_s: How long a window is; a multiple of the interval is best.
    """
    with broker_and_probes() as (folder, port, client):
        running = {
            f"{name}, {size} probes": (size, begin(folder / f"{name}-{size}", port, size))
            for size in sizes
            for name, begin in CONTENDERS.items()
        }
        stop = threading.Event()
        thread = threading.Thread(target=keep_sending, args=(client, sizes, stop))
        thread.start()
        try:
            for _, process in running.values():
                process.wait_for(1)
            cpu: dict[str, list[float]] = {name: [] for name in running}
            resident: dict[str, list[float]] = {name: [] for name in running}
            for _ in range(windows):
                began_s = time.monotonic()
                before = {name: process.cpu_s() for name, (_, process) in running.items()}
                stop.wait(window_s)
                hours = (time.monotonic() - began_s) / 3600
                for name, (_, process) in running.items():
                    cpu[name].append((process.cpu_s() - before[name]) / hours)
                    resident[name].append(process.resident_mb())
        finally:
            stop.set()
            thread.join()
            for _, process in running.values():
                process.end()
    memory = Row("Memory, a reading of each probe every 10 s", "MB", less_is_better=True)
    time_row = Row("Processor, a reading of each probe every 10 s", "s/hour", less_is_better=True)
    for name in running:
        memory.put_median(name, resident[name])
        time_row.put_median(name, cpu[name])
    for row in (memory, time_row) if len(sizes) > 1 else ():
        ours = {size: row.figures[f"rimewatch, {size} probes"] for size in sizes}
        row.exponent = exponent(ours)
        row.note = f"ours grows with the probes by the exponent {row.exponent:.2f}"
    return [memory, time_row]


def run(rounds: int = ROUNDS, window_s: float = WINDOW_S) -> list[Row]:
    """Return start, memory and processor time."""
    return [start(rounds), *at_rest(rounds, window_s=window_s)]
