"""Many phones with live pages while a thousand readings a second come in: is an alarm late?

    python benchmarks/page_load.py [--phones 50] [--rate 1000] [--seconds 15] [--rounds 3]

Starts mosquitto and ``rimewatch run`` as processes, publishes at a steady rate, and has phones
in a process of their own: each holds the first page's stream of events open, fetches what the
page's script would fetch, and loads a page every few seconds. Meanwhile cases turn warm, one
after the other. Measured: from the reading's publishing to the alarm's message at an HTTP
receiver; a page, from the request to its last byte; from a reading's publishing to its figure in
a phone's stream. No phone, one phone and all of them take turns within one run. Ends by itself
in some minutes, and touches only this machine.
"""

import argparse
import asyncio
import itertools
import json
import multiprocessing
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from multiprocessing.connection import Connection
from pathlib import Path

from harness import Row, show, write_json
from intake import Broker
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from rimewatch.journal.reader import JournalReader
from rimewatch.vocabulary import ProbeId
from rimewatch.web.people import People, Role, people_path

ALARMS = 4
"""Cases that turn warm in each turn."""
BUSY_UNITS = 14
"""Cases whose two probes share the load."""
LOADS_EVERY_S = 5.0
"""How often each phone loads a page; nobody taps faster for long."""
STEP_C = 0.1
"""Each figure that is followed is another than those before it."""
MARKED_EVERY_S = 2.5
WAIT_S = 60.0
PAGES = ("/", "/lots", "/unit/busy-1", "/health")


STEPS = itertools.count()


@dataclass(slots=True)
class Seen:
    """What one turn measured, seconds each."""

    alarms: list[float] = field(default_factory=list)
    pages: list[float] = field(default_factory=list)
    figures: list[float] = field(default_factory=list)
    refused: int = 0
    overtaken: int = 0
    """Figures that a newer one had replaced before a phone was told."""


def configuration(port: int, web: int, receiver: int, alarm_units: int) -> str:
    """Return a shop: busy cases, cases that will turn warm, and one whose figure is followed."""
    tables = [
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\ndisplay = "C"\n',
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\nclient_id = "bench-page-load"\n',
        f'[web]\nlisten = "127.0.0.1:{web}"\n',
        f'[[contact]]\nid = "first"\nname = "Phone"\nurls = ["json://127.0.0.1:{receiver}/"]\n',
        '[[escalation]]\nafter_s = 0\ncontacts = ["first"]\nrepeat_s = 900\n',
    ]
    names = [f"busy-{n}" for n in range(BUSY_UNITS)] + [f"warm-{n}" for n in range(alarm_units)]
    for name in [*names, "marked"]:
        tables.append(
            f'[[unit]]\nid = "{name}"\nname = "Case {name}"\nkind = "display-case"\n'
            "on_delay_s = 0\nlag_s = 0\n"
        )
        kinds = ("product", "air") if name.startswith("busy") else ("product",)
        tables += [
            f'[[probe]]\nid = "{name}-{kind}"\nunit = "{name}"\nmeasures = "{kind}"\n'
            f'topic = "shop/{name}/{kind}"\nformat = "json"\n'
            'fields = { value = "t", time = "ts" }\nevery_s = 60\n'
            for kind in kinds
        ]
    return "".join(tables)


