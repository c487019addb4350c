"""Intake: messages a second drained from a persistent session with a queue of them.

Ours is the whole pipeline: decode, judge, rules, durable commit, acknowledge. The others:
a bare paho client that only counts, mosquitto_sub, and the script a user would write
(paho, json, one INSERT and one commit a message, ``synchronous=FULL`` as well).
"""

import json
import shutil
import socket
import sqlite3
import subprocess
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from harness import ROUNDS, Row, Timed, compare
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.journal import JournalReader
from rimewatch.service.service import Service

PROBES = 50
AT_ONCE = 20_000
NAIVE_SHARE = 20
"""The naive script gets only every twentieth message: it would take minutes otherwise."""


def shop_text(port: int, probes: int = PROBES, client_id: str = "bench-rimewatch") -> str:
    """Return a configuration with some probes in as many display cases."""
    head = [
        '[shop]\nname = "Bench"\ntimezone = "UTC"\n',
        f'[broker]\nurl = "mqtt://127.0.0.1:{port}"\nclient_id = "{client_id}"\n',
    ]
    units = [
        f'[[unit]]\nid = "u{number}"\nname = "Case {number}"\nkind = "display-case"\n'
        f'[[probe]]\nid = "p{number}"\nunit = "u{number}"\nmeasures = "air"\n'
        f'topic = "shop/u{number}/air"\nformat = "json"\n'
        'fields = { value = "t", time = "ts", battery = "bat" }\nevery_s = 60\n'
        for number in range(probes)
    ]
    return "".join([*head, *units])