class Receiver:
    """Takes messages as a push service would, and notes when each arrived."""

    def __init__(self) -> None:
        self.arrived: dict[str, float] = {}
        self.changed = threading.Condition()
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                at_s = time.monotonic()
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()
                with receiver.changed:
                    receiver.arrived.setdefault(str(json.loads(body)["title"]), at_s)
                    receiver.changed.notify_all()

            def log_message(self, *_: object) -> None:
                """Keep the output clean."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def when(self, unit: str) -> float:
        """Return when the first message that names a unit arrived; infinite: not in time."""

        def found() -> float | None:
            named = [at for title, at in self.arrived.items() if f"Case {unit}:" in f"{title}:"]
            return min(named, default=None)

        with self.changed:
            self.changed.wait_for(lambda: found() is not None, WAIT_S)
            at_s = found()
        return float("inf") if at_s is None else at_s


class Probes:
    """Publishes the load at a steady rate, and single readings on demand."""

    def __init__(self, port: int, rate: int) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="probes")
        self._client.max_inflight_messages_set(2000)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._rate = rate
        self._end = threading.Event()
        self.published = 0
        self._last_ms: dict[str, int] = {}
        self._thread = threading.Thread(target=self._load)

    def start(self) -> None:
        """Begin with the load."""
        self._thread.start()

    def stop(self) -> None:
        """End it, once the broker has all of it."""
        self._end.set()
        self._thread.join()
        self._client.loop_stop()
        self._client.disconnect()

    def say(self, unit: str, celsius: float, kind: str = "product") -> float:
        """Publish one reading; return when."""
        topic = f"shop/{unit}/{kind}"
        # Two readings of a probe within one millisecond would count as one.
        at_ms = max(round(time.time() * 1000), self._last_ms.get(topic, 0) + 1)
        self._last_ms[topic] = at_ms
        at_s = time.monotonic()
        self._client.publish(topic, json.dumps({"t": celsius, "ts": at_ms}), qos=1)
        return at_s

    def _load(self) -> None:
        targets = itertools.cycle(
            (f"busy-{n}", kind) for n in range(BUSY_UNITS) for kind in ("product", "air")
        )
        begun_s = time.monotonic()
        while not self._end.wait(0.01):
            due = int((time.monotonic() - begun_s) * self._rate)
            while self.published < due:
                unit, kind = next(targets)
                self.say(unit, 1.0 + self.published % 13 / 10, kind)
                self.published += 1


async def fetch(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, head: bytes) -> int:
    """Ask on an open connection; return the answer's status once its last byte is here."""
    writer.write(head)
    await writer.drain()
    answer = await reader.readuntil(b"\r\n\r\n")
    fields = dict(
        line.split(b": ", 1) for line in answer.lower().split(b"\r\n")[1:] if b": " in line
    )
    await reader.readexactly(int(fields.get(b"content-length", b"0")))
    return int(answer.split(b" ", 2)[1])


class Phone:
    """One phone: a live page, what its script fetches, and a page now and then."""

    def __init__(self, port: int, number: int, cookie: str, seen: Seen) -> None:
        self._port = port
        self._number = number
        self._head = f"Host: 127.0.0.1\r\nCookie: rimewatch={cookie}\r\n\r\n"
        self._seen = seen
        self._asked = asyncio.Event()
        self.texts: dict[str, float] = {}
        """When each text of the marked unit was told first."""

    async def use(self, ends_s: float) -> None:
        """Use it until an instant."""
        stream, out = await asyncio.open_connection("127.0.0.1", self._port, limit=2**20)
        self._pages = await asyncio.open_connection("127.0.0.1", self._port, limit=2**20)
        out.write(f"GET /now/stream HTTP/1.1\r\n{self._head}".encode())
        following = asyncio.create_task(self._follow(stream))
        turns = itertools.cycle(PAGES)
        for _ in range(self._number % len(PAGES)):
            next(turns)
        await asyncio.sleep(LOADS_EVERY_S * (self._number % 50) / 50)
        next_s = time.monotonic()
        while time.monotonic() < ends_s:
            if self._asked.is_set():
                self._asked.clear()
                await self._load("/now")
            elif time.monotonic() >= next_s:
                next_s += LOADS_EVERY_S
                await self._load(next(turns))
            else:
                pause_s = max(0.0, min(ends_s, next_s) - time.monotonic())
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._asked.wait(), pause_s)
        following.cancel()
        out.close()
        self._pages[1].close()

    async def _load(self, path: str) -> None:
        began_s = time.monotonic()
        status = await fetch(*self._pages, f"GET {path} HTTP/1.1\r\n{self._head}".encode())
        self._seen.pages.append(time.monotonic() - began_s)
        self._seen.refused += status != 200

    async def _follow(self, stream: asyncio.StreamReader) -> None:
        shape = ""
        while line := await stream.readline():
            if not line.startswith(b"data: "):
                continue
            news = json.loads(line[6:])
            self.texts.setdefault(news["units"]["marked"]["fish"], time.monotonic())
            if shape and news["shape"] != shape:
                self._asked.set()
            shape = news["shape"]
        self._seen.refused += 1