def payloads(count: int, probes: int = PROBES) -> list[tuple[str, bytes]]:
    """Return messages as probes send them, the last of them now."""
    now_s = int(time.time())
    messages = []
    for number in range(count):
        probe, turn = number % probes, number // probes
        at_s = now_s - 60 * (count // probes) + 60 * turn
        celsius = 2.0 + 0.01 * (number * 7919 % 97)
        body = json.dumps({"t": celsius, "ts": at_s, "bat": 91})
        messages.append((f"shop/u{probe}/air", body.encode()))
    return messages


class Broker:
    """A mosquitto for one run."""

    def __init__(self, folder: Path, inflight: int) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        config = folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nuser root\n"
            f"max_queued_messages 2000000\nmax_inflight_messages {inflight}\npersistence false\n"
        )
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin")
        assert program, "the benchmark needs mosquitto"
        self._process = subprocess.Popen(
            [program, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.2).close()
                break
            except OSError:
                time.sleep(0.02)

    def stop(self) -> None:
        """End it."""
        self._process.terminate()
        self._process.wait()


def sessions(port: int, client_ids: Sequence[str]) -> None:
    """Make persistent sessions that wait for readings, and leave them."""
    for client_id in client_ids:
        here = threading.Event()
        client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
        client.on_subscribe = lambda *_, here=here: here.set()
        client.connect("127.0.0.1", port)
        client.loop_start()
        client.subscribe("shop/#", qos=1)
        assert here.wait(60), "the broker did not confirm a subscription"
        client.disconnect()
        client.loop_stop()


def publish(port: int, messages: Sequence[tuple[str, bytes]]) -> None:
    """Publish into the queues of all sessions at once."""
    publisher = Client(CallbackAPIVersion.VERSION2, client_id="bench-publisher")
    publisher.max_inflight_messages_set(2000)
    publisher.max_queued_messages_set(0)
    publisher.connect("127.0.0.1", port)
    publisher.loop_start()
    for start in range(0, len(messages), AT_ONCE):  # the client holds 65,535 at most
        sent = [
            publisher.publish(topic, body, qos=1)
            for topic, body in messages[start : start + AT_ONCE]
        ]
        for one in sent:
            one.wait_for_publish(600)
    publisher.disconnect()
    publisher.loop_stop()


def counting(port: int, client_id: str, count: int) -> Timed:
    """Drain with a bare paho client that only counts, automatic acknowledgement."""
    done = threading.Event()
    seen = 0

    def on_message(_client: Client, _data: object, _message: MQTTMessage) -> None:
        nonlocal seen
        seen += 1
        if seen == count:
            done.set()

    client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
    client.on_message = on_message
    began = time.perf_counter()
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert done.wait(600), f"only {seen} of {count} came"
    elapsed = time.perf_counter() - began
    client.disconnect()
    client.loop_stop()
    return Timed(count, elapsed)


def subscriber(port: int, client_id: str, count: int) -> Timed:
    """Drain with mosquitto_sub."""
    began = time.perf_counter()
    subprocess.run(
        ["mosquitto_sub", "-p", str(port), "-i", client_id, "-c", "-q", "1", "-t", "shop/#",
         "-C", str(count)],
        stdout=subprocess.DEVNULL, check=True, timeout=600,
    )  # fmt: skip
    return Timed(count, time.perf_counter() - began)


def naive(port: int, client_id: str, count: int, folder: Path) -> Timed:
    """Drain with the script a user would write: json, one INSERT and one commit a message."""
    done = threading.Event()
    seen = 0
    path = folder / f"naive-{time.monotonic_ns()}.db"

    def work() -> None:
        nonlocal seen
        database = sqlite3.connect(path)
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA synchronous=FULL")
        database.execute("CREATE TABLE reading (topic TEXT, at REAL, celsius REAL)")

        def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
            nonlocal seen
            body = json.loads(message.payload)
            database.execute(
                "INSERT INTO reading VALUES (?, ?, ?)", (message.topic, body["ts"], body["t"])
            )
            database.commit()
            seen += 1
            if seen == count:
                client.disconnect()

        client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
        client.on_message = on_message
        client.connect("127.0.0.1", port)
        client.loop_forever()
        done.set()

    began = time.perf_counter()
    threading.Thread(target=work).start()
    assert done.wait(600), f"only {seen} of {count} came"
    return Timed(count, time.perf_counter() - began)


def ours(port: int, client_id: str, count: int, folder: Path) -> Timed:
    """Drain with the service itself."""
    shop = load_shop(shop_text(port, client_id=client_id))
    path = folder / f"ours-{time.monotonic_ns()}.db"
    service = Service(shop, path, SystemClock(), say=lambda _text: None)
    thread = threading.Thread(target=service.run)
    began = time.perf_counter()
    thread.start()
    assert service.wait_for(arrivals=count, timeout_s=600), "the service did not take them all in"
    elapsed = time.perf_counter() - began
    service.stop()
    thread.join()
    with JournalReader.open(path) as reader:  # days that are over may be packed by now
        rows = sum(len(reader.span(probe.id)) for probe in shop.probes)
    assert rows == count, f"{rows} readings on disk, {count} were sent"
    return Timed(count, elapsed)


def at_window(inflight: int, count: int, rounds: int) -> Row:
    """Return the comparison at one in-flight window of the broker.

    Every round each contender gets a session of its own with the same queue; only the naive
    script's is shorter.
    """
    folder = Path(tempfile.mkdtemp(prefix="rimewatch-bench-"))
    broker = Broker(folder, inflight)
    port = broker.port
    messages = payloads(count)
    few = max(1, count // NAIVE_SHARE)
    turn = 0

    def queue_up() -> None:
        nonlocal turn
        turn += 1
        sessions(port, [f"bench-{who}-{turn}" for who in ("ours", "counting", "sub")])
        publish(port, messages[:-few])
        sessions(port, [f"bench-naive-{turn}"])
        publish(port, messages[-few:])

    try:
        return compare(
            f"Intake, {count:,} queued, in-flight window {inflight}",
            "messages/s",
            {
                "rimewatch, whole pipeline, FULL": lambda: ours(
                    port, f"bench-ours-{turn}", count, folder
                ),
                "bare paho, only counting": lambda: counting(port, f"bench-counting-{turn}", count),
                "mosquitto_sub": lambda: subscriber(port, f"bench-sub-{turn}", count),
                f"naive script, FULL (1 of {NAIVE_SHARE})": lambda: naive(
                    port, f"bench-naive-{turn}", few, folder
                ),
            },
            rounds=rounds,
            before_round=queue_up,
        )
    finally:
        broker.stop()
        shutil.rmtree(folder)


def run(count: int = 200_000, rounds: int = ROUNDS) -> list[Row]:
    """Return the comparison at the broker's default window of 20, and a tenth at a wider one."""
    return [at_window(20, count, rounds), at_window(1000, max(NAIVE_SHARE, count // 10), rounds)]