def phones(port: int, cookies: list[str], seconds: float, back: Connection) -> None:
    """Run the phones of one turn; send back what they saw."""
    seen = Seen()

    async def every() -> list[dict[str, float]]:
        ends_s = time.monotonic() + seconds
        used = [Phone(port, number, cookie, seen) for number, cookie in enumerate(cookies)]
        await asyncio.gather(*(each.use(ends_s) for each in used))
        return [each.texts for each in used]

    back.send((seen, asyncio.run(every())))


@contextmanager
def service(folder: Path, text: str) -> Iterator[Path]:
    """Run ``rimewatch run`` on a configuration; give its journal once it listens."""
    config, journal = folder / "shop.toml", folder / "rimewatch.db"
    config.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "rimewatch", "run"]
    command += ["--config", str(config), "--journal", str(journal)]
    process = subprocess.Popen(command, env=os.environ, stderr=subprocess.PIPE, text=True)
    listening = threading.Event()

    def hear() -> None:
        assert process.stderr is not None
        for line in process.stderr:
            if "Listening" in line:
                listening.set()

    threading.Thread(target=hear, daemon=True).start()
    try:
        assert listening.wait(WAIT_S), "the service does not listen"
        yield journal
    finally:
        process.terminate()
        process.wait(WAIT_S)


def turn(
    probes: Probes,
    receiver: Receiver,
    port: int,
    cookies: list[str],
    units: list[str],
    seconds: float,
) -> Seen:
    """Measure one turn with some phones, or none."""
    mine, theirs = multiprocessing.Pipe()
    process = multiprocessing.Process(target=phones, args=(port, cookies, seconds, theirs))
    marks: dict[str, float] = {}
    breath = threading.Event()
    seen = Seen()
    if cookies:
        process.start()
    begun_s = time.monotonic()
    alarm_at = [begun_s + seconds * (n + 1) / (len(units) + 2) for n in range(len(units))]
    mark_s = begun_s + 2.0
    raised: list[tuple[str, float]] = []
    while time.monotonic() < begun_s + seconds - 3.0:
        if mark_s <= time.monotonic() < begun_s + seconds - 6.0:
            mark_s += MARKED_EVERY_S
            celsius = -1.0 + STEP_C * next(STEPS)
            marks[f"{celsius:.1f} °C".replace("-", "−")] = probes.say("marked", celsius)
        if alarm_at and time.monotonic() >= alarm_at[0]:
            unit = units[len(raised)]
            del alarm_at[0]
            raised.append((unit, probes.say(unit, 9.0)))
        breath.wait(0.005)
    seen.alarms = [receiver.when(unit) - at_s for unit, at_s in raised]
    for unit, _ in raised:
        probes.say(unit, 1.0)
    if cookies:
        found, texts = mine.recv()
        process.join()
        seen.pages, seen.refused = found.pages, found.refused
        seen.figures = [
            told[text] - at_s for told in texts for text, at_s in marks.items() if text in told
        ]
        seen.overtaken = sum(text not in told for told in texts for text in marks)
    return seen


def rows(found: dict[str, list[Seen]]) -> list[Row]:
    """Return what was measured: milliseconds by contender."""

    def row(name: str, what: str, pick: str, share: float) -> Row:
        made = Row(name, "ms", note=what, less_is_better=True)
        for key, turns in found.items():
            by_turn = [values for seen in turns if (values := getattr(seen, pick))]
            if by_turn:
                every = [value for values in by_turn for value in values]
                per_turn = [1000 * quantile(values, share) for values in by_turn]
                made.put(key, 1000 * quantile(every, share), per_turn)
        return made

    def quantile(values: list[float], share: float) -> float:
        ordered = sorted(values)
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))]

    return [
        row("Alarm, median", "reading published to message at the receiver", "alarms", 0.5),
        row("Alarm, worst", "the same", "alarms", 1.0),
        row("Page, p50", "request to last byte, every page by turns", "pages", 0.5),
        row("Page, p99", "the same", "pages", 0.99),
        row("Live figure, p50", "reading published to a phone's stream", "figures", 0.5),
        row("Live figure, worst", "the same; told every 2 s at most", "figures", 1.0),
    ]


def free_port() -> int:
    """Return a port that nothing has right now."""
    with socket.create_server(("127.0.0.1", 0)) as probing:
        return int(probing.getsockname()[1])


def main() -> None:
    """Measure, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--rate", type=int, default=1000, help="readings a second")
    parser.add_argument("--seconds", type=float, default=15.0, help="of each turn")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--out", type=Path, default=Path("build/page-load.json"))
    given = parser.parse_args()
    counts = [0, 1, given.phones]
    units = iter(f"warm-{n}" for n in range(ALARMS * len(counts) * given.rounds))
    found: dict[str, list[Seen]] = {named(count): [] for count in counts}
    receiver, web = Receiver(), free_port()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Broker(folder, 1000)
        text = configuration(broker.port, web, receiver.port, ALARMS * len(counts) * given.rounds)
        with service(folder, text) as journal:
            people = People(people_path(journal))
            now_ms = round(time.time() * 1000)
            person = people.accept(
                people.invite("Ana", Role.ACT, now_ms), "", "ice and salt and ice", now_ms
            )
            assert person is not None, "the link was just made"
            cookies = [people.begin_session(person, now_ms) for _ in range(given.phones)]
            probes = Probes(broker.port, given.rate)
            for unit in [f"warm-{n}" for n in range(ALARMS * len(counts) * given.rounds)]:
                probes.say(unit, 1.0)
            probes.start()
            begun_s = time.monotonic()
            for number in range(given.rounds):
                for count in counts[number % 3 :] + counts[: number % 3]:
                    mine = [next(units) for _ in range(ALARMS)]
                    seen = turn(probes, receiver, web, cookies[:count], mine, given.seconds)
                    found[named(count)].append(seen)
            rate = probes.published / (time.monotonic() - begun_s)
            probes.stop()
            kept = until_kept(journal, probes.published)
        broker.stop()
    table = rows(found)
    print(show(table))
    pages = {key: sum(len(s.pages) for s in turns) for key, turns in found.items()}
    refused = sum(s.refused for turns in found.values() for s in turns)
    overtaken = sum(s.overtaken for turns in found.values() for s in turns)
    print(f"{rate:.0f} readings/s published, {kept} of {probes.published} kept; "
          f"pages loaded {pages}, {refused} refused; {overtaken} figures overtaken.")  # fmt: skip
    write_json(table, given.out)
    print(f"Written to {given.out}.")


def named(count: int) -> str:
    """Return what a contender is called."""
    return "no phone" if count == 0 else "1 phone" if count == 1 else f"{count} phones"


def until_kept(journal: Path, published: int) -> int:
    """Return how many of the load's readings are in the journal, once all are or time is up."""
    breath, end_s = threading.Event(), time.monotonic() + WAIT_S
    while True:
        with JournalReader.open(journal) as reader:
            kept = sum(
                len(reader.span(ProbeId(f"busy-{n}-{kind}")))
                for n in range(BUSY_UNITS)
                for kind in ("product", "air")
            )
        if kept >= published or time.monotonic() > end_s:
            return kept
        breath.wait(0.5)


if __name__ == "__main__":
    main()
